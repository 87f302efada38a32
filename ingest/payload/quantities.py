"""Parses raw values of a message: numbers as devices write them, their units, and what air can be.

Pure functions. A missing value is None, an impossible one a `BadPayload`.
"""

import re
from math import isfinite
from typing import Any

# TRADE practice of air sensors: what their elements can measure at all, common practice, no source.
TEMPERATURE_LOW_C, TEMPERATURE_HIGH_C = -40.0, 85.0
RH_DAMPEST_PCT = 110.0
"""Up to here a number above 100 is a wet element's: it is refused, and the thermometer beside it is well.

Elements are good to some points of humidity, and read high for a while after condensation: common practice,
no source. Farther up it is the sign of a dead element (255), which spoils both.
"""
RH_LEAST_PCT = 1.0  # no room is drier; 0 is what a dead element sends, and a ratio sent for a percentage

MISSING_WORDS = frozenset(
    (
        *("", "null", "none", "nil", "unavailable", "unknown", "undefined", "nan", "-nan", "+nan"),
        *("n/a", "na", "n.a.", "-", "--", "---", "?", "err", "error", "offline"),
    )
)

_NUMBER = re.compile(
    r"([+-]?(?:[0-9]{1,15}(?:[.,][0-9]{0,20})?|[.,][0-9]{1,20})(?:[eE][+-]?[0-9]{1,3})?)(.*)\Z", re.S
)
_LONGEST_NUMBER = 64

CELSIUS, FAHRENHEIT, KELVIN = "C", "F", "K"
PERCENT, RATIO = "%", "ratio"

# Spellings of SenML (RFC 8428), UCUM, UN/CEFACT recommendation 20, QUDT and plain usage, in lower case
# without degree signs, spaces, underscores, dots, hyphens and brackets.
_TEMPERATURE_UNITS = {
    **dict.fromkeys(("c", "cel", "celsius", "degc", "degreec", "degreecelsius", "degreescelsius",
                     "degcelsius", "centigrade", "celcius", "unit:degc", "degreesc"), CELSIUS),
    **dict.fromkeys(("f", "fah", "fahrenheit", "degf", "degreef", "degreefahrenheit", "degreesfahrenheit",
                     "degfahrenheit", "unit:degf", "degreesf"), FAHRENHEIT),
    **dict.fromkeys(("k", "kel", "kelvin", "kelvins", "unit:k", "degk", "degreekelvin"), KELVIN),
}  # fmt: skip
_RH_UNITS = {
    **dict.fromkeys(("%", "%rh", "rh%", "%rf", "%hr", "%rv", "pct", "pctrh", "percent", "percentage", "p1",
                     "prozent", "rh", "%relative", "%relativehumidity", "unit:percent"), PERCENT),
    **dict.fromkeys(("/", "1", "ratio", "fraction", "frac", "c62"), RATIO),
}  # fmt: skip
_UNIT_NOISE = str.maketrans("", "", "°º˚ \t_.-[]()")


class BadPayload(ValueError):
    """A sensor message that cannot become a reading.

    Parameters
    ----------
    field : str
        The quantity or the place in the message.
    problem : str
        The rule it breaks, as the rest of a sentence.
    got : object
        The value as it came.
    readings : tuple of Observed
        What the same message says of other sensors or instants and is good: to be stored all the same.

    Attributes
    ----------
    topic : str
        Where the message came from; whoever knows it adds it.

    Examples
    --------
    >>> str(BadPayload("rh_pct", "must lie in 0..100", 140.2))
    'rh_pct must lie in 0..100, got 140.2'
    """

    topic = ""

    def __init__(self, field: str, problem: str, got: object, readings: tuple[Any, ...] = ()) -> None:
        super().__init__(field, problem, got)
        self.field, self.problem, self.got, self.readings = field, problem, got, readings

    def __str__(self) -> str:
        where = f"{plain(self.topic)}: " if self.topic else ""
        return f"{where}{plain(self.field)} {self.problem}, got {shown(self.got)}"


class Saturated(BadPayload):
    """A humidity a little above 100 %, as a wet element gives: it costs no temperature."""


def plain(text: str, longest: int = 160) -> str:
    """Text from outside made safe for one line of a log: no control characters, bounded length."""
    if len(text) > longest:
        text = text[: longest - 1] + "…"
    return text if text.isprintable() else text.encode("unicode_escape", "backslashreplace").decode("ascii")


