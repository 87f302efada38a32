"""How readings reach their table: told again it is the same row, another value another."""

from collections.abc import Iterable, Sequence

from ingest.mqtt.batch import HOUR_MS, RowValues, WoodValues
from model.records.bulk import Bulk
from model.records.schema.arrived import as_stored

Stored = tuple[int, int, int, float | None, float | None, int, str]
Touched = Iterable[tuple[int, int, bool]]
"""Sensor, an instant [ms], and whether one of its quantities came alone."""

COLUMNS = ("sensor_id", "observed_at", "received_at", "temperature_c", "rh_pct", "pair", "clock")
KNOWN = "ON CONFLICT (sensor_id, observed_at, pair) DO NOTHING"
MARKED = "ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1"

PAIRED_MS = HOUR_MS // 2
"""A quantity that comes alone is paired with its partner within half an hour, so it touches that far."""

STAGED = (
    "CREATE TEMP TABLE IF NOT EXISTS staged (sensor_id int, observed_ms bigint, received_ms bigint,"
    " temperature_c double precision, rh_pct double precision, pair bigint, clock text) ON COMMIT DELETE ROWS"
)
MERGE = f"""
WITH new AS (
  INSERT INTO reading ({", ".join(COLUMNS)})
  SELECT sensor_id, TIMESTAMPTZ 'epoch' + observed_ms * INTERVAL '1 millisecond',
    TIMESTAMPTZ 'epoch' + received_ms * INTERVAL '1 millisecond', temperature_c, rh_pct, pair, clock
  FROM staged ORDER BY sensor_id, observed_ms {KNOWN}
  RETURNING sensor_id,
    (EXTRACT(EPOCH FROM observed_at) * 1000)::bigint / {PAIRED_MS} * {PAIRED_MS} AS half_ms,
    temperature_c IS NULL OR rh_pct IS NULL AS alone)
SELECT sensor_id, half_ms, alone, count(*) FROM new GROUP BY sensor_id, half_ms, alone
"""


def store_readings(bulk: Bulk, rows: Sequence[RowValues]) -> int:
    """Store rows that differ from each other and mark the hours that change; how many are new.

    Raises
    ------
    IntegrityError, DataError, OverflowError
        If the database refuses one of them; the transaction is as it was before.
    """
    stored = [(*row[:3], *as_stored(row[3], row[4]), row[5]) for row in rows]
    with bulk.savepoint():
        changed, touched = _insert(bulk, stored) if bulk.is_sqlite else _copy(bulk, stored)
        marks = [(sensor_id, bulk.instant(hour_ms), 1) for sensor_id, hour_ms in sorted(_hours(touched))]
        bulk.insert("stale_hour", ("sensor_id", "hour_at", "revision"), marks, MARKED)
    return changed


WOOD_COLUMNS = ("sensor_id", "observed_at", "received_at", "value", "wood_c", "clock")
WOOD_KNOWN = "ON CONFLICT (sensor_id, observed_at, value) DO NOTHING"


def store_wood_reading(bulk: Bulk, row: WoodValues) -> int:
    """Store one observation of a sensor on wood and mark its hour; 1 if it is new, else 0.

    Raises
    ------
    IntegrityError, DataError, OverflowError
        If the database refuses it; the transaction is as it was before.
    """
    sensor_id, at_ms, received_ms, *rest = row
    with bulk.savepoint():
        values = (sensor_id, bulk.instant(at_ms), bulk.instant(received_ms), *rest)
        changed = bulk.insert("wood_reading", WOOD_COLUMNS, [values], WOOD_KNOWN)
        if changed:
            hour = (sensor_id, bulk.instant(at_ms - at_ms % HOUR_MS), 1)
            bulk.insert("stale_hour", ("sensor_id", "hour_at", "revision"), [hour], MARKED)
    return changed


def _insert(bulk: Bulk, stored: list[Stored]) -> tuple[int, Touched]:
    changed = bulk.insert("reading", COLUMNS, stored, KNOWN)
    if 0 < changed < len(stored):
        # Some were there already: undone, and asked for one by one which of them change an hour.
        bulk.run("ROLLBACK TO bulk")
        stored = [row for row in stored if bulk.insert("reading", COLUMNS, [row], KNOWN)]
    return changed, ((row[0], row[1], row[3] is None or row[4] is None) for row in stored if changed)


def _copy(bulk: Bulk, stored: list[Stored]) -> tuple[int, Touched]:
    """By way of a table of the connection's own, many times faster than row by row."""
    bulk.run(STAGED)
    # Numbers and one of two known words: nothing here can need COPY's escapes.
    lines = ("\t".join("\\N" if value is None else str(value) for value in row) for row in stored)
    bulk.copy("staged", "".join(f"{line}\n" for line in lines))
    new = bulk.rows(MERGE)
    bulk.run("DELETE FROM staged")
    return sum(row[3] for row in new), [row[:3] for row in new]


def _hours(touched: Touched) -> set[tuple[int, int]]:
    hours = set()
    for sensor_id, at_ms, alone in touched:
        for ms in (at_ms, at_ms - PAIRED_MS, at_ms + PAIRED_MS) if alone else (at_ms,):
            hours.add((sensor_id, ms - ms % HOUR_MS))
    return hours
