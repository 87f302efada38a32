"""The glue-up board of every shop, kept in the book: worked out by the watch, read by pages.

An answer looks two months ahead over plausible air, which is too long to wait for while a page loads. It
changes with the hour and with the book, so it is worked out when either does.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.answers.adhesives import NAME as ADHESIVES
from model.records.schema.tables import Place, Preference
from model.records.schema.types import to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS
from model.watch.questions.glue_up import glue_up
from model.watch.run import watch_sql as ledger

NAME = "glue-up board"


@dataclass(frozen=True)
class BoardLine:
    """What the board says of one shop: `Answer.document()`, and for which instant it was worked out."""

    as_of: datetime
    answer: dict[str, Any]


class GlueBoard:
    """Keeps the board of one book.

    Parameters
    ----------
    store : Store
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._seen: tuple[Any, ...] | None = None

    def refresh(self, now: datetime) -> int:
        """Work out what the hour or a change of the book has made out of date; returns for how many shops.

        Costs one small read when nothing happened since.
        """
        with ledger.reading(self._store) as bulk:
            counts = ledger.read_counts(bulk)
        with self._store.session() as session:
            usual = session.get(Preference, ADHESIVES)
            labels = repr(usual.value) if usual is not None else ""
            seen = (to_epoch_ms(now) // HOUR_MS, counts.book, counts.watch, labels)
            if seen == self._seen:
                return 0
            shops = session.execute(select(Place.id, Place.name).where(Place.kind == "shop")).all()
        lines = {
            str(place_id): {
                "as_of": now.isoformat(),
                "answer": glue_up(self._store, name, now).document(),
            }
            for place_id, name in shops
        }
        with self._store.session() as session:
            session.merge(Preference(name=NAME, value=lines))
        self._seen = seen
        return len(lines)


def glue_board(session: Session) -> dict[int, BoardLine]:
    """What the board says, by the id of a shop; empty before the watch has looked."""
    row = session.get(Preference, NAME)
    if row is None:
        return {}
    return {
        int(place_id): BoardLine(datetime.fromisoformat(line["as_of"]), line["answer"])
        for place_id, line in row.value.items()
    }