def shown(got: object) -> str:
    """A value from outside as a few printable characters, whatever it is and however large.

    `repr` is not enough: it fails on integers of more than 4,300 digits and on deep nesting.
    """
    if isinstance(got, str):
        return repr(got if len(got) <= 80 else got[:79] + "…")
    if isinstance(got, (bytes, bytearray, memoryview)):
        return repr(bytes(got[:40])) + (f" and {len(got) - 40} bytes more" if len(got) > 40 else "")
    if got is None or isinstance(got, (bool, float)):
        return repr(got)
    if isinstance(got, int):
        return repr(got) if got.bit_length() <= 128 else f"an integer of {got.bit_length()} bits"
    if isinstance(got, dict):
        return f"an object of {len(got)} fields"
    if isinstance(got, (list, tuple)):
        return f"a list of {len(got)} values"
    return f"a {type(got).__name__}"


def number_and_unit(raw: object, field: str = "") -> tuple[float | None, str]:
    """A number as devices write it: a number, or text with point or comma, perhaps with its unit behind.

    Parameters
    ----------
    raw : object
        As decoded. None, NaN and the words of `MISSING_WORDS` are a missing value.

    Returns
    -------
    (float or None, str)
        The value, finite, and the unit text written behind it ("" when none).

    Raises
    ------
    BadPayload
        If it is anything else: true and false, lists, objects, infinities, "1,234.5".
    """
    kind = type(raw)
    if kind is float:
        if isfinite(raw):  # type: ignore[arg-type]
            return raw, ""  # type: ignore[return-value]
        if raw != raw:
            return None, ""
    elif kind is int:
        if raw.bit_length() <= 64:  # type: ignore[attr-defined]
            return float(raw), ""  # type: ignore[arg-type]
    elif raw is None:
        return None, ""
    elif kind is str:
        text = raw.strip()  # type: ignore[attr-defined]
        if len(text) <= _LONGEST_NUMBER:
            if text.lower() in MISSING_WORDS:
                return None, ""
            match = _NUMBER.match(text.replace("\u2212", "-"))
            # What follows the digits must be a unit, so "1.234,5" and "12:30" are no numbers.
            if match and not match[2].strip()[:1].isdigit() and match[2][:1] not in {".", ",", ":", "-", "'"}:
                value = float(match[1].replace(",", "."))
                if isfinite(value):
                    return value, match[2].strip()
    raise BadPayload(field, "must be a number", raw)


def temperature_unit(raw: object) -> str | None:
    """C, F or K from a unit written in a message; None when it names none."""
    return _unit(raw, _TEMPERATURE_UNITS, "temperature_c", "must be in °C, °F or K")


def rh_unit(raw: object) -> str | None:
    """`%` or `ratio` from a unit written in a message; None when it names none."""
    return _unit(raw, _RH_UNITS, "rh_pct", "must be in percent or a ratio")


def _unit(raw: object, known: dict[str, str], field: str, rule: str) -> str | None:
    if raw is None:
        return None
    if isinstance(raw, str) and len(raw) <= _LONGEST_NUMBER:
        text = raw.translate(_UNIT_NOISE).lower().replace("℃", "c").replace("℉", "f")
        if not text:
            return None
        if text in known:
            return known[text]
    raise BadPayload(field, rule, raw)


def celsius(value: float, unit: str) -> float:
    """A temperature [°C] from one in C, F or K (exact definitions of the scales)."""
    if unit == CELSIUS:
        return value
    # Rounded to a millionth so that 70 °F is 21.111111, not 21.11111111111111: no element resolves it.
    if unit == FAHRENHEIT:
        return round((value - 32.0) / 1.8, 6)
    return round(value - 273.15, 6)


def checked_temperature_c(value_c: float) -> float:
    """The value, or `BadPayload` when no air sensor can have measured it."""
    if TEMPERATURE_LOW_C <= value_c <= TEMPERATURE_HIGH_C:
        return value_c
    raise BadPayload("temperature_c", "must lie in -40..85", value_c)


def checked_rh_pct(value_pct: float) -> float:
    """The value, or `BadPayload` when it is no relative humidity of a room."""
    if RH_LEAST_PCT <= value_pct <= 100.0:
        return value_pct
    if 0.0 <= value_pct < RH_LEAST_PCT:
        raise BadPayload("rh_pct", "below 1 % is a dead sensor, or a ratio read as percent", value_pct)
    if 100.0 < value_pct <= RH_DAMPEST_PCT:
        raise Saturated("rh_pct", "above 100 % is a wet sensor's; its temperature is kept", value_pct)
    raise BadPayload("rh_pct", "must lie in 0..100", value_pct)


def battery_or_none(raw: object) -> float | None:
    """Battery charge [%], or None: a charge that makes no sense never costs a reading."""
    if type(raw) is int or type(raw) is float:
        return float(raw) if 0.0 <= raw <= 100.0 else None
    try:
        value, unit = number_and_unit(raw)
    except BadPayload:
        return None
    if value is None or not 0.0 <= value <= 100.0 or unit not in {"", "%"}:
        return None
    return value
