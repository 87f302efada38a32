"""What is kept of readings between two looks, so that a look reads what is new and not days of readings.

Three things are kept of a sensor, each bounded in bytes, the longest unasked thrown away first: the outline
of each hour (how many readings, first and last, lowest and highest, and sums), the mean air of hours beside
which another sensor was looked at, and the readings of some hours themselves. None of them depends on the
order in which readings came, or on whether it was made at once or bit by bit:

- counts, extremes and whole numbers summed below 2**53 are exact in any order, in the database and here;
- means are made of an hour's readings in the order of their instants, always of the whole hour;
- readings are only ever added, or filled in where a quantity was missing. So those kept of an hour are whole
  when as many as are kept, of each quantity, lie up to the newest of them, and what is newer is added. Other
  changes (a sensor put in another's place, old readings let go) change the book or `kept_since`, upon which
  all readings kept are forgotten.

A mark says which hour changed. An hour that was read and not marked since is as it was; whoever else may
have deleted marks makes the keeper `forget`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.watch.air_hours import HOUR_MS, PAIR_WITHIN_MS, Trust, columns_of, paired, read_readings
from model.watch.bulk import Bulk
from model.watch.trust.hours import HourTable, Table
from model.wood.air import vapour_pressure

Floats = NDArray[np.float64]
Key = tuple[int, int]
"""A sensor and an hour."""

OUTLINES_BYTES, LAGS_BYTES, MEANS_BYTES = 48_000_000, 16_000_000, 16_000_000
READINGS_BYTES = 64_000_000
"""The running hour and the last of 200 sensors that send every second are 35 MB."""
KEPT_TOGETHER_H = 7 * 24
"""Spans longer than this are read and not kept."""
ONE_BY_ONE_H = 2
"""So few hours to outline are read reading by reading, since their air is made next."""
ASKED_AT_ONCE = 500
"""Hours of sensors asked for in one statement."""
WHOLE = 1 << 20
"""Sums are of whole millionths (2**-20), about: exact in any order, and far below any limit."""

N, N_T, N_RH, N_BOTH, FIRST, LAST, T_LOW, T_HIGH, RH_LOW, RH_HIGH, T_SUM, RH_SUM = range(12)
"""Columns of an outline: counts, instants [ms since 1970], °C, %, and sums of whole 2**-20 of them."""
LAG_N, LAG_SUM, LAG_SQUARES, LAG_ARRIVALS = range(4)
"""Columns of lags: readings with the device's instant, their lag and its square summed [s], the others."""

_ROW_BYTES, _ENTRY_BYTES = 24, 700


class Readings(NamedTuple):
    """A sensor's readings as they came, in the order of their instants.

    Attributes
    ----------
    at_ms : (n,) array
        ms since 1970; floats, as exact as whole numbers up to 2**53.
    temperature_c, rh_pct : (n,) array
        NaN where the reading had none.
    """

    at_ms: Floats
    temperature_c: Floats
    rh_pct: Floats

    @property
    def counts(self) -> tuple[int, int, int]:
        """How many, with a temperature, with a humidity."""
        return (
            len(self.at_ms),
            len(self.at_ms) - int(np.count_nonzero(np.isnan(self.temperature_c))),
            len(self.at_ms) - int(np.count_nonzero(np.isnan(self.rh_pct))),
        )

    @property
    def lone(self) -> bool:
        """Whether a humidity came without its temperature."""
        return bool((np.isnan(self.temperature_c) & ~np.isnan(self.rh_pct)).any())

    def part(self, since_ms: float, until_ms: float) -> "Readings":
        """From an instant to before another."""
        a, b = np.searchsorted(self.at_ms, [since_ms, until_ms])
        return Readings(self.at_ms[a:b], self.temperature_c[a:b], self.rh_pct[a:b])


def joined(parts: Iterable[Readings]) -> Readings:
    """Readings one after another."""
    some = [part for part in parts if len(part.at_ms)]
    if len(some) == 1:
        return some[0]
    if not some:
        return Readings(np.empty(0), np.empty(0), np.empty(0))
    return Readings(
        np.concatenate([part.at_ms for part in some]),
        np.concatenate([part.temperature_c for part in some]),
        np.concatenate([part.rh_pct for part in some]),
    )


