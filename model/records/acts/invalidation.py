"""What a change in the book takes back: computed rows from an instant on, and the sign that it changed.

Every function that changes what was recorded calls `note_change` first and `rewind_*` for what
depended on it, in one unit of work. The watch compares the count of changes before it writes: what it
computed from an older book is thrown away, so a rewind is never undone by a computation under way.
"""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from sqlalchemy import bindparam, delete, select, text
from sqlalchemy.orm import Session

from model.records.schema.tables import (
    Checkpoint,
    Fit,
    Margin,
    Member,
    Outlook,
    Piece,
    Stack,
    Verdict,
    Warning,
)
from model.records.schema.types import EPOCH, UtcDateTime
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
    session.execute(
        text(
            "INSERT INTO tally (name, count) VALUES (:name, 1) "
            "ON CONFLICT (name) DO UPDATE SET count = tally.count + 1"
        ),
        {"name": of},
    )


def aware(at: datetime, where: str, what: str) -> datetime:
    """The instant in UTC; one without its zone is refused."""
    if at.tzinfo is None:
        raise BadInput(where, what, "must carry its offset from UTC", at.isoformat())
    return at.astimezone(UTC)


def hour_of(at: datetime) -> datetime:
    """The whole UTC hour an instant lies in."""
    return EPOCH + (at - EPOCH) // HOUR * HOUR


def rewind_piece(session: Session, piece: Piece, since_at: datetime | None = None) -> None:
    """Take back what was computed for a piece from an hour on, or all of it, and its outlook."""
    session.flush()
    bodies = select(Member.id).where(Member.piece_id == piece.id)
    fits = select(Fit.id).where(Fit.piece_id == piece.id)
    checkpoints = delete(Checkpoint).where(Checkpoint.body_id.in_(bodies))
    margins = delete(Margin).where(Margin.fit_id.in_(fits))
    if since_at is not None:
        checkpoints = checkpoints.where(Checkpoint.at >= hour_of(since_at))
        margins = margins.where(Margin.at >= hour_of(since_at))
    session.execute(checkpoints, execution_options={"synchronize_session": False})
    session.execute(margins, execution_options={"synchronize_session": False})
    outlook = delete(Outlook).where(Outlook.piece_id == piece.id)
    session.execute(outlook, execution_options={"synchronize_session": False})


def rewind_stack(session: Session, stack: Stack, since_at: datetime | None = None) -> None:
    """Take back what was computed for a stack from an hour on; all of it when none is given."""
    session.flush()
    checkpoints = delete(Checkpoint).where(Checkpoint.body_id == stack.id)
    if since_at is not None:
        checkpoints = checkpoints.where(Checkpoint.at >= hour_of(since_at))
    session.execute(checkpoints, execution_options={"synchronize_session": False})


def mark_hours(
    session: Session, sensor_ids: Iterable[int], since_at: datetime, until_at: datetime | None = None
) -> None:
    """Mark the hours in which these sensors have readings, so that their air is computed again."""
    is_sqlite = session.get_bind().dialect.name == "sqlite"
    hour = "observed_at / 3600000 * 3600000" if is_sqlite else "date_trunc('hour', observed_at, 'UTC')"
    statement = text(
        f"INSERT INTO stale_hour (sensor_id, hour_at, revision) SELECT DISTINCT sensor_id, {hour}, 1 "
        "FROM reading WHERE sensor_id = :sensor AND observed_at >= :since AND observed_at < :until "
        # In the order in which the watch deletes them, so that neither waits for the other in a circle.
        "ORDER BY 1, 2 "
        "ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1"
    ).bindparams(bindparam("since", type_=UtcDateTime()), bindparam("until", type_=UtcDateTime()))
    session.flush()
    # A reading that came without its other quantity is paired within the half hour, so an hour more each way.
    span = {"since": hour_of(since_at) - HOUR, "until": (until_at or FAR) + HOUR}
    for sensor_id in sorted(sensor_ids):
        session.execute(statement, {"sensor": sensor_id, **span})


def forget_subject(session: Session, subject_kind: str, subject_id: int) -> None:
    """Delete the verdict and warnings of something that is no longer in the book."""
    for table in (Verdict, Warning):
        session.execute(
            delete(table).where(table.subject_kind == subject_kind, table.subject_id == subject_id),
            execution_options={"synchronize_session": False},
        )
