"""A snapshot of the book for questions: stacks with their moisture, and the air of places."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.records.schema.types import to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS
from model.watch.air.climate import Climate
from model.watch.air.climate_prior import seasons_of, surroundings_of
from model.watch.air.gap_fill import NO_AIR, HourlyAir
from model.watch.run import watch_sql as ledger
from model.watch.state import read_back as resume
from model.watch.state.outlook import YEARS, Ahead, look_ahead
from model.watch.state.outlook_request import OutlookRequest
from model.watch.state.roster import Assembly, PlaceOnBook
from model.watch.state.roster_reader import RosterReader
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.climate.seasonal_model import Season
from model.wood.errors import BadInput

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class StackFollowed:
    """A stack's moisture now.

    Attributes
    ----------
    profile : (cells,)
        Through the thickness [%].
    mc_pct, low_pct, high_pct : float
        Mean of the stack, and its driest and wettest board [%].
    """

    owner: Assembly
    profile: Floats
    mc_pct: float
    low_pct: float
    high_pct: float


@dataclass(frozen=True, eq=False)
class Followed:
    """The book as the watch follows it, up to an hour."""

    hour: int
    places: Mapping[int, PlaceOnBook]
    airs: Mapping[int, HourlyAir]
    stacks: tuple[StackFollowed, ...]

    def place_named(self, name: str, where: str) -> PlaceOnBook:
        """The place of a name; BadInput with the names there are."""
        for place in self.places.values():
            if place.name.casefold() == name.casefold():
                return place
        names = ", ".join(sorted(place.name for place in self.places.values())) or "there is none"
        raise BadInput(where, "place", f"must be one on the book ({names})", name)

    def stack_named(self, name: str, where: str) -> StackFollowed:
        """The stack of a name; BadInput with the names there are."""
        for stack in self.stacks:
            if stack.owner.name.casefold() == name.casefold():
                return stack
        names = ", ".join(sorted(stack.owner.name for stack in self.stacks)) or "there is none"
        raise BadInput(where, "stack", f"must be one that is followed ({names})", name)

    def climate(self, place_id: int) -> Climate:
        """A place with its air, to ask what it was like."""
        return Climate(self.places[place_id], self.airs.get(place_id, NO_AIR))

    def season(self, place_id: int) -> Season:
        """What is known of a place's air up to the last midnight."""
        air = self.airs.get(place_id, NO_AIR)
        return seasons_of(surroundings_of(self.places[place_id]), air, [self.hour // 24 * 24])[0]

    def ahead(self, stack: StackFollowed, place_id: int, days: int) -> Ahead:
        """A stack through the plausible years of a place."""
        request = OutlookRequest(
            stack.owner, self.hour, place_id, {stack.owner.bodies[0].name: stack.profile}, self.airs
        )
        return next(look_ahead([request], [self.season(place_id)], days, YEARS))


def followed(store: Store, now: datetime) -> Followed:
    """The book as the watch last left it, up to an instant."""
    hour_now = to_epoch_ms(now) // HOUR_MS
    with ledger.reading(store) as bulk:
        roster = RosterReader().read(bulk)
        airs = ledger.read_airs(bulk)
        last = resume.last_hours(bulk)
        owners = [o for o in roster.owners if o.kind == "stack" and o.bodies and o.until > hour_now]
        asked: dict[int, list[int]] = {}
        for owner in owners:
            body_id = owner.bodies[0].id
            if body_id in last:
                asked.setdefault(last[body_id], []).append(body_id)
        stored = resume.read_states(bulk, asked)
        learned = resume.read_learned(bulk, owners)
    stacks = [
        _stack(resume.as_learned(owner, hour, learned), hour, stored[body.id, hour])
        for owner in owners
        for body in owner.bodies
        for hour in [last.get(body.id)]
        if hour is not None
    ]
    return Followed(hour_now, roster.places, airs, tuple(stacks))


def _stack(owner: Assembly, hour: int, state: tuple[Any, ...]) -> StackFollowed:
    profile, _, _, mean, *_ = state
    lumber, (body,) = owner.lumber, owner.bodies
    assert lumber is not None
    # Boards of one stack in one air come together as each comes to that air.
    left = float(np.exp(-max(hour - body.start_hour, 0) / body.time_constant_h))
    low = min(lumber.mc_low_pct if lumber.mc_low_pct is not None else lumber.mc_pct, lumber.mc_pct)
    high = max(lumber.mc_high_pct if lumber.mc_high_pct is not None else lumber.mc_pct, lumber.mc_pct)
    return StackFollowed(
        owner=owner,
        profile=profile,
        mc_pct=float(mean),
        low_pct=float(mean) - left * (lumber.mc_pct - low),
        high_pct=float(mean) + left * (high - lumber.mc_pct),
    )


def emc_ahead(ahead: Ahead, before: Floats, days: int = 5) -> Floats:
    """Mean EMC of the last `days` days at the end of each day, (days, years) [%].

    Parameters
    ----------
    before : array
        Daily EMC of the days before the first [%], the last one last.
    """
    emc = equilibrium_moisture_content(ahead.air.temperature_c, ahead.air.rh_pct)
    known = np.repeat(before[-days + 1 :, None], emc.shape[1], axis=1)
    all_days = np.concatenate([known, emc])
    total = np.cumsum(np.concatenate([np.zeros((1, emc.shape[1])), all_days]), axis=0)
    ends = np.arange(len(known) + 1, len(all_days) + 1)
    starts = np.maximum(ends - days, 0)
    return np.asarray((total[ends] - total[starts]) / (ends - starts)[:, None])


def first_days(holds: NDArray[np.bool_]) -> tuple[int, int | None] | None:
    """Days until something holds, to the 10th and 90th percentile of the years; None when it never does.

    Parameters
    ----------
    holds : (days, years)
        Whether it does at the end of each day.
    """
    first = np.where(holds.any(axis=0), np.argmax(holds, axis=0) + 1.0, np.inf)
    ordered = np.sort(first)
    low = ordered[int(np.ceil(0.1 * len(ordered))) - 1]
    high = ordered[int(np.ceil(0.9 * len(ordered))) - 1]
    if np.isinf(low):
        return None
    return int(low), None if np.isinf(high) else int(high)
