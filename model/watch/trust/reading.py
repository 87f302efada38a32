"""Reads what the detectors look at from the book: a sensor's readings over a span, and those beside it."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from model.watch.air_hours import FAR_MS, Trust, paired
from model.watch.bulk import Bulk
from model.watch.trust.findings import DAY_MS, HOUR_MS, OPEN_MS
from model.watch.trust.presence import Day
from model.watch.trust.reconcile import OnRecord
from model.watch.trust.series import Beside, Series

KEPT = 1_000_000
"""Readings kept while a book is looked through, some 50 MB: sensors of one place look at each other's."""

Span = tuple[int, int]


@dataclass
class Library:
    """Readings up to an instant, asked for again and again while a book is looked through.

    Attributes
    ----------
    end_ms : int
        Nothing later is looked at.
    """

    bulk: Bulk
    trust: Trust
    names: Mapping[int, str]
    end_ms: int
    _kept: dict[tuple[int, int, int, bool], Series] = field(default_factory=dict)
    _kept_readings: int = 0

    def series(self, sensor_id: int, since_ms: int, until_ms: int, by_hour: bool = False) -> Series:
        """A sensor's readings over a span, both ends included; or the mean of each hour, at its beginning,
        which the database makes many times faster than it hands out readings."""
        until_ms = min(until_ms, self.end_ms)
        key = (sensor_id, since_ms, until_ms, by_hour)
        if key not in self._kept:
            if self._kept_readings >= KEPT:
                self._kept.clear()
                self._kept_readings = 0
            self._kept[key] = self._read(*key)
            self._kept_readings += len(self._kept[key])
        return self._kept[key]

    def _read(self, sensor_id: int, since_ms: int, until_ms: int, by_hour: bool) -> Series:
        moment = self.bulk.instant_of("observed_at")
        where = "FROM reading WHERE sensor_id = ? AND observed_at >= ? AND observed_at <= ?"
        hour = f"{moment} / {HOUR_MS} * {HOUR_MS}"
        rows = self.bulk.rows(
            f"SELECT {hour} AS at, AVG(temperature_c), AVG(rh_pct) {where} GROUP BY at ORDER BY at"
            if by_hour
            else f"SELECT {moment}, temperature_c, rh_pct {where} ORDER BY observed_at",
            (sensor_id, self.bulk.instant(max(since_ms, 0)), self.bulk.instant(until_ms)),
        )
        table = np.array(rows, dtype=np.float64).reshape(-1, 3)
        at, temperature_c, rh_pct = (np.ascontiguousarray(table[:, column]) for column in range(3))
        corrected = rh_pct
        for since, intercept, slope in self.trust.corrections.get(sensor_id, ()):
            corrected = np.where(at >= since, np.clip(intercept + slope * rh_pct, 0.0, 100.0), corrected)
        temperature_c = paired(at, temperature_c, ~np.isnan(rh_pct))
        to_the_last = until_ms >= self.end_ms or self.next_ms(sensor_id, until_ms) is None
        return Series(
            self.names[sensor_id], at.astype(np.int64), temperature_c, rh_pct, corrected, to_the_last
        )

    def beside(self, sensor_id: int, since_ms: int, until_ms: int, by_hour: bool = False) -> Beside:
        """The sensors that hung where and when this one did, within a span."""
        by_other: dict[int, list[Span]] = {}
        for other, a, b in self.company(sensor_id):
            if a <= until_ms and b > since_ms:
                by_other.setdefault(other, []).append((a, b))
        others = []
        for other, spans in sorted(by_other.items()):
            whole = self.series(other, since_ms, until_ms, by_hour)
            keep = np.zeros(len(whole), dtype=bool)
            for a, b in spans:
                keep |= (whole.at_ms >= a) & (whole.at_ms < b)
            if keep.any():
                others.append(whole.where(keep))
        return Beside(others)

    def company(self, sensor_id: int) -> list[tuple[int, int, int]]:
        """With which sensors a sensor shared a place, from when to when."""
        own = [hung for hung in self.trust.hangings if hung.sensor_id == sensor_id]
        return [
            (other.sensor_id, max(hung.since_ms, other.since_ms), min(hung.until_ms, other.until_ms))
            for hung in own
            for other in self.trust.hangings
            if other.sensor_id != sensor_id
            and other.place_id == hung.place_id
            and other.since_ms < hung.until_ms
            and hung.since_ms < other.until_ms
        ]

    def hung(self, sensor_id: int) -> list[Span]:
        """When a sensor hung somewhere."""
        return [(h.since_ms, h.until_ms) for h in self.trust.hangings if h.sensor_id == sensor_id]

    # ------------------------------------------------------------ edges

    def previous_ms(self, sensor_id: int, before_ms: int) -> int | None:
        """Instant of a sensor's last reading before an instant."""
        if before_ms <= 0:
            return None
        return self._edge("MAX", "<", sensor_id, min(before_ms, self.end_ms + 1))

    def next_ms(self, sensor_id: int, after_ms: int) -> int | None:
        """Instant of a sensor's first reading after an instant."""
        found = None if after_ms >= FAR_MS else self._edge("MIN", ">", sensor_id, after_ms)
        return found if found is not None and found <= self.end_ms else None

    def _edge(self, which: str, side: str, sensor_id: int, at_ms: int) -> int | None:
        moment = self.bulk.instant_of(f"{which}(observed_at)")
        ((found,),) = self.bulk.rows(
            f"SELECT {moment} FROM reading WHERE sensor_id = ? AND observed_at {side} ?",
            (sensor_id, self.bulk.instant(at_ms)),
        )
        return None if found is None else int(found)

    # ------------------------------------------------------------ clocks

    def days(self, sensor_id: int, first_day: int, last_day: int) -> list[Day]:
        """What `presence.wrong_clock` needs of each day."""
        observed, received = self.bulk.instant_of("observed_at"), self.bulk.instant_of("received_at")
        rows = self.bulk.rows(
            "SELECT day, SUM(own), SUM(own * lag), SUM(own * lag * lag), SUM(1 - own) FROM ("
            f"SELECT {observed} / {DAY_MS} AS day, CASE clock WHEN 'device' THEN 1 ELSE 0 END AS own, "
            f"({received} - {observed}) / 1000.0 AS lag FROM reading "
            "WHERE sensor_id = ? AND observed_at >= ? AND observed_at < ?) AS late GROUP BY day ORDER BY day",
            (
                sensor_id,
                self.bulk.instant(max(first_day, 0) * DAY_MS),
                self.bulk.instant(min((last_day + 1) * DAY_MS, self.end_ms + 1)),
            ),
        )
        days = []
        for day, n, lag, squares, arrivals in rows:
            mean = float(lag) / n if n else 0.0
            spread = max(float(squares) / n - mean * mean, 0.0) ** 0.5 if n else 0.0
            days.append((int(day), int(n), 1000.0 * mean, 1000.0 * spread, int(arrivals)))
        if not self._names_instants(sensor_id):
            # Arrival is all there is: beside readings of a file, which have instants, that is no fault.
            days = [(day, n, lag_ms, spread_ms, 0) for day, n, lag_ms, spread_ms, _ in days]
        return days

    def _names_instants(self, sensor_id: int) -> bool:
        """Whether any of a sensor's messages can carry an instant of its own."""
        found = self.bulk.rows("SELECT payload FROM binding WHERE sensor_id = ?", (sensor_id,))
        readings = [json.loads(told) if isinstance(told, str | bytes) else told for (told,) in found]
        return not readings or any(
            str(told.get("shape", "")).startswith("senml") or told.get("time") or told.get("shared_time")
            for told in readings
        )


def read_doubts(bulk: Bulk, sensor_ids: Sequence[int]) -> dict[int, list[OnRecord]]:
    """Every doubt of these sensors, by sensor, in the order of their beginnings."""
    found: dict[int, list[OnRecord]] = {sensor_id: [] for sensor_id in sensor_ids}
    ms = bulk.instant_of
    for sensor_id in sensor_ids:
        for id_, kind, since, until, reason, undone in bulk.rows(
            f"SELECT id, kind, {ms('since_at')}, {ms('until_at')}, reason, undone_at IS NOT NULL FROM doubt "
            "WHERE sensor_id = ? ORDER BY since_at, id",
            (sensor_id,),
        ):
            row = OnRecord(id_, kind, since, OPEN_MS if until is None else until, reason, bool(undone))
            found[sensor_id].append(row)
    return found
