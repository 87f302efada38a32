"""Moist air: vapour pressure, dew point, humidity ratio, and the same air at another temperature.

Saturation pressure after Hyland and Wexler over liquid water above 0.01 °C and over ice at and below it,
as printed in the ASHRAE Handbook of Fundamentals, chapter 1 [1]_. Relative humidity below freezing is
therefore relative to ice, as that handbook has it; many capacitive sensors report it relative to
supercooled water there, which reads lower.

Every function takes floats, arrays or Series of one shape, or scalars beside them, and gives that shape back.
Temperatures go from -60 to 100 °C, humidity from 0 to 100 %. A scalar outside its range raises
`OutsideValidity`; in an array the value becomes NaN. NaN in, NaN out.

References
----------
.. [1] ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 5 and 6 (Hyland and Wexler 1983). The constants
   are from memory of that page and reproduce the independent PsychroLib to its last digits (see
   ``tests/published/test_psychrometrics.py``).
"""

import math
from typing import Any

import numpy as np

from model.wood.errors import OutsideValidity
from model.wood.units import KELVIN_AT_0_C, Floats, Numbers, Range, apply, is_scalar

TEMPERATURE = Range("temperature_c", -60.0, 100.0, "°C")
"""Hyland-Wexler holds from -100 to 200 °C; indoors and out, air that wood meets lies well within this."""
OTHER_TEMPERATURE = Range("other_temperature_c", -60.0, 100.0, "°C")
HUMIDITY = Range("rh_pct", 0.0, 100.0, "%")
PRESSURE = Range("pressure_pa", 30_000.0, 120_000.0, "Pa")
VAPOUR_PRESSURE = Range("vapour_pressure_pa", 0.0, 120_000.0, "Pa")
DEW_POINT = Range("dew_point_c", -100.0, 100.0, "°C")
STANDARD_PRESSURE_PA = 101_325.0
TRIPLE_POINT_C = 0.01
LOWEST_DEW_POINT_C = -100.0
"""Where the ice equation of the source ends."""

GAS_CONSTANT_OF_VAPOUR = 461.5  # J/(kg K)
MASS_RATIO = 0.621945  # kg of vapour to a kg of dry air at one pressure

# ln p = c[0]/T + c[1] + c[2] T + c[3] T^2 + c[4] T^3 + c[5] T^4 + c[6] ln T, T in kelvin, p in pascal.
_OVER_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
_OVER_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)


def _log_pressure(kelvin: Any, c: tuple[float, ...]) -> Any:
    powers = kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
    return c[0] / kelvin + c[1] + powers + c[6] * np.log(kelvin)


def _log_pressure_slope(kelvin: Any, c: tuple[float, ...]) -> Any:
    powers = c[2] + kelvin * (2 * c[3] + kelvin * (3 * c[4] + kelvin * 4 * c[5]))
    return -c[0] / kelvin**2 + powers + c[6] / kelvin


def _saturation(temperature_c: Floats) -> Floats:
    kelvin = temperature_c + KELVIN_AT_0_C
    frozen = temperature_c <= TRIPLE_POINT_C
    return np.exp(np.where(frozen, _log_pressure(kelvin, _OVER_ICE), _log_pressure(kelvin, _OVER_WATER)))


def _vapour(temperature_c: Floats, rh_pct: Floats) -> Floats:
    return _saturation(temperature_c) * rh_pct / 100.0


_TRIPLE_POINT_ICE_PA = float(_saturation(np.asarray(TRIPLE_POINT_C)))
_LOWEST_PA = float(_saturation(np.asarray(LOWEST_DEW_POINT_C)))


def _dew_point(temperature_c: Floats, rh_pct: Floats) -> Floats:
    pressure = _vapour(temperature_c, rh_pct)
    with np.errstate(divide="ignore", invalid="ignore"):
        target = np.log(np.where(pressure < _LOWEST_PA, np.nan, pressure))
        # The source's two branches differ by 7e-9 of the pressure at the triple point, so the branch is
        # chosen by pressure once and kept: a search that hopped between them would not settle.
        frozen = pressure <= _TRIPLE_POINT_ICE_PA
        log_ratio = target - math.log(611.2)
        # Magnus's inverse starts Newton within a kelvin of the root, and ln p is concave and rising in T,
        # so each step but the first comes from below and the error squares: six reach rounding.
        water = 243.12 * log_ratio / (17.62 - log_ratio)
        ice = 272.62 * log_ratio / (22.46 - log_ratio)
        kelvin = np.where(frozen, ice, water) + KELVIN_AT_0_C
        for _ in range(6):
            error = np.where(frozen, _log_pressure(kelvin, _OVER_ICE), _log_pressure(kelvin, _OVER_WATER))
            slope = np.where(
                frozen, _log_pressure_slope(kelvin, _OVER_ICE), _log_pressure_slope(kelvin, _OVER_WATER)
            )
            kelvin = kelvin - (error - target) / slope
    return kelvin - KELVIN_AT_0_C


def saturation_vapour_pressure(temperature_c: Numbers) -> Any:
    """Pressure of water vapour in saturated air, over ice at and below 0.01 °C [Pa].

    Examples
    --------
    >>> round(saturation_vapour_pressure(20.0), 1)
    2338.8
    """
    return apply(_saturation, (TEMPERATURE, temperature_c))


def vapour_pressure(temperature_c: Numbers, rh_pct: Numbers) -> Any:
    """Pressure of the water vapour that air at this temperature and humidity holds [Pa].

    Examples
    --------
    >>> round(vapour_pressure(20.0, 50.0), 1)
    1169.4
    """
    return apply(_vapour, (TEMPERATURE, temperature_c), (HUMIDITY, rh_pct))


