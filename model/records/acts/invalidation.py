"""What a change in the book takes back: computed rows from an instant on, and the sign that it changed.

Every function that changes what was recorded calls `note_change` first and `rewind_*` for what
depended on it, in one unit of work. The watch compares the count of changes before it writes: what it
computed from an older book is thrown away, so a rewind is never undone by a computation under way.
"""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from itertools import product

from sqlalchemy import Delete, Update, delete, select
from sqlalchemy.orm import Session

from model.records.bulk import Bulk
from model.records.schema.tables import (
    BodyRow,
    Checkpoint,
    FitRow,
    LearnedRow,
    Margin,
    MemberRow,
    Outlook,
    PieceRow,
    Verdict,
    Warning,
)
from model.records.schema.types import EPOCH, to_epoch_ms
from model.wood.errors import BadInput

BOOK = "book"
"""Name of the tally that counts changes of the book."""
AIR = "book:air"
"""Name of the tally that counts takings back of air hours."""

WATCH = "watch"
"""Name of the tally that counts the watch's transactions."""

HOUR = timedelta(hours=1)
FAR = datetime(9999, 1, 1, tzinfo=UTC)


def note_change(session: Session, of: str = BOOK) -> None:
    """Count one change of the book; holds the count until the unit of work ends, so that changes queue up."""
    Bulk(session.connection()).count_up([(of, 1)])


def aware(at: datetime, where: str, what: str) -> datetime:
    """The instant in UTC; one without its zone is refused."""
    if at.tzinfo is None:
        raise BadInput(where, what, "must carry its offset from UTC", at.isoformat())
    return at.astimezone(UTC)


def hour_of(at: datetime) -> datetime:
    """The whole UTC hour an instant lies in."""
    return EPOCH + (at - EPOCH) // HOUR * HOUR


def rewind(session: Session, owner: PieceRow | BodyRow, since_at: datetime = EPOCH) -> None:
    """Take back what was computed for a stack or a piece, its outlook too, from an hour on."""
    piece = owner.piece if isinstance(owner, MemberRow) else owner
    since_at = hour_of(since_at)
    bodies = select(MemberRow.id).where(MemberRow.piece_id == piece.id)
    if isinstance(piece, PieceRow):
        fits = select(FitRow.id).where(FitRow.piece_id == piece.id)
        erase(session, delete(Margin).where(Margin.fit_id.in_(fits), Margin.at >= since_at))
        erase(session, delete(Outlook).where(Outlook.piece_id == piece.id))
    else:
        bodies = select(BodyRow.id).where(BodyRow.id == piece.id)
    for table in (Checkpoint, LearnedRow):
        erase(session, delete(table).where(table.body_id.in_(bodies), table.at >= since_at))


def erase(session: Session, statement: Delete | Update) -> int:
    """Delete or update rows of which the session holds none; how many."""
    session.flush()
    result = session.execute(statement, execution_options={"synchronize_session": False})
    return int(result.rowcount)  # type: ignore[attr-defined]


def mark_hours(
    session: Session, sensor_ids: Iterable[int], since_at: datetime, until_at: datetime | None = None
) -> None:
    """Mark the hours in which these sensors have readings, so that their air is computed again."""
    session.flush()
    bulk = Bulk(session.connection())
    # A reading that came without its other quantity is paired within the half hour, so an hour more each way.
    span = [bulk.instant(to_epoch_ms(at)) for at in (hour_of(since_at) - HOUR, (until_at or FAR) + HOUR)]
    for sensor_id, table in product(sorted(sensor_ids), ("reading", "wood_reading")):
        bulk.run(
            "INSERT INTO stale_hour (sensor_id, hour_at, revision) "
            f"SELECT DISTINCT sensor_id, {bulk.hour_of('observed_at')}, 1 "
            f"FROM {table} WHERE sensor_id = ? AND observed_at >= ? AND observed_at < ? "
            # In the order in which the watch deletes them, so that neither waits for the other in a circle.
            "ORDER BY 1, 2 "
            "ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1",
            (sensor_id, *span),
        )


def forget_subject(session: Session, subject_kind: str, subject_id: int) -> None:
    """Delete the verdict and warnings of something that is no longer in the book."""
    for table in (Verdict, Warning):
        own = (table.subject_kind == subject_kind) & (table.subject_id == subject_id)
        erase(session, delete(table).where(own))