class Shelf:
    """Readings and figures of hours, read from the book where they are not kept."""

    def __init__(self) -> None:
        self._outlines = HourTable(12, OUTLINES_BYTES)
        self._lags = HourTable(4, LAGS_BYTES)
        self._means = HourTable(2, MEANS_BYTES)
        self._readings: dict[tuple[int, int], Readings] = {}
        self._stale: set[tuple[int, int]] = set()
        self._bytes = 0
        self._edges: dict[int, dict[tuple[str, int], int | None]] = {}
        self._corrections: dict[int, list[tuple[int, float, float]]] = {}
        self._kept_since: int | None = None
        self._book: int | None = None

    @property
    def size_bytes(self) -> int:
        tables = (self._outlines, self._lags, self._means)
        return self._bytes + sum(table.size_bytes for table in tables)

    # ------------------------------------------------------------ what changed

    def forget(self) -> None:
        """Keep nothing: somebody else may have deleted marks of hours that changed."""
        for table in (self._outlines, self._lags, self._means):
            table.forget()
        self._edges = {}
        self._forget_readings()

    def _forget_readings(self) -> None:
        self._readings, self._stale, self._bytes = {}, set(), 0

    def begin(self, book: int) -> None:
        """Begin a look; the count of changes of the book tells whether readings may have moved."""
        if book != self._book:
            self._forget_readings()
        self._book = book

    def trusting(self, trust: Trust) -> None:
        """What the book says of its sensors now: means follow corrections, and what is gone is forgotten."""
        if trust.kept_since != self._kept_since:
            if self._kept_since is not None:
                self.forget()
            self._kept_since = trust.kept_since
        if trust.corrections != self._corrections:
            for sensor_id in {*trust.corrections, *self._corrections}:
                if trust.corrections.get(sensor_id) != self._corrections.get(sensor_id):
                    self._means.forget(sensor_id)
            self._corrections = {sensor_id: list(own) for sensor_id, own in trust.corrections.items()}

    def changed(self, hours: Iterable[tuple[int, int]]) -> None:
        """Hours of sensors that are marked."""
        for sensor_id, hour in hours:
            self._outlines.changed(sensor_id, hour)
            self._lags.changed(sensor_id, hour)
            for near in (hour - 1, hour, hour + 1):  # a humidity that came alone is paired across the hour
                self._means.changed(sensor_id, near)
            if (sensor_id, hour) in self._readings:
                self._stale.add((sensor_id, hour))
            edges = self._edges.get(sensor_id)
            if edges:
                self._edges[sensor_id] = {
                    (which, at): found
                    for (which, at), found in edges.items()
                    if (at <= hour * HOUR_MS if which == "before" else at >= (hour + 1) * HOUR_MS)
                }

    # ------------------------------------------------------------ readings

    def refresh(self, bulk: Bulk) -> None:
        """Read at once what came in those hours that are kept and were marked."""
        stale = {key: self._readings[key] for key in self._stale}
        for key, own in _newer(bulk, stale).items():
            before = self._readings.pop(key, None)
            if before is not None:
                self._bytes -= len(before.at_ms) * _ROW_BYTES + _ENTRY_BYTES
                self._keep(key, own)

    def readings(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Readings:
        """A sensor's readings from an hour to before another."""
        if until - first > KEPT_TOGETHER_H:
            return _read(bulk, sensor_id, first * HOUR_MS, until * HOUR_MS)
        hour = first
        parts = []
        while hour < until:
            key = (sensor_id, hour)
            kept = self._readings.pop(key, None)
            if kept is None:
                end = hour + 1
                while end < until and (sensor_id, end) not in self._readings:
                    end += 1
                whole = _read(bulk, sensor_id, hour * HOUR_MS, end * HOUR_MS)
                for each in range(hour, end):
                    own = whole.part(each * HOUR_MS, (each + 1) * HOUR_MS)
                    self._keep((sensor_id, each), own)
                parts.append(whole)
                hour = end
                continue
            self._bytes -= len(kept.at_ms) * _ROW_BYTES + _ENTRY_BYTES
            if key in self._stale:
                kept = _newer(bulk, {key: kept})[key]
            self._keep(key, kept)
            parts.append(kept)
            hour += 1
        return joined(parts)

    def _keep(self, key: tuple[int, int], readings: Readings) -> None:
        self._stale.discard(key)
        self._readings[key] = Readings(
            readings.at_ms.copy(), readings.temperature_c.copy(), readings.rh_pct.copy()
        )
        self._bytes += len(readings.at_ms) * _ROW_BYTES + _ENTRY_BYTES
        while self._bytes > READINGS_BYTES and len(self._readings) > 1:
            oldest = next(iter(self._readings))
            self._bytes -= len(self._readings.pop(oldest).at_ms) * _ROW_BYTES + _ENTRY_BYTES
            self._stale.discard(oldest)

    def around(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Readings:
        """A sensor's readings from an hour to before another, and those that a humidity that came alone in
        them may be paired with."""
        found = self.readings(bulk, sensor_id, first, until)
        if not found.lone:
            return found
        before = self.readings(bulk, sensor_id, first - 1, first)
        # Not kept: it may lie ahead of the hour up to which marks are read.
        after = _read(bulk, sensor_id, until * HOUR_MS, until * HOUR_MS + PAIR_WITHIN_MS)
        return joined([before.part(first * HOUR_MS - PAIR_WITHIN_MS, first * HOUR_MS), found, after])

    # ------------------------------------------------------------ figures of hours

    def outlines(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
        """The outline of each hour, one row each."""
        few = self._outlines.unknown(sensor_id, first, until) <= ONE_BY_ONE_H

        def fetch(low: int, high: int) -> Table:
            if not few:
                return _outlined(bulk, sensor_id, low, high)
            rows = [(h, outline_of(self.readings(bulk, sensor_id, h, h + 1))) for h in range(low, high)]
            return np.array([(h, *row) for h, row in rows if row[N]], dtype=np.float64).reshape(-1, 13)

        return self._outlines.get(sensor_id, first, until, fetch)

    def sends_apart(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> bool:
        """Whether a sensor has readings of one quantity alone in a span of hours."""
        table = self.outlines(bulk, sensor_id, first, until)
        return bool((table[:, N_BOTH] < table[:, N]).any())

    def lags(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
        """How late the readings of each hour came, one row each."""
        return self._lags.get(sensor_id, first, until, lambda a, b: _lags(bulk, sensor_id, a, b))

    def means(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
        """Mean temperature [°C] and vapour pressure [Pa] of each hour, corrected, of the readings that know
        both; one row each."""

        def fetch(low: int, high: int) -> Table:
            rows: list[tuple[float, ...]] = []
            for a in range(low, high, 24):
                b = min(a + 24, high)
                found = self.around(bulk, sensor_id, a, b)
                corrected = corrected_pct(found, self._corrections.get(sensor_id, ()))
                temperature_c = paired(found.at_ms, found.temperature_c, ~np.isnan(found.rh_pct))
                rows += hourly_means(found.at_ms, temperature_c, corrected, a, b)
            return np.array(rows, dtype=np.float64).reshape(-1, 3)

        return self._means.get(sensor_id, first, until, fetch)

    # ------------------------------------------------------------ edges

    def edge(self, bulk: Bulk, sensor_id: int, which: str, at_ms: int) -> int | None:
        """Instant of a sensor's last reading `before` an instant, or its first `after` one."""
        edges = self._edges.setdefault(sensor_id, {})
        if (which, at_ms) not in edges:
            if len(edges) > 8:
                edges.clear()
            edge, side = ("MAX", "<") if which == "before" else ("MIN", ">")
            moment = bulk.instant_of(f"{edge}(observed_at)")
            ((found,),) = bulk.rows(
                f"SELECT {moment} FROM reading WHERE sensor_id = ? AND observed_at {side} ?",
                (sensor_id, bulk.instant(at_ms)),
            )
            edges[which, at_ms] = None if found is None else int(found)
        return edges[which, at_ms]


# ---------------------------------------------------------------- readings from the book


_COUNTS = "COUNT(*), COUNT(temperature_c), COUNT(rh_pct)"
_UP_TO = "WHERE sensor_id = ? AND observed_at >= ? AND observed_at <= ?"


def _read(bulk: Bulk, sensor_id: int, since_ms: int, until_ms: int) -> Readings:
    return Readings(*read_readings(bulk, sensor_id, since_ms, until_ms))


def _newer(bulk: Bulk, kept: Mapping[Key, Readings]) -> dict[Key, Readings]:
    """Hours' readings, of which some are kept: only those that came, if they are all newer."""
    found = _came(bulk, {key: own for key, own in kept.items() if len(own.at_ms)})
    for (sensor_id, hour), own in kept.items():
        if (sensor_id, hour) not in found:
            own = _read(bulk, sensor_id, hour * HOUR_MS, (hour + 1) * HOUR_MS)
            found[sensor_id, hour] = own
    return found


def _came(bulk: Bulk, kept: Mapping[Key, Readings]) -> dict[Key, Readings]:
    """What is kept and what came after it, of those hours in which nothing came in between.

    What is newer is read first and the rest counted after, so that nothing falls between the two.
    """
    spans = {
        key: (key[0], key[1] * HOUR_MS, int(own.at_ms[-1]), (key[1] + 1) * HOUR_MS)
        for key, own in kept.items()
    }
    fresh: dict[Key, list[tuple[object, ...]]] = {key: [] for key in kept}
    same: dict[Key, bool] = {}
    if bulk.is_sqlite:
        for key, (sensor_id, since, newest, until) in spans.items():
            fresh[key] = bulk.rows(
                "SELECT observed_at, temperature_c, rh_pct FROM reading "
                "WHERE sensor_id = ? AND observed_at > ? AND observed_at < ? ORDER BY observed_at",
                (sensor_id, newest, until),
            )
            counted = bulk.rows(f"SELECT {_COUNTS} FROM reading {_UP_TO}", (sensor_id, since, newest))
            same[key] = tuple(counted[0]) == kept[key].counts
    else:
        # Many in one statement: each would be a way there and back. OFFSET keeps the planner from taking the
        # inner query for a join, and every row of the table with it.
        for keys in _portions(list(kept)):
            asked = ", ".join(
                ["(?::integer, ?::bigint, ?::timestamptz, ?::timestamptz, ?::timestamptz)"] * len(keys)
            )
            values = [
                value
                for key in keys
                for value in (spans[key][0], key[1], *(bulk.instant(at_ms) for at_ms in spans[key][1:]))
            ]
            head = f"FROM (VALUES {asked}) AS asked(id, hour, since, newest, until) CROSS JOIN LATERAL"
            for sensor_id, hour, *row in bulk.rows(
                f"SELECT id, hour, {bulk.instant_of('observed_at')}, temperature_c, rh_pct {head} (SELECT "
                "observed_at, temperature_c, rh_pct FROM reading WHERE sensor_id = id "
                "AND observed_at > newest AND observed_at < until ORDER BY observed_at OFFSET 0) AS came",
                values,
            ):
                fresh[sensor_id, hour].append(tuple(row))
            for sensor_id, hour, *counts in bulk.rows(
                f"SELECT id, hour, n, n_t, n_rh {head} (SELECT COUNT(*) AS n, COUNT(temperature_c) AS n_t, "
                "COUNT(rh_pct) AS n_rh FROM reading WHERE sensor_id = id AND observed_at >= since "
                "AND observed_at <= newest) AS counted",
                values,
            ):
                same[sensor_id, hour] = tuple(counts) == kept[sensor_id, hour].counts
    return {
        key: joined([kept[key], Readings(*columns_of(rows))]) if rows else kept[key]
        for key, rows in fresh.items()
        if same[key]
    }


def _portions(keys: Sequence[Key]) -> Iterator[Sequence[Key]]:
    for start in range(0, len(keys), ASKED_AT_ONCE):
        yield keys[start : start + ASKED_AT_ONCE]


# ---------------------------------------------------------------- figures from readings


def corrected_pct(readings: Readings, corrections: Iterable[tuple[int, float, float]]) -> Floats:
    """Humidity with the corrections that hold, each from its instant on [%]."""
    corrected = readings.rh_pct
    for since, intercept, slope in corrections:
        corrected = np.where(
            readings.at_ms >= since, np.clip(intercept + slope * readings.rh_pct, 0.0, 100.0), corrected
        )
    return corrected


def hourly_means(
    at_ms: Floats, temperature_c: Floats, rh_pct: Floats, first: int, until: int
) -> list[tuple[float, float, float]]:
    """Hour, mean temperature and mean vapour pressure of the hours in which both are known."""
    whole = ~np.isnan(temperature_c) & ~np.isnan(rh_pct)
    whole &= (at_ms >= first * HOUR_MS) & (at_ms < until * HOUR_MS)
    if not whole.any():
        return []
    hours, group = np.unique(at_ms[whole] // HOUR_MS, return_inverse=True)
    count = np.bincount(group)
    temperature_c = temperature_c[whole]
    mean_c = np.bincount(group, weights=temperature_c) / count
    mean_pa = np.bincount(group, weights=vapour_pressure(temperature_c, rh_pct[whole])) / count
    return list(zip(hours.tolist(), mean_c.tolist(), mean_pa.tolist(), strict=True))


def outline_of(readings: Readings) -> tuple[float, ...]:
    """The outline of an hour's readings."""
    n = len(readings.at_ms)
    if not n:
        return (0.0,) * 12
    temperature_c = readings.temperature_c[~np.isnan(readings.temperature_c)]
    rh_pct = readings.rh_pct[~np.isnan(readings.rh_pct)]
    both = np.count_nonzero(~np.isnan(readings.temperature_c) & ~np.isnan(readings.rh_pct))
    return (
        n, len(temperature_c), len(rh_pct), float(both), float(readings.at_ms[0]), float(readings.at_ms[-1]),
        *_extremes(temperature_c), *_extremes(rh_pct),
        float(np.trunc(temperature_c * WHOLE).sum()), float(np.trunc(rh_pct * WHOLE).sum()),
    )  # fmt: skip


def _extremes(values: Floats) -> tuple[float, float]:
    return (float(values.min()), float(values.max())) if len(values) else (np.nan, np.nan)


def _outlined(bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
    """The same from the database, which goes through readings many times faster than it hands them out."""
    ms = bulk.instant_of

    def total(column: str) -> str:
        whole = f"CAST({column} * {WHOLE} AS INTEGER)" if bulk.is_sqlite else f"TRUNC({column} * {WHOLE})"
        return f"COALESCE(SUM({whole}), 0)"

    rows = bulk.rows(
        f"SELECT {_hour(bulk)} AS hour, COUNT(*), COUNT(temperature_c), COUNT(rh_pct), "
        f"COUNT(temperature_c + rh_pct), {ms('MIN(observed_at)')}, {ms('MAX(observed_at)')}, "
        "MIN(temperature_c), MAX(temperature_c), MIN(rh_pct), MAX(rh_pct), "
        f"{total('temperature_c')}, {total('rh_pct')} {_BETWEEN} GROUP BY 1",
        _between(bulk, sensor_id, first, until),
    )
    return np.array(rows, dtype=np.float64).reshape(-1, 13)


def _lags(bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
    """Lags in whole seconds: their squares sum up exactly, in any order, for lags of some days."""
    lag_s = (
        "CAST((received_at - observed_at) / 1000 AS REAL)"
        if bulk.is_sqlite
        else "TRUNC(EXTRACT(EPOCH FROM received_at - observed_at)::double precision)"
    )
    rows = bulk.rows(
        "SELECT hour, SUM(own), SUM(own * lag), SUM(own * lag * lag), SUM(1 - own) FROM ("
        f"SELECT {_hour(bulk)} AS hour, CASE clock WHEN 'device' THEN 1 ELSE 0 END AS own, {lag_s} AS lag "
        f"{_BETWEEN}) AS late GROUP BY hour",
        _between(bulk, sensor_id, first, until),
    )
    return np.array(rows, dtype=np.float64).reshape(-1, 5)


_BETWEEN = "FROM reading WHERE sensor_id = ? AND observed_at >= ? AND observed_at < ?"


def _between(bulk: Bulk, sensor_id: int, first: int, until: int) -> tuple[object, ...]:
    return sensor_id, bulk.instant(max(first, 0) * HOUR_MS), bulk.instant(until * HOUR_MS)


def _hour(bulk: Bulk) -> str:
    """The hour of a reading, since 1970; on PostgreSQL of the truncated instant, which is many times faster
    than arithmetic on each."""
    if bulk.is_sqlite:
        return f"observed_at / {HOUR_MS}"
    return "(EXTRACT(EPOCH FROM date_trunc('hour', observed_at, 'UTC'))::bigint / 3600)"
