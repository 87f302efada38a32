"""Thinning long series for a screen, without losing an extreme."""

import numpy as np
from tsdownsample import MinMaxDownsampler

SCREEN_POINTS = 1500


def thinned(values: np.ndarray, points: int = SCREEN_POINTS) -> np.ndarray:
    """Indices worth drawing of an evenly or unevenly sampled series: every bin's lowest and highest.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Float values; NaN marks a gap.
    points : int
        How many to keep at most, besides the edges of gaps.

    Returns
    -------
    ndarray of int, ascending
        All of them when there are no more than `points`. The first and last value, and one NaN of every gap,
        are always among them, so that a gap stays a gap.
    """
    n = len(values)
    if n <= points:
        return np.arange(n)
    known = np.flatnonzero(~np.isnan(values))
    if len(known) <= points:
        kept = known
    else:
        # The downsampler reads memory in order, so what it is given must lie in order.
        series = np.ascontiguousarray(values[known], dtype=np.float64)
        kept = known[MinMaxDownsampler().downsample(series, n_out=points // 2 * 2)]
    holes = np.flatnonzero(np.isnan(values))
    if len(holes):
        starts = holes[np.r_[True, np.diff(holes) > 1]]
        kept = np.union1d(kept, starts)
    return np.union1d(kept, [0, n - 1]).astype(np.intp)


def gapped(
    at: np.ndarray, values: np.ndarray, gap: np.timedelta64, *others: np.ndarray
) -> tuple[np.ndarray, ...]:
    """A series with a NaN in every stretch without values that is longer than `gap`.

    Thinning moves neighbours apart; only what was a gap before it may be drawn as one after.

    Returns
    -------
    tuple of ndarray
        Instants, values, and each of `others` (float arrays) with NaN in the same places.
    """
    if len(at) < 2:
        return (at, values, *others)
    holes = np.flatnonzero(np.diff(at) > gap)
    if not len(holes):
        return (at, values, *others)
    between = at[holes] + (at[holes + 1] - at[holes]) // 2
    return (
        np.insert(at, holes + 1, between),
        *(np.insert(column.astype(np.float64), holes + 1, np.nan) for column in (values, *others)),
    )
