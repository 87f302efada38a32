"""The coming year of a piece, as a spread: fifty plausible years of air, each run through the solver.

Every year carries its own share of the other doubts:

* the speed of this wood and finish: their time scale, to a factor of two (`DOUBT_FACTOR`) at 10 and 90 %, or
  to what was learned of it;
* the state now: its standard deviation, which holds sensor and meter (`state.MODEL_SD_PCT`); one shift for
  the whole piece;
* the moisture this wood settles at: woods differ, and wood that dried lies above wood that took up moisture
  (`SETTLES_SD_PCT`), or as was learned of it; one shift for the whole piece, reached at the pace of the wood;
* the movement of this wood: the scatter of its kind about the table, or about what was learned of it, at 10
  and 90 %.

Where a gap or a width was read, state and movement count from the reading on: it tightens the spread.

State and movement are added to widths and margins, and so to the chance of crossing a limit. Moisture
contents, and when a limit is crossed, are what the air leads to from where the wood is taken to be: a range
of days means something then, while half a point either way would make it "tomorrow to never". Chance comes
in mirrored pairs, so that the middle of the spread is where it would be without. The same piece at the same
place meets the same chance every day: what changes from one day to the next is what became known.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from model.watch.state.margins import fit_then
from model.watch.state.outlook_doubts import moves_doubt, rate_doubt, settles_pct, wanders_pct
from model.watch.state.outlook_request import OutlookRequest
from model.watch.state.roster import Assembly, SolverMember
from model.watch.state.states import LEAST_MC_PCT, MODEL_SD_PCT
from model.wood.climate.seasonal_model import Air, Season
from model.wood.design.rehearsal import DAY_S, simulate
from model.wood.doubt import TEN_PERCENT_SD
from model.wood.fits import Fit, Limit
from model.wood.moisture import solver as moisture
from model.wood.moisture.layers import WIDTHS

Floats = NDArray[np.float64]

NORMAL = NormalDist()
YEARS = 50
DAYS = 365
QUANTILES = (0.1, 0.5, 0.9)
LANES_AT_ONCE = 4000
"""Members by years run at a time: some tens of megabytes."""


@dataclass(frozen=True, eq=False)
class LimitAhead:
    """One limit of a fit through the days to come.

    Attributes
    ----------
    limit : Limit
        For its names and words.
    now_mm : float
        Its margin as the state is, without chance.
    margin_mm : (days, years)
        At the end of each day, with all that is not known.
    path_mm : (days, years)
        The same by the air alone.
    """

    fit: str
    limit: Limit
    now_mm: float
    margin_mm: Floats
    path_mm: Floats

    @cached_property
    def spread_mm(self) -> Floats:
        """10th, 50th and 90th percentile a day, (3, days)."""
        return spread(self.margin_mm)

    @cached_property
    def crossing_days(self) -> Floats:
        """In each year, days until the air has led beyond the limit; infinite where it never does."""
        below = self.path_mm < 0.0
        first = np.argmax(below, axis=0)
        years = np.arange(below.shape[1])
        after = self.path_mm[first, years]
        before = np.where(first > 0, self.path_mm[np.maximum(first - 1, 0), years], self.now_mm)
        with np.errstate(divide="ignore", invalid="ignore"):
            part = np.clip(np.where(before > after, before / (before - after), 1.0), 0.0, 1.0)
        return np.where(below.any(axis=0), first + part, np.inf)

    @property
    def chance(self) -> float:
        """Share of the years in which the limit is crossed."""
        return float((self.margin_mm < 0.0).any(axis=0).mean())

    def crossing_quantile(self, share: float) -> float:
        """Days within which this share of all years has crossed; infinite when fewer ever do."""
        days = np.sort(self.crossing_days)
        return float(days[min(int(np.ceil(share * len(days))) - 1, len(days) - 1)])

    def crossing_window(self) -> tuple[int, int] | None:
        """Days to the 10th and 90th percentile of the first crossing among the years that cross, rounded
        outward; None where none does."""
        days = self.crossing_days[np.isfinite(self.crossing_days)]
        if not len(days):
            # Crossed only for what is not known of the wood itself, so by the margins that take it in.
            below = self.margin_mm < 0.0
            days = (np.argmax(below, axis=0) + 1.0)[below.any(axis=0)]
        if not len(days):
            return None
        low, high = np.quantile(days, (QUANTILES[0], QUANTILES[-1]))
        return max(int(low), 1), max(int(np.ceil(high)), 1)


@dataclass(frozen=True, eq=False)
class Ahead:
    """A piece through the days to come.

    Attributes
    ----------
    request : OutlookRequest
    season : Season
        What is known of the air where it stands.
    air : Air
        The plausible air itself, (days, years).
    mc_pct, core_pct : mapping of member name to (days, years)
        Mean and core [%].
    settles_pct : (years,)
        How far above equation 4-5 the wood settles in each year [points]; `mc_pct` holds it. Of the first
        part, where it was learned of some.
    """

    request: OutlookRequest
    season: Season
    air: Air
    mc_pct: Mapping[str, Floats]
    core_pct: Mapping[str, Floats]
    settles_pct: Floats

    @property
    def years(self) -> int:
        return next(iter(self.mc_pct.values())).shape[1]

    @cached_property
    def fits(self) -> Mapping[str, Fit]:
        """Each fit as it is known at this hour, by name; those of members not yet there are left out."""
        return fits_then(self.request)

    @cached_property
    def limits(self) -> list[LimitAhead]:
        """Every limit of every fit."""
        found = []
        for fit_name, fit in self.fits.items():
            names = [member.name for member in fit.members]
            now = {name: mean_of(self.request.profiles[name]) for name in names}
            read = read_at(self.request, fit_name)
            known = {**fit.references(), **read}
            both = {
                name: np.stack([self._felt(name, known[name], name in read), self.mc_pct[name]])
                for name in names
            }
            shape = next(iter(both.values())).shape
            flat = {name: values.ravel() for name, values in both.items()}
            for limit, at in zip(fit.limits(flat), fit.limits(now), strict=True):
                margin = np.broadcast_to(limit.margin_mm, int(np.prod(shape))).reshape(shape)
                found.append(LimitAhead(fit_name, limit, float(at.margin_mm), margin[0], margin[1]))
        return found

    @cached_property
    def width_mm(self) -> Mapping[str, Floats]:
        """Width of each member, (days, years)."""
        found = {}
        for body in self.request.owner.bodies:
            if body.name in self.mc_pct:
                member = body.member
                at = [(hour, width) for hour, width in body.widths if hour <= self.request.hour]
                reference, read = member.mc_pct, False
                width_mm = member.width_mm
                if at and self.request.moisture_then is not None:
                    hour, width_mm = at[-1]
                    reference, read = self.request.moisture_then(body.id, hour), True
                felt = self._felt(body.name, reference, read)
                grown = np.reshape(member.strain_from(reference, felt.ravel()), felt.shape)
                found[body.name] = width_mm * (1.0 + grown)
        return found

    @cached_property
    def _chance(self) -> "YearScores":
        return YearScores.of(self.request.owner, self.years)

    def _felt(self, name: str, reference_pct: float, read_there: bool = False) -> Floats:
        """Moisture by which a member of ordinary wood would move as much as this one does each year.

        From where a gap or width was read, only what has changed since is unknown: how wrong the state was
        is in the reading already, unless the air has not been heard since, and the wood's scatter counts
        from that moisture on. A reading's own error, a quarter of a millimetre or less, is left out.
        """
        body = next(body for body in self.request.owner.bodies if body.name == name)
        chance = self._chance
        moves = 1.0 + chance.moves[name] * moves_doubt(body) / TEN_PERCENT_SD
        variance = max(self.request.variances.values(), default=0.0)
        mc = self.mc_pct[name]
        if read_there:
            variance = max(variance - MODEL_SD_PCT**2, 0.0)
            if body.learned is not None:
                mc = mc + chance.settles * wanders_pct(body, body.learned, len(mc))[:, None]
        mc = mc + chance.state * np.sqrt(variance)
        felt = reference_pct + np.maximum(moves, 0.1) * (mc - reference_pct)
        return np.asarray(np.maximum(felt, LEAST_MC_PCT))


@dataclass(frozen=True, eq=False)
class YearScores:
    """Normal scores of a piece's years: of its rate, of its state, of where it settles, and of how each
    member moves."""

    rate: Floats
    state: Floats
    settles: Floats
    moves: Mapping[str, Floats]

    @classmethod
    def of(cls, owner: Assembly, years: int) -> "YearScores":
        seeds = np.random.SeedSequence([owner.id, years]).spawn(3 + len(owner.bodies))
        drawn = [scores(years, seed) for seed in seeds]
        names = [body.name for body in owner.bodies]
        return cls(drawn[0], drawn[1], drawn[2], dict(zip(names, drawn[3:], strict=True)))

    def times_as_fast(self, body: SolverMember) -> Floats:
        """As computed for a body."""
        return np.asarray(rate_doubt(body) ** (self.rate / TEN_PERCENT_SD))


def scores(years: int, seed: np.random.SeedSequence) -> Floats:
    """Standard normal scores as even as so many can be, shuffled; each odd one mirrors the one before."""
    pairs = years // 2
    even = 0.5 + (np.arange(pairs) + 0.5) / (2 * pairs)
    half = np.array([NORMAL.inv_cdf(float(part)) for part in even])
    rng = np.random.default_rng(seed)
    half = rng.permutation(half) * rng.choice([-1.0, 1.0], pairs)
    return np.asarray(np.column_stack([half, -half]).ravel())


def spread(values: Floats) -> Floats:
    """10th, 50th and 90th percentile of each row, (3, rows)."""
    ordered = np.sort(values, axis=1)
    place = np.array(QUANTILES) * (values.shape[1] - 1)
    low = np.floor(place).astype(int)
    part = place - low
    high = np.minimum(low + 1, values.shape[1] - 1)
    return np.asarray((ordered[:, low] * (1.0 - part) + ordered[:, high] * part).T)


def mean_of(profile: Floats) -> float:
    """Mean moisture content of a profile [%]."""
    return float(profile @ WIDTHS)


def fits_then(request: OutlookRequest) -> dict[str, Fit]:
    """A piece's fits as they were known at the hour of a request, whose members were all there."""
    bodies = {body.name: body for body in request.owner.bodies}
    found = {}
    for on_book in request.owner.fits:
        names = [member.name for member in on_book.fit.members]
        if any(name not in request.profiles for name in names):
            continue
        fit = on_book.fit
        if request.moisture_then is not None:
            members = [bodies[name] for name in names]
            fit = fit_then(on_book, members, request.hour, request.moisture_then)
        found[on_book.name] = fit
    return found


