"""Signatures of a sensor that show against those that hang beside it: warm, self-heated, drifting.

Pure functions of hourly means: a sensor and the median of the others at its place. Limits are common
practice, no source, unless one is named.
"""

import numpy as np
from numpy.typing import NDArray

from model.watch.trust.findings import DAY_MS, HOUR_MS, OPEN_MS, Finding, united
from model.watch.trust.series import Hourly, Nearby, SensorSeries, common
from model.wood.air.psychrometrics import dew_point, relative_humidity_from_pressure
from model.wood.reason import Reason

WARM_K = 4.0
USUALLY_WARM_K = 2.0
SAME_DEW_K = 1.5
WARM_LONGEST_H = 16
WARM_PAUSE_H = 2
USUAL_H = 24
USUAL_LEAST_H = 6

DRIFT_DAYS = 14
DRIFT_LEAST_DAYS = 10
DRIFT_PCT = 5.0
DRIFT_SPREAD_PCT = 3.0
SELF_HEATED_K = 2.0
SELF_HEATED_SPREAD_K = 1.0
LEAST_HOURS_A_DAY = 12
LEAST_HOURS = DRIFT_LEAST_DAYS * LEAST_HOURS_A_DAY
"""With fewer hours nothing is found over two weeks."""

Floats = NDArray[np.float64]


def warm(series: SensorSeries, beside: Nearby) -> list[Finding]:
    """For some hours much warmer than those beside it, at the same dew point: the sun on it, or a lamp.

    Its dew point is good, its temperature and humidity are not the room's. Left out of the hour, the
    others give the same vapour at the room's temperature, which is its dew point put to use.
    """
    own, others = common(series.hours, beside.hours)
    if not len(own.hours):
        return []
    excess = own.temperature_c - others.temperature_c
    hot = np.flatnonzero(excess >= WARM_K)
    if not len(hot):
        return []
    dew_apart = np.abs(_dew(own, hot) - _dew(others, hot))
    hot = hot[dew_apart <= SAME_DEW_K]
    found = []
    for part in np.split(hot, np.flatnonzero(np.diff(own.hours[hot]) > WARM_PAUSE_H) + 1):
        if not len(part):
            continue
        first, last = int(own.hours[part[0]]), int(own.hours[part[-1]])
        a = np.searchsorted(own.hours, first - USUAL_H)
        usual = excess[a : part[0]]
        reason = None
        if (
            last - first < WARM_LONGEST_H
            and len(usual) >= USUAL_LEAST_H
            and float(np.median(usual)) < USUALLY_WARM_K
        ):
            reason = Reason("doubt-warm", {"beside": beside.names})
        lasts = series.to_the_last and last == int(series.at_ms[-1]) // HOUR_MS
        until = OPEN_MS if lasts else (last + 1) * HOUR_MS - 1
        found.append(Finding("warm", first * HOUR_MS, until, reason))
    return found


def _dew(air: Hourly, rows: NDArray[np.int64]) -> Floats:
    temperature_c = air.temperature_c[rows]
    rh_pct = np.clip(relative_humidity_from_pressure(temperature_c, air.pressure_pa[rows]), 0.0, 100.0)
    dew: Floats = dew_point(temperature_c, rh_pct)
    return dew


def drift(series: SensorSeries, beside: Nearby, first_day: int = 0) -> list[Finding]:
    """A steady difference of five points and more from those beside it, over two weeks, at one temperature.

    Advice, a salt check: nothing is left out for it, for of two sensors nobody knows which one is right.
    The readings are compared with the corrections of earlier salt checks.

    Parameters
    ----------
    first_day : int
        The first day, since 1970, whose two weeks the readings cover.
    """
    own, others = common(series.hours, beside.hours)
    difference = own.rh_at(own.temperature_c) - others.rh_at(own.temperature_c)
    reason = Reason("doubt-drift", {"beside": beside.names, "apart_pct": DRIFT_PCT})
    days, begins, medians, spread = _windows(own.hours, difference)
    flagged = (np.abs(medians) >= DRIFT_PCT) & (spread <= DRIFT_SPREAD_PCT)
    return _spans("drift", days, begins, flagged, reason, series, first_day)


