"""Signatures in when a sensor was heard: silent, and a clock that is wrong. Both leave nothing out.

Limits are common practice, no source.
"""

from collections.abc import Iterable, Sequence

import numpy as np

from model.watch.trust.findings import DAY_MS, HOUR_MS, MINUTE_MS, OPEN_MS, Finding, united
from model.watch.trust.series import Ints
from model.wood.reason import Reason

SILENT_INTERVALS = 3
SILENT_LEAST_MS = HOUR_MS
# A device that sends on change pauses for longer than its usual interval every day.
LONGEST_PAUSES = 1.5
USUAL_MS = 24 * HOUR_MS
USUAL_LEAST = 3

CLOCK_LEAST_LAG_MS = 15 * MINUTE_MS
CLOCK_STEADY_MS = 10 * MINUTE_MS
CLOCK_LEAST_READINGS = 12
CLOCK_LEAST_ARRIVALS = 3


def silences(
    at_ms: Ints, hung: Sequence[tuple[int, int]], now_ms: int, to_the_last: bool = True
) -> list[Finding]:
    """Pauses of more than three of a sensor's usual intervals, and of an hour, while it hung somewhere.

    Parameters
    ----------
    at_ms : (n,) array
        Instants of its readings, rising.
    hung : sequence of (since, until)
        When it hung somewhere, ms since 1970.
    now_ms : int
        Up to when a reading would have been known.
    """
    if not len(at_ms):
        return []
    gaps = np.diff(at_ms)
    previous = np.minimum.reduce([np.concatenate([gaps[:1].repeat(k), gaps])[: len(gaps)] for k in (1, 2, 3)])
    candidates = np.flatnonzero((gaps > SILENT_LEAST_MS) & (gaps > 2 * previous)) if len(gaps) else gaps
    found = []
    for k in candidates.tolist():
        if gaps[k] > _patience_ms(at_ms, k):
            found.append((int(at_ms[k]), int(at_ms[k + 1])))
    last = int(at_ms[-1])
    if to_the_last and now_ms - last > _patience_ms(at_ms, len(at_ms) - 1):
        found.append((last, OPEN_MS))
    result = []
    for since, until in found:
        end = next((end for start, end in hung if start <= since < end), None)
        if end is not None and end > since and (until != OPEN_MS or end > now_ms):
            # From just after the last reading to just before the next: the readings themselves are good.
            until = until if until == OPEN_MS else max(min(until, end) - 1, since + 1)
            result.append(Finding("silent", since + 1, until, Reason("doubt-silent")))
    return result


def _patience_ms(at_ms: Ints, k: int) -> float:
    """How long a sensor may be silent after its reading k, from the intervals of the day before."""
    a = np.searchsorted(at_ms, at_ms[k] - USUAL_MS)
    gaps = np.diff(at_ms[a : k + 1])
    if len(gaps) < USUAL_LEAST:
        return float("inf")
    usual = max(SILENT_INTERVALS * float(np.median(gaps)), LONGEST_PAUSES * float(gaps.max()))
    return max(usual, float(SILENT_LEAST_MS))


Day = tuple[int, int, float, float, int]


def wrong_clock(days: Iterable[Day]) -> list[Finding]:
    """Days on which every reading came as late as every other, or some of a device's instants were refused.

    A node that stores and forwards is late by all kinds of delays; a clock that is wrong, by one.

    Parameters
    ----------
    days : (day, n_device, mean_lag_ms, spread_lag_ms, n_arrival)
        Days since 1970; over the readings with the device's own instant: how many, mean and standard
        deviation of arrival less instant; and how many went by their arrival.
    """
    found = []
    for day, n_device, lag_ms, spread_ms, n_arrival in days:
        reason = None
        steady = n_device >= CLOCK_LEAST_READINGS and spread_ms <= CLOCK_STEADY_MS
        if steady and lag_ms >= CLOCK_LEAST_LAG_MS:
            reason = Reason("doubt-clock-slow")
        elif n_device and n_arrival >= CLOCK_LEAST_ARRIVALS:
            reason = Reason("doubt-clock-wrong")
        if reason is not None:
            found.append(Finding("clock", day * DAY_MS, (day + 1) * DAY_MS - 1, reason))
    return united(found)
