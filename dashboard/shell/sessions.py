"""Who has entered: the book keeps each session by its id, so that one that was left is over everywhere."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from sqlalchemy import delete, func, select

from model.records.clock import machine_now
from model.records.schema.tables import Preference
from model.records.store import Store

LASTS = timedelta(days=14)
KEPT_AS = "session "


@dataclass(frozen=True)
class Sessions:
    """Opens, knows and ends sessions. The book holds a digest of each id: a copy of it opens no door."""

    store: Store

    def open(self) -> str:
        """A new session's id, good for two weeks; those that ran out are forgotten."""
        session_id, now = secrets.token_urlsafe(24), machine_now()
        with self.store.session() as session:
            for row in session.scalars(select(Preference).where(Preference.name.startswith(KEPT_AS))):
                if _until(row) <= now:
                    session.delete(row)
            session.add(Preference(name=_name(session_id), value={"until": (now + LASTS).isoformat()}))
        return session_id

    def knows(self, session_id: object) -> bool:
        """Whether a session was opened here and has neither ended nor run out."""
        if not isinstance(session_id, str):
            return False
        with self.store.session() as session:
            row = session.get(Preference, _name(session_id))
            return row is not None and machine_now() < _until(row)

    def end(self, session_id: object) -> None:
        """This session is over."""
        if isinstance(session_id, str):
            with self.store.session() as session:
                session.execute(delete(Preference).where(Preference.name == _name(session_id)))

    def end_all(self) -> None:
        """Every session is over, on every device."""
        with self.store.session() as session:
            session.execute(delete(Preference).where(Preference.name.startswith(KEPT_AS)))

    def count(self) -> int:
        """How many are open."""
        with self.store.session() as session:
            kept = select(func.count()).select_from(Preference).where(Preference.name.startswith(KEPT_AS))
            return session.scalar(kept) or 0


def _name(session_id: str) -> str:
    return KEPT_AS + sha256(session_id.encode()).hexdigest()


def _until(row: Preference) -> datetime:
    return datetime.fromisoformat(str(row.value["until"]))
