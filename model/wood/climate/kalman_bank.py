"""A bank of Kalman filters for the daily departures of a quantity from its expectation, and drawn paths.

See `season`, which uses this for the temperature and the humidity of a place.
"""

from dataclasses import dataclass
from functools import cached_property

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

DAYS_IN_YEAR = 365.2425
WAVES, SLOW, PACE, FAST = slice(1, 5), 5, 6, 7  # the level is 0
STATES = 8


@dataclass(frozen=True, kw_only=True)
class NoiseSpec:
    """How far one quantity may depart from its expectation.

    Attributes
    ----------
    level_sd, yearly_sd, half_yearly_sd : float
        Of a place's mean about the expected one, and of the cosine and sine of each wave.
    slow_sd, fast_sd : tuple of float
        Sizes of the two departures that are tried.
    slow_days, fast_days : float, tuple of float
        How long they last; the fast one falls to 37 % in that time.
    year_to_year : tuple of float
        Shares of their first uncertainty by which level and waves may change within a year, that are tried.
    noise_sd : float
        Of a daily mean as measured.
    """

    level_sd: float
    yearly_sd: float
    half_yearly_sd: float
    slow_sd: tuple[float, ...]
    fast_sd: tuple[float, ...]
    slow_days: float = 20.0
    fast_days: tuple[float, ...]
    year_to_year: tuple[float, ...] = (0.1, 0.3)
    noise_sd: float

    @cached_property
    def bank(self) -> Floats:
        """Every combination tried: slow sd, fast sd, fast days and change from year to year, one row each."""
        sizes = self.slow_sd, self.fast_sd, self.fast_days, self.year_to_year
        return np.column_stack([axis.ravel() for axis in np.meshgrid(*sizes, indexing="ij")])


LEARNED_SHARE = 0.3
"""What a day says of how restless a place is, as a share of a day independent of the days before: so far the
sizes learned stay near all those tried, which is the prior."""


@dataclass(frozen=True)
class NoisePair:
    """How far temperature [°C] and humidity may depart from what is expected of a kind of place.

    Humidity is in logits: 0.1 is 2.5 % RH at half saturation.
    """

    temperature: NoiseSpec
    humidity: NoiseSpec


HEATED = NoisePair(
    NoiseSpec(
        level_sd=2.0, yearly_sd=1.5, half_yearly_sd=0.5, slow_sd=(0.3, 0.8, 2.0), fast_sd=(0.4, 1.0, 2.5),
        fast_days=(2.0, 6.0), noise_sd=0.1,
    ),
    NoiseSpec(
        level_sd=0.30, yearly_sd=0.20, half_yearly_sd=0.08, slow_sd=(0.04, 0.08, 0.16),
        fast_sd=(0.07, 0.15, 0.30), fast_days=(2.0, 6.0), noise_sd=0.02,
    ),
)  # fmt: skip
# Weather itself: days that differ by some degrees and from fog to clear, mild and cold months.
UNHEATED = NoisePair(
    NoiseSpec(
        level_sd=1.0, yearly_sd=0.8, half_yearly_sd=0.4, slow_sd=(0.5, 1.0, 2.0), fast_sd=(1.0, 2.0, 4.0),
        fast_days=(2.0, 6.0), noise_sd=0.1,
    ),
    NoiseSpec(
        level_sd=0.20, yearly_sd=0.12, half_yearly_sd=0.06, slow_sd=(0.04, 0.08, 0.16),
        fast_sd=(0.15, 0.30, 0.60), fast_days=(1.5, 4.0), noise_sd=0.02,
    ),
)  # fmt: skip
_STEP_DAYS = 30


