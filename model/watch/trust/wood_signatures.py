"""Signatures of a faulty sensor on wood in its own readings: leaned on, zero moved, stuck, creep, off scale.

Pure functions: one span of readings in, findings out. Wood follows its air at the pace of its time constant;
whatever moves faster, or further than that air can lead, is no wood. Limits are common practice, no source,
unless one is named.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from model.watch.trust.findings import DAY_MS, HOUR_MS, OPEN_MS, Finding, united
from model.watch.trust.series import Bools, Floats, Ints, runs
from model.watch.trust.signatures import runs_of
from model.wood.reason import Reason

LEANED, TARE, STUCK, CREEP, OFF_SCALE = "leaned", "tare", "stuck", "creep", "off-scale"
WOOD_KINDS = (LEANED, TARE, STUCK, CREEP, OFF_SCALE)

STEP_PCT = 1.0
BACK_MS = 6 * HOUR_MS
"""A step that goes back within this was a passing load; one that doesn't is a new zero."""
BEFORE_READINGS = 5
AIR_SPREAD_PCT = 10.0
"""How far the moisture content that air leads to can lie from the wood's, at the most, in a house or shop."""
SAFETY = 3.0
"""How much faster than by its time constant wood may be: grain, cut and finish are known to a factor."""
MOST_STEP = 15.0
STUCK_MS, STUCK_READINGS = 7 * DAY_MS, 48
CREEP_DAYS, CREEP_LEAST_DAYS = 14, 10
CREEP_PCT = 1.5
STEADY = 2.0
"""A slope is steady where what it makes of its window is so many times the scatter about it."""
OFF_SCALE_MS = 6 * HOUR_MS


@dataclass(frozen=True)
class WoodSeries:
    """What one sensor on wood sent between two instants, in order.

    Attributes
    ----------
    at_ms, raw, rough : (n,) arrays
        Rising instants, values as they came, and the same in points of moisture content or mm; NaN where no
        wood can give such a value.
    per_point : float
        What one point of moisture content moves `rough` by: 1 of a moisture content, some mm of a length.
    time_constant_h : float
        Of the board.
    quantity : str
        weight, moisture, resistance or length.
    until_ms : int
        Before which it was bound so; `OPEN_MS` while it is.
    """

    at_ms: Ints
    raw: Floats
    rough: Floats
    per_point: float
    time_constant_h: float
    quantity: str
    until_ms: int = OPEN_MS

    @property
    def end_ms(self) -> int:
        """The end of what lasts."""
        return self.until_ms if self.until_ms == OPEN_MS else self.until_ms - 1

    def where(self, those: Bools) -> "WoodSeries":
        return WoodSeries(
            self.at_ms[those], self.raw[those], self.rough[those], self.per_point, self.time_constant_h,
            self.quantity, self.until_ms,
        )  # fmt: skip

    def limit(self, gap_h: Floats) -> Floats:
        """How far apart two readings of wood may lie, by the hours between them."""
        points = STEP_PCT + np.minimum(SAFETY * AIR_SPREAD_PCT / self.time_constant_h * gap_h, MOST_STEP)
        result: Floats = points * self.per_point
        return result


def findings_of(series: WoodSeries, emc_by_day: Mapping[int, float]) -> list[Finding]:
    """Everything found in one span.

    Parameters
    ----------
    emc_by_day : mapping
        By day since 1970, the moisture content that the day's air leads to [%].
    """
    found = off_scale(series)
    sound = series.where(~np.isnan(series.rough))
    found += stuck(sound)
    steps = stepped(sound)
    out = np.zeros(len(sound.at_ms), dtype=bool)
    for finding in steps:
        out |= (sound.at_ms >= finding.since_ms) & (sound.at_ms <= finding.until_ms)
    return [*found, *steps, *crept(sound.where(~out), emc_by_day)]


def off_scale(series: WoodSeries) -> list[Finding]:
    """Values for hours that no wood can give: lighter than its dry wood, a resistance beyond the table."""
    found = []
    for first, last in runs_of(np.isnan(series.rough)):
        if series.at_ms[last] - series.at_ms[first] >= OFF_SCALE_MS:
            lasts = last == len(series.at_ms) - 1
            until = series.end_ms if lasts else int(series.at_ms[last])
            reason = Reason("doubt-off-scale", {"how": series.quantity})
            found.append(Finding(OFF_SCALE, int(series.at_ms[first]), until, reason))
    return found


