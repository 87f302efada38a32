"""Readings to the measured hours of a place: trusted, corrected, paired, brought to the wood.

An hour's air is the mean over the sensors that hung at the place, each with its own mean of the hour, in
vapour pressure and temperature; brought to the wood's temperature at constant vapour pressure where the
place has an offset. Vapour pressure grows steeply with temperature, so one wild value would weigh far more
than its share: within a sensor's hour each quantity is first held to the fences of the others. Readings are
taken in the order of sensor, instant and value, so that the order in which they came can't show.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.records.acts.retention import KEPT_SINCE
from model.records.acts.trusted import ADVICE
from model.records.bulk import Bulk
from model.watch.air.gap_fill import Hours, Measured
from model.wood.air.psychrometrics import saturation_vapour_pressure, vapour_pressure

HOUR_MS = 3_600_000
FAR_MS = 253_370_764_800_000  # the year 9999
PAIR_WITHIN_MS = HOUR_MS // 2
DIFFERS_K, DIFFERS_PCT = 0.5, 2.0
"""Values of one sensor for one instant that lie farther apart than this contradict each other."""
ROUNDING = 1e-9
"""20.6 less 20.1 is a hair more than 0.5."""
FENCE_K, FENCE_PCT = 5.0, 10.0
"""So far from the others of its hour a value may lie and count in full: common practice, no source."""
FENCE_SPREADS = 1.5
"""Fences lie this many quartile spreads outside: Tukey, Exploratory Data Analysis, 1977 (from memory)."""
FENCE_LEAST = 3
WINDOW_H = 100 * 24
"""Hours read at once, so that a year of one reading a second still fits in memory."""

Floats = NDArray[np.float64]


class Readings(NamedTuple):
    """A sensor's readings as they came, in the order of their instants: columns (n,).

    Attributes
    ----------
    at_ms : array
        ms since 1970; floats, as exact as whole numbers up to 2**53.
    temperature_c, rh_pct : array
        NaN where the reading had none.
    """

    at_ms: Floats
    temperature_c: Floats
    rh_pct: Floats


def read_readings(bulk: Bulk, sensor_id: int, since_ms: int, until_ms: int) -> Readings:
    """A sensor's readings from an instant to before another."""
    rows = bulk.rows(
        f"SELECT {bulk.instant_of('observed_at')}, temperature_c, rh_pct FROM reading "
        "WHERE sensor_id = ? AND observed_at >= ? AND observed_at < ? ORDER BY observed_at",
        (sensor_id, bulk.instant(max(since_ms, 0)), bulk.instant(until_ms)),
    )
    table = np.array(rows, dtype=np.float64).reshape(-1, 3)
    return Readings(*(np.ascontiguousarray(column) for column in table.T))


def read_around(bulk: Bulk, sensor_id: int, first: int, until: int) -> Readings:
    """Readings in [first, until) hours, with half an hour either side for pairing."""
    return read_readings(bulk, sensor_id, first * HOUR_MS - PAIR_WITHIN_MS, until * HOUR_MS + PAIR_WITHIN_MS)


ReadAround = Callable[[Bulk, int, int, int], Readings]


def _sends_apart(bulk: Bulk, sensor_id: int, first: int, until: int) -> bool:
    """Whether a sensor has readings of one quantity alone in a span of hours."""
    return bool(
        bulk.rows(
            "SELECT 1 FROM reading WHERE sensor_id = ? AND observed_at >= ? AND observed_at < ? "
            "AND (temperature_c IS NULL OR rh_pct IS NULL) LIMIT 1",
            (sensor_id, bulk.instant(max(first, 0) * HOUR_MS), bulk.instant(until * HOUR_MS)),
        )
    )


