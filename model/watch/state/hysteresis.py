"""How a limit stands through time: clear, near or past, entered soon and left only when clearly better.

A pure fold over hours, compiled: the standing at an hour follows from the one before and from what is
known of that hour, so that late readings which rewind to a checkpoint come to the same history.

* past when the margin is negative; near when it is below a quarter of the play designed or below the movement
  of one point of moisture, whichever is larger; never clear where no play was designed at all;
* left when the wood is inside by `CLEAR_BY_PCT` points of moisture and the mean air of three days would
  leave it inside too;
* never there and back within `DWELL_H` hours; going on from near to past is not going back;
* held as it was while the air is unknown: missing data neither warns nor gives an all-clear.
"""

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

STANDINGS = ("clear", "near", "past")
EASY, NEAR, PAST = 0, 1, 2

NEAR_SHARE = 0.25
NO_PLAY_MM = 0.1
"""Play that no rule reads is none: back at the moisture it was built at, the wood is at its limit."""
CLEAR_BY_PCT = 0.3
DWELL_H = 24


class Standing(NamedTuple):
    """How some limits stand at an instant: one entry a limit."""

    level: Ints  # EASY, NEAR or PAST
    since: Ints  # the hour it became so
    improving: Flags  # the last change was for the better

    @classmethod
    def first(cls, n: int, hour: int) -> "Standing":
        """Before anything is known: clear, and free to become anything else at once."""
        return cls(
            np.zeros(n, dtype=np.int64),
            np.full(n, hour, dtype=np.int64),
            np.zeros(n, dtype=bool),
        )


class History(NamedTuple):
    """Standings after each hour: arrays of limits by hours."""

    level: Ints
    since: Ints
    improving: Flags

    def changes(self, row: int, before: int) -> list[int]:
        """Columns at which a limit's standing became another, given how it stood before the first."""
        levels = self.level[row]
        return np.flatnonzero(np.diff(levels, prepend=before)).tolist()

    def at(self, column: int) -> Standing:
        return Standing(
            self.level[:, column].copy(), self.since[:, column].copy(), self.improving[:, column].copy()
        )


def near_below(play_mm: Floats, margin_mm: Floats, margin_toward_limit_mm: Floats) -> Floats:
    """Below which margin a limit is near [mm]; infinite where no play was designed for it.

    Parameters
    ----------
    play_mm, margin_mm, margin_toward_limit_mm : arrays of one shape, or that broadcast
        As in `standings`; margin less toward_limit is the movement of `CLEAR_BY_PCT` points of moisture.
    """
    a_point_mm = np.asarray(margin_mm - margin_toward_limit_mm) / CLEAR_BY_PCT
    return np.where(play_mm > NO_PLAY_MM, np.fmax(NEAR_SHARE * play_mm, a_point_mm), np.inf)


def standings(
    before: Standing,
    first: int,
    margin_mm: Floats,
    margin_toward_limit_mm: Floats,
    margin_at_emc_mm: Floats,
    play_mm: Floats,
    unknown: Flags,
) -> History:
    """How limits stand at each of some consecutive hours.

    Parameters
    ----------
    before : Standing
        At the hour before the first.
    first : int
        Hour of the first column, since 1970 UTC.
    margin_mm : (limits, hours)
        What is left; NaN where not known, which changes nothing.
    margin_toward_limit_mm : (limits, hours)
        What would be left `CLEAR_BY_PCT` points of moisture further toward the limit.
    margin_at_emc_mm : (limits, hours)
        What would be left if the wood settled to the mean air of the last three days; NaN where unknown.
    play_mm : (limits,)
        Designed for each limit.
    unknown : (limits, hours)
        Whether the air was unknown.
    """
    shape = margin_mm.shape
    history = History(
        np.empty(shape, dtype=np.int64),
        np.empty(shape, dtype=np.int64),
        np.empty(shape, dtype=np.bool_),
    )
    near_mm = near_below(play_mm[:, None], margin_mm, margin_toward_limit_mm)
    _fold(*before, first, margin_mm, margin_toward_limit_mm, margin_at_emc_mm, near_mm, unknown, *history)
    return history


@numba.njit(cache=True)
def _fold(  # type: ignore[no-untyped-def]
    level0, since0, improving0, first, margin, toward_limit, at_emc, near, unknown,
    level_out, since_out, improving_out,
):  # fmt: skip
    for i in range(margin.shape[0]):
        level, since, improving = level0[i], since0[i], improving0[i]
        for k in range(margin.shape[1]):
            hour = first + k
            m = margin[i, k]
            if not unknown[i, k] and not np.isnan(m):
                asked = PAST if m < 0.0 else (NEAR if m < near[i, k] else EASY)
                settled = hour - since >= DWELL_H
                if asked > level:
                    if settled or not improving:
                        level, since, improving = asked, hour, False
                elif asked < level and settled:
                    inside = -np.inf if np.isnan(at_emc[i, k]) else min(toward_limit[i, k], at_emc[i, k])
                    if inside >= near[i, k]:
                        level, since, improving = EASY, hour, True
                    elif level == PAST and inside >= 0.0:
                        level, since, improving = NEAR, hour, True
            level_out[i, k] = level
            since_out[i, k] = since
            improving_out[i, k] = improving
