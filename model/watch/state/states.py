"""Moisture through every body, hour by hour in the air of the places where it stood.

One run takes any number of bodies from their own states to the present. Steps are whole UTC hours and cuts
fall on the same hours, so a state is the same to the last bit however often the run was interrupted and
whichever bodies share it.

A measurement puts the state right, and the speed of the wood with it, as was learned of it up to then
(`learn`). Where nothing is to be learned a metered moisture content re-anchors the mean: a scalar Kalman
update that shifts the whole profile. The variance of the mean settles toward `MODEL_SD_PCT` at the pace of
the wood while air is measured, and grows while it is estimated.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.watch.air.gap_fill import COLDEST_C, WARMEST_C, HourlyAir
from model.watch.state.roster import Assembly, LearnedStep, SolverMember
from model.wood.design.rehearsal import simulate
from model.wood.moisture import solver as moisture

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DAY_H = 24
NOT_STARTED = -1

# What the model itself is good to with measured air [% MC]: a sensor of 2 % RH gives 0.3 points, sorption
# hysteresis some 0.7 at two deviations (Wood Handbook ch. 4), in sum about half a point.
MODEL_SD_PCT = 0.5
# While air is estimated the band widens by a tenth of a point a day (common practice, no source) ...
BRIDGED_SD_PCT_PER_H = 0.1 / 24.0
# ... to what not knowing the season's swing amounts to.
WIDEST_SD_PCT = 2.0
LEAST_MC_PCT = 0.1


def widened_sd_pct(variance_pct2: float, hours: int) -> float:
    """One standard deviation of the mean moisture content after so many hours more of unknown air [%]."""
    sd = math.sqrt(variance_pct2)
    return max(sd, min(sd + BRIDGED_SD_PCT_PER_H * hours, WIDEST_SD_PCT))


@dataclass
class States:
    """The states of n bodies.

    Attributes
    ----------
    hour : (n,)
        The instant of the state, hours since 1970; `NOT_STARTED` before the body's first hour.
    profile : (n, cells)
        Moisture from face to back [%].
    variance_pct2 : (n,)
        Of the mean moisture content.
    estimated_hours : (n,)
        Consecutive hours of estimated air up to here.
    outline : (n, 4)
        Mean, face, core and back moisture content [%], as the solver gave them on the way here.
    """

    hour: Ints
    profile: Floats
    variance_pct2: Floats
    estimated_hours: Ints
    outline: Floats

    @classmethod
    def blank(cls, n: int) -> "States":
        return cls(
            np.full(n, NOT_STARTED, dtype=np.int64),
            np.zeros((n, moisture.CELLS)),
            np.zeros(n),
            np.zeros(n, dtype=np.int64),
            np.zeros((n, 4)),
        )

    def part(self, rows: Ints) -> "States":
        return States(
            self.hour[rows],
            self.profile[rows],
            self.variance_pct2[rows],
            self.estimated_hours[rows],
            self.outline[rows],
        )

    @staticmethod
    def joined(parts: "Sequence[States]") -> "States":
        """The bodies of several, one after another."""
        if len(parts) == 1:
            return parts[0]
        parts = [States.blank(0), *parts]
        return States(
            np.concatenate([part.hour for part in parts]),
            np.concatenate([part.profile for part in parts]),
            np.concatenate([part.variance_pct2 for part in parts]),
            np.concatenate([part.estimated_hours for part in parts]),
            np.concatenate([part.outline for part in parts]),
        )


@dataclass(frozen=True)
class KeptState:
    """Bodies at an instant that is kept: rows into the run's bodies, and their states then."""

    hour: int
    rows: Ints
    states: States


@dataclass
class Run:
    """The result of a run.

    Attributes
    ----------
    first : int
        Hour of the first column of `mc_pct`.
    mc_pct : (n, hours)
        Mean moisture content at each full hour reached; NaN where none was computed.
    records : list of KeptState
        At each midnight UTC, at the hours an owner keeps, and at the last hour.
    states : States
        At the end.
    """

    bodies: tuple[SolverMember, ...]
    first: int
    mc_pct: Floats
    states: States
    records: list[KeptState] = field(default_factory=list)


class _Event(NamedTuple):
    hour: int
    row: int
    what: str  # start, place, finish, metered, learned, kept or end
    value: tuple[float, float] | LearnedStep | None