def dew_point(temperature_c: Numbers, rh_pct: Numbers) -> Any:
    """Temperature at which this air, cooled with no water added or taken, becomes saturated [°C].

    Below 0.01 °C this is the frost point. Solved by Newton's method on ln p to better than 1e-9 K.

    Parameters
    ----------
    temperature_c : float, array or Series
        Air temperature [°C], -60 to 100.
    rh_pct : same shape or scalar
        Relative humidity [%], above 0 to 100. Air so dry that its frost point lies below -100 °C has none
        here: a scalar raises, an array gets NaN.

    Raises
    ------
    OutsideValidity
        If a scalar lies outside its range, or the air is too dry to have a dew point.

    Examples
    --------
    >>> round(dew_point(21.0, 40.0), 2)
    6.9
    """
    result = apply(_dew_point, (TEMPERATURE, temperature_c), (HUMIDITY, rh_pct))
    if is_scalar(result) and math.isnan(result) and not (np.isnan(temperature_c) or np.isnan(rh_pct)):
        rule = f"must leave the air a frost point above {LOWEST_DEW_POINT_C:g} °C"
        raise OutsideValidity("rh_pct", rule, rh_pct)
    return result


def humidity_ratio(
    temperature_c: Numbers, rh_pct: Numbers, pressure_pa: Numbers = STANDARD_PRESSURE_PA
) -> Any:
    """Mass of water vapour to a unit mass of dry air [kg/kg].

    Parameters
    ----------
    temperature_c : float, array or Series
        Air temperature [°C], -60 to 100; NaN (a scalar raises) where the air would boil.
    rh_pct : same shape or scalar
        Relative humidity [%], 0 to 100.
    pressure_pa : same shape or scalar
        Air pressure [Pa], 30 000 to 120 000.

    Examples
    --------
    >>> round(humidity_ratio(20.0, 50.0), 6)
    0.007262
    """

    def ratio(temperature: Floats, rh: Floats, pressure: Floats) -> Floats:
        vapour = _vapour(temperature, rh)
        dry = np.where(vapour < pressure, pressure - vapour, np.nan)
        return MASS_RATIO * vapour / dry

    result = apply(ratio, (TEMPERATURE, temperature_c), (HUMIDITY, rh_pct), (PRESSURE, pressure_pa))
    given = (temperature_c, rh_pct, pressure_pa)
    if is_scalar(result) and math.isnan(result) and not any(np.isnan(value) for value in given):
        raise OutsideValidity(
            "temperature_c", f"must leave room for dry air at {pressure_pa:g} Pa", temperature_c
        )
    return result


def relative_humidity_at(temperature_c: Numbers, rh_pct: Numbers, other_temperature_c: Numbers) -> Any:
    """Relative humidity of the same air brought to another temperature, its vapour pressure kept [%].

    This is how a reading is moved from a sensor to wood that is colder or warmer, never at constant RH.

    Parameters
    ----------
    temperature_c, rh_pct : float, array or Series
        The air as measured: [°C], -60 to 100, and [%], 0 to 100.
    other_temperature_c : same shape or scalar
        The temperature it is brought to [°C], -60 to 100.

    Returns
    -------
    same shape
        Relative humidity [%]. Above 100 the air would be saturated there: water condenses.

    Examples
    --------
    Outdoor air at 0 °C and 80 %, warmed indoors with no water added:

    >>> round(relative_humidity_at(0.0, 80.0, 21.0), 1)
    19.7
    """

    def moved(temperature: Floats, rh: Floats, other: Floats) -> Floats:
        return rh * _saturation(temperature) / _saturation(other)

    return apply(
        moved, (TEMPERATURE, temperature_c), (HUMIDITY, rh_pct), (OTHER_TEMPERATURE, other_temperature_c)
    )


def relative_humidity_from_pressure(temperature_c: Numbers, vapour_pressure_pa: Numbers) -> Any:
    """Relative humidity of air at this temperature that holds vapour at this pressure [%].

    Parameters
    ----------
    temperature_c : float, array or Series
        Air temperature [°C], -60 to 100.
    vapour_pressure_pa : same shape or scalar
        Vapour pressure [Pa], 0 to 120 000. More than saturated gives more than 100 %.

    Examples
    --------
    >>> round(relative_humidity_from_pressure(20.0, 1169.4), 2)
    50.0
    """

    def humidity(temperature: Floats, vapour: Floats) -> Floats:
        return 100.0 * vapour / _saturation(temperature)

    return apply(humidity, (TEMPERATURE, temperature_c), (VAPOUR_PRESSURE, vapour_pressure_pa))


def relative_humidity_from_dew_point(temperature_c: Numbers, dew_point_c: Numbers) -> Any:
    """Relative humidity of air at this temperature whose dew (or frost) point is known [%].

    Parameters
    ----------
    temperature_c : float, array or Series
        Air temperature [°C], -60 to 100.
    dew_point_c : same shape or scalar
        Dew or frost point [°C], -100 to 100. Above the air temperature it gives more than 100 %.

    Examples
    --------
    >>> round(relative_humidity_from_dew_point(20.0, 9.2724), 2)
    50.0
    """

    def humidity(temperature: Floats, dew: Floats) -> Floats:
        return 100.0 * _saturation(dew) / _saturation(temperature)

    return apply(humidity, (TEMPERATURE, temperature_c), (DEW_POINT, dew_point_c))
