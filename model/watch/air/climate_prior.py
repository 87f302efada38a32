"""The seasonal model of a place: a year expected from its climate, corrected by its own days.

The expected year comes from the place's `climate` document, brought indoors by a scheme of `wood.indoors`:

    {"name": "river valley", "temperature_c": [12 monthly means], "rh_pct": [12 monthly means],
     "heating": "steadily", "scheme": "en-15026-normal", "zone_h": 0.0, "latitude_deg": 50.1}

All but the means may be left out. Then a home is heated steadily, a shop by day and a store not at all, and
the scheme is that of its heating. Without a climate a general temperate one is taken, every page says so, and
the place may lie further from it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from model.watch.air.gap_fill import HourlyAir
from model.watch.state.roster import PlaceOnBook
from model.wood.climate import seasonal_model as season
from model.wood.climate.indoor import HEATING, UNHEATED, IndoorScheme, indoor_air, scheme_named
from model.wood.climate.outdoor import TEMPERATE_RH_PCT, OutdoorClimate, temperate
from model.wood.climate.seasonal_model import Expectation, Season
from model.wood.errors import BadInput

UNSURE_WITHOUT_CLIMATE = 1.2
"""Factor on how far a place may lie from what is expected of it, where its climate is not known."""
USUAL_HEATING = {"home": "steadily", "shop": "by day", "storage": "not at all"}
COLD_SPELL_C = 6.0
"""By how much the coldest days of a month lie below its mean: common practice, no source."""
AHEAD_DAYS = 30


@dataclass(frozen=True, eq=False)
class Surroundings:
    """The outdoor year of a place and the indoor year expected from it.

    Attributes
    ----------
    outdoor : OutdoorClimate
    expectation : Expectation
    known : bool
        Whether somebody recorded the climate; else it is the general temperate one.
    """

    outdoor: OutdoorClimate
    expectation: Expectation
    known: bool

    def coldest_ahead_c(self, day: int, days: int = AHEAD_DAYS) -> float:
        """The coldest day to be reckoned with outdoors within so many days after a day since 1970."""
        rows = season.row_of_year(day + 1 + np.arange(days))
        return float(self.outdoor.daily["temperature_c"][rows].min()) - COLD_SPELL_C


def climate_of(document: Mapping[str, Any] | None, where: str = "climate") -> OutdoorClimate | None:
    """The outdoor climate of a place's document; None where it holds no air.

    Raises
    ------
    BadInput
        For air that is not twelve months of what there is.
    """
    if not document:
        return None
    if document.get("temperature_c") is None:
        return None
    name = str(document.get("name") or where)
    humidity = document.get("rh_pct") or TEMPERATE_RH_PCT
    zone_h = float(document.get("zone_h") or 0.0)
    return OutdoorClimate.from_monthly_means(name, document["temperature_c"], humidity, zone_h)


def surroundings_of(place: PlaceOnBook) -> Surroundings:
    """The outdoor year of a place and its expected indoor year; an unreadable climate counts as none."""
    document = place.climate or {}
    try:
        outdoor = climate_of(document, f"place {place.name}")
        scheme = scheme_of(place)
    except (BadInput, TypeError, ValueError):
        outdoor, scheme = None, scheme_named(HEATING[USUAL_HEATING[place.kind]])
    known = outdoor is not None
    if outdoor is None:
        latitude = document.get("latitude_deg")
        outdoor = temperate(isinstance(latitude, int | float) and latitude < 0.0)
    daily = outdoor.daily
    room = indoor_air(daily["temperature_c"], daily["rh_pct"], scheme)
    humidity = np.clip(room.rh_pct, season.LOWEST_RH_PCT, season.HIGHEST_RH_PCT)
    expectation = Expectation(
        room.temperature_c,
        humidity,
        f"{outdoor.name}, indoors by {scheme.title.lower()} ({scheme.name})",
        1.0 if known else UNSURE_WITHOUT_CLIMATE,
        scheme.name != UNHEATED,
    )
    return Surroundings(outdoor, expectation, known)


def scheme_of(place: PlaceOnBook) -> IndoorScheme:
    """How a place's air follows from that outdoors: as recorded, else by how it is heated.

    Raises
    ------
    BadInput
        For a scheme or a way of heating that there isn't.
    """
    document = place.climate or {}
    heating = str(document.get("heating") or USUAL_HEATING[place.kind])
    if heating not in HEATING:
        raise BadInput(f"place {place.name}", "heating", f"must be one of {', '.join(HEATING)}", heating)
    return scheme_named(str(document.get("scheme") or HEATING[heating]))


def seasons_of(surroundings: Surroundings, air: HourlyAir, hours: Iterable[int]) -> list[Season]:
    """What is known of a place at some midnights, each from the measured hours before it alone.

    Parameters
    ----------
    hours : iterable of int
        Rising midnights UTC, hours since 1970.
    """
    at = [hour // 24 - 1 for hour in hours]
    if not len(air):
        return season.learn(min(at, default=0), [], [], surroundings.expectation, at)
    first_day, (temperature_c, rh_pct) = season.daily_means(
        air.first, air.measured, air.temperature_c, air.rh_pct
    )
    return season.learn(first_day, temperature_c, rh_pct, surroundings.expectation, at)


def recent(air: HourlyAir, hour: int, hours: int) -> tuple[float, float]:
    """Mean temperature [°C] and humidity [%] of the hours before one; NaN where there are none."""
    rows = slice(max(hour - hours - air.first, 0), max(hour - air.first, 0))
    if not len(air.rh_pct[rows]):
        return float("nan"), float("nan")
    return float(np.mean(air.temperature_c[rows])), float(np.mean(air.rh_pct[rows]))
