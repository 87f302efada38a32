"""What a maker accepts as ready, and how likely a stack is that for what isn't known of its wood.

Level, slope and core to face: within a point of the target, less than 0.3 point a week, and within a point of
the face (common practice, no source). A stack's wood may follow its air half as fast or twice as fast as the
tables; it was metered a point off; and it settles above or below equation 4-5. The first is told by the
stack's own course: wood half as fast stands now where ours stood at half its time. The others are forgotten
at the pace of the wood, and tell on each other when it is metered again (`StackDoubt`).
"""

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.watch.tell.verdicts import READY_WITHIN_PCT, STEADY_PCT_A_WEEK
from model.wood.air.sorption import SETTLES_SD_PCT
from model.wood.doubt import TEN_PERCENT_SD
from model.wood.moisture.diffusion import DOUBT_FACTOR

Floats = NDArray[np.float64]


def _even_scores(count: int) -> Floats:
    normal = NormalDist()
    return np.array([normal.inv_cdf((place + 0.5) / count) for place in range(count)])


LEAST_SLOPE_DAYS = 2
AIR_SD_PCT = 0.3
"""Of the moisture content that a sensor of 2 % humidity leads wood and target to [points]."""
_RATES = DOUBT_FACTOR ** (_even_scores(8) / TEN_PERCENT_SD)
_SHIFTS = _even_scores(48)
"""Equally likely rates, and scores of where the wood starts and settles."""


@dataclass(frozen=True)
class StackDay:
    """A stack at an instant.

    Attributes
    ----------
    mc_pct, core_pct : float
        Mean and core [%].
    target_pct : float
        What it should have, as far as it was known then [%]; NaN where nothing was.
    slope_pct_a_week : float
        How its mean moves [points a week]; NaN in its first days.
    week_ago_pct : float
        Its mean a week before [%]; NaN where it wasn't followed then, or was metered since.
    heard : bool
        Whether the air where it stands was known.
    resting : bool
        Whether it rests before it is milled again.
    chance : float
        That it is within the rule, for what is not known of its wood (`chances`).
    """

    hour: int
    mc_pct: float
    core_pct: float
    target_pct: float
    slope_pct_a_week: float = math.nan
    week_ago_pct: float = math.nan
    heard: bool = True
    resting: bool = False
    chance: float = 1.0

    @property
    def off_pct(self) -> float:
        return self.mc_pct - self.target_pct

    @property
    def uneven_pct(self) -> float:
        return float(uneven_pct(self.mc_pct, self.core_pct))

    def fulfils(self, slack_pct: float = 0.0) -> bool:
        """Whether it is what a maker accepts, as it is reckoned."""
        return bool(fulfils(self.off_pct, self.slope_pct_a_week, self.uneven_pct, slack_pct))


def uneven_pct(mc_pct: Any, core_pct: Any) -> Any:
    """Core to face, for a profile as drying makes it: a parabola, whose mean lies a third below its core.

    The face itself follows each day's stove and each night's damp, which says nothing of the stack.
    """
    return 3.0 * np.abs(core_pct - mc_pct)


def fulfils(off_pct: Any, slope_pct_a_week: Any, uneven: Any, slack_pct: float = 0.0) -> Any:
    """Whether level, slope and core to face are what a maker accepts; an unknown slope decides nothing."""
    steady = np.isnan(slope_pct_a_week) | (np.abs(slope_pct_a_week) < STEADY_PCT_A_WEEK + slack_pct)
    level = np.abs(off_pct) <= READY_WITHIN_PCT + slack_pct
    return level & steady & (uneven <= READY_WITHIN_PCT + slack_pct)


def slopes(mc_pct: Floats) -> Floats:
    """How a mean moves at each midnight, over the week before or as much of it as is known [points a week].

    Parameters
    ----------
    mc_pct : (midnights, ...)
        NaN before it was known; NaN comes back where fewer than `LEAST_SLOPE_DAYS` days lie before.
    """
    found = np.full_like(mc_pct, np.nan)
    for back in range(LEAST_SLOPE_DAYS, 8):  # the longest stretch that is known counts
        change = (mc_pct[back:] - mc_pct[:-back]) * 7.0 / back
        found[back:] = np.where(np.isfinite(change), change, found[back:])
    return found


