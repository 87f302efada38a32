"""What people did to the book, act by act, and the way back.

`recorded` watches one unit of work and keeps every row that people recorded and that it changed, as it was
before and after. `take_back` restores those rows, unless something newer was built on one of them, and has
the watch compute again whatever followed from them. What sensors sent is never kept here or restored:
an act that turned messages or readings has a way back of its own (`way_back`), which ends in `restore`.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Column, delete, event, insert, inspect, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, UOWTransaction

from model.records.acts.built_on import named_by, refuse_if_built_on
from model.records.acts.clients import CLIENTS_LINK, LINK
from model.records.acts.invalidation import aware, note_change
from model.records.acts.recompute import forget_computed, recompute
from model.records.acts.recorded_rows import (
    OTHERS_COLUMNS,
    TABLES,
    Key,
    Row,
    RowChange,
    cascades,
    children,
    decoded,
    key_of,
    read_rows,
)
from model.records.acts.trusted import take_turn
from model.records.schema.tables import Preference, Revision
from model.wood.errors import BadInput

KEPT = timedelta(days=7)
"""How long an act can be taken back."""

KEPT_FOR = {"piece": LINK, "client": CLIENTS_LINK, "body": "witness board of stack {}"}
"""Preferences that belong to one row: its number may be given again, to another."""


@dataclass(frozen=True)
class TakenBack:
    """What is so again, in a sentence, and the page to go to when the one it was done on is gone."""

    says: str
    href: str = ""


WayBack = Callable[[Session, Revision, Sequence[RowChange], datetime], str | None]
"""Takes an act of one kind back; what it has to add to the sentence."""
_WAYS: dict[str, WayBack] = {}


def way_back(act: str) -> Callable[[WayBack], WayBack]:
    """Register how acts of one kind are taken back, where restoring their rows is not all."""

    def register(way: WayBack) -> WayBack:
        _WAYS[act] = way
        return way

    return register


# ---------------------------------------------------------------- keeping


@contextmanager
def recorded(session: Session, act: str, at: datetime, of: int | None = None) -> Iterator[Revision]:
    """Keep what the unit of work changes inside the block, as one act.

    Parameters
    ----------
    act : str
        A noun for people: it is said as "this move can't be taken back".
    at : datetime
        Now, by the book's clock.
    of : int, optional
        The revision of which this is the next step.

    Yields
    ------
    Revision
        Its `id` is the number it is taken back by; `says` and ``data["back"]`` are the caller's to set.
    """
    if of is None:
        session.execute(delete(Revision).where(Revision.at < aware(at, "act", "at") - KEPT))
        revision = Revision(act=act, at=at, data={}, changes={"rows": []})
        session.add(revision)
        session.flush()
    else:
        revision = session.get_one(Revision, of)
    seen = _TouchedRows(session, {(one.table, one.key): one.before for one in changes_of(revision)})
    event.listen(session, "before_flush", seen.before_flush)
    event.listen(session, "after_flush", seen.after_flush)
    try:
        yield revision
        session.flush()
    finally:
        event.remove(session, "before_flush", seen.before_flush)
        event.remove(session, "after_flush", seen.after_flush)
    revision.changes = {"rows": seen.changes()}
    session.flush()


@dataclass
class _TouchedRows:
    """The rows that a session touches, each as it was before it was first touched."""

    session: Session
    rows: dict[Key, Row | None]
    touched: set[Key] = field(default_factory=set)

    def before_flush(self, session: Session, _context: UOWTransaction, _instances: object) -> None:
        for row in [*session.dirty, *session.deleted]:
            for table, key in _keys(row):
                self.touched.add((table, key))
                if (table, key) not in self.rows:
                    self._take(table, key_of(TABLES[table]), [key])

    def after_flush(self, session: Session, _context: UOWTransaction) -> None:
        for row in session.new:
            for key in _keys(row):
                self.rows.setdefault(key, None)

    def changes(self) -> list[list[Any]]:
        """What became of them: table, key, before and after."""
        now: dict[Key, Row] = {}
        for table in {table for table, _ in self.rows}:
            keys = [key for name, key in self.rows if name == table]
            found = read_rows(self.session, table, key_of(TABLES[table]), keys)
            now |= {(table, key): row for key, row in found.items()}
        return [
            [*key, before, now.get(key)]
            for key, before in self.rows.items()
            if before != now.get(key) or (before is not None and key in self.touched)
        ]

    def _take(self, table: str, column: Column[Any], values: Sequence[Any]) -> None:
        """Rows, and those that would go with them."""
        found = read_rows(self.session, table, column, values)
        for key, row in found.items():
            self.rows.setdefault((table, key), row)
        for child, referring in children(TABLES[table]):
            if found and child.name in OTHERS_COLUMNS and cascades(referring):
                self._take(child.name, referring, list(found))


def _keys(row: object) -> list[Key]:
    mapper = inspect(type(row))
    (key,) = mapper.primary_key_from_instance(row)
    return [(str(table.name), key) for table in mapper.tables if table.name in OTHERS_COLUMNS]


# ---------------------------------------------------------------- taking back


def take_back(session: Session, number: int, at: datetime) -> TakenBack:
    """Take an act back: every row it changed is as it was before.

    A measurement, a doubt or a salt check stays on record as undone; anything else that it made goes.

    Raises
    ------
    BadInput
        If it is forgotten or taken back already, or something newer was built on what it changed: what, in
        one sentence.
    """
    revision = session.get(Revision, number)
    if revision is None or revision.undone_at is not None:
        raise BadInput("", "this", "can't be taken back any more", "nothing")
    changes = changes_of(revision)
    way, more = _WAYS.get(revision.act), None
    if way is not None:
        more = way(session, revision, changes, at)
    else:
        refuse_if_built_on(session, changes, revision.act)
        restore(session, changes, revision.act, at)
    revision.undone_at = at
    session.flush()
    said = " ".join(part for part in (str(revision.data.get("back", "")), more) if part)
    return TakenBack(said, str(revision.data.get("href", "")))


def changes_of(revision: Revision) -> list[RowChange]:
    """The rows that an act changed, those that others refer to first."""
    order = list(TABLES)
    found = [RowChange(table, key, before, after) for table, key, before, after in revision.changes["rows"]]
    return sorted(found, key=lambda one: order.index(one.table))


def restore(session: Session, changes: Sequence[RowChange], act: str, at: datetime) -> None:
    """Make rows what they were, and let the watch compute again what followed from them.

    Parameters
    ----------
    changes : sequence of RowChange
        Those that others refer to first.

    Raises
    ------
    BadInput
        If what was recorded since leaves no room: a name that is another's now.
    """
    session.flush()
    if any(change.table not in ("client", "preference", "warning", "dismissed_topic") for change in changes):
        take_turn(session)
        note_change(session)
    connection = session.connection()
    try:
        for change in changes:
            table = TABLES[change.table]
            where = key_of(table) == change.key
            if change.before is None:
                continue
            if change.after is None:
                connection.execute(insert(table).values(decoded(table, change.before)))
            elif values := {name: change.before[name] for name in change.columns}:
                connection.execute(update(table).where(where).values(decoded(table, values)))
        for change in reversed(changes):
            if change.is_new:
                _take_out(session, change, at)
    except IntegrityError as error:
        rule = "can't be taken back: what was recorded since leaves no room for it"
        raise BadInput("", f"this {act}", rule, "nothing") from error
    session.expire_all()
    recompute(session, [(one.table, one.key, one.before, one.after) for one in changes])


def _take_out(session: Session, change: RowChange, at: datetime) -> None:
    """A row that an act made goes, with what was computed of it; or it stays on record as undone.

    A client who was recorded with a piece stays where others name them since.
    """
    table, connection = TABLES[change.table], session.connection()
    where = key_of(table) == change.key
    if "undone_at" in table.columns:
        connection.execute(update(table).where(where).values(undone_at=at))
        return
    if change.table == "client" and named_by(session, change.key):
        return
    forget_computed(session, change.table, change.key)
    connection.execute(delete(table).where(where))
    if change.table in KEPT_FOR:
        kept = KEPT_FOR[change.table].format(change.key)
        session.execute(delete(Preference).where(Preference.name == kept))