def settled(at_ms: Floats, temperature_c: Floats, rh_pct: Floats) -> Readings:
    """Readings with one value for each instant, whatever a sensor said of it.

    Halves that came apart are brought together. Of values that nearly agree the smaller pair counts, a
    missing value last; of values more than 0.5 °C or 2 points of humidity apart none does.

    Parameters
    ----------
    at_ms, temperature_c, rh_pct : (n,) array
        Readings as they came, in the order of their instants; NaN where one is missing.
    """
    if not (at_ms[1:] == at_ms[:-1]).any():
        return Readings(at_ms, temperature_c, rh_pct)
    # NaN sorts behind every number.
    order = np.lexsort((rh_pct, temperature_c, at_ms))
    at_ms, temperature_c, rh_pct = at_ms[order], temperature_c[order], rh_pct[order]
    first = np.flatnonzero(np.concatenate([[True], at_ms[1:] != at_ms[:-1]]))
    place = np.where(np.isnan(rh_pct), len(at_ms) - 1, np.arange(len(at_ms)))
    apart_k, apart_pct = (
        np.fmax.reduceat(values, first) - np.fmin.reduceat(values, first)
        for values in (temperature_c, rh_pct)
    )
    agreed = ~((apart_k > DIFFERS_K + ROUNDING) | (apart_pct > DIFFERS_PCT + ROUNDING))
    # The first humidity in order is the smaller pair's own, where that has one.
    known = np.minimum.reduceat(place, first)
    rh_first = np.where(at_ms[known] == at_ms[first], rh_pct[known], np.nan)
    return Readings(at_ms[first][agreed], temperature_c[first][agreed], rh_first[agreed])


@dataclass(frozen=True)
class Hung:
    """A sensor at a place over a span of milliseconds."""

    sensor_id: int
    place_id: int
    since_ms: int
    until_ms: int


@dataclass
class Trust:
    """What is known of the sensors: where they hung, which spans are doubted, which corrections hold."""

    hangings: list[Hung]
    offset_c: Mapping[int, float]
    doubts: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    corrections: dict[int, list[tuple[int, float, float]]] = field(default_factory=dict)
    kept_since: int = 0  # hour before which air is final: the readings it was made of may be gone

    def places_of(self, sensor_id: int) -> dict[int, list[Hung]]:
        """Where a sensor hung: its spans by place."""
        return self._by_sensor.get(sensor_id, {})

    @cached_property
    def _by_sensor(self) -> dict[int, dict[int, list[Hung]]]:
        found: dict[int, dict[int, list[Hung]]] = {}
        for hung in self.hangings:
            found.setdefault(hung.sensor_id, {}).setdefault(hung.place_id, []).append(hung)
        return found


def read_hangings(bulk: Bulk) -> list[Hung]:
    """Where every sensor hung, and when."""
    ms = bulk.instant_of
    return [
        Hung(sensor, place, since, FAR_MS if until is None else until)
        for sensor, place, since, until in bulk.rows(
            f"SELECT sensor_id, place_id, {ms('since_at')}, {ms('until_at')} FROM hanging "
            "ORDER BY sensor_id, since_at"
        )
    ]


def read_trust(bulk: Bulk) -> Trust:
    """What the book knows of its sensors now."""
    ms = bulk.instant_of
    trust = Trust(read_hangings(bulk), dict(bulk.rows("SELECT id, wood_offset_c FROM place")))
    advice = ", ".join(f"'{kind}'" for kind in ADVICE)
    for sensor, since, until in bulk.rows(
        f"SELECT sensor_id, {ms('since_at')}, {ms('until_at')} FROM doubt "
        f"WHERE undone_at IS NULL AND kind NOT IN ({advice}) ORDER BY sensor_id, since_at"
    ):
        trust.doubts.setdefault(sensor, []).append((since, FAR_MS if until is None else until))
    for sensor, since, intercept, slope in bulk.rows(
        f"SELECT sensor_id, {ms('since_at')}, intercept_pct, slope FROM correction "
        "WHERE undone_at IS NULL ORDER BY sensor_id, since_at"
    ):
        trust.corrections.setdefault(sensor, []).append((since, intercept, slope))
    for (value,) in bulk.rows("SELECT value FROM preference WHERE name = ?", (KEPT_SINCE,)):
        document = json.loads(value) if isinstance(value, str) else value
        trust.kept_since = int(document["at_ms"]) // HOUR_MS
    return trust