@dataclass(frozen=True, eq=False)
class FilterState:
    """The state of the bank of filters for one quantity: one row a filter.

    Attributes
    ----------
    mean : (filters, STATES)
    cover : (filters, STATES, STATES)
        Covariance.
    log_weight : (filters,)
        How well each predicted what came, up to a constant.
    """

    spec: NoiseSpec
    mean: Floats
    cover: Floats
    log_weight: Floats
    scale: float = 1.0

    @property
    def weight(self) -> Floats:
        """Share of each filter; their sum is 1."""
        share = np.exp(LEARNED_SHARE * (self.log_weight - self.log_weight.max()))
        return np.asarray(share / share.sum())

    def middle(self, day: int, days: Integers) -> Floats:
        """Mean departure from the expectation on later days, without chance."""
        away = days - day
        slow, pace = _kept(away[:, None], self.spec.slow_days)
        fast = np.exp(-away[:, None] / self.spec.bank[:, 2])
        waves = _waves(days) @ self.mean[:, : WAVES.stop].T
        paths = waves + slow * self.mean[:, SLOW] + pace * self.mean[:, PACE] + fast * self.mean[:, FAST]
        return np.asarray(paths @ self.weight)

    def drawn(self, day: int, days: Integers, years: int, seed: np.random.SeedSequence) -> Floats:
        """Departures (days, years) that may come; each odd year mirrors the one before it.

        `days` follow one another from `day + 1` on. Fewer of them give the same first days.
        """
        pairs = years // 2
        now, change, slow, fast = (np.random.default_rng(child) for child in seed.spawn(4))
        # Which filter meets which piece of chance must not follow the order of the bank.
        chosen = now.permutation(_shares(self.weight, pairs))
        bank, mean = self.spec.bank[chosen], self.mean[chosen]
        z = now.standard_normal((pairs, STATES))
        start = np.einsum("pij,pj->pi", _root(self.cover[chosen]), z)
        # Levels and waves change slowly: a step every thirty days is as good as one every day.
        steps = -(-len(days) // _STEP_DAYS)
        step_sd = self.scale * np.sqrt(_STEP_DAYS * _drift(self.spec)[chosen])
        walk = np.cumsum(change.standard_normal((steps, pairs, WAVES.stop)) * step_sd, axis=0)
        shape = start[:, : WAVES.stop] + np.repeat(walk, _STEP_DAYS, axis=0)[: len(days)]
        seen = _waves(days)
        chance = np.einsum("dk,dpk->dp", seen, shape)
        chance += _drifting(start[:, SLOW], start[:, PACE], bank[:, 0], self.spec.slow_days, len(days), slow)
        chance += _process(start[:, FAST], bank[:, 1], bank[:, 2], len(days), fast)
        gone = (days - day)[:, None]
        middle = seen @ mean[:, : WAVES.stop].T
        kept, pace = _kept(gone, self.spec.slow_days)
        middle += kept * mean[:, SLOW] + pace * mean[:, PACE] + np.exp(-gone / bank[:, 2]) * mean[:, FAST]
        both = np.empty((len(days), 2 * pairs))
        both[:, 0::2], both[:, 1::2] = middle + chance, middle - chance
        return both


def _waves(days: Integers) -> Floats:
    """Level, and cosine and sine of the yearly and the half-yearly wave, on days since 1970."""
    turn = 2.0 * np.pi * days / DAYS_IN_YEAR
    return np.column_stack(
        [np.ones(len(days)), np.cos(turn), np.sin(turn), np.cos(2.0 * turn), np.sin(2.0 * turn)]
    )


def _spread(spec: NoiseSpec) -> Floats:
    """Standard deviations of level and waves."""
    return np.array([spec.level_sd, *[spec.yearly_sd] * 2, *[spec.half_yearly_sd] * 2])


def _drift(spec: NoiseSpec) -> Floats:
    """Variance that level and waves gain in a day, (filters, level and waves)."""
    return np.asarray((spec.bank[:, 3, None] * _spread(spec)) ** 2 / DAYS_IN_YEAR)


def filtered(
    spec: NoiseSpec, scale: float, days: Integers, departures: Floats, wanted: Integers
) -> list[FilterState]:
    """The bank of filters after so many rows, for each number of rows wanted."""
    bank = spec.bank
    filters = len(bank)
    at_first = np.empty((filters, STATES))
    at_first[:, : WAVES.stop] = scale * _spread(spec)
    at_first[:, SLOW], at_first[:, PACE] = bank[:, 0], bank[:, 0] / spec.slow_days
    at_first[:, FAST] = bank[:, 1]
    mean, cover = np.zeros((filters, STATES)), np.zeros((filters, STATES, STATES))
    diagonal = np.arange(STATES)
    cover[:, diagonal, diagonal] = at_first**2
    fade = np.exp(-1.0 / bank[:, 2])
    slow = _slow_step(spec.slow_days)
    gain = np.zeros((filters, STATES, STATES))
    gain[:, diagonal[: WAVES.stop], diagonal[: WAVES.stop]] = scale**2 * _drift(spec)
    gain[:, SLOW:FAST, SLOW:FAST] = bank[:, 0, None, None] ** 2 * _slow_gain(spec.slow_days)
    gain[:, FAST, FAST] = bank[:, 1] ** 2 * (1.0 - fade**2)
    log_weight = np.zeros(filters)
    seen = (
        np.column_stack([_waves(days), np.tile([1.0, 0.0, 1.0], (len(days), 1))])
        if len(days)
        else np.empty((0, STATES))
    )
    found: list[FilterState] = []
    done = 0
    for rows in wanted.tolist():
        span, noise = slice(done, rows), spec.noise_sd**2
        _take_in(mean, cover, log_weight, slow, fade, gain, seen[span], departures[span], noise)
        found.append(FilterState(spec, mean.copy(), cover.copy(), log_weight.copy(), scale))
        done = rows
    return found


@numba.njit(cache=True)
def _take_in(mean, cover, log_weight, slow, fade, gain, seen, departures, noise):  # type: ignore[no-untyped-def]
    """Kalman filters over some rows; a NaN row is a day without a measurement."""
    states = mean.shape[1]
    reach = np.empty(states)
    for row in range(len(departures)):
        h = seen[row]
        for f in range(mean.shape[0]):
            m, p = mean[f], cover[f]
            level, pace = m[SLOW], m[PACE]
            m[SLOW] = slow[0, 0] * level + slow[0, 1] * pace
            m[PACE] = slow[1, 0] * level + slow[1, 1] * pace
            m[FAST] *= fade[f]
            for i in range(states):
                level, pace = p[SLOW, i], p[PACE, i]
                p[SLOW, i] = slow[0, 0] * level + slow[0, 1] * pace
                p[PACE, i] = slow[1, 0] * level + slow[1, 1] * pace
                p[FAST, i] *= fade[f]
            for i in range(states):
                level, pace = p[i, SLOW], p[i, PACE]
                p[i, SLOW] = slow[0, 0] * level + slow[0, 1] * pace
                p[i, PACE] = slow[1, 0] * level + slow[1, 1] * pace
                p[i, FAST] *= fade[f]
            for i in range(states):
                for j in range(states):
                    p[i, j] += gain[f, i, j]
            if np.isnan(departures[row]):
                continue
            variance, miss = noise, departures[row]
            for i in range(states):
                reach[i] = 0.0
                for j in range(states):
                    reach[i] += p[i, j] * h[j]
                variance += h[i] * reach[i]
                miss -= h[i] * m[i]
            log_weight[f] -= 0.5 * (np.log(variance) + miss * miss / variance)
            for i in range(states):
                m[i] += reach[i] * miss / variance
                for j in range(states):
                    p[i, j] -= reach[i] * reach[j] / variance


def _shares(weight: Floats, count: int) -> Integers:
    """Which filter each of `count` draws comes from: as even as whole numbers can be."""
    ends = np.cumsum(weight)
    return np.minimum(np.searchsorted(ends, (np.arange(count) + 0.5) / count), len(weight) - 1)


def _root(cover: Floats) -> Floats:
    """A square root of each covariance."""
    values, vectors = np.linalg.eigh(0.5 * (cover + np.swapaxes(cover, 1, 2)))
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :])


