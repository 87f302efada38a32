"""Units and words: the last step before a person reads a number.

Everything inside is SI (mm, °C, %, aware UTC). A `Display` says it in the maker's units, rounded the
cautious way when a direction is named. Nothing here knows a page, a database or the time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, isfinite
from typing import TYPE_CHECKING, Literal

import numpy as np

from model.wood.units import MM_PER_INCH, celsius_to_fahrenheit

if TYPE_CHECKING:
    from model.wood.design.setting_out import Increments

Toward = Literal["nearest", "up", "down"]
Units = Literal["inch", "metric"]

KG_PER_POUND = 0.45359237
"""Exact, by the international yard and pound agreement of 1959."""

NBSP = "\u00a0"
MINUS = "\u2212"
NOTHING = "–"

# A value that is a whole step to nine figures is that step: 0.125 in. held as 3.175 mm must not be
# rounded down to 3/32 because a float lost its last bit.
STEP_SLACK = 1e-9

VERDICTS = ("past", "near", "unknown", "clear")  # the order in which a maker wants to hear of them


@dataclass(frozen=True)
class Display:
    """How one viewer wants numbers said.

    Parameters
    ----------
    units : 'inch' or 'metric'
        Inch fractions and °F, or millimetres and °C.
    """

    units: Units = "inch"

    # ------------------------------------------------------------ lengths

    def length(self, width_mm: float | None, toward: Toward = "nearest", finest: int = 32) -> str:
        """A length with its unit: `14-1/2 in`, or `368.5 mm`.

        Parameters
        ----------
        width_mm : float or None
            Length [mm], any sign.
        toward : 'nearest', 'up' or 'down'
            Which way to round; 'down' gives away nothing that is not there.
        finest : int
            Smallest inch fraction, 32 for sizes and 64 for margins and gaps. Metric steps are 0.5 mm,
            and 0.1 mm at 64.

        Returns
        -------
        str
            An en dash when there is no number.
        """
        if width_mm is None or not isfinite(width_mm):
            return NOTHING
        return f"{self.bare_length(width_mm, toward, finest)}{NBSP}{self.length_unit}"

    def bare_length(self, width_mm: float, toward: Toward = "nearest", finest: int = 32) -> str:
        """As `length`, without the unit."""
        if self.units == "metric":
            step_mm = 0.5 if finest <= 32 else 0.1
            return _signed(round_to(width_mm, step_mm, toward), 1)
        steps = round(round_to(width_mm / MM_PER_INCH, 1 / finest, toward) * finest)
        return inch_fraction(Fraction(steps, finest))

    @property
    def length_unit(self) -> str:
        return "in" if self.units == "inch" else "mm"

    @property
    def steps(self) -> "Increments":
        """What cutting advice is rounded to on this viewer's rule."""
        from model.wood.design.setting_out import INCH_STEPS, METRIC_STEPS

        return INCH_STEPS if self.units == "inch" else METRIC_STEPS

    def margin(self, margin_mm: float | None, doubt_mm: float | None = None) -> str:
        """What is left before a limit, rounded down: a margin is never said to be larger than it is.

        With its doubt behind it where that is given.
        """
        if margin_mm is not None and doubt_mm is not None:
            return self.with_doubt(margin_mm, doubt_mm, "down", 64)
        if margin_mm is not None and 0.0 < margin_mm < (MM_PER_INCH / 64 if self.units == "inch" else 0.1):
            return f"under{NBSP}{self.length(margin_mm, 'up', 64)}"
        return self.length(margin_mm, "down", 64)

    def overrun(self, margin_mm: float, doubt_mm: float | None = None) -> str:
        """How far past a limit, from a negative margin, as a positive length rounded up."""
        if doubt_mm is not None:
            return self.with_doubt(-margin_mm, doubt_mm, "up", 64)
        return self.length(-margin_mm, "up", 64)

    def doubt(self, doubt_mm: float) -> str:
        """How far a size may be out either way, rounded up and never to nothing: `1/32 in`, `0.8 mm`."""
        return f"{self.bare_doubt(doubt_mm)}{NBSP}{self.length_unit}"

    def bare_doubt(self, doubt_mm: float) -> str:
        """As `doubt`, without the unit; the coarser, the larger it is."""
        fine, coarse = (MM_PER_INCH / 64, MM_PER_INCH / 32) if self.units == "inch" else (0.1, 0.5)
        step = fine if doubt_mm <= 4.0 * coarse else coarse
        return self.bare_length(max(round_to(doubt_mm, step, "up"), fine), "up", 64)

    def with_doubt(
        self, size_mm: float, doubt_mm: float, toward: Toward = "nearest", finest: int = 32
    ) -> str:
        """A size and how far it may be out: `18-1/32 ± 1/32 in`, `458.0 ± 0.8 mm`."""
        size = self.bare_length(size_mm, toward, finest)
        return f"{size}{NBSP}±{NBSP}{self.doubt(doubt_mm)}"

    # ------------------------------------------------------------ wood by the piece

    def weight(self, weight_kg: float) -> str:
        """A weight in pounds or kilograms."""
        if self.units == "inch":
            return f"{weight_kg / KG_PER_POUND:.1f}{NBSP}lb"
        return f"{weight_kg:.1f}{NBSP}kg"

    def lumber(self, board_feet: float) -> str:
        """An amount of lumber in board feet, or in cubic decimetres."""
        if self.units == "inch":
            return f"{board_feet:.1f}{NBSP}bd ft"
        from model.wood.design.stock import CUBIC_M_PER_BOARD_FOOT

        return f"{board_feet * CUBIC_M_PER_BOARD_FOOT * 1000.0:.1f}{NBSP}dm³"

    # ------------------------------------------------------------ air and moisture

    def temperature(self, temperature_c: float | None) -> str:
        """A temperature to a whole degree."""
        if temperature_c is None or not isfinite(temperature_c):
            return NOTHING
        return f"{_signed(self.temperature_value(temperature_c), 0)}{NBSP}{self.temperature_unit}"

    def temperature_value(self, temperature_c: float) -> float:
        return float(celsius_to_fahrenheit(temperature_c)) if self.units == "inch" else temperature_c

    def temperature_values(self, temperature_c: np.ndarray) -> np.ndarray:
        """An array of temperatures in the viewer's unit, for an axis."""
        if self.units == "metric":
            return temperature_c
        return np.asarray(celsius_to_fahrenheit(temperature_c), dtype=np.float64)

    @property
    def temperature_unit(self) -> str:
        return "°F" if self.units == "inch" else "°C"


