"""Whether an act can still be taken back: what was built since on the rows that it changed."""

from collections.abc import Collection, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.places import use_of
from model.records.acts.recorded_rows import OTHERS_COLUMNS, TABLES, Key, Row, RowChange, children, read_row
from model.records.acts.trusted import BY_HAND
from model.records.schema.tables import PieceRow, Place
from model.wood.errors import BadInput

SINCE = {
    "hanging": "was hung elsewhere since",
    "correction": "was checked over salt since",
    "doubt": "was doubted by hand since",
    "binding": "has other topics since",
    "stay": "was moved since",
    "mount": "carries a sensor since",
    "measurement": "was measured since",
    "reading": "has readings of its own",
    "piece": "has pieces since",
    "place": "has a home since",
}
"""What was built on a sensor, a piece, a stack or a client, by the table that says so, the gravest first."""


def refuse_if_built_on(
    session: Session, changes: Sequence[RowChange], act: str, but: Collection[str] = ()
) -> None:
    """Refuse to take back what something newer was built on.

    Parameters
    ----------
    but : names of tables
        Whose rows don't matter.

    Raises
    ------
    BadInput
        With the first thing found.
    """
    session.flush()
    for change in changes:
        now = read_row(session, change.table, change.key)
        if _differs(change, now):
            raise _refusal(session, change, now, act)
    own = {(change.table, change.key) for change in changes}
    for change in changes:
        if change.is_new and "undone_at" not in TABLES[change.table].columns:
            _refuse_if_used(session, change, own, act, but)


def _differs(change: RowChange, now: Row | None) -> bool:
    if now is None or change.after is None:
        return (now is None) != (change.after is None)
    return any(now[name] != change.after[name] for name in change.columns)


def _refusal(session: Session, change: RowChange, now: Row | None, act: str) -> BadInput:
    name = _named(session, change.table, now or change.after or change.before or {})
    if name is None or now is None:
        return BadInput("", f"this {act}", "can't be taken back: it was changed again since", "nothing")
    said = SINCE[change.table] if change.table in ("hanging", "stay") else "was changed again since"
    retired = now.get("retired_at")
    if change.after is not None and retired != change.after.get("retired_at"):
        said = "is in use again" if retired is None else "is no longer in use"
    return BadInput("", name, f"{said}, so this {act} can't be taken back", "nothing")


def _refuse_if_used(
    session: Session, change: RowChange, own: Collection[Key], act: str, but: Collection[str]
) -> None:
    if change.table == "client" and len(own) > 1:
        return  # recorded with a piece or a home: who is named by others since stays
    if change.table == "place":
        kept_by = use_of(session, session.get_one(Place, change.key))
        if kept_by is not None:
            name = str((change.after or {})["name"])
            raise BadInput("", name, f"can't be taken out of the book: {kept_by}", "nothing")
        return
    referring = {child.name: (child, column) for child, column in children(TABLES[change.table])}
    for name in [*SINCE, *(name for name in referring if name in OTHERS_COLUMNS and name not in SINCE)]:
        if name not in referring or name in but:
            continue
        child, column = referring[name]
        wanted = select(next(iter(child.primary_key))).where(column == change.key)
        if "undone_at" in child.columns:
            wanted = wanted.where(child.c.undone_at.is_(None))
        if name == "doubt":
            wanted = wanted.where(child.c.kind == BY_HAND)
        if name == "reading":
            wanted = wanted.limit(1)
        if any((name, key) not in own for key in session.scalars(wanted)):
            what = _named(session, change.table, change.after or {}) or f"this {act}"
            said = SINCE.get(name, "was changed again since")
            raise BadInput("", what, f"{said}, so this {act} can't be taken back", "nothing")


def named_by(session: Session, client_id: int) -> bool:
    """Whether a piece or a home names a client."""
    return any(
        session.scalar(select(table.id).where(table.client_id == client_id).limit(1)) is not None
        for table in (PieceRow, Place)
    )


def _named(session: Session, table: str, row: Row) -> str | None:
    """What a row is called, or the thing it belongs to; none where it belongs to nothing that has a name."""
    if table in ("client", "place", "sensor", "piece", "body"):
        return str(row["name"])
    for column, parent in (
        ("sensor_id", "sensor"),
        ("piece_id", "piece"),
        ("stack_id", "body"),
        ("body_id", "body"),
        ("id", "body" if table in ("member", "stack") else ""),
    ):
        if parent and row.get(column) is not None:
            found = read_row(session, parent, row[column])
            return None if found is None else str(found["name"])
    return None
