"""What sensors sent through time, as arrays: every reading of a short span, the extremes of a long one.

A year of one-minute readings is half a million rows, and a drawing shows a few hundred stretches of it. So a
long span is cut into stretches and the database looks for the lowest and the highest of each; a shorter
span, which is what a drawing is narrowed to, comes whole. A stretch never lies across the edge of a doubt, so
that what is doubted stays apart from what is not.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain, pairwise

import numpy as np
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.bulk import Bulk
from model.records.schema.tables import Correction, Doubt, Hanging, Reading, Sensor
from model.records.schema.types import to_epoch_ms

MANY = 20_000
"""Readings that are still read one by one: a fortnight of minutes, in about ten milliseconds."""

STRETCHES = 400
"""Into how many stretches a longer span is cut: about two of a wide drawing's units each."""

Doubted = tuple[tuple[datetime, datetime | None, str], ...]


@dataclass(frozen=True)
class Trace:
    """What one sensor sent, uncorrected, and the spans of it that are doubted; the arrays are of one length.

    `step_ms` is 0 where every reading is there. Else only extremes are: neighbours may lie as far apart as
    this [ms] with readings between them.
    """

    sensor_id: int
    sensor: str
    at: np.ndarray
    temperature_c: np.ndarray
    rh_pct: np.ndarray
    doubts: Doubted = ()
    corrected: bool = False
    step_ms: int = 0


def traces(session: Session, place_id: int, since_at: datetime, until_at: datetime) -> tuple[Trace, ...]:
    """The humidity that each sensor reported from a place within a span.

    Of a long span they are the readings with the lowest and the highest humidity of each stretch.
    """
    hangings = session.execute(
        select(Hanging, Sensor.name)
        .join(Sensor)
        .where(
            Hanging.place_id == place_id,
            Hanging.since_at <= until_at,
            (Hanging.until_at.is_(None)) | (Hanging.until_at > since_at),
        )
        .order_by(Hanging.since_at)
    ).all()
    return tuple(
        _trace(
            session,
            hanging.sensor_id,
            name,
            max(hanging.since_at, since_at),
            until_at if hanging.until_at is None else min(hanging.until_at, until_at),
            ("rh_pct",),
        )
        for hanging, name in hangings
    )


def first_reading_at(session: Session, sensor_id: int) -> datetime | None:
    """When a sensor was first heard."""
    return session.scalar(select(func.min(Reading.observed_at)).where(Reading.sensor_id == sensor_id))


def sensor_trace(
    session: Session, sensor_id: int, since_at: datetime, until_at: datetime, every: bool = False
) -> Trace:
    """One sensor's readings within a span, wherever it hung.

    Of a long span they are those with the lowest and the highest humidity and temperature of each stretch,
    each reading as it came, unless `every` one is asked for.
    """
    name = session.scalars(select(Sensor.name).where(Sensor.id == sensor_id)).one()
    columns = () if every else ("rh_pct", "temperature_c")
    return _trace(session, sensor_id, name, since_at, until_at, columns)


def _trace(
    session: Session,
    sensor_id: int,
    name: str,
    since_at: datetime,
    until_at: datetime,
    extremes: Sequence[str],
) -> Trace:
    """`extremes` are columns whose lowest and highest are enough of a long span; none for every reading."""
    doubts = doubts_of(session, sensor_id, since_at, until_at)
    corrected = session.scalar(
        select(func.count())
        .select_from(Correction)
        .where(Correction.sensor_id == sensor_id, Correction.undone_at.is_(None))
    )
    low_ms, high_ms = to_epoch_ms(since_at), to_epoch_ms(until_at)
    step_ms, bulk = 0, Bulk(session.connection())
    if extremes and _is_long(session, sensor_id, since_at, until_at):
        table = _extremes(bulk, sensor_id, _edges(low_ms, high_ms, doubts), extremes)
        step_ms = 2 * int(np.ceil((high_ms - low_ms) / STRETCHES))
    else:
        table = _readings(bulk, sensor_id, low_ms, high_ms)
    return Trace(
        sensor_id,
        name,
        np.rint(table[:, 0]).astype(np.int64).astype("datetime64[ms]"),
        np.ascontiguousarray(table[:, 1]),
        np.ascontiguousarray(table[:, 2]),
        doubts,
        bool(corrected),
        step_ms,
    )


