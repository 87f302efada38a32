"""What the detectors look at, from the shelf: a sensor's readings over a span, and those beside it."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from model.watch.air_hours import FAR_MS, Hung, Trust, paired, settled
from model.watch.bulk import Bulk
from model.watch.trust import screens
from model.watch.trust.figures import (
    LAG_ARRIVALS,
    LAG_N,
    LAG_SQUARES,
    LAG_SUM,
    LAST,
    N_RH,
    N_T,
    RH_SUM,
    T_SUM,
    WHOLE,
    N,
    corrected_pct,
)
from model.watch.trust.findings import HOUR_MS, OPEN_MS
from model.watch.trust.kept import Readings
from model.watch.trust.presence import Day
from model.watch.trust.reconcile import OnRecord
from model.watch.trust.series import Beside, Bools, Floats, Hourly, SensorSeries, hourly
from model.watch.trust.shelf import Shelf

AT_ONCE = 500
"""Ids in one statement: well under SQLite's smallest limit on variables."""

Span = tuple[int, int]


@dataclass
class Library:
    """Readings up to the end of an hour, asked for again and again while a book is looked through.

    Spans begin with an hour and end with one: instants are widened to that.

    Attributes
    ----------
    end_ms : int
        Nothing later is looked at; the last millisecond of an hour.
    """

    bulk: Bulk
    shelf: Shelf
    trust: Trust
    names: Mapping[int, str]
    end_ms: int
    _companies: dict[int, list[tuple[int, int, int]]] = field(default_factory=dict)
    _by_hour: dict[tuple[int, int, int], SensorSeries] = field(default_factory=dict)
    _means_by_hour: dict[tuple[int, int, int], Hourly] = field(default_factory=dict)

    def _hours(self, since_ms: int, until_ms: int) -> tuple[int, int]:
        """First hour of a span and the hour after its last."""
        return max(since_ms, 0) // HOUR_MS, min(until_ms, self.end_ms) // HOUR_MS + 1

    # ------------------------------------------------------------ one sensor

    def series(self, sensor_id: int, since_ms: int, until_ms: int) -> SensorSeries:
        """A sensor's readings over a span."""
        first, until = self._hours(since_ms, until_ms)
        found = self.shelf.readings(self.bulk, sensor_id, first, until)
        return self._series(sensor_id, found, self.to_the_last(sensor_id, until))

    def by_hour(self, sensor_id: int, since_ms: int, until_ms: int) -> SensorSeries:
        """The mean of each hour of a span, at its beginning; of hours in which anything was heard."""
        first, until = self._hours(since_ms, until_ms)
        key = (sensor_id, first, until)
        if key not in self._by_hour:
            self._by_hour[key] = self._read_by_hour(sensor_id, first, until)
        return self._by_hour[key]

    def _read_by_hour(self, sensor_id: int, first: int, until: int) -> SensorSeries:
        table = self.shelf.outlines(self.bulk, sensor_id, first, until)
        heard = np.flatnonzero(table[:, N] > 0.0)
        with np.errstate(invalid="ignore"):  # of a quantity that wasn't heard: NaN
            temperature_c: Floats = table[heard, T_SUM] / WHOLE / table[heard, N_T]
            rh_pct: Floats = table[heard, RH_SUM] / WHOLE / table[heard, N_RH]
        found = Readings(np.asarray((first + heard) * HOUR_MS, dtype=np.float64), temperature_c, rh_pct)
        return self._series(sensor_id, found, self.to_the_last(sensor_id, until))

    def heard_hours(self, sensor_id: int, since_ms: int, until_ms: int) -> int:
        """In how many hours of a span it was heard."""
        table = self.shelf.outlines(self.bulk, sensor_id, *self._hours(since_ms, until_ms))
        return int(np.count_nonzero(table[:, N] > 0.0))

    def _series(self, sensor_id: int, found: Readings, to_the_last: bool) -> SensorSeries:
        found = Readings(*settled(*found))
        return SensorSeries(
            self.names[sensor_id],
            found.at_ms.astype(np.int64),
            paired(found.at_ms, found.temperature_c, ~np.isnan(found.rh_pct)),
            found.rh_pct,
            corrected_pct(found, self.trust.corrections.get(sensor_id, ())),
            found.temperature_c,
            to_the_last,
        )

    def to_the_last(self, sensor_id: int, until: int) -> bool:
        """Whether nothing comes from an hour on."""
        return self.next_ms(sensor_id, until * HOUR_MS - 1) is None

    # ------------------------------------------------------------ those beside it

    def beside(self, sensor_id: int, since_ms: int, until_ms: int) -> Beside:
        """The sensors that hung where and when this one did, within a span."""
        first, until = self._hours(since_ms, until_ms)
        spans = self._spans_beside(sensor_id, since_ms, until_ms)
        heard = [other for other in spans if self._was_heard(other, spans[other], first, until)]

        def readings() -> list[SensorSeries]:
            found = []
            for other in heard:
                whole = self.series(other, since_ms, until_ms)
                found.append(whole.where(_within(whole.at_ms, spans[other])))
            return found

        return Beside(
            readings,
            [self.names[other] for other in heard],
            lambda: [self._means(other, spans[other], first, until) for other in heard],
        )

    def beside_by_hour(self, sensor_id: int, since_ms: int, until_ms: int) -> Beside:
        """The same by the means of their hours."""
        found, means = [], []
        for other, spans in self._spans_beside(sensor_id, since_ms, until_ms).items():
            whole = self.by_hour(other, since_ms, until_ms)
            keep = _within(whole.at_ms, spans)
            if keep.any():
                found.append(whole.where(keep))
                if not keep.all():
                    means.append(hourly(found[-1]))
                    continue
                key = (other, *self._hours(since_ms, until_ms))
                if key not in self._means_by_hour:  # a place's sensors look at each other's
                    self._means_by_hour[key] = hourly(whole)
                means.append(self._means_by_hour[key])
        return Beside(found, means=lambda: means)

    def _spans_beside(self, sensor_id: int, since_ms: int, until_ms: int) -> dict[int, list[Span]]:
        found: dict[int, list[Span]] = {}
        for other, a, b in self.company(sensor_id):
            if a <= until_ms and b > since_ms:
                found.setdefault(other, []).append((a, b))
        return dict(sorted(found.items()))

    def _was_heard(self, other: int, spans: Sequence[Span], first: int, until: int) -> bool:
        """Whether a sensor has readings while it hung there."""
        table = self.shelf.outlines(self.bulk, other, first, until)
        heard = table[:, N] > 0.0
        inside, cut = _whole_hours(spans, first, until)
        if (heard & inside).any():
            return True
        return any(len(self._cut(other, spans, first + int(row))) for row in np.flatnonzero(heard & cut))

    def _means(self, other: int, spans: Sequence[Span], first: int, until: int) -> Hourly:
        """Hourly means of a sensor while it hung there; an hour in which it was hung or taken down counts
        with the readings of its part."""
        inside, cut = _whole_hours(spans, first, until)
        table = self.shelf.means(self.bulk, other, first, until)
        rows = {int(row): table[row] for row in np.flatnonzero(inside & ~np.isnan(table[:, 0]))}
        for row in np.flatnonzero(cut).tolist():
            part = self._cut(other, spans, first + row)
            known = ~np.isnan(part.temperature_c) & ~np.isnan(part.true_rh_pct)
            if known.any():
                from_part = hourly(part)
                rows[row] = np.array([from_part.temperature_c[0], from_part.pressure_pa[0]])
        order = sorted(rows)
        values = np.array([rows[row] for row in order], dtype=np.float64).reshape(-1, 2)
        return Hourly(first + np.array(order, dtype=np.int64), values[:, 0], values[:, 1])

    def _cut(self, sensor_id: int, spans: Sequence[Span], hour: int) -> SensorSeries:
        found = self.shelf.around(self.bulk, sensor_id, hour, hour + 1)
        whole = self._series(sensor_id, found, to_the_last=False)
        here = (whole.at_ms >= hour * HOUR_MS) & (whole.at_ms < (hour + 1) * HOUR_MS)
        return whole.where(here & _within(whole.at_ms, spans))

    def company(self, sensor_id: int) -> list[tuple[int, int, int]]:
        """With which sensors a sensor shared a place, from when to when."""
        if sensor_id not in self._companies:
            self._companies[sensor_id] = [
                (other.sensor_id, max(hung.since_ms, other.since_ms), min(hung.until_ms, other.until_ms))
                for hung in self._hangings[0].get(sensor_id, ())
                for other in self._hangings[1][hung.place_id]
                if other.sensor_id != sensor_id
                and other.since_ms < hung.until_ms
                and hung.since_ms < other.until_ms
            ]
        return self._companies[sensor_id]

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

    # ------------------------------------------------------------ what can't be there

    def unclear(self, sensor_id: int, since_ms: int, until_ms: int, now_ms: int) -> set[str]:
        """The quick kinds that outlines of hours can't rule out within a span."""
        first, until = self._hours(since_ms, until_ms)
        own = self.shelf.outlines(self.bulk, sensor_id, first, until)
        coolest_c = np.full(until - first, np.nan)
        for other, spans in self._spans_beside(sensor_id, since_ms, until_ms).items():
            low_c = screens.lowest(self.shelf.outlines(self.bulk, other, first, until))
            inside, cut = _whole_hours(spans, first, until)
            np.fmin(coolest_c, low_c, out=coolest_c, where=inside | cut)
        return screens.unclear(own, coolest_c, now_ms, self.to_the_last(sensor_id, until))

    # ------------------------------------------------------------ edges

    def previous_ms(self, sensor_id: int, before_ms: int) -> int | None:
        """Instant of a sensor's last reading before an instant."""
        if before_ms <= 0:
            return None
        before_ms = min(before_ms, self.end_ms + 1)
        if before_ms % HOUR_MS == 0:
            # The outlines of the day before are looked at anyway, and mostly tell.
            first, until = before_ms // HOUR_MS - 24, before_ms // HOUR_MS
            last = self.shelf.outlines(self.bulk, sensor_id, max(first, 0), until)[:, LAST]
            if not np.isnan(last).all():
                return int(np.nanmax(last))
        return self.shelf.edge(self.bulk, sensor_id, "before", before_ms)

    def next_ms(self, sensor_id: int, after_ms: int) -> int | None:
        """Instant of a sensor's first reading after an instant."""
        if after_ms >= min(self.end_ms, FAR_MS):
            return None
        found = self.shelf.edge(self.bulk, sensor_id, "after", after_ms)
        return found if found is not None and found <= self.end_ms else None

    # ------------------------------------------------------------ clocks

    def days(self, sensor_id: int, first_day: int, last_day: int) -> list[Day]:
        """What `presence.wrong_clock` needs of each day."""
        first, until = self._hours(first_day * 24 * HOUR_MS, (last_day + 1) * 24 * HOUR_MS - 1)
        table = self.shelf.lags(self.bulk, sensor_id, first, until)
        heard = np.flatnonzero(~np.isnan(table[:, LAG_N]))
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


def _within(at_ms: NDArray[np.int64], spans: Iterable[Span]) -> Bools:
    keep = np.zeros(len(at_ms), dtype=bool)
    for a, b in spans:
        keep |= (at_ms >= a) & (at_ms < b)
    return keep


def _whole_hours(spans: Sequence[Span], first: int, until: int) -> tuple[Bools, Bools]:
    """Which hours lie wholly within one of some spans, and which of the others are touched by one."""
    if any(a <= first * HOUR_MS and until * HOUR_MS <= b for a, b in spans):
        return np.ones(until - first, dtype=bool), np.zeros(until - first, dtype=bool)
    begin = np.arange(first, until, dtype=np.int64) * HOUR_MS
    inside = np.zeros(len(begin), dtype=bool)
    touched = np.zeros(len(begin), dtype=bool)
    for a, b in spans:
        inside |= (begin >= a) & (begin + HOUR_MS <= b)
        touched |= (begin + HOUR_MS > a) & (begin < b)
    return inside, touched & ~inside


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
            row = OnRecord(id_, kind, since, OPEN_MS if until is None else until, reason, bool(undone))
            found[sensor_id].append(row)
    return found
