"""Learning from what was measured on wood: joins `model.wood.learning` to the book and the air.

The solver carries a body from its record's start at every speed of `RATES`, through the air as it is known
now and as if nothing had been measured. So what is learned is a function of the book and the air up to a
measurement: worked out again it is the same to the last bit, whatever came in which order. It is kept in the
table `learned`, and worked out anew only where a measurement is not yet on record there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from model.watch.air.gap_fill import HourlyAir
from model.watch.state.roster import Assembly, FitOnBook, LearnedStep, OnWood, SolverMember
from model.watch.state.states import LEAST_MC_PCT, NOT_STARTED, States, run
from model.wood.doubt import SIZE_DOUBT_MM, TEN_PERCENT_SD
from model.wood.learning import RATES, Course, PartMeasurement, Posterior, learn
from model.wood.material.member import Member
from model.wood.moisture import solver as moisture

Floats = NDArray[np.float64]

GAP_AS_BUILT_MM = 1.0
"""The ± of a gap as built: it is drawn, then planed to (common practice, no source). So the first gap that is
read tells of the gap, and those after it of the wood."""


def with_steps(
    owner: Assembly,
    known: Mapping[int, LearnedStep],
    since: int | None,
    end: int,
    airs: Mapping[int, HourlyAir],
) -> Assembly:
    """An owner with what was learned of its bodies on the way from an hour to another.

    Parameters
    ----------
    known : mapping of body id to LearnedStep
        The last up to the first hour.
    since : int or None
        The hour it goes on from; None from its start.
    end : int
    airs : mapping of place id to HourlyAir
        As `states.run` takes it.
    """
    taught = [
        body
        for body in owner.bodies
        if any((since is None or one.hour > since) and one.hour <= end for one in body.on_wood)
    ]
    if not taught and not known:
        return owner
    found = _learn(owner, taught, end, airs) if taught else {}
    bodies = []
    for body in owner.bodies:
        before = [known[body.id]] if body.id in known else []
        later = [step for step in found.get(body.id, ()) if since is None or step.hour > since]
        bodies.append(replace(body, steps=(*before, *later)))
    return replace(owner, bodies=tuple(bodies))


def _learn(
    owner: Assembly, taught: Sequence[SolverMember], end: int, airs: Mapping[int, HourlyAir]
) -> dict[int, list[LearnedStep]]:
    """Everything that was learned of some bodies up to an hour, by body id."""
    fits = {fit.id: fit for fit in owner.fits}
    read = [fits[one.fit_id] for body in taught for one in body.on_wood if one.fit_id in fits]
    beside = {member.name for fit in read for member in fit.fit.members}
    lanes: list[SolverMember] = []
    rows: dict[str, slice] = {}
    for body in owner.bodies:
        is_taught = any(body.id == one.id for one in taught)
        if is_taught or body.name in beside:
            rates = RATES if is_taught else np.ones(1)
            rows[body.name] = slice(len(lanes), len(lanes) + len(rates))
            batch = moisture.Batch.of([body.constants] * len(rates)).quicker(rates)
            bare = replace(body, moistures=(), widths=(), on_wood=(), steps=())
            lanes += [replace(bare, constants=one) for one in batch.constants()]
    wood = replace(owner, bodies=tuple(lanes), fits=(), fit_ids=())
    hours = sorted({one.hour for body in taught for one in body.on_wood if one.hour <= end})
    at: dict[int, States] = {}
    states = States.blank(len(lanes))
    for hour in hours:
        states = run([wood], states, airs, hour, midnights=False).states
        at[hour] = states
    return {body.id: _steps(body, rows, at, lanes, fits) for body in taught}


def _steps(
    body: SolverMember,
    rows: Mapping[str, slice],
    at: Mapping[int, States],
    lanes: Sequence[SolverMember],
    fits: Mapping[int, FitOnBook],
) -> list[LearnedStep]:
    own = rows[body.name]
    at = {hour: states for hour, states in at.items() if _is_at(states, hour, own)}
    measured = [_measurement(one, body, rows, at[one.hour], fits) for one in body.on_wood if one.hour in at]
    hours = sorted({one.hour for one in measured})
    if not hours:
        return []
    course = Course(
        [body.start_hour, *hours],
        np.array([np.full(len(RATES), body.start_mc_pct), *(at[h].outline[own, 0] for h in hours)]),
        np.array([np.full(len(RATES), body.start_variance_pct2), *(at[h].variance_pct2[own] for h in hours)]),
        np.array([lane.time_constant_h for lane in lanes[own]]),
    )
    sizes = {one.size: _size_sd_mm(one.size, body.member) for one in measured if one.size}
    found = learn(course, measured, _scatter_sd(body.member), sizes)
    lanes_of = np.arange(own.start, own.stop)
    return [_step(hour, one, at[hour].part(lanes_of)) for hour, one in zip(hours, found, strict=True)]


def _is_at(states: States, hour: int, own: slice) -> bool:
    """Whether a body was still followed at an hour."""
    return bool((states.hour[own] == hour).all())


def _step(hour: int, found: Posterior, lanes: States) -> LearnedStep:
    """The state that goes with what was learned: the lanes' mean, shifted right through."""
    profile, outline = found.lane_weights @ lanes.profile, found.lane_weights @ lanes.outline
    shift = max(found.shift_pct, LEAST_MC_PCT - float(profile.min()))
    return LearnedStep(hour, found.learned, profile + shift, outline + shift, found.variance_pct2)