def read_at(request: OutlookRequest, fit_name: str) -> Mapping[str, float]:
    """Moisture content of each member of a fit when the gap or its own width was read last, if ever."""
    then = request.moisture_then
    if then is None:
        return {}
    on_book = next(one for one in request.owner.fits if one.name == fit_name)
    gaps = on_book.gaps if on_book.fit.gap_attribute is not None else ()
    bodies = {body.name: body for body in request.owner.bodies}
    found = {}
    for member in on_book.fit.members:
        body = bodies[member.name]
        hours = [hour for hour, _ in (*gaps, *body.widths) if hour <= request.hour]
        if hours:
            found[member.name] = then(body.id, max(hours))
    return found


def batch_of(bodies: Sequence[SolverMember], hour: int, times: int) -> moisture.Batch:
    """The constants of bodies, each so many times over, finished as they are at an hour."""
    batch = moisture.Batch.of([body.constants for body in bodies])
    batch = batch.finished_where(np.array([body.finished_hour <= hour for body in bodies], dtype=bool))
    return batch.take(np.repeat(np.arange(len(bodies)), times))


def look_ahead(
    requests: Sequence[OutlookRequest], seasons: Sequence[Season], days: int = DAYS, years: int = YEARS
) -> Iterator[Ahead]:
    """Run pieces through plausible years, a portion at a time.

    Parameters
    ----------
    requests : sequence of OutlookRequest
    seasons : sequence of Season
        Of each request's place at its hour.
    days, years : int
        How far, and how many years; fewer days give the beginning of what more would.

    Yields
    ------
    Ahead
        Of each request, in order.
    """
    portion: list[int] = []
    lanes = 0
    for position, request in enumerate(requests):
        portion.append(position)
        lanes += len(request.profiles) * years
        if lanes >= LANES_AT_ONCE or position == len(requests) - 1:
            yield from _run([requests[k] for k in portion], [seasons[k] for k in portion], days, years)
            portion, lanes = [], 0


