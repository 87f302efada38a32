"""Signatures of a faulty humidity sensor in its own readings: out of range, jump, stuck, pegged, moved.

Pure functions: readings in, findings out. What hangs beside the sensor speaks for it where it can. The
limits are common practice of those who keep such sensors, no source, unless one is named.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from model.watch.trust.findings import HOUR_MS, MINUTE_MS, OPEN_MS, Finding
from model.watch.trust.series import Bools, Floats, Ints, Nearby, SensorSeries, runs
from model.wood.air.psychrometrics import dew_point, saturation_vapour_pressure
from model.wood.reason import Reason

HOTTEST_C = 45.0  # no room with furniture in it
DRIEST_PCT = 5.0  # steam heat in a hard frost reaches 8 to 10 %
OUT_OF_RANGE_MS = HOUR_MS

JUMP_PCT = 20.0
JUMP_K = 10.0
JUMP_DEW_K = 3.0
CONFIRMED_WITHIN_MS = 3 * HOUR_MS
BESIDE_WITHIN_MS = 45 * MINUTE_MS
BESIDE_AGREES_PCT = 10.0
BESIDE_AGREES_K = 5.0

STUCK_MS = 12 * HOUR_MS
STUCK_READINGS = 8
STUCK_PAUSE_MS = 6 * HOUR_MS
CONTEXT_MS = 24 * HOUR_MS
COARSE_STEP_PCT = 0.5
BESIDE_MOVES_PCT = 3.0
BESIDE_RESTS_PCT = 1.5
WARMS_K, COARSE_WARMS_K = 0.3, 4.0
BESIDE_WARMS_K = 2.0

PEGGED_PCT = 99.5
PEGGED_MS = HOUR_MS
DAMP_PCT = 99.0
DAMP_MS = 2 * HOUR_MS
DRY_BESIDE_PCT = 90.0
RECOVERED_PCT = 95.0
RECOVERED_MS = 6 * HOUR_MS

MOVED_K = 4.0
MOVED_DEW_K = 3.0
MOVED_LOOKS_MS = 6 * HOUR_MS
MOVED_LEAST = 3
BESIDE_MOVED_K = 2.0


def out_of_range(series: SensorSeries) -> list[Finding]:
    """Air that no room has, for an hour or more: hotter than 45 °C, or drier than 5 %."""
    found = []
    for values, bad, why in (
        (series.temperature_c, series.temperature_c > HOTTEST_C, _too_hot),
        (series.rh_pct, series.rh_pct < DRIEST_PCT, _too_dry),
    ):
        known = ~np.isnan(values)
        at = series.at_ms[known]
        for first, last in runs_of(bad[known]):
            if at[last] - at[first] >= OUT_OF_RANGE_MS:
                until = _end(series, at, last)
                found.append(Finding("out-of-range", int(at[first]), until, why(float(values[known][first]))))
    return found


def _too_hot(value: float) -> Reason:
    return Reason("doubt-too-hot", {"temperature_c": value, "as_fahrenheit_c": _from_fahrenheit(value)})


def _too_dry(value: float) -> Reason:
    return Reason("doubt-too-dry", {"rh_pct": value})


def _from_fahrenheit(value: float) -> float:
    """A temperature sent in °F and taken for °C, put right [°C]."""
    return round((value - 32.0) / 1.8, 1)


def jumps(series: SensorSeries, beside: Nearby) -> list[Finding]:
    """A reading more than 20 points of humidity, or 10 °C, away from the one before and the one after, or
    from the one before while there is none after, unless its dew point or a sensor beside it explains it.

    A change of temperature at the same vapour pressure moves no dew point, and is no jump. A real front or an
    opened door stays until the second reading, and is none either.
    """
    found = {
        finding.since_ms: finding
        for quantity in (_TEMPERATURE, _HUMIDITY)
        for finding in _out_of_line(series, beside, quantity)
    }
    return [found[at_ms] for at_ms in sorted(found)]


@dataclass(frozen=True)
class _Jumping:
    """A quantity that may jump: where it is, how far, and what those beside must read to confirm it."""

    of: Callable[[SensorSeries], Floats]
    farthest: float
    beside: Callable[[SensorSeries], Floats]
    agrees: float
    said: Callable[[float, float], Reason]


def _said_pct(before: float, value: float) -> Reason:
    return Reason("doubt-jump-humidity", {"before_rh_pct": before, "rh_pct": value})


def _said_c(before: float, value: float) -> Reason:
    values = {"before_c": before, "temperature_c": value, "as_fahrenheit_c": _from_fahrenheit(value)}
    is_fahrenheit = abs(values["as_fahrenheit_c"] - before) < JUMP_K / 2
    return Reason("doubt-jump-fahrenheit" if is_fahrenheit else "doubt-jump-temperature", values)


_HUMIDITY = _Jumping(lambda s: s.rh_pct, JUMP_PCT, lambda s: s.true_rh_pct, BESIDE_AGREES_PCT, _said_pct)
_TEMPERATURE = _Jumping(lambda s: s.measured_c, JUMP_K, lambda s: s.temperature_c, BESIDE_AGREES_K, _said_c)


def _out_of_line(series: SensorSeries, beside: Nearby, quantity: _Jumping) -> list[Finding]:
    own = series.where(~np.isnan(quantity.of(series)))
    n = len(own)
    if n < 2:
        return []
    values = quantity.of(own)
    apart = _disagree(own, values, np.arange(n - 1), np.arange(1, n), quantity.farthest)
    gap = np.diff(own.at_ms)
    near = gap <= CONFIRMED_WITHIN_MS
    inside = np.flatnonzero(apart[:-1] & apart[1:] & (near[:-1] | near[1:])) + 1
    found = [
        Finding(
            "jump",
            int(own.at_ms[k]),
            int(own.at_ms[k]),
            quantity.said(float(values[k - 1]), float(values[k])),
        )
        for k in inside
        if not _confirmed_beside(own, values, int(k), beside, quantity)
    ]
    last = n - 1
    if (
        own.to_the_last
        and apart[-1]
        and (near[-1] or (n > 2 and near[-2]))
        and not (
            n > 2 and not _disagree(own, values, np.array([last - 2]), np.array([last]), quantity.farthest)[0]
        )
        and not _confirmed_beside(own, values, last, beside, quantity)
    ):
        said = quantity.said(float(values[last - 1]), float(values[last]))
        reason = Reason("doubt-unconfirmed", {"was": said})
        found.append(Finding("jump", int(own.at_ms[last]), OPEN_MS, reason))
    return found


def _disagree(own: SensorSeries, values: Floats, a: Ints, b: Ints, farthest: float) -> Bools:
    """Whether pairs of readings lie more than a jump apart, in a quantity and in dew point if known."""
    apart: Bools = np.abs(values[a] - values[b]) > farthest
    close = np.flatnonzero(apart)
    if len(close):
        a, b = a[close], b[close]
        dew_a = dew_point(own.temperature_c[a], own.rh_pct[a])
        dew_b = dew_point(own.temperature_c[b], own.rh_pct[b])
        # Where one quantity is missing the dew point is not known, and nothing explains the other.
        apart[close] = ~(np.abs(dew_a - dew_b) < JUMP_DEW_K)
    return apart


def _confirmed_beside(own: SensorSeries, values: Floats, k: int, beside: Nearby, quantity: _Jumping) -> bool:
    """Whether a sensor beside it reads about the same then, or made most of the same change."""
    at = own.at_ms[k]
    for other in beside.others:
        known = other.where(~np.isnan(quantity.of(other)))
        a = np.searchsorted(known.at_ms, at - BESIDE_WITHIN_MS)
        b = np.searchsorted(known.at_ms, at + BESIDE_WITHIN_MS, side="right")
        if (np.abs(quantity.beside(known)[a:b] - values[k]) <= quantity.agrees).any():
            return True
    return False


def stuck(series: SensorSeries, beside: Nearby) -> list[Finding]:
    """The same value to a tenth for twelve hours or more while others move.

    Others are the sensors beside it and its own temperature. One that resolves only half or whole percents
    may rest in quiet air: it is doubted only when others moved much. One that resolves tenths never rests so
    long, unless those beside it rest too. Where there is nothing to compare it with and its temperature
    rests as well, that is advice, `perhaps-stuck`, and the readings count.
    """
    found = []
    own = series.where(~np.isnan(series.rh_pct))
    for first, last in _equal(own.at_ms, own.rh_pct):
        value = float(own.rh_pct[first])
        if value >= DAMP_PCT:
            continue  # pegged, or fog
        since, until = int(own.at_ms[first]), int(own.at_ms[last])
        near = beside.between(since, until)
        moved = float(np.ptp(near.rh_at(near.temperature_c))) if len(near.hours) else None
        temperatures = own.temperature_c[first : last + 1]
        warmed = float(np.ptp(temperatures)) if not np.isnan(temperatures).any() else 0.0
        coarse = _is_coarse(own, first, last)
        kind, reason = "stuck", None
        if moved is not None and moved >= BESIDE_MOVES_PCT:
            reason = Reason("doubt-stuck", {"rh_pct": value, "beside": beside.names})
        elif moved is not None and (coarse or moved < BESIDE_RESTS_PCT):
            pass
        elif warmed >= (COARSE_WARMS_K if coarse else WARMS_K):
            reason = Reason("doubt-stuck-alone", {"rh_pct": value})
        elif moved is not None:
            reason = Reason("doubt-stuck-tenth", {"rh_pct": value, "beside": beside.names})
        elif not coarse:
            kind = "perhaps-stuck"
            reason = Reason("doubt-perhaps-stuck", {"rh_pct": value})
        found.append(Finding(kind, since, _end(series, own.at_ms, last), reason))
    own = series.where(~np.isnan(series.temperature_c))
    for first, last in _equal(own.at_ms, own.temperature_c):
        since, until = int(own.at_ms[first]), int(own.at_ms[last])
        near = beside.between(since, until)
        warmed = float(np.ptp(near.temperature_c)) if len(near.hours) else 0.0
        reason = (
            Reason(
                "doubt-stuck-temperature",
                {"temperature_c": float(own.temperature_c[first]), "beside": beside.names},
            )
            if warmed >= BESIDE_WARMS_K
            else None
        )
        found.append(Finding("stuck", since, _end(series, own.at_ms, last), reason))
    return found


def _equal(at_ms: Ints, values: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of runs of the same value to a tenth that last long enough."""
    if len(at_ms) < STUCK_READINGS:
        return []
    tenths = np.round(values * 10.0)
    first, last = runs((np.diff(tenths) != 0.0) | (np.diff(at_ms) > STUCK_PAUSE_MS))
    count = last - first
    # Each reading speaks for the interval up to the next: 48 of them, a quarter of an hour apart, are 12 h.
    lasts = (at_ms[last] - at_ms[first]) * (count + 1) >= STUCK_MS * count
    long = (count + 1 >= STUCK_READINGS) & lasts
    return list(zip(first[long].tolist(), last[long].tolist(), strict=True))


