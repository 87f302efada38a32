"""What can't be in a sensor's readings, told from the outlines of their hours alone.

A detector goes through every reading of days. Most of the time none of them can find anything, and the
lowest and highest of each hour prove it. Whatever they can't prove is looked at reading by reading, so what
is found never depends on what is proven here. Each rule is the detector's own condition, widened to all
readings that an hour of the outline could hold.
"""

import numpy as np
from numpy.typing import NDArray

from model.watch.trust import company, presence, signatures
from model.watch.trust.figures import FIRST, LAST, N_BOTH, N_RH, N_T, RH_HIGH, RH_LOW, T_HIGH, T_LOW, N
from model.watch.trust.findings import HOUR_MS
from model.watch.trust.hours import Table

Floats = NDArray[np.float64]

WHOLE_HOURS_STUCK = 9
"""Whole hours in the shortest run that counts as stuck: seven of its eight intervals are 10.5 h."""
PAUSE_H = signatures.STUCK_PAUSE_MS // HOUR_MS + 1
"""That many hours without a reading are a longer pause than a run may have."""
STEP_H = signatures.CONFIRMED_WITHIN_MS // HOUR_MS + 1
MEAN_ERROR_K = 1e-6
"""A mean may be rounded beyond the highest it is made of."""


def unclear(own: Table, coolest_beside_c: Floats, now_ms: int, to_the_last: bool) -> set[str]:
    """Kinds of finding that outlines can't rule out, among out-of-range, jump, stuck, pegged, warm, moved and
    silent.

    Parameters
    ----------
    own : (hours, columns) array
        The sensor's outlines, as `Shelf.outlines` gives them.
    coolest_beside_c : (hours,) array
        Lowest temperature of those beside it, NaN where there was none.
    now_ms : int
        Up to when a reading would have been known.
    to_the_last : bool
        Whether nothing comes after these hours.
    """
    heard = own[:, N] > 0.0
    if not heard.any():
        return set()
    found = set()
    t_low, t_high = own[:, T_LOW], own[:, T_HIGH]
    rh_low, rh_high = own[:, RH_LOW], own[:, RH_HIGH]
    alone = bool((own[heard, N_BOTH] < own[heard, N_RH]).any())
    if (t_high > signatures.HOTTEST_C).any() or (rh_low < signatures.DRIEST_PCT).any():
        found.add("out-of-range")
    if (rh_high >= signatures.DAMP_PCT).any():
        found.add("pegged")
    if _apart(rh_low, rh_high) > signatures.JUMP_PCT or _apart(t_low, t_high) > signatures.JUMP_K:
        found.add("jump")
    if _rests(own[:, N_RH], rh_low, rh_high) or _rests(own[:, N_T], t_low, t_high):
        found.add("stuck")
    if alone:
        # A humidity takes the temperature of its neighbour, which may be an hour's off.
        t_low, t_high = _near(t_low, np.fmin, 1), _near(t_high, np.fmax, 1)
        widest = _near(t_high, np.fmax, STEP_H) - _near(t_low, np.fmin, STEP_H)
        step = float(np.fmax.reduce(widest, initial=0.0))
    else:
        step = _apart(t_low, t_high)
    if step >= signatures.MOVED_K:
        found.add("moved")
    if (t_high - coolest_beside_c >= company.WARM_K - MEAN_ERROR_K).any():
        found.add("warm")
    first, last = own[heard, FIRST], own[heard, LAST]
    pauses = (first[1:] - last[:-1] > presence.SILENT_LEAST_MS).any()
    if pauses or (to_the_last and now_ms - last[-1] > presence.SILENT_LEAST_MS):
        found.add("silent")
    return found


def lowest(table: Table) -> Floats:
    """Lowest temperature of each hour of a sensor; one that a humidity may be paired with across the hour
    counts for the hours beside its own."""
    low: Floats = table[:, T_LOW]
    return _near(low, np.fmin, 1) if (table[:, N_BOTH] < table[:, N_RH]).any() else low


def _apart(low: Floats, high: Floats) -> float:
    """The farthest that two readings, one right after the other, can lie apart."""
    known = ~np.isnan(low)
    low, high = low[known], high[known]
    if not len(low):
        return 0.0
    within = float((high - low).max())
    if len(low) == 1:
        return within
    across = np.maximum(high[1:], high[:-1]) - np.minimum(low[1:], low[:-1])
    return max(within, float(across.max()))


def _rests(count: Floats, low: Floats, high: Floats) -> bool:
    """Whether a value may have stayed the same to a tenth for long enough to count as stuck."""
    heard = count > 0.0  # NaN where there was no reading at all
    if not heard.any():
        return False
    same = np.round(low * 10.0) == np.round(high * 10.0)
    if not same.any():
        return False
    edges = np.flatnonzero(heard)
    heard, same = heard[edges[0] : edges[-1] + 1], same[edges[0] : edges[-1] + 1]
    silent = ~heard
    for first, last in signatures.runs_of(silent):
        if last - first + 1 >= PAUSE_H:
            silent[first : last + 1] = False
    return any(last - first + 1 >= WHOLE_HOURS_STUCK for first, last in signatures.runs_of(same | silent))


def _near(values: Floats, least: np.ufunc, hours: int) -> Floats:
    """The lowest, or highest, within some hours of each."""
    result = values.copy()
    for shift in range(1, hours + 1):
        result[shift:] = least(result[shift:], values[:-shift])
        result[:-shift] = least(result[:-shift], values[shift:])
    return result
