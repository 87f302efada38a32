"""Fills the gaps in a place's hourly air; filled hours are marked estimated.

The rule, in temperature and in relative humidity, which is what wood follows:

* Up to `SHORT_GAP_H` hours between two measured hours: a straight line.
* Longer: the place's expectation for that hour, and on it the deviation that was measured last before and
  first after the gap, each fading with `MEMORY_H` hours: the mean path of a first-order process pinned at
  both ends. After the last reading, or before the first, it is pinned at one end only.
* The expectation of an hour is the mean of the hours measured at that time of day within 15 days of the
  same date a year before, where at least half of them were; else of the 14 days before the gap.

An estimate depends on the measured hours alone, so that late readings give the same air as timely ones.
`MEMORY_H` is common practice, no source: a spell of weather lasts about five days.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.wood.air.sorption import equilibrium_moisture_content

Floats = NDArray[np.float64]
Hours = NDArray[np.int64]

COLDEST_C, WARMEST_C = -40.0, 60.0
"""Where the sorption equation ends; colder or warmer air is taken as this."""
SHORT_GAP_H = 6
MEMORY_H = 120.0
ANCHOR_BEFORE_H = 24
ANCHOR_AFTER_H = 6
FALLBACK_H = 14 * 24
YEAR_H = 365 * 24
SEASON_H = 15 * 24
SEASON_SHARE = 0.5


@dataclass(frozen=True)
class HourlyAir:
    """A place's air, one row for every hour.

    Attributes
    ----------
    first : int
        Hour of row 0, in hours since 1970 UTC.
    temperature_c, rh_pct : (rows,) float64
        At the wood, held from this hour to the next.
    n_readings : (rows,) int64
        Readings behind a measured hour; 0 marks an estimated one.
    """

    first: int
    temperature_c: Floats
    rh_pct: Floats
    n_readings: Hours

    def __len__(self) -> int:
        return len(self.rh_pct)

    @property
    def end(self) -> int:
        """The hour after the last row."""
        return self.first + len(self)

    @property
    def measured(self) -> NDArray[np.bool_]:
        return self.n_readings > 0

    def emc_pct(self, rows: slice) -> Floats:
        """EMC of some rows [%]; colder or warmer air is taken at the end of the sorption equation."""
        temperature_c = np.clip(self.temperature_c[rows], COLDEST_C, WARMEST_C)
        return np.asarray(equilibrium_moisture_content(temperature_c, self.rh_pct[rows]))

    @property
    def measured_hours(self) -> Hours:
        return self.first + np.flatnonzero(self.n_readings)


NO_AIR = HourlyAir(0, np.empty(0), np.empty(0), np.empty(0, dtype=np.int64))


@dataclass(frozen=True)
class Measured:
    """The measured hours of a place: rising hours since 1970, their air, and the readings behind each."""

    hours: Hours
    temperature_c: Floats
    rh_pct: Floats
    n_readings: Hours


def measured_of(air: HourlyAir) -> Measured:
    """The measured hours of a place's air."""
    rows = np.flatnonzero(air.n_readings)
    return Measured(air.first + rows, air.temperature_c[rows], air.rh_pct[rows], air.n_readings[rows])


def merged(known: Measured, asked: Hours, found: Measured) -> Measured:
    """The known hours, with the asked ones replaced by those found."""
    keep = ~np.isin(known.hours, asked)
    hours = np.concatenate([known.hours[keep], found.hours])
    order = np.argsort(hours, kind="stable")
    return Measured(
        hours[order],
        np.concatenate([known.temperature_c[keep], found.temperature_c])[order],
        np.concatenate([known.rh_pct[keep], found.rh_pct])[order],
        np.concatenate([known.n_readings[keep], found.n_readings])[order],
    )


