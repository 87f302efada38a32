"""The humidity to hold, in words: the highest that a house bears in some weather, and what to do instead."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from math import floor
from typing import Any

from model.watch.plausible_air import surroundings_of
from model.watch.roster import PlaceOnBook
from model.wood.condensation import HIGHEST_ROOM_RH_PCT, LOWEST_ROOM_RH_PCT, condensation_ceiling
from model.wood.units import fahrenheit_to_celsius

_SLACK = 1e-9

SHEET_OUTDOOR_F = (40.0, 32.0, 20.0, 10.0, 0.0, -10.0, -20.0)
"""Outdoor temperatures for which a sheet names the ceiling; those of the published table [°F]."""
SHEET_OUTDOOR_C = (5.0, 0.0, -5.0, -10.0, -15.0, -20.0, -25.0)

AT_OR_ABOVE, AT_OR_UNDER = "at or above", "at or under"

INSTEAD = (
    "keep it away from registers and radiators",
    "lower the thermostat a few degrees: that raises the humidity for nothing",
    "expect the gap: it closes by itself when the heating stops",
    "ask a heating contractor before humidifying the house",
)
"""What to do when a house can't bear the humidity that a piece would like (common practice, no source)."""
INSTEAD_OF_DRYING = (
    "wait before you plane anything",
    "give the fit that binds more room if it sticks all year",
    "ask a contractor before drying the house further",
)
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


def lever_in_words(lever: Mapping[str, Any]) -> str:
    """What to do about a limit, from a lever's document; where humidity can't keep it, why and what else."""
    needed, advised = lever.get("needed_rh_pct"), lever.get("advised_rh_pct")
    if lever.get("enough") and advised is not None:
        return f"Hold the room {lever['hold']} {_percent(advised)}."
    instead = list(lever.get("instead") or ())[:2]
    if needed is None:
        return _list(instead)
    if lever["hold"] == AT_OR_UNDER:
        why = f"It would take {_percent(needed)} or less, drier than a house should be held."
        held = f"hold the room near {_percent(LOWEST_ROOM_RH_PCT)}"
    else:
        ceiling = lever["ceiling_rh_pct"]
        why = f"It would take {_percent(needed)} or more; " + (
            f"no house should be held above {_percent(HIGHEST_ROOM_RH_PCT)}."
            if ceiling >= HIGHEST_ROOM_RH_PCT
            else f"in the coldest weeks ahead the windows sweat above {_percent(ceiling)}."
        )
        held = "let the room be dry" if advised is None else f"hold the room at {_percent(advised)}"
    return f"{why} {_list([held, *instead])}"


def _percent(rh_pct: float) -> str:
    return f"{rh_pct:.0f}\u00a0%"


def _list(acts: Sequence[str]) -> str:
    if not acts:
        return ""
    told = ", ".join(acts[:-1]) + (", and " if len(acts) > 1 else "") + acts[-1]
    return f"{told[0].upper()}{told[1:]}."
