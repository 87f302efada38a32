"""Stacks now: their last weeks from the checkpoints, and whether they are ready for where they go."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from model.watch.air_hours import HOUR_MS
from model.watch.bulk import Bulk
from model.watch.climate import Climate
from model.watch.roster import Owner
from model.watch.verdicts import AirThen, Judged, StackDay, verdict_of_stack

WEEK_H = 7 * 24
LOOK_BACK_H = 60 * 24
YEAR_H = 365 * 24
FIVE_DAYS_H = 5 * 24
TARGET_LEAST_H = 7 * 24

Day = tuple[int, float, float, float, float]


@dataclass(frozen=True)
class StackHistory:
    """A stack's midnights of the last weeks: hour, mean, face, core, back."""

    until: int
    days: tuple[Day, ...]


def stack_now(
    bulk: Bulk,
    owner: Owner,
    hour: int,
    climates: Mapping[int, Climate],
    air: AirThen,
    known: dict[int, StackHistory],
) -> Judged:
    """The verdict of a stack; `known` keeps the midnights between hours of one day."""
    (body,) = owner.bodies
    midnight = hour // 24 * 24
    history = known.get(owner.id)
    if history is None or history.until != midnight:
        history = StackHistory(midnight, _days(bulk, body.id, hour - LOOK_BACK_H - WEEK_H, midnight))
        known[owner.id] = history
    latest = _days(bulk, body.id, midnight + 1, hour)
    days = [*history.days, *latest[-1:]]
    mean_then = {day[0]: day[1] for day in days}
    stack_days = []
    for at, mean, face, core, back in days:
        if at >= hour - LOOK_BACK_H:
            week_ago = mean_then.get((at - WEEK_H) // 24 * 24, math.nan)
            stack_days.append(StackDay(at, mean, core, (face + back) / 2.0, week_ago))
    target_pct, target_is = _target(owner, hour, climates)
    place_id = owner.place_at(max(hour - 1, owner.start_hour))
    here = climates.get(place_id) if place_id is not None else None
    emc_pct = here.mean_emc_pct(hour - FIVE_DAYS_H, hour) if here is not None else math.nan
    if not stack_days or math.isnan(target_pct):
        reason = "No air is known yet to compare it with"
        return Judged("unknown", owner.start_hour, reason, {"key": "no-air"})
    return verdict_of_stack(stack_days, target_pct, emc_pct, body.time_constant_h, target_is, air)


def _target(owner: Owner, hour: int, climates: Mapping[int, Climate]) -> tuple[float, str]:
    """The moisture content a stack is to have: its destination's yearly mean, else its own air's."""
    if owner.destination_id is not None:
        climate = climates.get(owner.destination_id)
        if climate is not None:
            mean = climate.mean_emc_pct(hour - YEAR_H, hour, TARGET_LEAST_H)
            if not math.isnan(mean):
                return mean, f"{climate.place.name} ({mean:.1f} %)"
    place_id = owner.place_at(max(hour - 1, owner.start_hour))
    climate = climates.get(place_id) if place_id is not None else None
    if climate is None:
        return math.nan, ""
    mean = climate.mean_emc_pct(hour - FIVE_DAYS_H, hour)
    return mean, f"the air of {climate.place.name} ({mean:.1f} %)"


def _days(bulk: Bulk, body_id: int, since: int, until: int) -> tuple[Day, ...]:
    at = bulk.instant_of("at")
    return tuple(
        (int(ms) // HOUR_MS, mean, face, core, back)
        for ms, mean, face, core, back in bulk.rows(
            f"SELECT {at}, mc_mean_pct, mc_face_pct, mc_core_pct, mc_back_pct FROM checkpoint "
            "WHERE body_id = ? AND at >= ? AND at <= ? ORDER BY at",
            (body_id, bulk.instant(max(since, 0) * HOUR_MS), bulk.instant(until * HOUR_MS)),
        )
    )