def doubts_of(session: Session, sensor_id: int, since_at: datetime, until_at: datetime) -> Doubted:
    """The doubts of a sensor that meet a span: since, until and the reason."""
    found = session.scalars(
        select(Doubt)
        .where(
            Doubt.sensor_id == sensor_id,
            Doubt.undone_at.is_(None),
            Doubt.since_at <= until_at,
            (Doubt.until_at.is_(None)) | (Doubt.until_at >= since_at),
        )
        .order_by(Doubt.since_at)
    )
    return tuple((doubt.since_at, doubt.until_at, doubt.reason) for doubt in found)


def _is_long(session: Session, sensor_id: int, since_at: datetime, until_at: datetime) -> bool:
    """Whether a span holds more readings than are read one by one."""
    own = select(Reading.observed_at).where(
        Reading.sensor_id == sensor_id, Reading.observed_at >= since_at, Reading.observed_at <= until_at
    )
    # As far as the first one too many, along the key: no count of them all.
    return session.execute(own.order_by(Reading.observed_at).offset(MANY).limit(1)).first() is not None


def _edges(low_ms: int, high_ms: int, doubts: Doubted) -> list[int]:
    """The instants that part the stretches [ms], rising; each stretch is without its end."""
    even = np.linspace(low_ms, high_ms + 1, STRETCHES + 1).astype(np.int64).tolist()
    doubted = [to_epoch_ms(since_at) for since_at, _, _ in doubts]
    doubted += [to_epoch_ms(until_at) + 1 for _, until_at, _ in doubts if until_at is not None]
    return sorted({*even, *(edge for edge in doubted if low_ms < edge <= high_ms)})


# Rows are read past the typed columns: turning thousands of integers into datetimes and back costs more than
# everything else a drawing does.


def _readings(bulk: Bulk, sensor_id: int, low_ms: int, high_ms: int) -> np.ndarray:
    """Every reading of a span: rows of instant [ms], temperature and humidity."""
    rows = bulk.rows(
        f"SELECT {bulk.instant_of('observed_at')}, temperature_c, rh_pct FROM reading "
        "WHERE sensor_id = ? AND observed_at >= ? AND observed_at <= ? ORDER BY observed_at",
        (sensor_id, bulk.instant(low_ms), bulk.instant(high_ms)),
    )
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


def _extremes(bulk: Bulk, sensor_id: int, edges: Sequence[int], columns: Sequence[str]) -> np.ndarray:
    """The readings with the lowest and the highest of some columns in each stretch, each once."""
    stretches = list(pairwise(edges))
    ends = [f"{column} {order}" for column in columns for order in ("ASC", "DESC")]
    kept = " UNION ".join(
        "SELECT (SELECT observed_at FROM reading WHERE sensor_id = ? AND observed_at >= low "
        f"AND observed_at < high AND {end.split()[0]} IS NOT NULL ORDER BY {end}, observed_at LIMIT 1) "
        "FROM stretch"
        for end in ends
    )
    rows = bulk.rows(
        f"WITH stretch(low, high) AS (VALUES {', '.join(['(?, ?)'] * len(stretches))}), kept(at) AS ({kept}) "
        f"SELECT {bulk.instant_of('observed_at')}, temperature_c, rh_pct FROM reading "
        "WHERE sensor_id = ? AND observed_at IN (SELECT at FROM kept) ORDER BY observed_at",
        (*map(bulk.instant, chain.from_iterable(stretches)), *[sensor_id] * (len(ends) + 1)),
    )
    return np.array(rows, dtype=np.float64).reshape(-1, 3)
