"""What is kept of readings between two looks, so that a look reads what is new and not days of readings.

Three things are kept of a sensor, each bounded in bytes, the longest unasked thrown away first: the outline
of each hour (how many readings, first and last, lowest and highest, and sums), the mean air of hours beside
which another sensor was looked at, and the readings of some hours themselves. None of them depends on the
order in which readings came, or on whether it was made at once or bit by bit:

- counts, extremes and whole numbers summed below 2**53 are exact in any order, in the database and here;
- means are made of an hour's readings in the order of their instants, always of the whole hour;
- readings are only ever added. So those kept of an hour are whole when as many as are kept, of each
  quantity, lie up to the newest of them, and what is newer is added. Other
  changes (a sensor put in another's place, old readings let go) change the book or `kept_since`, upon which
  all readings kept are forgotten.

A mark says which hour changed. An hour that was read and not marked since is as it was; whoever else may
have deleted marks makes the keeper `forget`.
"""

from collections.abc import Iterable

import numpy as np

from model.watch.air_hours import HOUR_MS, PAIR_WITHIN_MS, Trust, paired, settled
from model.watch.bulk import Bulk
from model.watch.trust.figures import N_BOTH, N, corrected_pct, hourly_means, lags_of, outline_of, outlines_of
from model.watch.trust.hours import HourTable, Table
from model.watch.trust.kept import Readings, joined, newer, read

OUTLINES_BYTES, LAGS_BYTES, MEANS_BYTES = 48_000_000, 16_000_000, 16_000_000
READINGS_BYTES = 64_000_000
"""The running hour and the last of 200 sensors that send every second are 35 MB."""
KEPT_TOGETHER_H = 7 * 24
"""Spans longer than this are read and not kept."""
ONE_BY_ONE_H = 2
"""So few hours to outline are read reading by reading, since their air is made next."""
_ROW_BYTES, _ENTRY_BYTES = 24, 700


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
        self._kept_since = 0
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
            for table in (self._outlines, self._lags, self._means):
                table.forget_before(trust.kept_since)
            self._edges = {}
            for key in [key for key in self._readings if key[1] < trust.kept_since]:
                self._bytes -= len(self._readings.pop(key).at_ms) * _ROW_BYTES + _ENTRY_BYTES
                self._stale.discard(key)
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
        for key, own in newer(bulk, stale).items():
            before = self._readings.pop(key, None)
            if before is not None:
                self._bytes -= len(before.at_ms) * _ROW_BYTES + _ENTRY_BYTES
                self._keep(key, own)

    def readings(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Readings:
        """A sensor's readings from an hour to before another."""
        if until - first > KEPT_TOGETHER_H:
            return read(bulk, sensor_id, first * HOUR_MS, until * HOUR_MS)
        hour = first
        parts = []
        while hour < until:
            key = (sensor_id, hour)
            kept = self._readings.pop(key, None)
            if kept is None:
                end = hour + 1
                while end < until and (sensor_id, end) not in self._readings:
                    end += 1
                whole = read(bulk, sensor_id, hour * HOUR_MS, end * HOUR_MS)
                for each in range(hour, end):
                    own = whole.part(each * HOUR_MS, (each + 1) * HOUR_MS)
                    self._keep((sensor_id, each), own)
                parts.append(whole)
                hour = end
                continue
            self._bytes -= len(kept.at_ms) * _ROW_BYTES + _ENTRY_BYTES
            if key in self._stale:
                kept = newer(bulk, {key: kept})[key]
            self._keep(key, kept)
            parts.append(kept)
            hour += 1
        return joined(parts)

    def _keep(self, key: tuple[int, int], readings: Readings) -> None:
        self._stale.discard(key)
        if key[1] < self._kept_since:
            return  # it may go at any time
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
        after = read(bulk, sensor_id, until * HOUR_MS, until * HOUR_MS + PAIR_WITHIN_MS)
        return joined([before.part(first * HOUR_MS - PAIR_WITHIN_MS, first * HOUR_MS), found, after])

    # ------------------------------------------------------------ figures of hours

    def outlines(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
        """The outline of each hour, one row each."""
        few = self._outlines.unknown(sensor_id, first, until) <= ONE_BY_ONE_H

        def fetch(low: int, high: int) -> Table:
            if not few:
                return outlines_of(bulk, sensor_id, low, high)
            rows = [(h, outline_of(self.readings(bulk, sensor_id, h, h + 1))) for h in range(low, high)]
            return np.array([(h, *row) for h, row in rows if row[N]], dtype=np.float64).reshape(-1, 13)

        return self._outlines.get(sensor_id, first, until, fetch)

    def sends_apart(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> bool:
        """Whether a sensor has readings of one quantity alone in a span of hours."""
        table = self.outlines(bulk, sensor_id, first, until)
        return bool((table[:, N_BOTH] < table[:, N]).any())

    def lags(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
        """How late the readings of each hour came, one row each."""
        return self._lags.get(sensor_id, first, until, lambda a, b: lags_of(bulk, sensor_id, a, b))

    def means(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
        """Mean temperature [°C] and vapour pressure [Pa] of each hour, corrected, of the readings that know
        both; one row each."""

        def fetch(low: int, high: int) -> Table:
            rows: list[tuple[float, ...]] = []
            for a in range(low, high, 24):
                b = min(a + 24, high)
                found = Readings(*settled(*self.around(bulk, sensor_id, a, b)))
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