def hours_to_compute(bulk: Bulk, trust: Trust, marks: Iterable[tuple[int, int]]) -> dict[int, Hours]:
    """The hours of each place that marked hours of sensors can change; none whose air is final.

    Parameters
    ----------
    marks : pairs of sensor id and hour since 1970

    Returns
    -------
    mapping of place id to rising hours
    """
    by_sensor: dict[int, set[int]] = {}
    for sensor, hour in marks:
        by_sensor.setdefault(sensor, set()).add(hour)
    asked: dict[int, set[int]] = {}
    for sensor, hours in by_sensor.items():
        # What came alone in a marked hour, or before it, may be paired across the hour; of a humidity that
        # came alone in the hour after, that hour is marked as well.
        if _sends_apart(bulk, sensor, min(hours) - 1, max(hours) + 1):
            hours = hours | {hour - 1 for hour in hours} | {hour + 1 for hour in hours}
        hours = {hour for hour in hours if hour >= trust.kept_since}
        for place in trust.places_of(sensor):
            asked.setdefault(place, set()).update(hours)
    return {place: np.array(sorted(hours), dtype=np.int64) for place, hours in asked.items()}


def measured_hours(
    bulk: Bulk, trust: Trust, asked: Mapping[int, Hours], around: ReadAround = read_around
) -> dict[int, Measured]:
    """The air of the asked hours, where there are trusted readings for it.

    Parameters
    ----------
    asked : mapping of place id to rising hours since 1970
    around : callable
        Reads the readings; those as judged just now, so that none is counted unjudged.
    """
    parts: dict[int, list[NDArray[np.float64]]] = {place: [] for place in asked}
    for sensor_id in sorted({hung.sensor_id for hung in trust.hangings if hung.place_id in asked}):
        places = {place: spans for place, spans in trust.places_of(sensor_id).items() if place in asked}
        wanted = [
            asked[place][
                (asked[place] * HOUR_MS < hung.until_ms) & ((asked[place] + 1) * HOUR_MS > hung.since_ms)
            ]
            for place, spans in places.items()
            for hung in spans
        ]
        hours = np.unique(np.concatenate(wanted)) if wanted else np.empty(0, dtype=np.int64)
        for first, until in _windows(hours):
            instants, temperature_c, rh_pct = trusted_readings(bulk, trust, sensor_id, first, until, around)
            for place, spans in places.items():
                here = np.zeros(len(instants), dtype=bool)
                for hung in spans:
                    here |= (instants >= hung.since_ms) & (instants < hung.until_ms)
                hour = (instants // HOUR_MS).astype(np.int64)
                here &= (hour >= first) & (hour < until) & np.isin(hour, asked[place])
                if here.any():
                    parts[place].append(_sensor_means(hour[here], temperature_c[here], rh_pct[here]))
    return {place: _place_means(rows, trust.offset_c[place]) for place, rows in parts.items()}


def _windows(hours: Hours) -> list[tuple[int, int]]:
    """Spans that cover the hours, each read in one statement: nothing in between is read, and bounded."""
    windows: list[tuple[int, int]] = []
    for hour in hours.tolist():
        if windows and hour == windows[-1][1] and hour - windows[-1][0] < WINDOW_H:
            windows[-1] = (windows[-1][0], hour + 1)
        else:
            windows.append((hour, hour + 1))
    return windows


def trusted_readings(
    bulk: Bulk, trust: Trust, sensor_id: int, first: int, until: int, around: ReadAround = read_around
) -> Readings:
    """A sensor's trusted readings over a span of hours, corrected, each humidity with its temperature."""
    found = settled(*around(bulk, sensor_id, first, until))
    keep = np.ones(len(found.at_ms), dtype=bool)
    for since, end in trust.doubts.get(sensor_id, ()):
        keep &= (found.at_ms < since) | (found.at_ms > end)
    instants, temperature_c, rh_pct = (column[keep] for column in found)
    rh_pct = corrected_pct(instants, rh_pct, trust.corrections.get(sensor_id, ()))
    temperature_c = paired(instants, temperature_c, ~np.isnan(rh_pct))
    whole = ~np.isnan(temperature_c) & ~np.isnan(rh_pct)
    return Readings(instants[whole], temperature_c[whole], rh_pct[whole])


def corrected_pct(at_ms: Floats, rh_pct: Floats, corrections: Iterable[tuple[int, float, float]]) -> Floats:
    """Humidity with the corrections that hold, each from its instant on [%]."""
    corrected = rh_pct
    for since, intercept, slope in corrections:
        corrected = np.where(at_ms >= since, np.clip(intercept + slope * rh_pct, 0.0, 100.0), corrected)
    return corrected


def paired(instants: Floats, temperature_c: Floats, wanting: NDArray[np.bool_]) -> Floats:
    """Give each humidity that came alone its sensor's nearest temperature; of two as near, the earlier."""
    known = np.flatnonzero(~np.isnan(temperature_c))
    alone = np.flatnonzero(wanting & np.isnan(temperature_c))
    if len(known) == 0 or len(alone) == 0:
        return temperature_c
    after = np.searchsorted(instants[known], instants[alone])
    left, right = known[np.maximum(after - 1, 0)], known[np.minimum(after, len(known) - 1)]
    away_left, away_right = (
        np.abs(instants[alone] - instants[left]),
        np.abs(instants[right] - instants[alone]),
    )
    nearest = np.where(away_left <= away_right, left, right)
    near = np.minimum(away_left, away_right) <= PAIR_WITHIN_MS
    result = temperature_c.copy()
    result[alone[near]] = temperature_c[nearest[near]]
    return result


def _sensor_means(hour: Hours, temperature_c: Floats, rh_pct: Floats) -> NDArray[np.float64]:
    """One row an hour: hour, mean temperature, mean vapour pressure, count. Summed in order of instants."""
    hours, first, group = np.unique(hour, return_index=True, return_inverse=True)
    count = np.bincount(group)
    temperature_c = _fenced(first, temperature_c, FENCE_K)
    rh_pct = _fenced(first, rh_pct, FENCE_PCT)
    pressure_pa = vapour_pressure(temperature_c, rh_pct)
    return np.column_stack(
        [
            hours,
            np.bincount(group, weights=temperature_c) / count,
            np.bincount(group, weights=pressure_pa) / count,
            count,
        ]
    )


def _fenced(first: NDArray[np.int64], values: Floats, least: float) -> Floats:
    """The values of each hour, those outside the fences of their hour brought to the nearer fence.

    One wrong value in twelve then moves the mean by its twelfth of the way to a fence, not by its own size. A
    change that a quarter of the hour's readings agree on moves the fences with it, and counts in full.

    Parameters
    ----------
    first : (hours,) array
        Where each hour's readings begin.
    values : (n,) array
    least : float
        How far the fences lie outside the quartiles at least, in the unit of the values.
    """
    wide = np.flatnonzero(np.maximum.reduceat(values, first) - np.minimum.reduceat(values, first) > least)
    if not len(wide):
        return values
    ends = np.append(first[1:], len(values))
    result = values.copy()
    for a, b in zip(first[wide].tolist(), ends[wide].tolist(), strict=True):
        if b - a < FENCE_LEAST:
            continue
        own = np.sort(values[a:b])
        quarter = max(1, (len(own) - 1) // 4)
        low, high = own[quarter], own[len(own) - 1 - quarter]
        reach = max(least, FENCE_SPREADS * (high - low))
        result[a:b] = np.clip(values[a:b], low - reach, high + reach)
    return result


def _place_means(rows: list[NDArray[np.float64]], offset_c: float) -> Measured:
    """The mean over sensors, in the order they are given, brought to the temperature of the wood."""
    if not rows:
        nothing = np.empty(0)
        return Measured(np.empty(0, dtype=np.int64), nothing, nothing, np.empty(0, dtype=np.int64))
    table = np.concatenate(rows)
    hours, group = np.unique(table[:, 0].astype(np.int64), return_inverse=True)
    count = np.bincount(group)
    temperature_c = np.bincount(group, weights=table[:, 1]) / count + offset_c
    pressure_pa = np.bincount(group, weights=table[:, 2]) / count
    rh_pct = np.clip(100.0 * pressure_pa / saturation_vapour_pressure(temperature_c), 0.0, 100.0)
    n_readings = np.bincount(group, weights=table[:, 3]).astype(np.int64)
    known = np.isfinite(rh_pct)  # an offset can take air out of the equation's range
    return Measured(hours[known], temperature_c[known], rh_pct[known], n_readings[known])
