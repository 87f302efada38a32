"""From air to the moisture content that wood settles to, and back.

One mean curve serves every species and every history, as the Wood Handbook prints it [1]_. Wood that is
drying sits somewhat above it, wood that is wetting somewhat below, and woods differ: `SETTLES_SD_PCT`.
Margins are computed on the mean curve; the doubt belongs to what is told of days to come.

References
----------
.. [1] Forest Products Laboratory, "Wood Handbook", FPL-GTR-190, Madison, WI, 2010, ch. 4, eq. 4-5 in °C
   and Table 4-2.
"""

from typing import Any, NamedTuple, overload

import numpy as np

from model.wood.errors import OutsideValidity
from model.wood.units import Floats, Numbers, Range, apply, is_scalar

TEMPERATURE = Range("temperature_c", -40.0, 60.0, "°C")
"""What is accepted. The printed table spans -1.1 °C and up; below that the equation is extrapolated,
because an unheated house is no reason to lose a winter. It stays rising in humidity over the whole range."""
HUMIDITY = Range("rh_pct", 0.0, 100.0, "%")
"""The printed table spans 5 to 95 %; above 95 the equation is extrapolated."""
MOISTURE = Range("mc_pct", 0.0, 300.0, "%")
SETTLES_SD_PCT = 0.8
"""How far from equation 4-5 a wood settles [points], one standard deviation. Of ten woods with published
isotherms (named on the science page) the middles between wetting and drying lie 0.7 about it, and the two
branches 1.2 to 2.3 apart from 30 to 70 % humidity. A point anywhere between them makes 0.5; what
the doubt of a state holds of all that already is taken off."""


class _Constants(NamedTuple):
    scale: Floats  # 1800 / W
    k: Floats
    k1: Floats
    k2: Floats


def _constants(temperature_c: Floats) -> _Constants:
    t = temperature_c
    return _Constants(
        1800.0 / (349.0 + 1.29 * t + 0.0135 * t**2),
        0.805 + 0.000736 * t - 0.00000273 * t**2,
        6.27 - 0.00938 * t - 0.000303 * t**2,
        1.91 + 0.0407 * t - 0.000293 * t**2,
    )


def _moisture(c: _Constants, h: Floats) -> Floats:
    x = c.k * h
    hydrate = c.k1 * x * (1.0 + 2.0 * c.k2 * x)
    return c.scale * (x / (1.0 - x) + hydrate / (1.0 + c.k1 * x * (1.0 + c.k2 * x)))


def _slope(c: _Constants, h: Floats) -> Floats:
    x = c.k * h
    below = 1.0 + c.k1 * x + c.k1 * c.k2 * x**2
    # (n/d)' with n = K1 x + 2 K1 K2 x^2 and d = 1 + K1 x + K1 K2 x^2, in which the x^3 terms cancel.
    hydrate = c.k1 * (1.0 + 4.0 * c.k2 * x + c.k1 * c.k2 * x**2) / below**2
    return c.scale * c.k * (1.0 / (1.0 - x) ** 2 + hydrate)


def _equilibrium(temperature_c: Floats, rh_pct: Floats) -> Floats:
    return _moisture(_constants(temperature_c), rh_pct / 100.0)


def _humidity(temperature_c: Floats, mc_pct: Floats) -> Floats:
    temperature, target = np.broadcast_arrays(temperature_c, mc_pct)
    constants = _constants(temperature)
    target = np.where(target <= _moisture(constants, np.asarray(1.0)), target, np.nan)
    low, high = np.zeros(target.shape), np.ones(target.shape)
    h = np.clip(target / 20.0, 0.0, 1.0)
    # Newton inside a shrinking bracket: a step that leaves the bracket becomes a bisection.
    for _ in range(100):
        error = _moisture(constants, h) - target
        low, high = np.where(error <= 0.0, h, low), np.where(error >= 0.0, h, high)
        step = h - error / _slope(constants, h)
        following = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        moved = np.abs(following - h)
        h = following
        if not np.any(moved > 1e-14):
            break
    return 100.0 * np.where(np.isnan(target), np.nan, h)


