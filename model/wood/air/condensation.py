"""How damp a room may be before water or mould shows on its coldest surface.

A humidity that a piece of furniture would like is no advice where the house can't bear it. The ceiling
here is the lowest of four: condensation on the glass, 80 % at the surface of the coldest wall (mould), a
published table of room humidity by outdoor temperature, and 60 %.

There is no one safe humidity of room air: the coldest surface decides (Tsongas and Riordan, ASHRAE Journal
58(9), 2016), and nobody measures it. The answer is therefore a highest advisable humidity, never a promise.
"""

import math
from typing import NamedTuple

import numpy as np

from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.errors import OutsideValidity
from model.wood.units import Range, fahrenheit_to_celsius

OUTDOOR_TEMPERATURE = Range("outdoor_temperature_c", -60.0, 60.0, "°C")
INDOOR_TEMPERATURE = Range("indoor_temperature_c", 0.0, 40.0, "°C")
TEMPERATURE_FACTOR = Range("f_rsi", 0.0, 1.0, "")
SURFACE_HUMIDITY = Range("surface_rh_pct", 0.0, 100.0, "%")

GLASS_F_RSI = 1.0 - 2.8 * 0.13
"""Temperature factor of plain double glazing: `1 - U R_si`, of 2.8 W/(m2 K) and 0.13 m2 K/W (ISO 6946)."""
WALL_F_RSI = 0.7
"""Of a corner of an insulated house (common practice, no source); in an old house 0.5."""
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
    share = float(SURFACE_HUMIDITY.check(surface_rh_pct))
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


class Ceiling(NamedTuple):
    """Highest advisable humidity of a room [%], and what sets it: "glass", "wall", "table" or "health"."""

    rh_pct: float
    governing: str


def condensation_ceiling(outdoor_temperature_c: float, indoor_temperature_c: float = 20.0) -> Ceiling:
    """Highest room humidity that may be advised in this weather; it never rises as it gets colder outdoors.

    Parameters
    ----------
    outdoor_temperature_c : float
        [°C], -60 to 60. For advice over weeks take the coldest of the days ahead, not their mean.
    indoor_temperature_c : float
        [°C], 0 to 40.

    Raises
    ------
    OutsideValidity
        If a temperature lies outside its range or is NaN.

    Examples
    --------
    At 0 °F, the published table:

    >>> condensation_ceiling(fahrenheit_to_celsius(0.0))
    Ceiling(rh_pct=25.0, governing='table')
    """
    outdoor = float(OUTDOOR_TEMPERATURE.check(outdoor_temperature_c))
    indoor = float(INDOOR_TEMPERATURE.check(indoor_temperature_c))
    if math.isnan(outdoor) or math.isnan(indoor):
        raise OutsideValidity("outdoor_temperature_c", OUTDOOR_TEMPERATURE.rule, outdoor_temperature_c)
    limits = (
        Ceiling(room_humidity_at_surface_limit(outdoor, indoor, GLASS_F_RSI), "glass"),
        Ceiling(room_humidity_at_surface_limit(outdoor, indoor, WALL_F_RSI, MOULD_SURFACE_RH_PCT), "wall"),
        Ceiling(_by_table(outdoor), "table"),
        Ceiling(HIGHEST_ROOM_RH_PCT, "health"),
    )
    return min(limits, key=lambda limit: limit.rh_pct)