def _is_coarse(own: SensorSeries, first: int, last: int) -> bool:
    """Whether the readings of the day before and after a run, and the run's, are half or whole percents."""
    a = np.searchsorted(own.at_ms, own.at_ms[first] - CONTEXT_MS)
    b = np.searchsorted(own.at_ms, own.at_ms[last] + CONTEXT_MS, side="right")
    values = own.rh_pct[a:b]
    steps = values / COARSE_STEP_PCT
    return bool((np.abs(steps - np.round(steps)) < 1e-6).all() and np.ptp(values) > 0.0)


def pegged(series: SensorSeries, beside: Nearby) -> list[Finding]:
    """At the top of its range, by condensation or a fault, until it was below 95 % for six hours.

    Taken for fog when those beside it are as damp; doubted from 99 % on when they are dry.
    """
    own = series.where(~np.isnan(series.rh_pct))
    damp = np.flatnonzero(own.rh_pct >= RECOVERED_PCT)
    if not len(damp) or not (own.rh_pct[damp] >= DAMP_PCT).any():
        return []
    onsets = _onsets(own, beside)
    first, last = runs(np.diff(own.at_ms[damp]) >= RECOVERED_MS)
    found = []
    for a, b in zip(damp[first].tolist(), damp[last].tolist(), strict=True):
        here = [(k, reason) for k, reason in onsets if a <= k <= b]
        # Recovered or not: the whole spell has to be seen.
        end = int(own.at_ms[b]) + RECOVERED_MS - 1
        ends = OPEN_MS if own.to_the_last and own.at_ms[-1] <= end else end
        since, reason = next(((k, why) for k, why in here if why is not None), (a, None))
        found.append(Finding("pegged", int(own.at_ms[since]), ends, reason))
        if since > a:
            found.append(Finding("pegged", int(own.at_ms[a]), end, None))
    return found