def _slow_step(days: float) -> Floats:
    """How level and pace of the slow departure go on over a day: those of a Matern 3/2 process.

    It is the smoothest first choice for something that keeps going the way it goes for a while, then fades:
    its covariance is (1 + t/l) exp(-t/l).
    """
    share = 1.0 / days
    still = np.array([[1.0 + share, 1.0], [-share / days, 1.0 - share]])
    return np.asarray(np.exp(-share) * still)


def _slow_gain(days: float) -> Floats:
    """Covariance that the slow departure of size 1 gains in a day, so that its size stays."""
    size = np.diag([1.0, 1.0 / days**2])
    step = _slow_step(days)
    return np.asarray(size - step @ size @ step.T)


def _kept(away: Floats | Integers, days: float) -> tuple[Floats, Floats]:
    """What is left of a slow departure so many days later, of its level and for each unit of its pace."""
    fade = np.exp(-away / days)
    return np.asarray((1.0 + away / days) * fade), np.asarray(away * fade)


def _drifting(
    level: Floats, pace: Floats, sd: Floats, lasting: float, days: int, rng: np.random.Generator
) -> Floats:
    """Paths (days, draws) of the slow departure from its level and pace on the day before."""
    step, root = _slow_step(lasting), np.linalg.cholesky(_slow_gain(lasting))
    chance = np.einsum("ij,dpj->dpi", root, rng.standard_normal((days, len(sd), 2))) * sd[:, None]
    path = np.empty((days, len(sd)))
    now = np.column_stack([level, pace])
    for day in range(days):
        now = now @ step.T + chance[day]
        path[day] = now[:, 0]
    return path


def _process(start: Floats, sd: Floats, lasting: Floats, days: int, rng: np.random.Generator) -> Floats:
    """Paths (days, draws) of first-order processes from a departure on the day before."""
    fade = np.exp(-1.0 / lasting)
    step = rng.standard_normal((days, len(start))) * (sd * np.sqrt(1.0 - fade**2))
    path = np.empty_like(step)
    now = start
    for day in range(days):
        now = fade * now + step[day]
        path[day] = now
    return path