@overload
def equilibrium_moisture_content(temperature_c: float, rh_pct: float) -> float: ...
@overload
def equilibrium_moisture_content(temperature_c: Numbers, rh_pct: Numbers) -> Any: ...
def equilibrium_moisture_content(temperature_c: Numbers, rh_pct: Numbers) -> Any:
    """Moisture content that wood settles to in air held at this climate [% of oven-dry mass].

    Two-hydrate sorption curve of Wood Handbook (FPL-GTR-190, 2010) eq. 4-5 in °C; one curve for all
    species, which scatter about it by something like one point.

    Parameters
    ----------
    temperature_c : float, array or Series
        Air temperature [°C], -40 to 60; the source's table starts at -1.1, below it this extrapolates.
    rh_pct : same shape or scalar
        Relative humidity [%], 0 to 100; above 95 extrapolates the source.

    Returns
    -------
    same shape
        Moisture content [%]. NaN in, NaN out: gaps stay gaps.

    Raises
    ------
    OutsideValidity
        If a scalar lies outside its range, naming it. In an array the value becomes NaN;
        `TEMPERATURE.count_outside` and `HUMIDITY.count_outside` say how many did.

    Examples
    --------
    >>> round(equilibrium_moisture_content(20.0, 50.0), 1)
    9.3
    """
    return apply(_equilibrium, (TEMPERATURE, temperature_c), (HUMIDITY, rh_pct))


@overload
def relative_humidity_for(temperature_c: float, mc_pct: float) -> float: ...
@overload
def relative_humidity_for(temperature_c: Numbers, mc_pct: Numbers) -> Any: ...
def relative_humidity_for(temperature_c: Numbers, mc_pct: Numbers) -> Any:
    """Relative humidity at which wood settles to this moisture content [%]; inverse of eq. 4-5.

    Solved inside a bracket to better than 1e-9 % of humidity.

    Parameters
    ----------
    temperature_c : float, array or Series
        Air temperature [°C], -40 to 60.
    mc_pct : same shape or scalar
        Moisture content [%], from 0 to what eq. 4-5 gives at 100 % humidity, 28.8 at 20 °C.

    Returns
    -------
    same shape
        Relative humidity [%], 0 to 100. NaN in, NaN out; NaN in arrays where no humidity reaches it.

    Raises
    ------
    OutsideValidity
        If a scalar lies outside its range.

    Examples
    --------
    >>> round(relative_humidity_for(20.0, 8.0), 2)
    41.83
    """
    result = apply(_humidity, (TEMPERATURE, temperature_c), (MOISTURE, mc_pct))
    if is_scalar(result) and np.isnan(result) and not (np.isnan(temperature_c) or np.isnan(mc_pct)):
        most = equilibrium_moisture_content(temperature_c, 100.0)
        rule = f"must lie in 0 to {most:.1f} %, what wood reaches in saturated air at {temperature_c:g} °C"
        raise OutsideValidity("mc_pct", rule, mc_pct)
    return result


@overload
def sorption_slope(temperature_c: float, rh_pct: float) -> float: ...
@overload
def sorption_slope(temperature_c: Numbers, rh_pct: Numbers) -> Any: ...
def sorption_slope(temperature_c: Numbers, rh_pct: Numbers) -> Any:
    """Steepness dM/dh of the sorption curve [% MC per unit of h], h being humidity as a fraction 0 to 1.

    A hundredth of it is points of moisture content per percent of humidity. Derivative of eq. 4-5 in
    closed form; ranges, shapes and errors as `equilibrium_moisture_content`.

    Examples
    --------
    >>> round(sorption_slope(20.0, 50.0) / 100, 3)
    0.161
    """
    return apply(
        lambda temperature, rh: _slope(_constants(temperature), rh / 100.0),
        (TEMPERATURE, temperature_c),
        (HUMIDITY, rh_pct),
    )
