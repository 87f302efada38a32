"""How damp a room may be before water or mould shows on its coldest surface.

A humidity that a piece of furniture would like is no advice where the house can't bear it. The ceiling
here is the lowest of four: condensation on the glass, 80 % at the surface of the coldest wall (mould), a
published table of room humidity by outdoor temperature, and 60 %.

There is no one safe humidity of room air: the coldest surface decides (Tsongas and Riordan, ASHRAE Journal
58(9), 2016), and nobody measures it. The answer is therefore a highest advisable humidity, never a promise.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.errors import OutsideValidity
from model.wood.units import Range, fahrenheit_to_celsius

OUTDOOR_TEMPERATURE = Range("outdoor_temperature_c", -60.0, 60.0, "°C")
INDOOR_TEMPERATURE = Range("indoor_temperature_c", 0.0, 40.0, "°C")
TEMPERATURE_FACTOR = Range("f_rsi", 0.0, 1.0, "")

SURFACE_RESISTANCE_M2K_W = 0.13
"""Of an indoor surface, heat flowing level (ISO 6946)."""
MOULD_SURFACE_RH_PCT = 80.0
"""Highest monthly mean humidity at a surface, ISO 13788; not re-read."""
LOWEST_ROOM_RH_PCT = 25.0
"""Below this a house dries skin, glue and wood alike: nobody is told to hold one there (common practice, no
source)."""
HIGHEST_ROOM_RH_PCT = 60.0
"""US EPA: keep a room below 60 %, ideally at 30 to 50; read in texts that repeat it."""

ROOM_HUMIDITY_BY_OUTDOOR_F: tuple[tuple[float, float], ...] = (
    (-20.0, 15.0), (-10.0, 20.0), (0.0, 25.0), (10.0, 30.0), (20.0, 35.0), (32.0, 40.0), (40.0, 45.0),
)  # fmt: skip
"""Highest room humidity [%] by outdoor temperature [°F], double glazing, as home-energy guides print it."""


@dataclass(frozen=True)
class ColdSurfaces:
    """The coldest glass and the coldest wall of a room.

    Attributes
    ----------
    glazing_u_w_m2k : float
        Heat loss of the window [W/(m2 K)], above 0 to 7: plain double glazing 2.8, single 5.8, good new 1.1.
    wall_f_rsi : float
        Temperature factor of the coldest wall surface, 0 to 1; a corner of an insulated house 0.7, of an old
        one 0.5. A surface is at `T_e + f (T_i - T_e)`.
    """

    glazing_u_w_m2k: float = 2.8
    wall_f_rsi: float = 0.7

    def __post_init__(self) -> None:
        if not 0.0 < self.glazing_u_w_m2k <= 7.0:
            raise OutsideValidity(
                "glazing_u_w_m2k", "must lie above 0 and at most 7 W/(m2 K)", self.glazing_u_w_m2k
            )
        TEMPERATURE_FACTOR.check(self.wall_f_rsi)

    @property
    def glazing_f_rsi(self) -> float:
        """Temperature factor of the glass, `1 - U R_si`."""
        return 1.0 - self.glazing_u_w_m2k * SURFACE_RESISTANCE_M2K_W


DOUBLE_GLAZING = ColdSurfaces()


def room_humidity_at_surface_limit(
    outdoor_temperature_c: float, indoor_temperature_c: float, f_rsi: float, surface_rh_pct: float = 100.0
) -> float:
    """Room humidity at which a cold surface, at `T_e + f (T_i - T_e)`, reaches a humidity of its own [%].

    Parameters
    ----------
    outdoor_temperature_c, indoor_temperature_c : float
        [°C], -60 to 60 and 0 to 40.
    f_rsi : float
        Temperature factor, 0 (as cold as outdoors) to 1 (as warm as the room).
    surface_rh_pct : float
        At the surface [%]: 100 for condensation, 80 for mould.

    Returns
    -------
    float
        [%]; above 100 where the surface is warmer than the room.

    Raises
    ------
    OutsideValidity
        If a number lies outside its range.

    Examples
    --------
    >>> round(room_humidity_at_surface_limit(-10.0, 20.0, 0.7), 1)
    56.1
    """
    outdoor = OUTDOOR_TEMPERATURE.check(outdoor_temperature_c)
    indoor = INDOOR_TEMPERATURE.check(indoor_temperature_c)
    share = float(Range("surface_rh_pct", 0.0, 100.0, "%").check(surface_rh_pct))
    surface = outdoor + TEMPERATURE_FACTOR.check(f_rsi) * (indoor - outdoor)
    return float(share * saturation_vapour_pressure(surface) / saturation_vapour_pressure(indoor))


_TABLE_C = np.array([fahrenheit_to_celsius(at) for at, _ in ROOM_HUMIDITY_BY_OUTDOOR_F])
_TABLE_RH = np.array([rh for _, rh in ROOM_HUMIDITY_BY_OUTDOOR_F])


def _by_table(outdoor_c: float) -> float:
    """The table, its end slopes carried on to either side and never below zero."""
    inside = np.interp(outdoor_c, _TABLE_C, _TABLE_RH)
    below = (outdoor_c - _TABLE_C[0]) * (_TABLE_RH[1] - _TABLE_RH[0]) / (_TABLE_C[1] - _TABLE_C[0])
    above = (outdoor_c - _TABLE_C[-1]) * (_TABLE_RH[-1] - _TABLE_RH[-2]) / (_TABLE_C[-1] - _TABLE_C[-2])
    return float(max(inside + min(below, 0.0) + max(above, 0.0), 0.0))


GLASS, WALL, TABLE, HEALTH = "glass", "wall", "table", "health"
LIMIT_IN_WORDS: Mapping[str, str] = {
    GLASS: "water condenses on the window glass",
    WALL: "the coldest wall surface reaches 80 %, where mould grows",
    TABLE: "published table of room humidity by outdoor temperature, double glazing (home-energy guidance)",
    HEALTH: "US EPA: keep rooms below 60 %",
}


def _limits(surfaces: ColdSurfaces, outdoor: float, indoor: float) -> dict[str, float]:
    return {
        GLASS: room_humidity_at_surface_limit(outdoor, indoor, max(surfaces.glazing_f_rsi, 0.0)),
        WALL: room_humidity_at_surface_limit(outdoor, indoor, surfaces.wall_f_rsi, MOULD_SURFACE_RH_PCT),
        TABLE: _by_table(outdoor),
        HEALTH: HIGHEST_ROOM_RH_PCT,
    }


@dataclass(frozen=True)
class Ceiling:
    """Highest advisable humidity of a room, with what sets it.

    Attributes
    ----------
    rh_pct : float
        The lowest of `limits` [%].
    governing : str
        Its key: "glass", "wall", "table" or "health".
    source : str
        The same in words.
    limits : mapping of str to float
        Each limit [%]; those of surfaces may lie above 100.
    """

    rh_pct: float
    governing: str
    source: str
    limits: Mapping[str, float]


def condensation_ceiling(
    outdoor_temperature_c: float,
    indoor_temperature_c: float = 20.0,
    surfaces: ColdSurfaces = DOUBLE_GLAZING,
) -> Ceiling:
    """Highest room humidity that may be advised in this weather, with the limit that governs and its source.

    Never rises as it gets colder outdoors.

    Parameters
    ----------
    outdoor_temperature_c : float
        [°C], -60 to 60. For advice over weeks take the coldest of the days ahead, not their mean.
    indoor_temperature_c : float
        [°C], 0 to 40.
    surfaces : ColdSurfaces
        Window and coldest wall; plain double glazing unless the house is known.

    Raises
    ------
    OutsideValidity
        If a temperature lies outside its range or is NaN.

    Examples
    --------
    At 0 °F, the published table:

    >>> ceiling = condensation_ceiling(fahrenheit_to_celsius(0.0))
    >>> round(ceiling.rh_pct, 1), ceiling.governing
    (25.0, 'table')
    """
    outdoor = float(OUTDOOR_TEMPERATURE.check(outdoor_temperature_c))
    indoor = float(INDOOR_TEMPERATURE.check(indoor_temperature_c))
    if math.isnan(outdoor) or math.isnan(indoor):
        raise OutsideValidity("outdoor_temperature_c", OUTDOOR_TEMPERATURE.rule, outdoor_temperature_c)
    limits = _limits(surfaces, outdoor, indoor)
    governing = min(limits, key=lambda name: limits[name])
    return Ceiling(limits[governing], governing, LIMIT_IN_WORDS[governing], limits)