def _onsets(own: SensorSeries, beside: Nearby) -> list[tuple[int, Reason | None]]:
    """Where a sensor is at its top for long enough; with the reason, none when those beside it are damp."""
    found: list[tuple[int, Reason | None]] = []
    for first, last in runs_of(own.rh_pct >= DAMP_PCT):
        since, until = int(own.at_ms[first]), int(own.at_ms[last])
        top = own.rh_pct[first : last + 1] >= PEGGED_PCT
        longest = max((int(own.at_ms[first + b] - own.at_ms[first + a]) for a, b in runs_of(top)), default=0)
        if longest < PEGGED_MS and until - since < DAMP_MS:
            continue
        others = _humidity_beside(own, first, last, beside)
        if others is not None and others < DRY_BESIDE_PCT:
            found.append((first, Reason("doubt-damp", {"rh_pct": DAMP_PCT, "beside": beside.names})))
        elif longest >= PEGGED_MS:
            wet = others is not None and others >= RECOVERED_PCT
            found.append((first, None if wet else Reason("doubt-condensation", {"rh_pct": RECOVERED_PCT})))
    return found


def _humidity_beside(own: SensorSeries, first: int, last: int, beside: Nearby) -> float | None:
    """Median humidity of those beside it over a span, at its own temperature where that is known."""
    near = beside.between(int(own.at_ms[first]), int(own.at_ms[last]))
    if not len(near.hours):
        return None
    temperatures = own.temperature_c[first : last + 1]
    if np.isnan(temperatures).all():
        return float(np.median(near.rh_at(near.temperature_c)))
    saturation = float(saturation_vapour_pressure(float(np.nanmedian(temperatures))))
    return 100.0 * float(np.median(near.pressure_pa)) / saturation


