"""Numbers in: lengths and temperatures as people write them, and ranges in which an equation holds.

Only input is read here. Showing a number to a person, in inches or in °F, belongs to the dashboard.
"""

import math
import re
import sys
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, TypeGuard, TypeVar

import numpy as np
from numpy.typing import NDArray

from model.wood.errors import BadInput, OutsideValidity

if TYPE_CHECKING:
    import pandas as pd

    Numeric = TypeVar("Numeric", float, NDArray[np.float64], pd.Series[float])
    Numbers: TypeAlias = float | NDArray[Any] | pd.Series[Any]
else:
    Numeric = TypeVar("Numeric")
    Numbers: TypeAlias = Any

Floats: TypeAlias = NDArray[np.float64]

MM_PER_INCH = 25.4
"""Exact, by the international yard and pound agreement of 1959."""

KELVIN_AT_0_C = 273.15

LengthUnit = Literal["mm", "in"]
TemperatureUnit = Literal["C", "F"]


def fahrenheit_to_celsius(temperature_f: Numeric) -> Numeric:
    """Temperature in °C of one in °F; any shape, exact by definition.

    >>> round(fahrenheit_to_celsius(70.0), 4)
    21.1111
    """
    return (temperature_f - 32.0) / 1.8


def celsius_to_fahrenheit(temperature_c: Numeric) -> Numeric:
    """Temperature in °F of one in °C; any shape, exact by definition.

    >>> celsius_to_fahrenheit(100.0)
    212.0
    """
    return temperature_c * 1.8 + 32.0


# --- ranges of validity -----------------------------------------------------------------------


def is_series(value: object) -> "TypeGuard[pd.Series[Any]]":
    """Whether this is a pandas Series, without importing pandas for those who never use one."""
    pandas = sys.modules.get("pandas")
    return pandas is not None and isinstance(value, pandas.Series)


def is_scalar(value: object) -> TypeGuard[float]:
    """Whether this is one number (a Python or numpy scalar) and not an array, list or Series."""
    return isinstance(value, int | float | np.number) or (isinstance(value, np.ndarray) and value.ndim == 0)


@dataclass(frozen=True)
class Range:
    """The range in which a quantity may be handed to an equation, ends included.

    Parameters
    ----------
    what : str
        Name of the quantity with its unit last, ``"rh_pct"``.
    low, high : float
        Ends of the range.
    unit : str
        As it stands in the sentence, ``"%"`` or ``"°C"``.
    """

    what: str
    low: float
    high: float
    unit: str

    @property
    def rule(self) -> str:
        return f"must lie in {self.low:g} to {self.high:g} {self.unit}"

    def check(self, value: Numbers) -> Floats:
        """The value as floats: a scalar outside raises, an array gets NaN there, NaN stays NaN.

        Raises
        ------
        OutsideValidity
            If a scalar lies outside the range.
        BadInput
            If the value is not a number or an array of numbers.
        """
        if isinstance(value, bool | np.bool_ | str | bytes) or value is None:
            raise BadInput("", self.what, "must be a number", value)
        if is_scalar(value):
            number = float(value)
            if not (self.low <= number <= self.high or math.isnan(number)):
                raise OutsideValidity(self.what, self.rule, value)
            return np.asarray(number)
        try:
            array = np.asarray(value, dtype=np.float64)
        except (TypeError, ValueError):
            raise BadInput("", self.what, "must hold numbers only", value) from None
        inside = (array >= self.low) & (array <= self.high)
        return np.where(inside, array, np.nan)


def apply(function: Callable[..., Any], *pairs: tuple[Range, Numbers]) -> Any:
    """Check each value against its range, compute, and give back the shape that was given.

    Scalars give a float, arrays and lists an array, a Series (alone or with scalars and arrays of its
    length) a Series with its index. Two Series must carry the same index.
    """
    index: Any = None
    for limits, value in pairs:
        if is_series(value):
            if index is not None and not index.equals(value.index):
                raise BadInput("", limits.what, "must carry the same index as the other series", value.index)
            index = value.index
    result = function(*(limits.check(value) for limits, value in pairs))
    if index is not None:
        return sys.modules["pandas"].Series(np.broadcast_to(result, (len(index),)).copy(), index=index)
    if all(is_scalar(value) for _, value in pairs):
        return float(result)
    return np.asarray(result, dtype=np.float64)


