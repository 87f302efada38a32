"""What the detectors look at: a sensor's readings over a span, their hours, and the sensors beside it."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np

from model.records.acts.trusted import doubt_reason
from model.records.bulk import Bulk
from model.watch.air.air_hours import (
    FAR_MS,
    PAIR_WITHIN_MS,
    Hung,
    Readings,
    Trust,
    corrected_pct,
    paired,
    read_around,
    read_readings,
    settled,
)
from model.watch.trust.cache import HistoryCache
from model.watch.trust.findings import HOUR_MS, OPEN_MS
from model.watch.trust.hourly_stats import (
    LAG_ARRIVALS,
    LAG_N,
    LAG_SQUARES,
    LAG_SUM,
    N_RH,
    N_T,
    RH_SUM,
    T_SUM,
    WHOLE,
    N,
    Table,
    hourly_stats,
)
from model.watch.trust.presence import Day
from model.watch.trust.reconcile import OnRecord
from model.watch.trust.series import Bools, Floats, Nearby, SensorSeries

AT_ONCE = 500
"""Ids in one statement: well under SQLite's smallest limit on variables."""
READINGS_BYTES, STATS_BYTES = 128_000_000, 64_000_000
"""Three days of 200 sensors that send every minute are 40 MB."""
SERIES_KEPT = 24
MOST_AN_HOUR = 120
"""Of an hour with more readings the first of each half minute are looked at: no fault shows in less, and wood
follows no faster. Its air is the mean of all of them."""
THINNED_KEPT = 100_000
"""Of 200 sensors those of three weeks."""

Span = tuple[int, int]