def inch_fraction(inches: Fraction) -> str:
    """A mixed inch fraction with its hyphen: `1-3/16`, `5/8`, `−1/32`, `14`, `0`."""
    sign = MINUS if inches < 0 else ""
    whole, rest = divmod(abs(inches), 1)
    if not rest:
        return f"{sign}{whole}"
    return f"{sign}{whole}-{rest}" if whole else f"{sign}{rest}"


def round_to(value: float, step: float, toward: Toward = "nearest") -> float:
    """The multiple of `step` nearest to, at or above, or at or below a value."""
    steps = value / step
    slack = STEP_SLACK * max(1.0, abs(steps))
    if toward == "up":
        return ceil(steps - slack) * step
    if toward == "down":
        return floor(steps + slack) * step
    return floor(steps + 0.5 + slack) * step


def _signed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        return text.lstrip("-")
    return text.replace("-", MINUS)


# ---------------------------------------------------------------- per cent


def rh(rh_pct: float | None, toward: Toward = "nearest") -> str:
    """Relative humidity to a whole per cent."""
    return _percent(rh_pct, 1.0, 0, toward)


def mc(mc_pct: float | None, toward: Toward = "nearest") -> str:
    """Moisture content to 0.1 per cent."""
    return _percent(mc_pct, 0.1, 1, toward)


def mc_with_doubt(mc_pct: float, doubt_pct: float) -> str:
    """A moisture content and how far it may be out, never by nothing: `8.4 ± 0.7 %`."""
    doubt = max(round_to(doubt_pct, 0.1, "up"), 0.1)
    return f"{mc(mc_pct).removesuffix(f'{NBSP}%')}{NBSP}±{NBSP}{_percent(doubt, 0.1, 1, 'up')}"