# --- lengths and temperatures as people write them ----------------------------------------------

_MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_INCH, "ft": 12 * MM_PER_INCH}
_UNIT_WORDS = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("in", "in.", "inch", "inches", '"', "″", "”", "''"), "in"),
    **dict.fromkeys(("ft", "ft.", "foot", "feet", "'", "′", "’"), "ft"),
}
_DECIMAL = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_AMOUNT = rf"(?:(?P<whole>\d+)(?:\s*-\s*|\s+))?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)|(?P<decimal>{_DECIMAL})"
_LENGTH = re.compile(rf"\s*(?:{_AMOUNT})\s*(?P<unit>[^\d\s].*?)?\s*")
_FEET_AND_INCHES = re.compile(
    r"\s*(?P<feet>\d+)\s*(?:'|′|’|ft\.?|feet|foot)\s*-?\s*(?P<inches>[\d.].*?(?:\"|″|”|''|in\.?|inch(?:es)?))\s*"
)
_LENGTH_RULE = 'must be a length such as "368mm", "14 1/2in" or "14-1/2 in"'
# 1,200 is a thousand and two hundred to one reader and one and a fifth to another.
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")


def _decimal(text: str, where: str, what: str, got: object) -> float:
    """A decimal number written with a point or a comma."""
    if _THOUSANDS.fullmatch(text):
        whole, part = text.split(",")
        rule = f"must not leave open whether its comma marks thousands ({whole}{part} or {whole}.{part}?)"
        raise BadInput(where, what, rule, got)
    return float(text.replace(",", "."))


def _spelled_out(text: str) -> str:
    """The text with every fraction sign as figures, "14½" as "14 1/2", and every dash as a hyphen."""
    for sign in set(text):
        if unicodedata.decomposition(sign).startswith("<fraction>"):
            text = text.replace(sign, f" {unicodedata.normalize('NFKC', sign)}")
    for dash in "\N{MINUS SIGN}\N{EN DASH}\N{NON-BREAKING HYPHEN}":
        text = text.replace(dash, "-")
    return text.replace("\N{FRACTION SLASH}", "/").strip()