def filled(measured: Measured, first: int, until: int) -> HourlyAir:
    """A place's air from an hour on, gaps filled.

    Parameters
    ----------
    measured : Measured
    first : int
        The earliest hour needed; the air begins there or at the first measured hour.
    until : int
        The hour after the last needed; the air ends there or after the last measured hour.

    Returns
    -------
    HourlyAir
        `NO_AIR` when nothing was ever measured.
    """
    m = measured.hours
    if len(m) == 0:
        return NO_AIR
    first = min(first, int(m[0]))
    end = max(until, int(m[-1]) + 1)
    rows = m - first
    temperature_c, rh_pct = np.full(end - first, np.nan), np.full(end - first, np.nan)
    n_readings = np.zeros(end - first, dtype=np.int64)
    temperature_c[rows], rh_pct[rows] = measured.temperature_c, measured.rh_pct
    n_readings[rows] = measured.n_readings

    steps = np.diff(m)
    short = np.flatnonzero((steps > 1) & (steps <= SHORT_GAP_H + 1))
    if len(short):
        _draw_lines(short, measured, first, temperature_c, rh_pct)
    gaps = [(int(m[i]), int(m[i + 1])) for i in np.flatnonzero(steps > SHORT_GAP_H + 1)]
    if first < m[0]:
        gaps.insert(0, (first - 1, int(m[0])))
    if end > m[-1] + 1:
        gaps.append((int(m[-1]), end))
    for a, b in gaps:
        hours = np.arange(a + 1, b, dtype=np.int64)
        pinned_a, pinned_b = a >= m[0], b <= m[-1]
        for values, source in ((temperature_c, measured.temperature_c), (rh_pct, measured.rh_pct)):
            values[hours - first] = _fade(hours, a, b, pinned_a, pinned_b, m, source)
    np.clip(rh_pct, 0.0, 100.0, out=rh_pct)
    return HourlyAir(first, temperature_c, rh_pct, n_readings)


def _draw_lines(short: Hours, measured: Measured, first: int, temperature_c: Floats, rh_pct: Floats) -> None:
    """Fill the short gaps after these measured rows with straight lines."""
    m = measured.hours
    for away in range(1, SHORT_GAP_H + 1):
        left = short[m[short] + away < m[short + 1]]
        share = away / (m[left + 1] - m[left])
        for values, source in ((temperature_c, measured.temperature_c), (rh_pct, measured.rh_pct)):
            values[m[left] + away - first] = source[left] + (source[left + 1] - source[left]) * share


def _fade(hours: Hours, a: int, b: int, pinned_a: bool, pinned_b: bool, m: Hours, source: Floats) -> Floats:
    """The estimate at these hours of the gap between the measured hours a and b."""
    if pinned_a:
        fallback = slice(*np.searchsorted(m, (a + 1 - FALLBACK_H, a + 1)))
    else:
        fallback = slice(*np.searchsorted(m, (b, b + ANCHOR_BEFORE_H)))
    expected = _expectation(hours, m, source, fallback)
    to_a, to_b, whole = (hours - a) / MEMORY_H, (b - hours) / MEMORY_H, (b - a) / MEMORY_H
    if pinned_a and pinned_b:
        # sinh(to_b) / sinh(whole) and sinh(to_a) / sinh(whole), in a form that can't overflow.
        scale = -np.expm1(-2.0 * whole)
        share_a = np.exp(-to_a) * -np.expm1(-2.0 * to_b) / scale
        share_b = np.exp(-to_b) * -np.expm1(-2.0 * to_a) / scale
    else:
        share_a, share_b = np.exp(-to_a), np.exp(-to_b)
    result = expected.copy()
    if pinned_a:
        near = slice(*np.searchsorted(m, (a + 1 - ANCHOR_BEFORE_H, a + 1)))
        result += share_a * _deviation(near, m, source, fallback)
    if pinned_b:
        length = ANCHOR_AFTER_H if pinned_a else ANCHOR_BEFORE_H
        near = slice(*np.searchsorted(m, (b, b + length)))
        result += share_b * _deviation(near, m, source, fallback)
    return result


def _deviation(near: slice, m: Hours, source: Floats, fallback: slice) -> float:
    """Mean difference of measured hours from what was to be expected of them."""
    expected = _expectation(m[near], m, source, fallback)
    return float(np.mean(source[near] - expected))


def _expectation(hours: Hours, m: Hours, source: Floats, fallback: slice) -> Floats:
    """The usual air of these hours, by the place's own past."""
    usual = _by_time_of_day(m[fallback], source[fallback])
    result = usual[hours % 24]
    for day in range(int(hours[0]) // 24, int(hours[-1]) // 24 + 1):
        centre = day * 24 - YEAR_H
        season = slice(*np.searchsorted(m, (centre - SEASON_H, centre + SEASON_H + 24)))
        if season.stop - season.start >= SEASON_SHARE * (2 * SEASON_H + 24):
            of_day = slice(*np.searchsorted(hours, (day * 24, day * 24 + 24)))
            result[of_day] = _by_time_of_day(m[season], source[season])[hours[of_day] % 24]
    return result


def _by_time_of_day(hours: Hours, values: Floats) -> Floats:
    """Mean of values at each of the 24 hours of the day; the mean of all where an hour has none."""
    count = np.bincount(hours % 24, minlength=24)
    total = np.bincount(hours % 24, weights=values, minlength=24)
    overall = float(total.sum() / count.sum())
    return np.where(count > 0, total / np.maximum(count, 1), overall)