@dataclass
class Caches:
    """What is held of the book between two looks; a look without it comes to the same record."""

    readings: HistoryCache[Readings] = field(default_factory=lambda: HistoryCache(1, READINGS_BYTES))
    stats: HistoryCache[tuple[Table]] = field(default_factory=lambda: HistoryCache(24, STATS_BYTES))
    _signs: tuple[int, int] = (-1, -1)
    _thinned: set[tuple[int, int]] = field(default_factory=set)

    @property
    def size_bytes(self) -> int:
        return self.readings.size_bytes + self.stats.size_bytes

    def forget(self) -> None:
        self.readings.forget()
        self.stats.forget()
        self._thinned.clear()

    def begin(self, book: int, kept_since: int) -> None:
        """Begin a look: a change of the book may have moved readings, and an older hour's may be gone."""
        if self._signs != (book, kept_since) or len(self._thinned) > THINNED_KEPT:
            self.forget()
        self._signs = book, kept_since

    def hours(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Readings:
        """A sensor's readings in [first, until) hours, thinned where they are many."""

        def fetch(a: int, b: int) -> list[Readings]:
            whole = read_readings(bulk, sensor_id, a * HOUR_MS, b * HOUR_MS)
            edges = np.searchsorted(whole.at_ms, np.arange(a, b + 1, dtype=np.int64) * HOUR_MS).tolist()
            found = []
            for hour, low, high in zip(range(a, b), edges[:-1], edges[1:], strict=True):
                own = Readings(*(column[low:high].copy() for column in whole))
                if len(own.at_ms) > MOST_AN_HOUR:
                    self._thinned.add((sensor_id, hour))
                    own = thinned(own)
                found.append(own)
            return found

        return joined(self.readings.get(sensor_id, first, until, fetch, self._signs[1]))

    def around(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Readings:
        """Readings in [first, until) hours as they were judged, with half an hour either side for pairing."""
        own = self.hours(bulk, sensor_id, max(first - 1, 0), until)
        if any((sensor_id, hour) in self._thinned for hour in range(first - 1, until)):
            return read_around(bulk, sensor_id, first, until)
        since = int(np.searchsorted(own.at_ms, first * HOUR_MS - PAIR_WITHIN_MS))
        # Not kept: it may lie ahead of the hour up to which marks are read.
        after = read_readings(bulk, sensor_id, until * HOUR_MS, until * HOUR_MS + PAIR_WITHIN_MS)
        return joined([Readings(*(column[since:] for column in own)), after])

    def changed(self, marks: Iterable[tuple[int, int]]) -> None:
        """Hours of sensors that are marked."""
        for sensor_id, hour in marks:
            self._thinned.discard((sensor_id, hour))
            self.readings.changed(sensor_id, hour)
            self.stats.changed(sensor_id, hour)


@dataclass
class Library:
    """Readings up to the end of an hour, for one look.

    Spans begin with an hour and end with one: instants are widened to that.

    Attributes
    ----------
    end_ms : int
        Nothing later is looked at; the last millisecond of an hour.
    beat : callable
        Called before each span of readings is read.
    """

    bulk: Bulk
    caches: Caches
    trust: Trust
    names: Mapping[int, str]
    end_ms: int
    beat: Callable[[], object] = lambda: None
    series: Callable[..., SensorSeries] = field(init=False)
    part: Callable[..., SensorSeries] = field(init=False)

    def __post_init__(self) -> None:
        # A place's sensors look at each other.
        self.series = lru_cache(maxsize=SERIES_KEPT)(self._series)
        self.part = lru_cache(maxsize=SERIES_KEPT)(self._part)

    def _hours(self, since_ms: int, until_ms: int) -> tuple[int, int]:
        """First hour of a span and the hour after its last."""
        return max(since_ms, 0) // HOUR_MS, min(until_ms, self.end_ms) // HOUR_MS + 1

    # ------------------------------------------------------------ one sensor

    def _series(self, sensor_id: int, since_ms: int, until_ms: int, by_hour: bool = False) -> SensorSeries:
        """A sensor's readings over a span, or the mean of each of its hours, at its beginning."""
        self.beat()
        first, until = self._hours(since_ms, until_ms)
        if by_hour:
            found = self._hour_means(sensor_id, first, until)
        else:
            found = self.caches.hours(self.bulk, sensor_id, first, until)
        found = settled(*found)
        return SensorSeries(
            self.names[sensor_id],
            found.at_ms.astype(np.int64),
            paired(found.at_ms, found.temperature_c, ~np.isnan(found.rh_pct)),
            found.rh_pct,
            corrected_pct(found.at_ms, found.rh_pct, self.trust.corrections.get(sensor_id, ())),
            found.temperature_c,
            self.next_ms(sensor_id, until * HOUR_MS - 1) is None,
        )

    def _stats(self, sensor_id: int, first: int, until: int) -> Table:
        def fetch(a: int, b: int) -> list[tuple[Table]]:
            table = hourly_stats(self.bulk, sensor_id, a, b)
            return [(table[row : row + 24].copy(),) for row in range(0, b - a, 24)]

        days = self.caches.stats.get(sensor_id, first, until, fetch, self.trust.kept_since)
        return np.concatenate([day for (day,) in days])[first % 24 : first % 24 + until - first]

    def _hour_means(self, sensor_id: int, first: int, until: int) -> Readings:
        table = self._stats(sensor_id, first, until)
        heard = np.flatnonzero(table[:, N] > 0.0)
        with np.errstate(invalid="ignore"):  # of a quantity that wasn't heard: NaN
            temperature_c: Floats = table[heard, T_SUM] / WHOLE / table[heard, N_T]
            rh_pct: Floats = table[heard, RH_SUM] / WHOLE / table[heard, N_RH]
        return Readings(np.asarray((first + heard) * HOUR_MS, dtype=np.float64), temperature_c, rh_pct)

    def heard_hours(self, sensor_id: int, since_ms: int, until_ms: int) -> int:
        """In how many hours of a span it was heard."""
        table = self._stats(sensor_id, *self._hours(since_ms, until_ms))
        return int(np.count_nonzero(table[:, N] > 0.0))

    # ------------------------------------------------------------ those beside it

    def beside(self, sensor_id: int, since_ms: int, until_ms: int, by_hour: bool = False) -> Nearby:
        """The sensors that hung where and when this one did, within a span."""
        spans: dict[int, list[Span]] = {}
        for other, a, b in self.company(sensor_id):
            if a <= until_ms and b > since_ms:
                spans.setdefault(other, []).append((a, b))

        parts = [
            self.part(other, tuple(own), since_ms, until_ms, by_hour) for other, own in sorted(spans.items())
        ]
        return Nearby([part for part in parts if len(part.hours.hours)])

    def _part(
        self, other: int, spans: tuple[Span, ...], since_ms: int, until_ms: int, by_hour: bool
    ) -> SensorSeries:
        """A sensor's readings within a span, of the time it hung there."""
        whole = self.series(other, since_ms, until_ms, by_hour)
        keep: Bools = np.zeros(len(whole), dtype=bool)
        for a, b in spans:
            keep |= (whole.at_ms >= a) & (whole.at_ms < b)
        return whole.where(keep)

    def company(self, sensor_id: int) -> list[tuple[int, int, int]]:
        """With which sensors a sensor shared a place, from when to when."""
        return [
            (other.sensor_id, max(hung.since_ms, other.since_ms), min(hung.until_ms, other.until_ms))
            for hung in self._hangings[0].get(sensor_id, ())
            for other in self._hangings[1][hung.place_id]
            if other.sensor_id != sensor_id
            and other.since_ms < hung.until_ms
            and hung.since_ms < other.until_ms
        ]

    @cached_property
    def _hangings(self) -> tuple[dict[int, list[Hung]], dict[int, list[Hung]]]:
        """By sensor, and by place."""
        by_sensor: dict[int, list[Hung]] = {}
        by_place: dict[int, list[Hung]] = {}
        for hung in self.trust.hangings:
            by_sensor.setdefault(hung.sensor_id, []).append(hung)
            by_place.setdefault(hung.place_id, []).append(hung)
        return by_sensor, by_place

    def hung(self, sensor_id: int) -> list[Span]:
        """When a sensor hung somewhere."""
        return [(h.since_ms, h.until_ms) for h in self._hangings[0].get(sensor_id, ())]

    # ------------------------------------------------------------ edges

    def previous_ms(self, sensor_id: int, before_ms: int) -> int | None:
        """Instant of a sensor's last reading before an instant."""
        return self._edge(sensor_id, "MAX", "<", min(before_ms, self.end_ms + 1))

    def next_ms(self, sensor_id: int, after_ms: int) -> int | None:
        """Instant of a sensor's first reading after an instant."""
        if after_ms >= min(self.end_ms, FAR_MS):
            return None
        found = self._edge(sensor_id, "MIN", ">", after_ms)
        return found if found is not None and found <= self.end_ms else None

    def _edge(self, sensor_id: int, edge: str, side: str, at_ms: int) -> int | None:
        ((found,),) = self.bulk.rows(
            f"SELECT {self.bulk.instant_of(f'{edge}(observed_at)')} FROM reading "
            f"WHERE sensor_id = ? AND observed_at {side} ?",
            (sensor_id, self.bulk.instant(max(at_ms, 0))),
        )
        return None if found is None else int(found)

    # ------------------------------------------------------------ clocks

    def days(self, sensor_id: int, first_day: int, last_day: int) -> list[Day]:
        """What `presence.wrong_clock` needs of each day."""
        first, until = self._hours(first_day * 24 * HOUR_MS, (last_day + 1) * 24 * HOUR_MS - 1)
        table = self._stats(sensor_id, first, until)
        heard = np.flatnonzero(table[:, N] > 0.0)
        day, group = np.unique((first + heard) // 24, return_inverse=True)
        n, total, squares, arrivals = (
            np.bincount(group, weights=table[heard, column])
            for column in (LAG_N, LAG_SUM, LAG_SQUARES, LAG_ARRIVALS)
        )
        mean = total / np.maximum(n, 1.0)
        spread = np.sqrt(np.maximum(squares / np.maximum(n, 1.0) - mean * mean, 0.0))
        if not self._names_instants(sensor_id):
            # Arrival is all there is: beside readings of a file, which have instants, that is no fault.
            arrivals = np.zeros_like(arrivals)
        return [
            (int(d), int(own), 1000.0 * float(lag), 1000.0 * float(wide), int(others))
            for d, own, lag, wide, others in zip(day, n, mean, spread, arrivals, strict=True)
        ]

    def _names_instants(self, sensor_id: int) -> bool:
        """Whether any of a sensor's messages can carry an instant of its own."""
        found = self.bulk.rows("SELECT payload FROM binding WHERE sensor_id = ?", (sensor_id,))
        readings = [json.loads(told) if isinstance(told, str | bytes) else told for (told,) in found]
        return not readings or any(
            str(told.get("shape", "")).startswith("senml")
            or ((told.get("time") or told.get("shared_time")) and "ago" not in told.get("time_unit", ""))
            for told in readings
        )


def thinned(readings: Readings) -> Readings:
    """The first readings of each half minute: one, or all of its instant."""
    slot = readings.at_ms // (HOUR_MS // MOST_AN_HOUR)
    first = np.searchsorted(slot, slot)  # the first of its half minute, for each reading
    keep = readings.at_ms == readings.at_ms[first]
    return Readings(*(column[keep] for column in readings))


def joined(parts: Sequence[Readings]) -> Readings:
    """Readings one after another."""
    columns = zip(*parts, strict=True) if parts else [[np.empty(0)]] * 3
    return Readings(*(np.concatenate(column) for column in columns))


def read_doubts(bulk: Bulk, sensor_ids: Sequence[int]) -> dict[int, list[OnRecord]]:
    """Every doubt of these sensors, by sensor, in the order of their beginnings."""
    found: dict[int, list[OnRecord]] = {sensor_id: [] for sensor_id in sensor_ids}
    ms = bulk.instant_of
    for start in range(0, len(sensor_ids), AT_ONCE):
        ids = sensor_ids[start : start + AT_ONCE]
        for sensor_id, id_, kind, since, until, reason, undone in bulk.rows(
            f"SELECT sensor_id, id, kind, {ms('since_at')}, {ms('until_at')}, reason, "
            f"undone_at IS NOT NULL FROM doubt WHERE sensor_id IN ({', '.join('?' * len(ids))}) "
            "ORDER BY since_at, id",
            ids,
        ):
            until = OPEN_MS if until is None else until
            row = OnRecord(id_, kind, since, until, doubt_reason(reason), bool(undone))
            found[sensor_id].append(row)
    return found
