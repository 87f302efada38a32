"""A place's air as something that stands there meets it, and how the place itself is."""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from model.watch.air.climate import NEVER_H, Climate
from model.watch.air.daily import DAY_H
from model.watch.state.roster import Assembly
from model.watch.tell.place_days import PlaceHistory
from model.watch.tell.place_warnings import iron_wet
from model.watch.tell.verdicts import AirThen, Judged, verdict_of_place
from model.wood.climate.seasonal_model import LEAST_MEASURED_H
from model.wood.reason import Reason


def air_then(owner: Assembly, hour: int, climates: Mapping[int, Climate]) -> AirThen:
    """Whether the air where an owner stood up to an hour is known.

    A place that speaks again is known again from the next full hour: only then has an hour been measured.
    """
    place_id = owner.place_at(max(hour - 1, owner.start_hour))
    climate = climates.get(place_id) if place_id is not None else None
    if climate is None:
        return AirThen(None, NEVER_H, 0, hour)
    return _then(climate, hour)


def _then(climate: Climate, hour: int) -> AirThen:
    age_h = int(climate.age_h(np.array([hour]))[0])
    in_first_hour = age_h >= NEVER_H and len(climate.air.measured_hours) > 0
    return AirThen(climate.place.name, age_h, climate.silent_after_h, hour, in_first_hour)


def _day_emc_pct(climate: Climate, hour: int) -> float:
    """Mean EMC of the last 24 hours [%]; NaN where too few of them are measured to speak of a day."""
    measured = np.count_nonzero(climate.air.measured_hours >= hour - DAY_H)
    return climate.mean_emc_pct(hour - DAY_H, hour) if measured >= LEAST_MEASURED_H else math.nan


def place_now(climate: Climate, hour: int, history: PlaceHistory) -> Judged:
    """The verdict of a place, from its days up to the last midnight and its air now."""
    air = climate.air
    then = _then(climate, hour)
    if len(air) == 0:
        return verdict_of_place(math.nan, math.nan, math.nan, then, hour)
    row = min(max(hour - 1 - air.first, 0), len(air) - 1)
    judged = verdict_of_place(
        float(air.temperature_c[row]),
        float(air.rh_pct[row]),
        _day_emc_pct(climate, hour),
        then,
        max(climate.heard_since(), history.since),
        history.moved_pct,
    )
    if judged.verdict in ("clear", "near") and iron_wet(climate)[row]:
        reason = Reason("iron-wet-now", {**judged.reason.values, "also": (judged.reason,)})
        judged = replace(judged, verdict="near", reason=reason)
    return judged
