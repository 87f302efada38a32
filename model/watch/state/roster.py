"""What is followed: pieces and stacks with their bodies, fits and stays, and the places they stand at.

Instants are whole hours since 1970 UTC.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.records.acts.lumber import Lumber
from model.watch.state.piecewise_linear import Straight, straight_of
from model.wood.fits import Fit, Limit
from model.wood.learning import Learned
from model.wood.material.member import Member
from model.wood.moisture import solver as moisture
from model.wood.moisture.time_constant import time_constant_h

FOREVER = 1 << 40
"""An hour that never comes."""


Raw = Mapping[str, Any]


@dataclass(frozen=True)
class OnWood:
    """One measurement to learn from: a quantity, as `measured.QUANTITIES` names it, and its standard
    deviation in the same unit; `fit_id` is whose gap it is."""

    hour: int
    quantity: str
    fit_id: int | None
    value: float
    sd: float


@dataclass(frozen=True, eq=False)
class LearnedStep:
    """What is known of a body from an hour on; with the state to go on from, where it was worked out now."""

    hour: int
    learned: Learned
    profile: NDArray[np.float64] | None = None
    outline: NDArray[np.float64] | None = None
    variance_pct2: float = 0.0


@dataclass(frozen=True)
class SolverMember:
    """A member or stack as it is followed.

    Attributes
    ----------
    member : Member
        As recorded; for a stack a board of it, whose width may be nominal.
    constants : Constants
        For the solver; of a stack, the air between its boards is the finish.
    finished_hour : int
        From when the finish is on; bare before.
    moistures, widths : (hour, mc_pct, variance), (hour, width_mm)
        Metered moisture contents and re-measured widths, in order.
    on_wood : tuple of OnWood
        All of these with its gaps, to learn from; none where nothing is to be learned.
    steps : tuple of LearnedStep
        What was learned of it, in order: the last before a run goes on, and those on its way.
    learned : Learned or None
        What `member` and `constants` hold of it already; see `as_learned`.
    """

    id: int
    name: str
    member: Member
    start_hour: int
    start_mc_pct: float
    start_variance_pct2: float
    constants: moisture.Constants
    finished_hour: int
    moistures: tuple[tuple[int, float, float], ...] = ()
    widths: tuple[tuple[int, float], ...] = ()
    on_wood: tuple[OnWood, ...] = field(default=(), repr=False)
    steps: tuple[LearnedStep, ...] = field(default=(), compare=False, repr=False)
    learned: Learned | None = field(default=None, repr=False)

    def learned_by(self, hour: int) -> Learned | None:
        """What of its steps is known at an hour."""
        return next((step.learned for step in reversed(self.steps) if step.hour <= hour), None)

    def as_learned(self, learned: Learned) -> "SolverMember":
        """The same body moving and following its air as was learned of it."""
        (quicker,) = moisture.Batch.of([self.constants]).quicker(np.array([learned.rate_factor])).constants()
        member = self.member.moving_by(learned.moves)
        return replace(self, member=member, constants=quicker, steps=(), learned=learned)

    @cached_property
    def time_constant_h(self) -> float:
        """As `time_constant_h` of the solver's constants [h]."""
        return time_constant_h(self.constants)


@dataclass(frozen=True)
class FitOnBook:
    """A fit of a piece as recorded, and its re-measured gaps (hour, gap_mm), in order."""

    id: int
    name: str
    fit: Fit
    gaps: tuple[tuple[int, float], ...] = ()

    @cached_property
    def straight(self) -> Straight | None:
        """Its margins as straight lines, where they are such."""
        return straight_of(self.fit)

    @cached_property
    def limit_names(self) -> tuple[str, ...]:
        return tuple(limit.name for limit in self._as_built)

    @cached_property
    def play_mm(self) -> NDArray[np.float64]:
        """The play designed before each limit."""
        return np.array([limit.play_mm for limit in self._as_built])

    @cached_property
    def _as_built(self) -> tuple[Limit, ...]:
        return tuple(self.fit.limits(self.fit.references()))


@dataclass(frozen=True)
class PlacedSpan:
    """From which hour to which (not included) at which place."""

    since: int
    until: int
    place_id: int