@dataclass(frozen=True)
class StackDoubt:
    """How far wood may be off its reckoned course, both counted from where they settle; and where it settles.

    Attributes
    ----------
    off_pct : (2,)
        What is expected of the two, above the course and above equation 4-5 [points].
    variance : (2, 2)
        Of the two [points²].
    """

    off_pct: Floats
    variance: Floats

    @classmethod
    def of(cls, start_variance_pct2: float) -> "StackDoubt":
        """Of wood that was metered once: wood that settles a point higher has a point less to lose."""
        settles = SETTLES_SD_PCT**2
        return cls(np.zeros(2), np.array([[start_variance_pct2 + settles, -settles], [-settles, settles]]))

    def after(self, days: float, constant_days: float) -> "StackDoubt":
        """So many days later."""
        kept = np.diag([math.exp(-days / constant_days), 1.0])
        return StackDoubt(kept @ self.off_pct, kept @ self.variance @ kept)

    def metered(self, above_pct: float, variance_pct2: float, moved_pct: float) -> "StackDoubt":
        """After a reading so far above the course, which was moved by so much because of it [points].

        The two together are what a meter sees: a Kalman update.
        """
        seen = self.variance.sum(axis=1)
        gain = seen / (seen.sum() + variance_pct2)
        off = self.off_pct + gain * (above_pct - self.off_pct.sum())
        return StackDoubt(off - [moved_pct, 0.0], self.variance - np.outer(gain, seen))

    def off_by(self, score: Any, kept: Any = 1.0) -> Any:
        """How far wood is above the course by a normal score, of which so much is left [points]."""
        return kept * (self.off_pct[0] + math.sqrt(self.variance[0, 0]) * score)


def stands_at(since: Any, rate: Any, constant_days: float) -> Any:
    """The day at which ours stood where wood `rate` times as fast stands now [days since it was metered].

    Wood that has settled into a course of its own lags by its time constant and no more. Faster wood is taken
    where ours is: nobody knows the air to come.
    """
    lag = np.minimum(since * (1.0 - rate), constant_days * (1.0 / rate - 1.0))
    return since - np.maximum(lag, 0.0)


def chances(
    day: Floats,
    mc_pct: Floats,
    core_pct: Floats,
    target_pct: Floats,
    constant_days: float,
    doubt: StackDoubt,
) -> Floats:
    """How likely a stack is within the rule at each of some days since it was metered.

    Parameters
    ----------
    day : (days,)
        Rising from 0, when it was metered or came.
    mc_pct, core_pct, target_pct : (days,)
        Mean, core and what it should have, as they are reckoned [%].
    constant_days : float
        In which wood as in the tables comes within 37 % of a new climate.
    doubt : StackDoubt
        On the first of these days.

    Returns
    -------
    (days,)
        0 to 1.
    """
    rate, since = _RATES[None, :], day[:, None]
    at = stands_at(since, rate, constant_days)
    week = np.minimum(since, 7.0)
    mean, core, before = (
        np.interp(then, day, values)
        for then, values in (
            (at, mc_pct),
            (at, core_pct),
            (np.maximum(at - week * np.minimum(rate, 1.0), 0.0), mc_pct),
        )
    )
    slope = np.where(since >= LEAST_SLOPE_DAYS, (mean - before) * 7.0 / np.maximum(week, 1.0), np.nan)
    kept = np.exp(-since * rate / constant_days)
    middle = mean - target_pct[:, None] + doubt.off_by(0.0, kept)
    sd = np.hypot(doubt.off_by(1.0, kept) - doubt.off_by(0.0, kept), AIR_SD_PCT)
    off = middle[..., None] + sd[..., None] * _SHIFTS
    good = fulfils(off, slope[..., None], uneven_pct(mean, core)[..., None])
    return np.asarray(good.mean(axis=(1, 2)), dtype=np.float64)