def _run(requests: Sequence[OutlookRequest], seasons: Sequence[Season], days: int, years: int) -> list[Ahead]:
    columns: dict[tuple[int, int], int] = {}
    airs: list[Air] = []
    batches, profiles, chosen, settles = [], [], [], []
    for request, known in zip(requests, seasons, strict=True):
        key = request.place_id, request.hour
        if key not in columns:
            columns[key] = len(airs)
            airs.append(known.years(days, years, request.place_id))
        bodies = _there(request)
        chance = YearScores.of(request.owner, years)
        rate = np.concatenate([chance.times_as_fast(body) for body in bodies])
        # Wood that settles a point higher takes the course of other wood that starts a point lower.
        higher = np.array([settles_pct(body, chance.settles) for body in bodies])
        settles.append(higher)
        batches.append(batch_of(bodies, request.hour, years).quicker(rate))
        lower = np.zeros_like(higher) if request.each_year else higher
        profiles += [
            np.maximum(request.profiles[body.name] - own[:, None], LEAST_MC_PCT)
            for body, own in zip(bodies, lower, strict=True)
        ]
        chosen.append(np.tile(columns[key] * years + np.arange(years), len(bodies)))
    done = simulate(
        moisture.Batch.of([one for batch in batches for one in batch.constants()]),
        (
            np.concatenate([air.temperature_c for air in airs], axis=1),
            np.concatenate([air.rh_pct for air in airs], axis=1),
        ),
        np.concatenate(profiles),
        np.concatenate(chosen),
        DAY_S,
    )
    found = []
    lane = 0
    for request, known, higher in zip(requests, seasons, settles, strict=True):
        mc, core = {}, {}
        for body, own in zip(_there(request), higher, strict=True):
            mc[body.name] = done.mc_mean_pct[1:, lane : lane + years] + own
            core[body.name] = done.mc_core_pct[1:, lane : lane + years] + own
            lane += years
        air = airs[columns[request.place_id, request.hour]]
        found.append(Ahead(request, known, air, mc, core, higher[0]))
    return found


def _there(request: OutlookRequest) -> list[SolverMember]:
    return [body for body in request.owner.bodies if body.name in request.profiles]