def parse_length_mm(
    value: str | float, where: str = "", what: str = "length", bare: LengthUnit | None = "mm"
) -> float:
    """Length in mm of what a maker writes, zero or more; BadInput, in one sentence, if it is no such length.

    A number is mm. A string is a number with a unit: mm, cm, m, in (``"``), ft (``'``), decimals with a point
    or a comma, or fractions: ``"14 1/2in"``, ``"14-1/2 in"``, ``'5/8"'``, ``"14½in"``, ``"4ft 6 1/2in"``.

    Parameters
    ----------
    where, what : str
        What to call the value in the error: the file or option, and the key.
    bare : str or None
        The unit of a string that names none: mm in a piece file, the viewer's on a page. None, on the
        command line, refuses it and offers both. A fraction is never mm: it is asked back.

    Examples
    --------
    >>> parse_length_mm("14-1/2 in"), parse_length_mm("1,2 m")
    (368.3, 1200.0)
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float | np.number):
        raise BadInput(where, what, _LENGTH_RULE, value)
    if not isinstance(value, str):
        return _sound_length(float(value), where, what, value)
    text = _spelled_out(value)
    if text.startswith("-"):
        raise BadInput(where, what, "must not be negative", value)
    compound = _FEET_AND_INCHES.fullmatch(text)
    if compound:
        inches = parse_length_mm(compound["inches"], where, what)
        return _sound_length(int(compound["feet"]) * _MM_PER_UNIT["ft"] + inches, where, what, value)
    match = _LENGTH.fullmatch(text)
    if match is None:
        raise BadInput(where, what, _LENGTH_RULE, value)
    is_fraction = match["decimal"] is None
    if match["unit"] is None and (bare is None or (is_fraction and bare == "mm")):
        raise BadInput(where, what, f"must say its unit ({text} in or {text} mm?)", value)
    unit = bare if match["unit"] is None else _UNIT_WORDS.get(match["unit"].lower())
    if unit is None:
        raise BadInput(where, what, "must have one of the units mm, cm, m, in or ft", value)
    if not is_fraction:
        amount = _decimal(match["decimal"], where, what, value)
    else:
        if int(match["bottom"]) == 0:
            raise BadInput(where, what, "must not have a zero under the fraction bar", value)
        amount = int(match["whole"] or 0) + int(match["top"]) / int(match["bottom"])
    # Rounded to a millionth of a millimetre, so that 14.5 in is 368.3 and not 368.29999999999995.
    return _sound_length(round(amount * _MM_PER_UNIT[unit], 6), where, what, value)


_QUARTERS = re.compile(r"\s*([4-9]|1\d|2[0-4])\s*/\s*4\s*")


def parse_thickness_mm(
    value: str | float, where: str = "", what: str = "thickness", bare: LengthUnit | None = "mm"
) -> float:
    """Thickness of rough lumber in mm: a length as in `parse_length_mm`, or quarters as a yard counts them.

    Quarters are of an inch, rough, from 4/4 to 24/4, and need no unit.

    Examples
    --------
    >>> parse_thickness_mm("5/4"), parse_thickness_mm("27")
    (31.75, 27.0)
    """
    quarters = _QUARTERS.fullmatch(value) if isinstance(value, str) else None
    if quarters is not None:
        return int(quarters[1]) * MM_PER_INCH / 4.0
    return parse_length_mm(value, where, what, bare)


def _sound_length(length_mm: float, where: str, what: str, got: object) -> float:
    if not math.isfinite(length_mm):
        raise BadInput(where, what, "must be a finite length", got)
    if length_mm < 0:
        raise BadInput(where, what, "must not be negative", got)
    return length_mm


_TEMPERATURE = re.compile(
    rf"\s*(?P<sign>[+-]?)\s*(?P<number>{_DECIMAL})\s*(?P<unit>[^\d\s.,].*?)?\s*", re.IGNORECASE
)
_TEMPERATURE_UNITS = {
    **dict.fromkeys(("c", "celsius", "cel"), "c"),
    **dict.fromkeys(("f", "fahrenheit"), "f"),
    **dict.fromkeys(("k", "kelvin"), "k"),
}
_TEMPERATURE_RULE = 'must be a temperature such as "21C", "70F" or "294K"'


def parse_temperature_c(
    value: str | float, where: str = "", what: str = "temperature", bare: TemperatureUnit | None = "C"
) -> float:
    """Temperature in °C of what a maker writes; BadInput, in one sentence, if it is no such temperature.

    A number is °C. A string is a number, its decimals after a point or a comma, with C, F or K, with or
    without a degree sign; `where`, `what` and `bare` as in `parse_length_mm`.

    Examples
    --------
    >>> parse_temperature_c("294,15 K")
    21.0
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float | np.number):
        raise BadInput(where, what, _TEMPERATURE_RULE, value)
    if isinstance(value, str):
        text = value.replace("\N{MINUS SIGN}", "-").strip()
        match = _TEMPERATURE.fullmatch(text)
        if match is None:
            raise BadInput(where, what, _TEMPERATURE_RULE, value)
        word = (match["unit"] or "").lower().lstrip("°º").removeprefix("deg").strip()
        if not word and bare is None:
            number = text.rstrip("°º ")
            raise BadInput(where, what, f"must say its unit ({number} F or {number} C?)", value)
        unit = _TEMPERATURE_UNITS.get(word or str(bare).lower())
        if unit is None:
            raise BadInput(where, what, "must have one of the units C, F or K", value)
        number_c = float(match["sign"] + match["number"].replace(",", "."))
        if unit == "f":
            number_c = fahrenheit_to_celsius(number_c)
        elif unit == "k":
            number_c = round(number_c - KELVIN_AT_0_C, 9)
    else:
        number_c = float(value)
    if not math.isfinite(number_c):
        raise BadInput(where, what, "must be a finite temperature", value)
    if number_c < -KELVIN_AT_0_C:
        raise BadInput(where, what, "must not lie below absolute zero", value)
    return number_c