def stepped(series: WoodSeries) -> list[Finding]:
    """Steps that no wood makes: those that go back within six hours, and those that stay.

    After one that stayed nothing counts: its zero is another one from there on.
    """
    at, rough, n = series.at_ms, series.rough, len(series.at_ms)
    if n < 2:
        return []
    jumps = np.flatnonzero(np.abs(np.diff(rough)) > series.limit(np.diff(at) / HOUR_MS)) + 1
    found: list[Finding] = []
    sound_from = 0
    for k in jumps.tolist():
        if k <= sound_from:
            continue  # within the one before, or its way back
        level = float(np.median(rough[max(k - BEFORE_READINGS, sound_from) : k]))
        later = slice(k, int(np.searchsorted(at, at[k] + BACK_MS, side="right")))
        near = np.abs(rough[later] - level) <= series.limit((at[later] - at[k - 1]) / HOUR_MS) / 2.0
        since = int(at[k])
        if near.any():
            sound_from = k + int(np.argmax(near))
            reason = Reason("doubt-leaned", {"how": series.quantity})
            if sound_from > k:
                found.append(Finding(LEANED, since, int(at[sound_from - 1]), reason))
            continue
        if at[-1] - since < BACK_MS:
            found.append(Finding(LEANED, since, series.end_ms, Reason("doubt-step-unconfirmed")))
        else:
            found.append(Finding(TARE, since, series.end_ms, Reason("doubt-tare", {"how": series.quantity})))
        break
    return found


def stuck(series: WoodSeries) -> list[Finding]:
    """One value for a week, to the last digit; one that shows only coarse steps may rest."""
    if len(series.at_ms) < STUCK_READINGS:
        return []  # fewer than a week's worth of a slow sensor
    steps = np.abs(np.diff(np.unique(series.rough)))
    if len(steps) and steps.min() >= STEP_PCT * series.per_point / 2.0:
        return []
    first, last = runs(np.diff(series.raw) != 0.0)
    found = []
    for a, b in zip(first.tolist(), last.tolist(), strict=True):
        if series.at_ms[b] - series.at_ms[a] >= STUCK_MS and b - a + 1 >= STUCK_READINGS:
            until = series.end_ms if b == len(series.at_ms) - 1 else int(series.at_ms[b])
            found.append(Finding(STUCK, int(series.at_ms[a]), until, Reason("doubt-stuck-on-wood")))
    return found


def crept(series: WoodSeries, emc_by_day: Mapping[int, float]) -> list[Finding]:
    """A steady slope over two weeks that wood of this thickness can't have in this air.

    Wood tends to what its air leads to: it never moves away from that, and no faster than its time constant
    allows. Of a length the wood's own moisture isn't known, so that the whole range of the air is allowed.
    """
    days, begins = np.unique(series.at_ms // DAY_MS, return_index=True)
    own = zip(days.tolist(), np.split(series.rough, begins[1:]), strict=True)
    medians = {day: float(np.median(values)) for day, values in own if day in emc_by_day}
    known = list(medians)
    share = 1.0 - math.exp(-SAFETY * CREEP_DAYS * 24.0 / series.time_constant_h)
    found = []
    for end in known:
        window = [day for day in known if end - CREEP_DAYS < day <= end]
        if len(window) < CREEP_LEAST_DAYS:
            continue
        x, y = np.array(window, dtype=float), np.array([medians[day] for day in window])
        slope, at_zero = np.polyfit(x, y, 1)
        moved = float(slope) * CREEP_DAYS
        scatter = float(np.std(y - (slope * x + at_zero)))
        emc = [emc_by_day[day] for day in window]
        if series.quantity == "length":
            reach = (max(emc) - min(emc)) * share
            up = down = reach + CREEP_PCT
        else:
            up = share * max(max(emc) - float(y[0]), 0.0) + CREEP_PCT
            down = share * max(float(y[0]) - min(emc), 0.0) + CREEP_PCT
        points = moved / series.per_point
        if (points > up or points < -down) and abs(moved) > STEADY * scatter:
            since, until = int(window[0]) * DAY_MS, (int(end) + 1) * DAY_MS - 1
            lasts = end == known[-1]
            reason = Reason("doubt-creep", {"how": series.quantity})
            found.append(Finding(CREEP, since, series.end_ms if lasts else until, reason))
    return united(found)
