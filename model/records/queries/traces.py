"""What sensors sent through time, as arrays: every reading of a short span, the extremes of a long one.

A year of one-minute readings is half a million rows, and a drawing shows a few hundred stretches of it. So a
long span is cut into stretches and the database looks for the lowest and the highest of each; a shorter
span, which is what a drawing is narrowed to, comes whole. A stretch never lies across the edge of a doubt, so
that what is doubted stays apart from what is not.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain, pairwise
from typing import Any

import numpy as np
from sqlalchemy import Double, cast, func, select, text
from sqlalchemy.orm import Session

from model.records.schema.tables import Correction, Doubt, Hanging, Reading, Sensor
from model.records.schema.types import from_epoch_ms, to_epoch_ms

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

    Of a long span it is the lowest and the highest of each stretch, both at its middle, without temperature.
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
            whole_readings=False,
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
    return _trace(session, sensor_id, name, since_at, until_at, whole_readings=True, every=every)


def _trace(
    session: Session,
    sensor_id: int,
    name: str,
    since_at: datetime,
    until_at: datetime,
    whole_readings: bool,
    every: bool = False,
) -> Trace:
    doubts = _doubts(session, sensor_id, since_at, until_at)
    corrected = session.scalar(
        select(func.count())
        .select_from(Correction)
        .where(Correction.sensor_id == sensor_id, Correction.undone_at.is_(None))
    )
    low_ms, high_ms = to_epoch_ms(since_at), to_epoch_ms(until_at)
    step_ms = 0
    if every or not _is_long(session, sensor_id, since_at, until_at):
        table = _readings(session, sensor_id, low_ms, high_ms)
    else:
        edges = _edges(low_ms, high_ms, doubts)
        if whole_readings:
            table = _extreme_readings(session, sensor_id, edges)
        else:
            table = _extremes(session, sensor_id, edges)
        step_ms = 2 * int(np.ceil((high_ms - low_ms) / STRETCHES))
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


def _doubts(session: Session, sensor_id: int, since_at: datetime, until_at: datetime) -> Doubted:
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
# everything else a drawing does. What is missing comes from SQLite as a number no sensor sends.
MISSING = 1e9


def _readings(session: Session, sensor_id: int, low_ms: int, high_ms: int) -> np.ndarray:
    """Every reading of a span: rows of instant [ms], temperature and humidity."""
    if session.get_bind().dialect.name == "sqlite":
        sql = (
            f"SELECT observed_at, IFNULL(temperature_c, {MISSING}), IFNULL(rh_pct, {MISSING}) FROM reading"
            " WHERE sensor_id = ? AND observed_at >= ? AND observed_at <= ? ORDER BY observed_at"
        )
        return _sqlite_table(session, sql, (sensor_id, low_ms, high_ms))
    # PostgreSQL's own number of seconds is a decimal, which costs Python ten times as much as a float.
    instant = cast(func.extract("epoch", Reading.observed_at) * 1000, Double)
    rows = session.execute(
        select(instant, Reading.temperature_c, Reading.rh_pct)
        .where(
            Reading.sensor_id == sensor_id,
            Reading.observed_at >= from_epoch_ms(low_ms),
            Reading.observed_at <= from_epoch_ms(high_ms),
        )
        .order_by(Reading.observed_at)
    ).fetchall()
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


# Asked stretch by stretch SQLite goes along the key twice as fast as grouping by a number of each row's.
SQLITE_STRETCHES = (
    "WITH stretch(low, high) AS MATERIALIZED "
    "(SELECT json_extract(value, '$[0]'), json_extract(value, '$[1]') FROM json_each(?2))"
)
POSTGRES_STRETCHES = (
    "unnest(CAST(:lows AS timestamptz[]), CAST(:highs AS timestamptz[])) AS stretch(low, high)"
)
OF_A_STRETCH = "FROM reading WHERE sensor_id = ?1 AND observed_at >= low AND observed_at < high"


def _extremes(session: Session, sensor_id: int, edges: Sequence[int]) -> np.ndarray:
    """The lowest and the highest humidity of each stretch that has any, both at its middle."""
    if session.get_bind().dialect.name == "sqlite":
        sql = (
            f"{SQLITE_STRETCHES} SELECT (low + high - 1) / 2,"
            f" (SELECT json_array(min(rh_pct), max(rh_pct)) {OF_A_STRETCH}) FROM stretch"
        )
        rows: Sequence[Any] = session.connection().exec_driver_sql(sql, (sensor_id, _pairs(edges))).fetchall()
        found = [(middle, *json.loads(pair)) for middle, pair in rows]
    else:
        rows = session.execute(
            text(
                "SELECT round(extract(epoch FROM low) * 1000), round(extract(epoch FROM high) * 1000), "
                "lowest, highest "
                f"FROM {POSTGRES_STRETCHES}, LATERAL (SELECT min(rh_pct), max(rh_pct) FROM reading "
                "WHERE sensor_id = :sensor AND observed_at >= low AND observed_at < high) "
                "AS extreme(lowest, highest) ORDER BY low"
            ),
            {"sensor": sensor_id, **_instants(edges)},
        ).fetchall()
        found = [((int(low) + int(high) - 1) // 2, lowest, highest) for low, high, lowest, highest in rows]
    known = [
        (middle, np.nan, value)
        for middle, lowest, highest in found
        if lowest is not None
        for value in (lowest, highest)
    ]
    return np.array(known, dtype=np.float64).reshape(-1, 3)


def _extreme_readings(session: Session, sensor_id: int, edges: Sequence[int]) -> np.ndarray:
    """The readings with the lowest and highest humidity and temperature of each stretch, each once."""
    if session.get_bind().dialect.name == "sqlite":
        # SQLite gives the other columns of the row that holds the minimum.
        kept = " UNION ".join(
            f"SELECT (SELECT observed_at FROM (SELECT observed_at, {extreme} {OF_A_STRETCH})) FROM stretch"
            for extreme in ("min(rh_pct)", "max(rh_pct)", "min(temperature_c)", "max(temperature_c)")
        )
        sql = (
            f"{SQLITE_STRETCHES}, kept(at) AS ({kept})"
            f" SELECT observed_at, IFNULL(temperature_c, {MISSING}), IFNULL(rh_pct, {MISSING})"
            " FROM reading WHERE sensor_id = ?1 AND observed_at IN kept ORDER BY observed_at"
        )
        return _sqlite_table(session, sql, (sensor_id, _pairs(edges)))
    of_a_stretch = (
        "(SELECT observed_at, temperature_c, rh_pct FROM reading WHERE sensor_id = :sensor "
        "AND observed_at >= low AND observed_at < high AND {column} IS NOT NULL "
        "ORDER BY {column} {order}, observed_at LIMIT 1)"
    )
    kept = " UNION ALL ".join(
        of_a_stretch.format(column=column, order=order)
        for column in ("rh_pct", "temperature_c")
        for order in ("ASC", "DESC")
    )
    rows = session.execute(
        text(
            "SELECT DISTINCT CAST(extract(epoch FROM observed_at) * 1000 AS double precision), "
            "temperature_c, rh_pct "
            f"FROM {POSTGRES_STRETCHES}, LATERAL ({kept}) AS kept ORDER BY 1"
        ),
        {"sensor": sensor_id, **_instants(edges)},
    ).fetchall()
    return np.array([tuple(row) for row in rows], dtype=np.float64).reshape(-1, 3)


def _pairs(edges: Sequence[int]) -> str:
    """The stretches as SQLite is told of them."""
    return json.dumps(list(pairwise(edges)))


def _instants(edges: Sequence[int]) -> dict[str, list[datetime]]:
    """The stretches as PostgreSQL is told of them."""
    instants = [from_epoch_ms(edge) for edge in edges]
    return {"lows": instants[:-1], "highs": instants[1:]}


def _sqlite_table(session: Session, sql: str, given: tuple[Any, ...]) -> np.ndarray:
    """Rows of three numbers, straight into one array: as tuples in a list they cost three times as much."""
    cursor = session.connection().connection.cursor()
    try:
        cursor.execute(sql, given)
        cells = chain.from_iterable(iter(cursor.fetchone, None))
        table = np.fromiter(cells, dtype=np.float64).reshape(-1, 3)
    finally:
        cursor.close()
    table[table == MISSING] = np.nan
    return table