def _scatter_sd(member: Member) -> float:
    """How far boards of this wood differ in movement, as a share of what is computed."""
    low, high = member.movement_band()
    return (high - low) / (2.0 * TEN_PERCENT_SD)


def _size_sd_mm(size: str, member: Member) -> float:
    if size == WIDTH:
        return float(np.hypot(SIZE_DOUBT_MM, member.sheet_doubt_mm)) / TEN_PERCENT_SD
    return GAP_AS_BUILT_MM / TEN_PERCENT_SD


WIDTH = "width"


def _measurement(
    one: OnWood,
    body: SolverMember,
    rows: Mapping[str, slice],
    states: States,
    fits: Mapping[int, FitOnBook],
) -> PartMeasurement:
    """A measurement as the filter takes it."""
    if one.quantity == "mc_pct":
        return PartMeasurement(one.hour, one.value, one.sd)
    if one.quantity == "width_mm":
        return PartMeasurement(one.hour, one.value, one.sd, partial(_width, body.member), WIDTH)
    assert one.fit_id is not None
    on_book = fits[one.fit_id]
    members = {member.name: member for member in on_book.fit.members}
    middle = len(RATES) // 2
    beside = {}
    for name, member in members.items():
        if name != body.name:
            lanes = rows[name]
            row = lanes.start + (middle if lanes.stop - lanes.start > 1 else 0)
            there = states.hour[row] != NOT_STARTED
            beside[name] = float(states.outline[row, 0]) if there else on_book.fit.reference_mc(member)
    figure = partial(_gap, on_book, body.name, beside)
    # How the other parts of the fit move is no more than their table's, and adds to the doubt of the reading.
    mc = np.array([states.outline[rows[body.name].start + middle, 0]])
    sds = [
        float(np.diff([_gap(on_book, name, {**beside, body.name: float(mc[0])}, np.array([held]), factor)[0]
                       for factor in (1.0, 1.0 + _scatter_sd(members[name]))])[0])
        for name, held in beside.items()
    ]  # fmt: skip
    return PartMeasurement(one.hour, one.value, float(np.hypot.reduce([one.sd, *sds])), figure, on_book.name)


def _width(member: Member, mc_pct: Floats, factor: float) -> Floats:
    return np.asarray(member.moving_by(factor).width_at(mc_pct))


def _gap(on_book: FitOnBook, part: str, beside: Mapping[str, float], mc_pct: Floats, factor: float) -> Floats:
    """The gap of a fit were one of its parts to move so many times as much, the others holding `beside`."""
    fit = on_book.fit.with_members(lambda member: member.moving_by(factor) if member.name == part else member)
    held = {name: np.full_like(mc_pct, value) for name, value in beside.items() if name != part}
    gap = fit.gap_now({**held, part: mc_pct})
    assert gap is not None
    return np.broadcast_to(np.asarray(gap, dtype=np.float64), mc_pct.shape)