@dataclass(frozen=True)
class Assembly:
    """A piece or a stack: bodies that stand and move together.

    Attributes
    ----------
    kind : str
        piece or stack.
    problem : str
        Why its record can't be read; empty when it can. Then it has no bodies and no fits.
    until : int
        The hour from which it is followed no more.
    lumber : Lumber or None
        What a stack's record says.
    """

    kind: str
    id: int
    name: str
    bodies: tuple[SolverMember, ...]
    fits: tuple[FitOnBook, ...]
    stays: tuple[PlacedSpan, ...]
    until: int = FOREVER
    destination_id: int | None = None
    fit_ids: tuple[int, ...] = ()
    problem: str = ""
    lumber: Lumber | None = None

    @property
    def key(self) -> tuple[str, int]:
        return self.kind, self.id

    def as_learned(self, known: Mapping[int, Learned]) -> "Assembly":
        """The same, its bodies as was learned of each (by id); itself where nothing was."""
        if not any(body.id in known for body in self.bodies):
            return self
        bodies = [body.as_learned(known[body.id]) if body.id in known else body for body in self.bodies]
        members = {body.name: body.member for body in bodies}
        fits = [
            replace(fit, fit=fit.fit.with_members(lambda member: members[member.name])) for fit in self.fits
        ]
        return replace(self, bodies=tuple(bodies), fits=tuple(fits))

    @cached_property
    def kept_hours(self) -> frozenset[int]:
        """Hours whose state stays on record besides each midnight: starts, re-measured widths and gaps."""
        hours = {body.start_hour for body in self.bodies}
        hours |= {hour for body in self.bodies for hour, _ in body.widths}
        return frozenset(hours | {hour for fit in self.fits for hour, _ in fit.gaps})

    @cached_property
    def start_hour(self) -> int:
        return min((body.start_hour for body in self.bodies), default=FOREVER)

    @cached_property
    def rows_of_fit(self) -> dict[int, tuple[int, ...]]:
        """Which of the bodies each fit rests on."""
        names = [{member.name for member in fit.fit.members} for fit in self.fits]
        return {
            fit.id: tuple(row for row, body in enumerate(self.bodies) if body.name in own)
            for fit, own in zip(self.fits, names, strict=True)
        }

    def followed_until(self, trusted_until: Mapping[int, int], hour: int) -> int:
        """The hour up to which it is followed: beyond trusted air only where it moved on to such air since.

        Parameters
        ----------
        trusted_until : mapping of place id to int
            The hour up to which the air of a place is trusted; a place never heard is left out.
        hour : int
            The present.
        """
        end = min(self.until, hour)
        last_start = min(max(body.start_hour for body in self.bodies), end)
        for stay in reversed(self.stays):
            reached = min(stay.until, trusted_until.get(stay.place_id, 0), end)
            if reached > max(stay.since, self.start_hour):
                return max(reached, last_start)
        return last_start

    def stood_at(self, place_id: int) -> bool:
        """Whether it ever stood at a place."""
        return any(stay.place_id == place_id for stay in self.stays)

    def place_at(self, hour: int) -> int | None:
        """Where it stands from this hour to the next; none where nobody said."""
        for stay in self.stays:
            if stay.since <= hour < stay.until:
                return stay.place_id
        return None


@dataclass(frozen=True)
class PlaceOnBook:
    """A place as the watch needs it; `climate` is its document, where there is one."""

    id: int
    name: str
    kind: str
    climate: Raw | None = None
    has_iron: bool = False


@dataclass(frozen=True)
class Roster:
    """Everything that is followed."""

    places: Mapping[int, PlaceOnBook]
    owners: tuple[Assembly, ...]

    def first_needed(self) -> dict[int, int]:
        """The earliest hour of each place's air that a body needs."""
        first: dict[int, int] = {}
        for owner in self.owners:
            for stay in owner.stays:
                hour = max(stay.since, owner.start_hour)
                first[stay.place_id] = min(first.get(stay.place_id, FOREVER), hour)
        return first

    def last_needed(self, trusted_until: Mapping[int, int], hour: int) -> dict[int, int]:
        """The hour after the last of each place's air that is trusted, or that a body needs.

        Parameters
        ----------
        trusted_until : mapping of place id to int
            As in `Assembly.followed_until`.
        hour : int
            The present.
        """
        last = {place_id: min(until, hour) for place_id, until in trusted_until.items()}
        for owner in self.owners:
            if owner.bodies and owner.start_hour <= hour:
                end = owner.followed_until(trusted_until, hour)
                for stay in owner.stays:
                    if stay.since < end:
                        last[stay.place_id] = max(last.get(stay.place_id, 0), min(stay.until, end))
        return last