def moved(series: SensorSeries, beside: Nearby) -> list[Finding]:
    """A step of temperature and dew point at one moment that stays: perhaps it was hung somewhere else.

    Advice: nothing is left out for it.
    """
    own = series.where(~np.isnan(series.rh_pct) & ~np.isnan(series.temperature_c))
    steps = np.flatnonzero(
        (np.abs(np.diff(own.temperature_c)) >= MOVED_K) & (np.diff(own.at_ms) <= CONFIRMED_WITHIN_MS)
    )
    found = []
    for k in steps.tolist():
        at = own.at_ms[k + 1]
        a = np.searchsorted(own.at_ms, at - MOVED_LOOKS_MS)
        b = np.searchsorted(own.at_ms, at + MOVED_LOOKS_MS)
        if k + 1 - a < MOVED_LEAST or b - k - 1 < MOVED_LEAST:
            continue
        before, after = slice(a, k + 1), slice(k + 1, b)
        before_c, after_c = (float(np.median(own.temperature_c[part])) for part in (before, after))
        if abs(after_c - before_c) < MOVED_K:
            continue
        dew = [
            float(np.median(dew_point(own.temperature_c[part], own.rh_pct[part]))) for part in (before, after)
        ]
        if not abs(dew[1] - dew[0]) >= MOVED_DEW_K:
            continue
        near = [
            beside.between(int(at) - MOVED_LOOKS_MS, int(at) - 1).temperature_c,
            beside.between(int(at), int(at) + MOVED_LOOKS_MS - 1).temperature_c,
        ]
        if len(near[0]) and len(near[1]) and abs(np.median(near[1]) - np.median(near[0])) >= BESIDE_MOVED_K:
            continue
        reason = Reason("doubt-moved", {"before_c": round(before_c, 1), "temperature_c": round(after_c, 1)})
        found.append(Finding("moved", int(at), int(at), reason))
    return found


def runs_of(flags: Bools) -> list[tuple[int, int]]:
    """First and last index of each run of true."""
    edges = np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))
    first, last = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return list(zip(first.tolist(), last.tolist(), strict=True))


def _end(series: SensorSeries, at_ms: Ints, last: int) -> int:
    """The end of a run: open when it reaches the last reading there is."""
    return OPEN_MS if series.to_the_last and at_ms[last] >= series.at_ms[-1] else int(at_ms[last])
