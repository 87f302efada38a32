"""Tokens with which a program asks `/api` where the pages ask for a password: given, listed, taken back."""

import secrets
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.clock import machine_now
from model.records.schema.tables import Preference
from model.records.store import Store
from model.wood.errors import BadInput

KEPT_AS = "api token "
LONGEST_NAME = 60


@dataclass(frozen=True)
class GivenToken:
    """One that is good: whose it is, and since when. The token itself isn't kept."""

    name: str
    given_at: datetime


def give(store: Store, name: str) -> str:
    """A new token for a program; the book keeps a digest of it alone.

    Raises
    ------
    BadInput
        If the name is empty, too long, or another token has it.
    """
    name = name.strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise BadInput("", "token's name", f"must have 1 to {LONGEST_NAME} printable characters", name)
    # 256 bits by chance: nothing to guess, so a plain digest keeps it as safe as a slow one.
    token = secrets.token_urlsafe(32)
    with store.session() as session:
        if any(_given(row).name == name for row in _rows(session)):
            rule = "must be one that no token has yet; take that one back first"
            raise BadInput("", "token's name", rule, name)
        value = {"name": name, "given_at": machine_now().isoformat()}
        session.add(Preference(name=_kept_as(token), value=value))
    return token


def given(store: Store) -> list[GivenToken]:
    """Every token that is good, the oldest first."""
    with store.session() as session:
        return sorted(map(_given, _rows(session)), key=lambda one: one.given_at)


def take_back(store: Store, name: str) -> None:
    """A program's token is good no more.

    Raises
    ------
    BadInput
        If there is none of that name.
    """
    with store.session() as session:
        rows = {_given(row).name: row for row in _rows(session)}
        if name not in rows:
            known = ", ".join(rows) or "there is none"
            raise BadInput("", "token's name", f"must be one that was given ({known})", name)
        session.delete(rows[name])


def is_good(store: Store, token: str) -> bool:
    """Whether a token was given and not taken back."""
    with store.session() as session:
        return session.get(Preference, _kept_as(token)) is not None


def _rows(session: Session) -> list[Preference]:
    return list(session.scalars(select(Preference).where(Preference.name.startswith(KEPT_AS))))


def _given(row: Preference) -> GivenToken:
    return GivenToken(str(row.value["name"]), datetime.fromisoformat(str(row.value["given_at"])))


def _kept_as(token: str) -> str:
    return KEPT_AS + sha256(token.encode()).hexdigest()