def run(
    owners: Sequence[Assembly],
    states: States,
    airs: Mapping[int, HourlyAir],
    until: int,
    ends: Sequence[int] | None = None,
    *,
    midnights: bool = True,
    beat: Callable[[], object] = lambda: None,
) -> Run:
    """Take the bodies of some owners from their states to an hour.

    Parameters
    ----------
    owners : sequence of Assembly
    states : States
        One row a body, in the order of owners and their bodies. Not changed.
    airs : mapping of place id to HourlyAir
        Covering every stay from the states on; a place without air is left out, and wood there is held.
    until : int
        The hour to reach.
    ends : sequence of int, optional
        The last hour of each owner, where it is followed less far than that.
    midnights : bool
        Whether the states of each midnight are recorded.
    beat : callable
        Called at each midnight on the way.
    """
    bodies = tuple(body for owner in owners for body in owner.bodies)
    n = len(bodies)
    states = states.part(np.arange(n))
    lasts = [min(owner.until, until) for owner in owners]
    if ends is not None:
        lasts = [min(pair) for pair in zip(lasts, ends, strict=True)]
    reached = np.repeat(np.array(lasts, dtype=np.int64), [len(owner.bodies) for owner in owners])
    starts = np.array([body.start_hour for body in bodies], dtype=np.int64)
    begins = np.where(states.hour == NOT_STARTED, starts, states.hour)
    first = int(min(begins.min(initial=until), until))
    result = Run(bodies, first, np.full((n, until - first + 1), np.nan), states)
    running = _Running(owners, bodies, states, airs, reached)

    events = _events(owners, bodies, states, reached, until)
    cuts = {event.hour for event in events} | set(begins[begins < until].tolist()) | {until}
    if midnights:
        cuts |= set(range(first - first % DAY_H + DAY_H, until + 1, DAY_H))
    by_hour: dict[int, list[_Event]] = {}
    for event in events:
        by_hour.setdefault(event.hour, []).append(event)
    position = first
    for cut in sorted(cut for cut in cuts if first <= cut <= until):
        if cut > position:
            running.advance(position, cut, result)
            position = cut
        running.arrive(cut, by_hour.get(cut, ()), result, last=cut == until)
        beat()
    return result


def _events(
    owners: Sequence[Assembly], bodies: Sequence[SolverMember], states: States, ends: Ints, until: int
) -> list[_Event]:
    """Starts, moves, finishes, measurements and kept hours, in an order that no other body changes."""
    events = []
    row = 0
    for owner in owners:
        kept = owner.kept_hours
        for body in owner.bodies:
            at = int(states.hour[row])
            started = at != NOT_STARTED
            if not started:
                events.append(_Event(body.start_hour, row, "start", None))
                at = body.start_hour - 1
            events += [_Event(s.since, row, "place", None) for s in owner.stays if s.since > at]
            events += [_Event(s.until, row, "place", None) for s in owner.stays if s.until > at]
            if body.finished_hour > at:
                events.append(_Event(body.finished_hour, row, "finish", None))
            steps = {step.hour: step for step in body.steps if step.profile is not None}
            events += [_Event(h, row, "learned", step) for h, step in steps.items() if h > at]
            metered = [one for one in body.moistures if one[0] > at and one[0] not in steps]
            events += [_Event(h, row, "metered", (mc, v)) for h, mc, v in metered]
            events += [_Event(h, row, "kept", None) for h in sorted(kept) if h > at]
            if ends[row] < until and ends[row] > at:
                events.append(_Event(int(ends[row]), row, "end", None))
            row += 1
    return [event for event in events if event.hour <= until]


