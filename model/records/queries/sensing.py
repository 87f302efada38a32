"""What the Sensors page asks the book: every sensor with what was last heard of it, and what was refused."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from model.records.acts.trusted import doubt_reason
from model.records.queries.answers import Judgement, of_row
from model.records.schema.tables import (
    Binding,
    Correction,
    Doubt,
    Hanging,
    Place,
    Reading,
    RejectedMessage,
    RunningCount,
    Sensor,
    Verdict,
    WoodReading,
)
from model.wood.reason import Reason

PAIRED = timedelta(minutes=30)
"""How far apart the two quantities of one sensor may come and still be said together."""


@dataclass(frozen=True)
class SensorNow:
    """A sensor, where it hangs, and its last reading."""

    id: int
    name: str
    place_id: int | None
    place: str | None
    zone: str
    topics: tuple[str, ...]
    last_at: datetime | None
    temperature_c: float | None
    rh_pct: float | None
    battery_pct: float | None
    presence: str | None
    judgement: Judgement
    retired_at: datetime | None


@dataclass(frozen=True)
class DoubtNow:
    """A span of a sensor's readings that is not believed, or was not until the doubt was undone."""

    id: int
    kind: str
    since_at: datetime
    until_at: datetime | None
    reason: Reason
    undone_at: datetime | None


@dataclass(frozen=True)
class CorrectionNow:
    """A salt check's correction of a sensor."""

    id: int
    since_at: datetime
    intercept_pct: float
    slope: float
    undone_at: datetime | None


@dataclass(frozen=True)
class HangingNow:
    """Where a sensor hung, from when to when."""

    id: int
    place_id: int
    place: str
    zone: str
    since_at: datetime
    until_at: datetime | None


@dataclass(frozen=True)
class Refused:
    """A message that could not become a reading."""

    topic: str
    payload: bytes
    size: int
    reason: str
    received_at: datetime


def sensors(session: Session, now: datetime, only: int | None = None) -> tuple[SensorNow, ...]:
    """Every sensor in use, by name; or one, in use or not."""
    wanted = select(Sensor).order_by(Sensor.name)
    wanted = (
        wanted.where(Sensor.id == only) if only is not None else wanted.where(Sensor.retired_at.is_(None))
    )
    rows = session.scalars(wanted).all()
    ids = [row.id for row in rows]
    # One seek a sensor at the end of its part of the key.
    other = aliased(Reading)
    newest = (
        select(func.max(other.observed_at))
        .where(other.sensor_id == Sensor.id, other.observed_at <= now)
        .correlate(Sensor)
        .scalar_subquery()
    )
    found = (
        select(Reading)
        .join(Sensor, Reading.sensor_id == Sensor.id)
        .where(Sensor.id.in_(ids), Reading.observed_at == newest)
        .order_by(*Reading.smaller_first())
    )
    last: dict[int, Reading] = {}
    for reading in session.scalars(found):
        last.setdefault(reading.sensor_id, reading)
    beside = {
        id_: _other_quantity(session, reading)
        for id_, reading in last.items()
        if reading.temperature_c is None or reading.rh_pct is None
    }
    on_wood = {
        id_: session.scalar(
            select(func.max(WoodReading.observed_at)).where(
                WoodReading.sensor_id == id_, WoodReading.observed_at <= now
            )
        )
        for id_ in ids
        if id_ not in last
    }
    hung = {
        hanging.sensor_id: place
        for hanging, place in session.execute(
            select(Hanging, Place).join(Place).where(Hanging.sensor_id.in_(ids), Hanging.until_at.is_(None))
        )
    }
    topics: dict[int, list[str]] = defaultdict(list)
    for binding in session.scalars(select(Binding).where(Binding.sensor_id.in_(ids)).order_by(Binding.id)):
        topics[binding.sensor_id].append(binding.topic)
    judged = {
        row.subject_id: Judgement(row.verdict, row.detail, row.since_at, row.evaluated_at)
        for row in session.scalars(select(Verdict).where(Verdict.subject_kind == "sensor"))
    }
    return tuple(_sensor(row, hung, last, beside, on_wood, topics, judged) for row in rows)


