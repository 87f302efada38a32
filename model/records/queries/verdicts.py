"""How things stand, as the watch has judged them, and whether that still holds."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session

from model.records.acts.invalidation import FAR
from model.records.queries.answers import NOT_YET, WORKING, Judgement
from model.records.schema.tables import (
    Checkpoint,
    FitRow,
    Hanging,
    MemberRow,
    Sensor,
    Stack,
    StaleHour,
    Stay,
    Verdict,
)
from model.records.schema.types import EPOCH

LISTED = 2_000
"""Of more than this many things all verdicts of their kind are read: a database takes only so long a list."""

LATE = timedelta(hours=3)
"""A reading that comes later than its hour by more than this makes a verdict stale until it is worked in.
Fewer hours move no wood that anyone could measure."""
OLD = timedelta(hours=48)
"""A verdict older than this is no answer any more: whatever should have renewed it has stopped."""


def judgements(
    session: Session, kind: str, ids: Sequence[int] | None = None, now: datetime | None = None
) -> defaultdict[int, Judgement]:
    """The verdict on each thing of a kind, by its id; one that says so where it is still being worked out.

    A verdict of wood holds as long as the state it was drawn from is on record and no late reading waits:
    what takes a state back (an edit, a measurement, a move, other air) needs no mark of its own.

    Parameters
    ----------
    kind : str
        fit, stack, place, sensor or piece.
    ids : sequence of int, optional
        Which are asked for; all when there are none.
    now : datetime, optional
        With it, a verdict older than `OLD` holds no more.
    """
    # Columns, not rows to be kept track of: a page asks for hundreds and changes none.
    wanted = select(
        Verdict.subject_id,
        Verdict.verdict,
        Verdict.detail,
        Verdict.since_at,
        Verdict.evaluated_at,
    ).where(Verdict.subject_kind == kind)
    if ids is not None and len(ids) <= LISTED:
        wanted = wanted.where(Verdict.subject_id.in_(ids))
    found: defaultdict[int, Judgement] = defaultdict(lambda: NOT_YET)
    for number, verdict, detail, since_at, evaluated_at in session.execute(wanted):
        # An instant of 1970 stands for "not known".
        since = since_at if since_at > EPOCH else None
        found[number] = Judgement(verdict, detail, since, evaluated_at)
    for number in _taken_back(session, kind) | _awaiting_late_readings(session, kind, found):
        if number in found and found[number].detail.get("key") not in NOT_FOLLOWED:
            found[number] = WORKING
    for number, judged in found.items():
        if now is not None and judged.evaluated_at is not None and now - judged.evaluated_at > OLD:
            found[number] = _stalled(now - judged.evaluated_at)
    return found


NOT_FOLLOWED = ("unreadable", "no-fit")
"""Keys of verdicts that follow from no state of wood."""


def _stalled(age: timedelta) -> Judgement:
    detail = {"key": "stalled", "age_h": age // timedelta(hours=1)}
    return Judgement("unknown", detail, is_current=False)


def _taken_back(session: Session, kind: str) -> set[int]:
    """Pieces, fits or stacks of whose wood the state that their verdict was drawn from is not on record."""
    body, of_subject = {
        "piece": (MemberRow, MemberRow.piece_id == Verdict.subject_id),
        "fit": (
            MemberRow,
            MemberRow.piece_id
            == select(FitRow.piece_id).where(FitRow.id == Verdict.subject_id).scalar_subquery(),
        ),
        "stack": (Stack, Stack.id == Verdict.subject_id),
    }.get(kind, (None, None))
    if body is None:
        return set()
    drawn_at = func.coalesce(Verdict.state_at, Verdict.evaluated_at)
    kept = exists().where(Checkpoint.body_id == body.id, Checkpoint.at >= drawn_at)
    wanted = select(Verdict.subject_id).join(body, of_subject)
    return set(session.scalars(wanted.where(Verdict.subject_kind == kind, body.start_at < drawn_at, ~kept)))


def _awaiting_late_readings(session: Session, kind: str, found: Mapping[int, Judgement]) -> set[int]:
    """Those that stand, or stood, where readings came late and are still to be worked in."""
    newest = max((one.evaluated_at for one in found.values() if one.evaluated_at), default=EPOCH)
    # One seek a sensor: a year that is being imported marks thousands of hours.
    first = (
        select(func.min(StaleHour.hour_at))
        .where(StaleHour.sensor_id == Sensor.id)
        .correlate(Sensor)
        .scalar_subquery()
    )
    marks = {id_: at for id_, at in session.execute(select(Sensor.id, first)) if at and at < newest - LATE}
    if not marks:
        return set()
    late: dict[int, datetime] = {}
    for sensor_id, place_id, until_at in session.execute(
        select(Hanging.sensor_id, Hanging.place_id, Hanging.until_at).where(Hanging.sensor_id.in_(marks))
    ):
        if until_at is None or until_at > marks[sensor_id]:
            late[place_id] = min(marks[sensor_id], late.get(place_id, FAR))
    where: list[tuple[int, int, datetime | None]]
    if kind == "place":
        where = [(place_id, place_id, None) for place_id in late]
    else:
        owner = {"piece": Stay.piece_id, "fit": FitRow.id, "stack": Stay.stack_id}.get(kind)
        if owner is None:
            return set()
        stood = select(owner, Stay.place_id, Stay.until_at).where(owner.is_not(None), Stay.place_id.in_(late))
        if kind == "fit":
            stood = stood.join(FitRow, FitRow.piece_id == Stay.piece_id)
        where = [(row[0] or 0, row[1], row[2]) for row in session.execute(stood)]
    return {
        number
        for number, place_id, until_at in where
        if (until_at is None or until_at > late[place_id])
        and number in found
        and (found[number].evaluated_at or EPOCH) > late[place_id] + LATE
    }
