"""The humidity to hold: the highest that a house bears in some weather, and what to do instead."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from math import floor
from typing import Any

from model.watch.air.climate_prior import surroundings_of
from model.watch.state.roster import PlaceOnBook
from model.wood.air.condensation import HIGHEST_ROOM_RH_PCT, LOWEST_ROOM_RH_PCT, condensation_ceiling
from model.wood.reason import Reason
from model.wood.units import fahrenheit_to_celsius

_SLACK = 1e-9

SHEET_OUTDOOR_F = (40.0, 32.0, 20.0, 10.0, 0.0, -10.0, -20.0)
"""Outdoor temperatures for which a sheet names the ceiling; those of the published table [°F]."""
SHEET_OUTDOOR_C = (5.0, 0.0, -5.0, -10.0, -15.0, -20.0, -25.0)

AT_OR_ABOVE, AT_OR_UNDER = "at or above", "at or under"

INSTEAD = ("off-registers", "lower-thermostat", "expect-the-gap", "ask-before-humidifying")
"""What to do when a house can't bear the humidity that a piece would like (common practice, no source)."""
INSTEAD_OF_DRYING = ("wait-before-planing", "more-room", "ask-before-drying")
"""What to do when a piece would like drier air than a house should have (common practice, no source)."""


def ceilings(
    outdoor_temperatures_c: Sequence[float] | None = None, indoor_temperature_c: float = 20.0
) -> list[tuple[float, int]]:
    """Outdoor temperatures [°C] with the highest humidity to keep indoors [%, whole, rounded down]."""
    temperatures = (
        [float(fahrenheit_to_celsius(f)) for f in SHEET_OUTDOOR_F]
        if outdoor_temperatures_c is None
        else list(outdoor_temperatures_c)
    )
    return [
        (at_c, floor(condensation_ceiling(at_c, indoor_temperature_c).rh_pct + _SLACK))
        for at_c in temperatures
    ]


def ceiling_ahead(climate: Mapping[str, Any] | None, now: datetime, room_c: float = 20.0) -> float | None:
    """Highest humidity that a room's windows bear in the coldest of the days ahead [%].

    None where nobody recorded the climate outdoors: then no season is known.

    Parameters
    ----------
    climate : mapping or None
        A place's `climate` document.
    now : datetime
        Aware.
    room_c : float
        [°C]
    """
    if not climate or climate.get("temperature_c") is None:
        return None
    coldest = _coldest_ahead_c(json.dumps(climate, sort_keys=True), int(now.timestamp()) // 86_400)
    return None if coldest is None else condensation_ceiling(coldest, min(max(room_c, 0.0), 40.0)).rh_pct


@lru_cache(maxsize=256)
def _coldest_ahead_c(climate: str, day: int) -> float | None:
    around = surroundings_of(PlaceOnBook(0, "there", "home", json.loads(climate)))
    return around.coldest_ahead_c(day) if around.known else None


def lever_reasons(lever: Mapping[str, Any]) -> tuple[Reason, ...]:
    """What to do about a limit, from a lever's document; where humidity can't keep it, why and what else."""
    needed, advised = lever.get("needed_rh_pct"), lever.get("advised_rh_pct")
    dries = lever.get("hold") == AT_OR_UNDER
    if lever.get("enough") and advised is not None:
        return (Reason("hold-at-most" if dries else "hold-at-least", {"advised_rh_pct": advised}),)
    acts = [Reason(key) for key in list(lever.get("instead") or ())[:2]]
    why = []
    if needed is not None:
        ceiling = HIGHEST_ROOM_RH_PCT if dries else min(lever["ceiling_rh_pct"], HIGHEST_ROOM_RH_PCT)
        key = "windows-sweat" if ceiling < HIGHEST_ROOM_RH_PCT else "needs-damper"
        why = [Reason("needs-drier" if dries else key, {"needed_rh_pct": needed, "ceiling_rh_pct": ceiling})]
        if dries:
            acts.insert(0, Reason("hold-near", {"rh_pct": LOWEST_ROOM_RH_PCT}))
        else:
            acts.insert(
                0, Reason("let-it-be-dry") if advised is None else Reason("hold-at", {"rh_pct": advised})
            )
    return (*why, Reason("acts", {"acts": tuple(acts)})) if acts else tuple(why)
