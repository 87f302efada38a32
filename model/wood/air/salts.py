"""Checking a hygrometer: the humidity over saturated salts, and a correction from one or two of them.

Wet salt with solid to spare in a small sealed box, sensor and salt at one temperature, until nothing drifts
(8 to 24 hours; common practice, no source). One salt gives a shift, two a shift and a slope. A correction
is dated and kept beside the readings, which stay as they were.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from model.wood.errors import BadInput
from model.wood.reason import Reason
from model.wood.units import Range

SALT_TEMPERATURE = Range("temperature_c", 5.0, 40.0, "°C")
HUMIDITY = Range("rh_pct", 0.0, 100.0, "%")


@dataclass(frozen=True)
class Salt:
    """A saturated salt solution, over which the air keeps one humidity.

    Attributes
    ----------
    name, formula : str
    coefficients : tuple of float
        Humidity [%] as a polynomial in temperature [°C], lowest power first.
    uncertainty_pct : float
        At 25 °C [% of humidity], from memory.
    """

    name: str
    formula: str
    coefficients: tuple[float, ...]
    uncertainty_pct: float


SALTS: Mapping[str, Salt] = MappingProxyType(
    {
        salt.name: salt
        for salt in (
            # Below some 18 °C it may hydrate otherwise and read differently (from memory).
            Salt("lithium chloride", "LiCl", (11.2323, 0.00824245, -0.000214890), 0.27),
            Salt("magnesium chloride", "MgCl2", (33.6686, -0.00797397, -0.00108988), 0.16),
            Salt("potassium carbonate", "K2CO3", (43.1315, 0.00147523), 0.39),
            Salt("sodium chloride", "NaCl", (75.5164, 0.0398321, -0.00265459, 2.848e-5), 0.12),
            Salt("potassium chloride", "KCl", (88.6190, -0.193340, 0.000899706), 0.26),
            Salt("potassium sulphate", "K2SO4", (98.7792, -0.0590502), 0.45),
        )
    }
)
"""Salts by name; for two points magnesium chloride (33 %) and table salt (75 %) bracket a house."""


def salt_humidity(salt: str, temperature_c: float) -> float:
    """Relative humidity over a saturated salt solution [%].

    Parameters
    ----------
    salt : str
        Name or formula of one of `SALTS`, in any case.
    temperature_c : float
        Of salt, air and sensor alike [°C], 5 to 40. One kelvin between them is 6 % of the reading.

    Raises
    ------
    BadInput
        For another salt, or a temperature outside the range.

    References
    ----------
    Greenspan, J. Res. NBS 81A (1977) 89, polynomials as written out in two public programs; the sign of the
    linear term of LiCl and K2CO3 set right by the printed table.

    Examples
    --------
    >>> round(salt_humidity("NaCl", 20.0), 2)
    75.48
    """
    temperature = float(SALT_TEMPERATURE.check(temperature_c))
    return sum(a * temperature**n for n, a in enumerate(find_salt(salt).coefficients))


def find_salt(salt: str) -> Salt:
    """The salt of this name or formula.

    Raises
    ------
    BadInput
        With the salts there are.
    """
    word = salt.strip().lower() if isinstance(salt, str) else ""
    for known in SALTS.values():
        if word in (known.name, known.formula.lower()):
            return known
    raise BadInput("", "salt", f"must be one of {', '.join(SALTS)}", salt)


SLOPE_LIMITS, SHIFT_LIMIT_PCT = (0.8, 1.25), 10.0
"""Beyond these a correction is refused: the sensor is spent (common practice, no source)."""
SLOPE_SOUND, SHIFT_SOUND_PCT = (0.9, 1.1), 5.0
"""Beyond these it is used, with the advice to replace the sensor (common practice, no source)."""


@dataclass(frozen=True)
class HumidityCorrection:
    """True humidity as `intercept + slope x reading`, from one or two points.

    Attributes
    ----------
    intercept_pct, slope : float
    points : tuple of (reading_pct, true_pct, uncertainty_pct)
    accepted : bool
        Whether it may be used.
    sound : bool
        Whether the sensor needs no replacing.
    reason : Reason
        The verdict.

    Examples
    --------
    >>> fix = two_point_correction((31.2, 33.07), (77.9, 75.47))
    >>> round(fix.true_humidity(45.0), 3), round(fix.uncertainty(45.0), 3)
    (45.599, 0.382)
    """

    intercept_pct: float
    slope: float
    points: tuple[tuple[float, float, float], ...]
    accepted: bool
    sound: bool
    reason: Reason

    def true_humidity(self, reading_pct: float) -> float:
        """Corrected humidity [%], held within 0 and 100."""
        return min(max(self.intercept_pct + self.slope * reading_pct, 0.0), 100.0)

    def uncertainty(self, reading_pct: float) -> float:
        """Uncertainty that the points give the corrected humidity [%]; grows outside them."""
        if len(self.points) == 1:
            return self.points[0][2]
        (i1, _, u1), (i2, _, u2) = self.points
        second = (reading_pct - i1) / (i2 - i1)
        return math.hypot((1.0 - second) * u1, second * u2)


def two_point_correction(
    low: tuple[float, float], high: tuple[float, float], uncertainty_pct: tuple[float, float] = (0.5, 0.5)
) -> HumidityCorrection:
    """Correction from two salts.

    Parameters
    ----------
    low, high : (reading_pct, true_pct)
        What the sensor showed when it had settled, and what it should have shown.
    uncertainty_pct : (float, float)
        Of each true point, salt and reading together [% of humidity].

    Returns
    -------
    HumidityCorrection
        Look at `accepted` before using it.

    Raises
    ------
    BadInput
        If a humidity lies outside 0 to 100, the two points lie less than 15 % apart, or the sensor doesn't
        rise.
    """
    (i1, r1), (i2, r2) = (_point(point) for point in (low, high))
    if r2 - r1 < 15.0:
        raise BadInput("", "salts", "must lie at least 15 % of humidity apart, the drier first", (r1, r2))
    if i2 <= i1:
        raise BadInput("", "readings", "must rise from the drier salt to the damper", (i1, i2))
    slope = (r2 - r1) / (i2 - i1)
    points = ((i1, r1, uncertainty_pct[0]), (i2, r2, uncertainty_pct[1]))
    return _judged(r1 - slope * i1, slope, points)


def one_point_offset(reading_pct: float, true_pct: float, uncertainty_pct: float = 1.0) -> HumidityCorrection:
    """Correction by a shift alone, from one salt or a trusted sensor beside it.

    Raises
    ------
    BadInput
        If a humidity lies outside 0 to 100.

    Examples
    --------
    >>> one_point_offset(77.0, 75.5).true_humidity(40.0)
    38.5
    """
    reading, true = _point((reading_pct, true_pct))
    return _judged(true - reading, 1.0, ((reading, true, uncertainty_pct),))


def _point(point: tuple[float, float]) -> tuple[float, float]:
    reading, true = (float(HUMIDITY.check(value)) for value in point)
    if math.isnan(reading) or math.isnan(true):
        raise BadInput("", "a point", "must be two humidities", point)
    return reading, true


def _judged(
    intercept: float, slope: float, points: tuple[tuple[float, float, float], ...]
) -> HumidityCorrection:
    shift = max((true - reading for reading, true, _ in points), key=abs)
    accepted = SLOPE_LIMITS[0] < slope < SLOPE_LIMITS[1] and abs(shift) < SHIFT_LIMIT_PCT
    sound = accepted and SLOPE_SOUND[0] <= slope <= SLOPE_SOUND[1] and abs(shift) <= SHIFT_SOUND_PCT
    how = "replace" if not sound else ""
    off = {"how": how if accepted else "refused", "off_pct": shift, "slope": round(slope, 2)}
    return HumidityCorrection(intercept, slope, points, accepted, sound, Reason("salt-check", off))
