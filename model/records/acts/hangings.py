"""Where a sensor hangs, from when to when; a change computes the air of both places again."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from model.records.acts.invalidation import (
    AIR,
    FAR,
    aware,
    erase,
    hour_of,
    mark_hours,
    note_change,
    rewind,
)
from model.records.acts.retention import kept_since
from model.records.schema.tables import AirHour, Hanging, Place, Reading, Sensor, Stay
from model.wood.errors import BadInput


def hang_sensor(session: Session, sensor: Sensor, place: Place, at: datetime) -> Hanging:
    """A sensor hangs at a place from an instant on; where it hung until then is closed."""
    where = f"sensor {sensor.name}"
    at = aware(at, where, "at")
    last = max(sensor.hangings, key=lambda hanging: hanging.since_at, default=None)
    if last is not None and at <= last.since_at:
        raise BadInput(
            where, "at", f"must come after it was last hung ({last.since_at.isoformat()})", at.isoformat()
        )
    note_change(session)
    if last is not None and (last.until_at is None or last.until_at > at):
        take_back_air(session, last.place_id, at, last.until_at)
        last.until_at = at
    hanging = Hanging(place_id=place.id, since_at=at)
    sensor.hangings.append(hanging)
    session.flush()
    mark_hours(session, [sensor.id], at)
    return hanging


def take_down_sensor(session: Session, sensor: Sensor, at: datetime) -> None:
    """A sensor hangs nowhere from an instant on."""
    where = f"sensor {sensor.name}"
    at = aware(at, where, "at")
    last = max(sensor.hangings, key=lambda hanging: hanging.since_at, default=None)
    if last is None or at <= last.since_at or (last.until_at is not None and last.until_at <= at):
        raise BadInput(where, "at", "must come while it hangs somewhere", at.isoformat())
    note_change(session)
    take_back_air(session, last.place_id, at, last.until_at)
    last.until_at = at
    session.flush()
    mark_hours(session, [sensor.id], at)


def correct_hanging(
    session: Session, hanging: Hanging, place: Place, since_at: datetime | None = None
) -> None:
    """It hung somewhere else, or since another instant, than was recorded."""
    sensor = hanging.sensor
    since = aware(since_at, f"sensor {sensor.name}", "since_at") if since_at is not None else hanging.since_at
    others = [other for other in sensor.hangings if other is not hanging]
    end = hanging.until_at or FAR
    if since >= end or any(since < (other.until_at or FAR) and other.since_at < end for other in others):
        raise BadInput(
            f"sensor {sensor.name}",
            "since_at",
            "must not overlap another place where it hung",
            since.isoformat(),
        )
    note_change(session)
    start = min(since, hanging.since_at)
    take_back_air(session, hanging.place_id, start, hanging.until_at)
    hanging.place_id = place.id
    hanging.since_at = since
    session.flush()
    mark_hours(session, [sensor.id], start, hanging.until_at)


def hang_since(session: Session, sensor: Sensor, place: Place, at: datetime) -> Hanging:
    """A sensor hangs at a place since an instant: hung there, or what is on record of it dated back.

    Raises
    ------
    BadInput
        If it hung elsewhere from that instant on.
    """
    at = aware(at, f"sensor {sensor.name}", "since_at")
    ordered = sorted(sensor.hangings, key=lambda hanging: hanging.since_at)
    for hanging in reversed(ordered):
        if hanging.place_id == place.id and (hanging.until_at or FAR) > at:
            earlier = next((one for one in ordered if one.until_at == hanging.since_at), None)
            if at < hanging.since_at and earlier is not None and earlier.since_at < at:
                take_back_air(session, earlier.place_id, at, earlier.until_at)
                earlier.until_at = at
                session.flush()
            correct_hanging(session, hanging, place, at)
            return hanging
    return hang_sensor(session, sensor, place, at)


@dataclass(frozen=True)
class Nowhere:
    """Readings of a sensor that belong to no place: they came before it was hung anywhere.

    `place` is where it was hung first, at `since_at`; none where it was never hung. The first of them came at
    `first_at`.
    """

    count: int
    first_at: datetime | None
    place: Place | None
    since_at: datetime | None


def readings_nowhere(session: Session, sensor: Sensor) -> Nowhere:
    """What a sensor sent before it was hung anywhere."""
    first = min(sensor.hangings, key=lambda hanging: hanging.since_at, default=None)
    early = select(func.count(), func.min(Reading.observed_at)).where(Reading.sensor_id == sensor.id)
    if first is not None:
        early = early.where(Reading.observed_at < first.since_at)
    count, first_at = session.execute(early).one()
    return Nowhere(count, first_at, first.place if first else None, first.since_at if first else None)


def take_back_air(session: Session, place_id: int, since_at: datetime, until_at: datetime | None) -> None:
    """Take back a place's air over a span, with what was worked out in it of the wood that stood there.

    The hours of every sensor that hung there then are marked, so that what they still tell is computed
    again; where nothing hangs any more no mark would lead there, so the wood is rewound here. Air whose
    readings may be gone is final: what a place was recorded to have then stays.
    """
    end = until_at or FAR
    since_at = max(since_at, kept_since(session) or since_at)
    note_change(session, AIR)
    hours = (AirHour.hour_at >= hour_of(since_at)) & (AirHour.hour_at < end)
    erase(session, delete(AirHour).where(AirHour.place_id == place_id, hours))
    for hanging in session.scalars(
        select(Hanging).where(Hanging.place_id == place_id, Hanging.since_at < end)
    ):
        if (hanging.until_at or FAR) > since_at:
            mark_hours(session, [hanging.sensor_id], since_at, until_at)
    for stay in session.scalars(select(Stay).where(Stay.place_id == place_id, Stay.since_at < end)):
        if (stay.until_at or FAR) > since_at:
            owner = stay.piece or stay.stack
            assert owner is not None
            rewind(session, owner, max(since_at, stay.since_at))