def _other_quantity(session: Session, reading: Reading) -> Reading | None:
    """The reading that holds what this one leaves empty, from within the half hour before it."""
    missing = Reading.temperature_c if reading.temperature_c is None else Reading.rh_pct
    return session.scalars(
        select(Reading)
        .where(
            Reading.sensor_id == reading.sensor_id,
            Reading.observed_at <= reading.observed_at,
            Reading.observed_at >= reading.observed_at - PAIRED,
            missing.is_not(None),
        )
        .order_by(Reading.observed_at.desc(), *Reading.smaller_first())
        .limit(1)
    ).first()


def _sensor(
    row: Sensor,
    hung: Mapping[int, Place],
    last: Mapping[int, Reading],
    beside: Mapping[int, Reading | None],
    on_wood: Mapping[int, datetime | None],
    topics: Mapping[int, list[str]],
    judged: Mapping[int, Judgement],
) -> SensorNow:
    place, reading, other = hung.get(row.id), last.get(row.id), beside.get(row.id)
    told = [one for one in (reading, other) if one is not None]
    return SensorNow(
        id=row.id,
        name=row.name,
        place_id=place.id if place else None,
        place=place.name if place else None,
        zone=place.zone if place else row.zone,
        topics=tuple(dict.fromkeys(topics.get(row.id, ()))),
        last_at=reading.observed_at if reading else on_wood.get(row.id),
        temperature_c=next((one.temperature_c for one in told if one.temperature_c is not None), None),
        rh_pct=next((one.rh_pct for one in told if one.rh_pct is not None), None),
        battery_pct=row.battery_pct,
        presence=row.presence,
        judgement=judged.get(row.id, Judgement()),
        retired_at=row.retired_at,
    )


def doubts(session: Session, sensor_id: int, limit: int = 50) -> tuple[DoubtNow, ...]:
    """A sensor's doubts, newest first, undone ones too."""
    rows = session.scalars(
        select(Doubt).where(Doubt.sensor_id == sensor_id).order_by(Doubt.since_at.desc()).limit(limit)
    )
    return tuple(
        DoubtNow(row.id, row.kind, row.since_at, row.until_at, doubt_reason(row.reason), row.undone_at)
        for row in rows
    )


def open_doubts(session: Session) -> dict[int, tuple[Reason, ...]]:
    """By sensor, the reasons of the doubts that stand now."""
    rows = session.execute(
        select(Doubt.sensor_id, Doubt.reason)
        .where(Doubt.undone_at.is_(None), Doubt.until_at.is_(None))
        .order_by(Doubt.since_at)
    )
    found: dict[int, tuple[Reason, ...]] = defaultdict(tuple)
    for sensor_id, kept in rows:
        found[sensor_id] += (doubt_reason(kept),)
    return found


def corrections(session: Session, sensor_id: int) -> tuple[CorrectionNow, ...]:
    """A sensor's corrections, newest first, undone ones too."""
    rows = session.scalars(
        select(Correction).where(Correction.sensor_id == sensor_id).order_by(Correction.since_at.desc())
    )
    return tuple(of_row(CorrectionNow, row) for row in rows)


def hangings_of(session: Session, sensor_id: int) -> tuple[HangingNow, ...]:
    """Where a sensor hung, last first."""
    rows = session.execute(
        select(Hanging, Place)
        .join(Place)
        .where(Hanging.sensor_id == sensor_id)
        .order_by(Hanging.since_at.desc())
    )
    return tuple(
        HangingNow(hanging.id, place.id, place.name, place.zone, hanging.since_at, hanging.until_at)
        for hanging, place in rows
    )


def rejected(session: Session, limit: int = 20) -> tuple[Refused, ...]:
    """The last messages that could not be read."""
    rows = session.scalars(select(RejectedMessage).order_by(RejectedMessage.received_at.desc()).limit(limit))
    return tuple(of_row(Refused, row) for row in rows)


def tallies(session: Session) -> dict[str, int]:
    """Every running count, by name."""
    return {row.name: row.count for row in session.scalars(select(RunningCount))}