def self_heated(series: SensorSeries, beside: Nearby, first_day: int = 0) -> list[Finding]:
    """Steadily two degrees and more above those beside it at the same dew point, over two weeks.

    Advice: it heats itself, or it hangs where it is warmer. Its humidity reads low for the room.
    """
    own, others = common(series.hours, beside.hours)
    if not len(own.hours):
        return []
    rows = np.arange(len(own.hours))
    days, begins, medians, spread = _windows(own.hours, own.temperature_c - others.temperature_c)
    _, _, dew, _ = _windows(own.hours, _dew(own, rows) - _dew(others, rows))
    flagged = (medians >= SELF_HEATED_K) & (spread <= SELF_HEATED_SPREAD_K) & (np.abs(dew) <= SAME_DEW_K)
    reason = Reason("doubt-self-heated", {"beside": beside.names})
    return _spans("self-heated", days, begins, flagged, reason, series, first_day)


def _windows(
    hours: NDArray[np.int64], values: Floats
) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats, Floats]:
    """For each day: median and interquartile range of the daily medians of the two weeks that end with it.

    Days since 1970, first to last, and the first day of each two weeks that is known; NaN where too few days
    of the two weeks have enough hours.
    """
    days, start, count = np.unique(hours // 24, return_index=True, return_counts=True)
    whole = count >= LEAST_HOURS_A_DAY
    if not whole.any():
        nothing = np.empty(0)
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64), nothing, nothing
    first, last = int(days[whole][0]), int(days[whole][-1])
    daily = np.full(last - first + DRIFT_DAYS, np.nan)
    for day, a, n in zip(days[whole].tolist(), start[whole].tolist(), count[whole].tolist(), strict=True):
        daily[day - first + DRIFT_DAYS - 1] = np.median(values[a : a + n])
    windows = np.lib.stride_tricks.sliding_window_view(daily, DRIFT_DAYS)
    known = np.count_nonzero(~np.isnan(windows), axis=1)
    ordered = np.sort(windows, axis=1)  # the unknown days last
    low, middle, high = (_quantile(ordered, known, share) for share in (0.25, 0.5, 0.75))
    few = known < DRIFT_LEAST_DAYS
    middle[few] = np.nan
    ends = np.arange(first, last + 1)
    begins = ends - DRIFT_DAYS + 1 + np.argmax(~np.isnan(windows), axis=1)
    return ends, begins, middle, high - low


def _quantile(ordered: Floats, known: NDArray[np.int64], share: float) -> Floats:
    """Of the first `known` values of each ordered row, between neighbours in proportion."""
    at = share * np.maximum(known - 1, 0)
    below = np.floor(at).astype(np.int64)
    above = np.minimum(below + 1, np.maximum(known - 1, 0))
    rows = np.arange(len(ordered))
    result: Floats = ordered[rows, below] + (at - below) * (ordered[rows, above] - ordered[rows, below])
    return result


def _spans(
    kind: str,
    days: NDArray[np.int64],
    begins: NDArray[np.int64],
    flagged: NDArray[np.bool_],
    reason: Reason,
    series: SensorSeries,
    first_day: int,
) -> list[Finding]:
    """The two weeks before each flagged day, and it, put together."""
    last = int(days[-1]) if len(days) else 0
    found = []
    shown = flagged & (days >= first_day)
    for day, begin in zip(days[shown].tolist(), begins[shown].tolist(), strict=True):
        lasts = day == last and series.to_the_last
        found.append(
            Finding(
                kind,
                begin * DAY_MS,
                OPEN_MS if lasts else (day + 1) * DAY_MS - 1,
                reason,
                begins_earlier=day == first_day,
                ends_later=day == last and not lasts,
            )
        )
    return united(found)
