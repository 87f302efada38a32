"""Cold iron in warm damp air: when cast iron stands below the dew point, and water comes on it.

The iron's own temperature is estimated from the air's: a plate lags behind the air with the time that its
heat takes through the air film. What is thicker, or lies on a cold floor, stays cold for longer, so that no
warning is no proof that nothing is wet.
"""

import math
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from model.wood.air.psychrometrics import dew_point

Floats = NDArray[np.float64]

IRON_DENSITY_KG_M3 = 7500.0
IRON_HEAT_J_KG_K = 450.0
FILM_W_M2_K = 7.7
"""Density and heat capacity of cast iron (as ISO 10456 tabulates it) and the film of still indoor air, 1/0.13
m2 K/W (ISO 6946): all three from memory, unverified."""
IRON_MM = 25.0
"""A machine's table with its ribs, as mass over the face the air reaches (common practice, no source)."""
LEAST_RH_PCT = 1.0


def lag_h(iron_mm: float = IRON_MM) -> float:
    """How long iron takes to come within 37 % of a change of the air [h].

    Examples
    --------
    >>> round(lag_h(25.0), 1)
    3.0
    """
    return IRON_DENSITY_KG_M3 * IRON_HEAT_J_KG_K * iron_mm / 1000.0 / FILM_W_M2_K / 3600.0


def iron_temperature(temperature_c: Floats, iron_mm: float = IRON_MM) -> Floats:
    """Estimated temperature of iron at the end of each of some hours [°C].

    Parameters
    ----------
    temperature_c : (hours,)
        The air's, each held for an hour [°C]; the iron starts at the first.
    iron_mm : float
        Its mass over its surface, as a thickness [mm], above 0.
    """
    air = np.asarray(temperature_c, dtype=np.float64)
    if len(air) == 0:
        return air
    share = -math.expm1(-1.0 / lag_h(iron_mm))
    return np.fromiter(accumulate(air, lambda iron_c, air_c: iron_c + share * (air_c - iron_c)), np.float64)


def is_wet(temperature_c: Floats, rh_pct: Floats, iron_mm: float = IRON_MM) -> NDArray[np.bool_]:
    """Whether the iron stood below the dew point for the whole of each of some hours.

    Parameters
    ----------
    temperature_c, rh_pct : (hours,)
        The air, each held for an hour [°C], [%].
    """
    after = iron_temperature(temperature_c, iron_mm)
    before = np.concatenate([np.asarray(temperature_c, dtype=np.float64)[:1], after[:-1]])
    dew = np.asarray(dew_point(np.asarray(temperature_c), np.maximum(rh_pct, LEAST_RH_PCT)))
    return np.asarray(dew > np.maximum(before, after))