def _percent(value: float | None, step: float, decimals: int, toward: Toward) -> str:
    if value is None or not isfinite(value):
        return NOTHING
    return f"{_signed(round_to(value, step, toward), decimals)}{NBSP}%"


def points(difference_pct: float) -> str:
    """A difference of moisture content, in points: `0.8 points`, `1 point`."""
    text = f"{abs(difference_pct):.1f}"
    return f"{text.removesuffix('.0')}{NBSP}point{'' if float(text) == 1.0 else 's'}"


def humidity_range(
    low_pct: float | None,
    high_pct: float | None,
    low_doubt_pct: float | None = None,
    high_doubt_pct: float | None = None,
) -> str:
    """A window of relative humidity, rounded inward, and how far its ends may be out where that is given.

    `31–63 %`, `up to 63 %`, `31 % and up`, `31 ± 6 to 63 ± 4 %`.
    """
    low = None if low_pct is None or not isfinite(low_pct) else ceil(low_pct - STEP_SLACK)
    high = None if high_pct is None or not isfinite(high_pct) else floor(high_pct + STEP_SLACK)
    if low is None and high is None:
        return "any humidity"
    if low is None:
        return f"up to {_with_points(high, high_doubt_pct)}{NBSP}%"
    if high is None:
        return f"{_with_points(low, low_doubt_pct)}{NBSP}% and up"
    if low > high:
        return "no humidity at all"
    if low_doubt_pct is not None and high_doubt_pct is not None:
        return f"{_with_points(low, low_doubt_pct)} to {_with_points(high, high_doubt_pct)}{NBSP}%"
    return f"{low}{NBSP}%" if low == high else f"{low}–{high}{NBSP}%"


def _with_points(pct: float | None, doubt_pct: float | None) -> str:
    return f"{pct}" if doubt_pct is None else f"{pct}{NBSP}±{NBSP}{max(ceil(doubt_pct - STEP_SLACK), 1)}"


# ---------------------------------------------------------------- words


def worst(verdicts: Sequence[str]) -> str:
    """The verdict that matters most; unknown when there is none.

    Not knowing hides nothing that is known to be past or near, and is never said to be clear.
    """
    return min(verdicts, key=need, default="unknown")


def need(verdict: str) -> int:
    """Where a verdict stands in the order in which a maker wants to hear of them: 0 first."""
    return VERDICTS.index(verdict)


NUMBERS = (
    *("no", "one", "two", "three", "four", "five", "six"),
    *("seven", "eight", "nine", "ten", "eleven", "twelve"),
)


def counted(number: int, thing: str, things: str = "") -> str:
    """A count in words up to twelve: `one piece`, `three pieces`, `14 pieces`."""
    return f"{number_word(number)} {thing if number == 1 else things or thing + 's'}"


def number_word(number: int) -> str:
    """A number in words up to twelve."""
    return NUMBERS[number] if number < len(NUMBERS) else str(number)


def chance(chance_pct: float) -> str:
    """How likely something is this year, as people say it.

    >>> chance(52.0)
    'about an even chance this year'
    """
    for most_pct, words in (
        (7.0, "unlikely this year"),
        (40.0, "about one chance in {} this year"),
        (60.0, "about an even chance this year"),
        (85.0, "likely this year"),
    ):
        if chance_pct < most_pct:
            return words.format(number_word(round(100.0 / max(chance_pct, 1.0))))
    return "almost certain this year"


def plain(text: str) -> str:
    """A text with spaces as every program prints them."""
    return text.replace(NBSP, " ")


def joined(words: Sequence[str]) -> str:
    """Words as a sentence has them: `a`, `a and b`, `a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def said(name: str) -> str:
    """A name from a piece file as words: `back_panel` is `back panel`."""
    return name.replace("_", " ").replace("-", " ").strip()


def sentence(text: str) -> str:
    """The text with a capital first letter and a full stop."""
    text = text.strip()
    if not text:
        return ""
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".!?" else f"{text}."
