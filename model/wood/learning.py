"""What the measurements of one part teach of it: how much it moves, how fast it follows, what it holds.

A handbook's figures are those of a kind of wood. Two factors make them those of one part: on its movement,
and on its speed, finish included. Both are learned from metered moisture contents, widths and gaps. What came
up to an instant decides what is known at it, and nothing later (a filter, not a smoother); readings of one
hour are taken in an order of their own, so the order in which they arrived changes no bit.

The factors stand on a grid. For each speed the solver carries the part through its air once (`RATES`), as if
nothing had been measured. At each point of the grid the rest is linear: how far the moisture is off that
course now, how far the first moisture content was, where this wood settles, and how far the sizes as built
are off. A Kalman filter follows these, and the point gains weight by how well it foretold each measurement
(a Rao-Blackwellised filter [1]_).

References
----------
.. [1] A. Doucet, N. de Freitas, K. Murphy, S. Russell, "Rao-Blackwellised particle filtering for dynamic
   Bayesian networks", UAI 2000 (from memory); here on a fixed grid, without chance.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.wood.air.sorption import SETTLES_SD_PCT
from model.wood.doubt import TEN_PERCENT_SD
from model.wood.moisture.diffusion import DOUBT_FACTOR
from model.wood.reason import Reason

Floats = NDArray[np.float64]

RATE_SD = float(np.log(DOUBT_FACTOR)) / TEN_PERCENT_SD
"""Of the logarithm of the speed: a factor of two at the 10th and the 90th percentile."""
RATES: Floats = np.exp(np.linspace(-1.4, 1.4, 15))
"""Speeds that the solver is run at: a fourth to four times, 2.6 standard deviations either way."""
POINTS_BETWEEN = 2
"""Points of the grid from one of those speeds to the next; the moisture in between is a straight line."""
MOVEMENTS = 31
WIDEST_SD = 3.0
LEAST_MOVEMENT = 0.1
WORTH_SAYING = 0.9
"""Nothing is said of a speed while its doubt is nearly that of any board of its wood."""
SETTLES_PCT = TEN_PERCENT_SD * SETTLES_SD_PCT
"""The ± of where any wood settles [points]."""
WORTH_POINTS = 0.25

_OFFSET, _START, _SETTLES, _SIZES = 0, 1, 2, 3


@dataclass(frozen=True)
class Learned:
    """What is known of a part by its measurements so far.

    Attributes
    ----------
    movement_factor, movement_doubt : float or None
        Its movement against what is computed for its wood, and the ± of that; None before a width or a gap
        was measured.
    rate_factor, rate_doubt : float
        Its speed against what is computed, and the factor by which that may be more or less.
    settles_pct, settles_doubt_pct : float
        How far above equation 4-5 it settles, and the ± of that [points].
    count : int
        Measurements it rests on.
    """

    movement_factor: float | None
    movement_doubt: float | None
    rate_factor: float
    rate_doubt: float
    settles_pct: float
    settles_doubt_pct: float
    count: int

    @property
    def moves(self) -> float:
        """The movement factor; 1 while nothing is known of it."""
        return 1.0 if self.movement_factor is None else self.movement_factor

    def told(self, part: str) -> Reason:
        """What was learned of a part, by its name, for people."""
        what: tuple[Reason, ...] = ()
        if self.movement_factor is not None and self.movement_doubt is not None:
            more_pct = 100.0 * (self.movement_factor - 1.0)
            sizes = {"more_pct": more_pct, "by_pct": abs(more_pct), "sure_pct": 100.0 * self.movement_doubt}
            how = "alike" if abs(more_pct) < 0.5 else ""
            what, part = (Reason("learned-movement", {"how": how, "part": part, **sizes}),), "it"
        pace, sure = round(self.rate_factor, 1), round(self.rate_doubt, 1)
        how = "unknown" if self.rate_doubt > WORTH_SAYING * DOUBT_FACTOR else "alike" if pace == 1.0 else ""
        rate = Reason("learned-rate", {"how": how, "part": part, "pace": pace, "sure": sure})
        settles: tuple[Reason, ...] = ()
        if abs(self.settles_pct) >= WORTH_POINTS and self.settles_doubt_pct < WORTH_SAYING * SETTLES_PCT:
            values = {"above_pct": self.settles_pct, "by_pct": abs(self.settles_pct)}
            settles = (Reason("learned-settles", {**values, "sure_pct": self.settles_doubt_pct}),)
        return Reason("learned", {"measured_count": self.count, "what": (*what, rate, *settles)})

    @property
    def moves_doubt_share(self) -> float | None:
        """The ± of the movement as a share of itself."""
        return None if self.movement_doubt is None else self.movement_doubt / self.moves


class Posterior(NamedTuple):
    """The factors, and the state they go with.

    Attributes
    ----------
    learned : Learned
    lane_weights : (rates,)
        The state is the mean of the solver's at `RATES`, so weighted, ...
    shift_pct : float
        ... and so many points higher right through.
    variance_pct2 : float
        Of the mean moisture content.
    """

    learned: Learned
    lane_weights: Floats
    shift_pct: float
    variance_pct2: float


SizeAt = Callable[[Floats, float], Floats]
"""A size [mm] at mean moisture contents [%] of any shape, were the movement so many times the computed."""


@dataclass(frozen=True)
class PartMeasurement:
    """One measurement of a part.

    Attributes
    ----------
    hour : int
        When.
    value, sd : float
        In percent or mm.
    figure : callable or None
        The size it is of; None of a moisture content.
    size : str
        Which size as built that is, its width or one of its gaps; empty of a moisture content.
    """

    hour: int
    value: float
    sd: float
    figure: SizeAt | None = None
    size: str = ""

    @property
    def rank(self) -> tuple[int, str, float, float]:
        """Its place among the others."""
        return self.hour, self.size, self.value, self.sd


@dataclass(frozen=True)
class Course:
    """What the solver makes of a part at each of `RATES`, as if nothing had been measured.

    Attributes
    ----------
    hours : (instants,)
        The start, then each hour with a measurement, rising; the start again if something was measured then.
    mc_pct, variance_pct2 : (instants, rates)
        Mean moisture content and the variance the watch gives it.
    time_constant_h : (rates,)
    """

    hours: Sequence[int]
    mc_pct: Floats
    variance_pct2: Floats
    time_constant_h: Floats


def learn(
    course: Course, measured: Sequence[PartMeasurement], movement_sd: float, size_sd_mm: Mapping[str, float]
) -> list[Posterior]:
    """What is known after each hour with a measurement.

    Parameters
    ----------
    course : Course
    measured : sequence of PartMeasurement
        In any order.
    movement_sd : float
        How far boards of this wood differ in movement, as a share.
    size_sd_mm : mapping of name to float
        How far each size as built may be off.

    Returns
    -------
    list of Posterior
        One for each of `course.hours` but the start.
    """
    ordered = sorted(measured, key=lambda one: one.rank)
    between = _between_lanes()
    log_rate = between @ np.log(RATES)
    moves = _movements(movement_sd) if any(one.figure for one in measured) else np.ones(1)
    filtered = _Filter(log_rate, moves, movement_sd, sorted(size_sd_mm), size_sd_mm, course, between)
    found = []
    for at in range(1, len(course.hours)):
        filtered.carry(at)
        now = [one for one in ordered if one.hour == course.hours[at]]
        for one in now:
            filtered.take(one)
        count = sum(one.hour <= course.hours[at] for one in ordered)
        has_size = any(one.figure and one.hour <= course.hours[at] for one in ordered)
        found.append(filtered.posterior(count, has_size))
    return found


def _between_lanes() -> Floats:
    """Weights of the lanes at each speed of the grid, (speeds, rates)."""
    lanes = np.arange(len(RATES), dtype=np.float64)
    points = np.linspace(0.0, lanes[-1], POINTS_BETWEEN * (len(RATES) - 1) + 1)
    return np.maximum(1.0 - np.abs(points[:, None] - lanes), 0.0)


def _movements(sd: float) -> Floats:
    return np.linspace(max(1.0 - WIDEST_SD * sd, LEAST_MOVEMENT), 1.0 + WIDEST_SD * sd, MOVEMENTS)


class _Filter:
    """A Kalman filter at each point of the grid: arrays are (speeds, movements, …)."""

    def __init__(
        self,
        log_rate: Floats,
        moves: Floats,
        movement_sd: float,
        sizes: Sequence[str],
        size_sd_mm: Mapping[str, float],
        course: Course,
        between: Floats,
    ) -> None:
        self._log_rate, self._moves, self._sizes = log_rate, moves, sizes
        self._between, self._course = between, course
        self._mc, self._variance = course.mc_pct @ between.T, course.variance_pct2 @ between.T
        self._pace = 1.0 / np.exp(between @ np.log(course.time_constant_h))
        self._at = 0
        n = _SIZES + len(sizes)
        shape = (len(log_rate), len(moves))
        self._mean = np.zeros((*shape, n))
        self._cov = np.zeros((*shape, n, n))
        # What it held at first was off by as much as the moisture its sizes are counted from.
        for a in (_OFFSET, _START):
            for b in (_OFFSET, _START):
                self._cov[..., a, b] = self._variance[0][:, None]
        self._cov[..., _SETTLES, _SETTLES] = SETTLES_SD_PCT**2
        for number, size in enumerate(sizes, _SIZES):
            self._cov[..., number, number] = size_sd_mm[size] ** 2
        weight = -0.5 * (log_rate / RATE_SD)[:, None] ** 2
        self._log_weight = weight - 0.5 * ((moves - 1.0) / movement_sd)[None, :] ** 2

    def carry(self, at: int) -> None:
        """Carry what is known to the next instant: the offset comes to where this wood settles."""
        hours = self._course.hours[at] - self._course.hours[self._at]
        left = np.exp(-hours * self._pace)
        noise = np.maximum(self._variance[at] - left**2 * self._variance[self._at], 0.0)
        left, rest = left[:, None, None], 1.0 - left[:, None, None]
        carried = left[..., 0] * self._mean[..., _OFFSET] + rest[..., 0] * self._mean[..., _SETTLES]
        self._mean[..., _OFFSET] = carried
        row = left * self._cov[..., _OFFSET, :] + rest * self._cov[..., _SETTLES, :]
        own = left[..., 0] * row[..., _OFFSET] + rest[..., 0] * row[..., _SETTLES]
        self._cov[..., _OFFSET, :] = self._cov[..., :, _OFFSET] = row
        self._cov[..., _OFFSET, _OFFSET] = own
        self._cov[..., _OFFSET, _OFFSET] += noise[:, None]
        self._at = at

    def take(self, one: PartMeasurement) -> None:
        """Take up a measurement."""
        mc = self._mc[self._at]
        told = np.zeros(self._mean.shape)
        told[..., _OFFSET] = 1.0
        if one.figure is None:
            foreseen = np.broadcast_to(mc[:, None], told.shape[:2])
        else:
            # Where the course stands now: a slope is that of the movement at the moisture it has there.
            about = np.stack([mc, mc + 0.5, mc - 0.5])
            found = np.stack([one.figure(about, float(factor)) for factor in self._moves], axis=-1)
            foreseen = found[0]
            told[..., _OFFSET] = found[1] - found[2]
            told[..., _START] = -told[..., _OFFSET]
            told[..., _SIZES + self._sizes.index(one.size)] = 1.0
        reach = np.einsum("rfab,rfb->rfa", self._cov, told)
        spread = np.einsum("rfa,rfa->rf", told, reach) + one.sd**2
        off = one.value - foreseen - np.einsum("rfa,rfa->rf", told, self._mean)
        self._mean = self._mean + reach * (off / spread)[..., None]
        self._cov = self._cov - reach[..., :, None] * reach[..., None, :] / spread[..., None, None]
        self._log_weight = self._log_weight - 0.5 * (off**2 / spread + np.log(spread))

    def _of(self, weight: Floats, which: int, about: Floats | float = 0.0) -> tuple[float, float]:
        """Mean and variance of one of what the filters follow, over the grid."""
        at = about + self._mean[..., which]
        mean = float((weight * at).sum())
        return mean, float((weight * (self._cov[..., which, which] + (at - mean) ** 2)).sum())

    def posterior(self, count: int, has_size: bool) -> Posterior:
        """What is known now."""
        weight = np.exp(self._log_weight - self._log_weight.max())
        weight /= weight.sum()
        by_rate, by_move = weight.sum(axis=1), weight.sum(axis=0)
        rate, rate_sd = _moments(self._log_rate, by_rate)
        moves: tuple[float | None, float | None] = (None, None)
        if has_size:
            factor, sd = _moments(self._moves, by_move)
            moves = factor, TEN_PERCENT_SD * sd
        settles, settles_variance = self._of(weight, _SETTLES)
        learned = Learned(
            *moves,
            float(np.exp(rate)),
            float(np.exp(TEN_PERCENT_SD * rate_sd)),
            settles,
            TEN_PERCENT_SD * float(np.sqrt(settles_variance)),
            count,
        )
        mc = self._mc[self._at]
        mean, variance = self._of(weight, _OFFSET, mc[:, None])
        # The watch leaves out of it where this wood settles; a measurement never makes it less sure.
        variance = min(variance, float(by_rate @ self._variance[self._at]))
        return Posterior(learned, by_rate @ self._between, mean - float(by_rate @ mc), variance)


def _moments(points: Floats, weight: Floats) -> tuple[float, float]:
    """Mean and standard deviation over even points, each of which stands for those about it."""
    mean = float(weight @ points)
    within = (points[1] - points[0]) ** 2 / 12.0
    return mean, float(np.sqrt(weight @ (points - mean) ** 2 + within))