class _Running:
    """The bodies on their way, as arrays."""

    def __init__(
        self,
        owners: Sequence[Assembly],
        bodies: Sequence[SolverMember],
        states: States,
        airs: Mapping[int, HourlyAir],
        ends: Ints,
    ) -> None:
        self._owner_of = [owner for owner in owners for _ in owner.bodies]
        self._bodies, self._states, self._airs, self._ends = bodies, states, airs, ends
        self._as_computed = moisture.Batch.of([body.constants for body in bodies])
        known = [body.learned_by(int(hour)) for body, hour in zip(bodies, states.hour, strict=True)]
        self._rate = np.array([1.0 if learned is None else learned.rate_factor for learned in known])
        self._higher = np.array([0.0 if learned is None else learned.settles_pct for learned in known])
        self._take_rates()
        self._place = np.array(
            [self._place_of(row, int(hour)) if hour != NOT_STARTED else -1
             for row, hour in enumerate(states.hour)], dtype=np.int64,
        )  # fmt: skip
        finished = np.array([body.finished_hour for body in bodies], dtype=np.int64)
        self._is_finished = finished <= states.hour
        self._resumed = states.hour.copy()  # that hour is on record already

    def _take_rates(self) -> None:
        """The bodies at the speed that is known of each."""
        self._batch = self._as_computed.quicker(self._rate)
        constants_h = np.array([body.time_constant_h for body in self._bodies])
        self._settling = np.exp(-2.0 / (constants_h / self._rate))

    def _place_of(self, row: int, hour: int) -> int:
        """The place whose air a body meets from an hour on; -1 where there is none."""
        place = self._owner_of[row].place_at(hour)
        return place if place is not None and place in self._airs else -1

    def advance(self, position: int, cut: int, result: Run) -> None:
        """Advance from one cut to the next; only the air changes in between."""
        states = self._states
        active = np.flatnonzero((states.hour == position) & (self._ends > position))
        if not len(active):
            return
        steps = cut - position
        columns = slice(position + 1 - result.first, cut + 1 - result.first)
        standing = active[self._place[active] >= 0]
        places, air_of = np.unique(self._place[standing], return_inverse=True)
        estimated = np.ones((steps, len(active)), dtype=bool)
        if len(standing):
            rows = [(self._airs[place], slice(*(np.array([position, cut]) - self._airs[place].first)))
                    for place in places.tolist()]  # fmt: skip
            temperature_c = np.column_stack([air.temperature_c[span] for air, span in rows])
            rh_pct = np.column_stack([air.rh_pct[span] for air, span in rows])
            filled = np.column_stack([air.n_readings[span] == 0 for air, span in rows])
            # Wood that settles a point higher takes the course of other wood that starts a point lower.
            higher = self._higher[standing]
            start = states.profile[standing]
            if higher.any():
                start = np.maximum(start - higher[:, None], LEAST_MC_PCT)
            step = simulate(
                self._batch.take(standing).finished_where(self._is_finished[standing]),
                (np.clip(temperature_c, COLDEST_C, WARMEST_C), rh_pct),
                start,
                air_of,
            )
            states.profile[standing] = step.profile + higher[:, None]
            states.outline[standing] = (
                np.column_stack(
                    [step.mc_mean_pct[-1], step.mc_face_pct[-1], step.mc_core_pct[-1], step.mc_back_pct[-1]]
                )
                + higher[:, None]
            )
            result.mc_pct[standing, columns] = step.mc_mean_pct[1:].T + higher[:, None]
            estimated[:, np.searchsorted(active, standing)] = filled[:, air_of]
        held = active[self._place[active] < 0]
        if len(held):
            result.mc_pct[held, columns] = states.outline[held, :1]
        self._widen(active, estimated)
        states.hour[active] = cut

    def _widen(self, active: Ints, estimated: NDArray[np.bool_]) -> None:
        """Carry the variance and the count of estimated hours over some steps."""
        variance, count = self._states.variance_pct2[active], self._states.estimated_hours[active]
        settling, settled, none = self._settling[active], MODEL_SD_PCT**2, np.zeros_like(count)
        for step in estimated:
            if not step.any():
                variance, count = settled + (variance - settled) * settling, none
                continue
            widest = np.maximum(variance, WIDEST_SD_PCT**2)
            grown = np.minimum((np.sqrt(variance) + BRIDGED_SD_PCT_PER_H) ** 2, widest)
            variance = np.where(step, grown, settled + (variance - settled) * settling)
            count = np.where(step, count + 1, 0)
        self._states.variance_pct2[active], self._states.estimated_hours[active] = variance, count

    def arrive(self, hour: int, events: Iterable[_Event], result: Run, last: bool) -> None:
        """Apply the events of a full hour, then record the states to keep."""
        states = self._states
        kept_rows: list[int] = []
        for event in events:
            row = event.row
            if event.what == "start" and self._ends[row] >= hour:
                states.hour[row] = hour
                states.profile[row] = moisture.uniform_profile(np.array([self._bodies[row].start_mc_pct]))[0]
                states.outline[row] = self._bodies[row].start_mc_pct
                states.variance_pct2[row] = self._bodies[row].start_variance_pct2
                states.estimated_hours[row] = 0
                kept_rows.append(row)
        for event in events:
            if event.what == "metered" and states.hour[event.row] == hour:
                assert isinstance(event.value, tuple)
                self._anchor(event.row, *event.value)
            elif event.what == "learned" and states.hour[event.row] == hour:
                assert isinstance(event.value, LearnedStep)
                self._learn(event.row, event.value)
        for row in {event.row for event in events if event.what in ("start", "metered", "learned")}:
            if states.hour[row] == hour:
                result.mc_pct[row, hour - result.first] = states.outline[row, 0]
        for event in events:
            row = event.row
            if event.what in ("end", "kept"):
                kept_rows.append(row)
            elif event.what in ("place", "start"):
                self._place[row] = self._place_of(row, hour)
            if event.what in ("finish", "start"):
                self._is_finished[row] = self._bodies[row].finished_hour <= hour
        if last or hour % DAY_H == 0:
            kept = np.flatnonzero(states.hour == hour)
        else:
            kept = np.array(sorted(set(kept_rows)), dtype=np.int64)
            kept = kept[states.hour[kept] == hour]
        kept = kept[self._resumed[kept] != hour]
        if len(kept):
            result.records.append(KeptState(hour, kept, states.part(kept)))

    def _learn(self, row: int, step: LearnedStep) -> None:
        """Go on from what was learned."""
        states = self._states
        states.profile[row], states.outline[row] = step.profile, step.outline
        states.variance_pct2[row] = step.variance_pct2
        self._rate[row], self._higher[row] = step.learned.rate_factor, step.learned.settles_pct
        self._take_rates()

    def _anchor(self, row: int, metered_pct: float, variance_pct2: float) -> None:
        """Scalar Kalman update of the mean by a metered value; the profile keeps its shape."""
        states = self._states
        variance = states.variance_pct2[row]
        gain = variance / (variance + variance_pct2)
        shift = gain * (metered_pct - states.outline[row, 0])
        shift = max(shift, LEAST_MC_PCT - states.profile[row].min())
        states.profile[row] += shift
        states.outline[row] += shift
        states.variance_pct2[row] = variance * (1.0 - gain)
