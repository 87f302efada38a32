"""What a scale and a pin meter say of wood, and how sure it is; `salts` does so for a hygrometer.

Every measured figure comes with an uncertainty: about two thirds of the truth lie within it, and nearly all
within twice as much.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from model.wood.errors import BadInput
from model.wood.units import Range

MOISTURE = Range("mc_pct", 0.0, 300.0, "%")
MASS = Range("mass_g", 0.001, 1e6, "g")
READING = Range("reading_pct", 2.0, 60.0, "%")
WOOD_TEMPERATURE = Range("wood_temperature_c", -20.0, 60.0, "°C")

METER_UNCERTAINTY_PCT = 1.0
"""Of a hand meter on the right species setting: Wood Handbook ch. 13 (as repeated elsewhere)."""
USABLE_METER_PCT = (7.0, 28.0)
"""Within which a pin meter reads usefully: 7 % to fibre saturation at 27 to 30."""


@dataclass(frozen=True)
class MoistureMeasured:
    """A moisture content and how sure it is.

    Attributes
    ----------
    mc_pct, uncertainty_pct : float
        [% of oven-dry mass], and half the width of its band in points.
    says : str
        Anything to know about it; may be empty.
    """

    mc_pct: float
    uncertainty_pct: float
    says: str = ""


def _mass(what: str, value: float, extra_g: float = 0.0) -> float:
    mass = float(Range(what, MASS.low, MASS.high, "g").check(value)) - extra_g
    if not mass > 0.0:
        raise BadInput("", what, "must be more than the dry mass of finish and hardware", value)
    return mass


# --- by weight ---------------------------------------------------------------------------------------


def oven_dry_moisture(
    mass_g: float, oven_dry_g: float, scale_g: float = 0.0, extra_g: float = 0.0
) -> MoistureMeasured:
    """Moisture content of a sample weighed before and after drying at 103 °C to constant mass.

    `100 (m - m0)/m0`, ASTM D4442 and ISO 13061-1 (from memory). Finish, resin and hardware weigh as dry wood:
    weigh before finishing or subtract them.

    Parameters
    ----------
    mass_g, oven_dry_g : float
        Before and after [g].
    scale_g : float
        Uncertainty of each weighing [g].
    extra_g : float
        Mass that is not wood, in both weighings [g].

    Raises
    ------
    BadInput
        If a mass is out of range, or the sample gained in the oven.

    Examples
    --------
    >>> round(oven_dry_moisture(61.30, 56.10).mc_pct, 3)
    9.269
    """
    wet, dry = _mass("mass_g", mass_g, extra_g), _mass("oven_dry_g", oven_dry_g, extra_g)
    if dry > wet:
        raise BadInput("", "oven_dry_g", f"must not be more than the {mass_g:g} g before drying", oven_dry_g)
    mc = 100.0 * (wet - dry) / dry
    return MoistureMeasured(mc, (100.0 + mc) * math.hypot(scale_g / wet, scale_g / dry))


@dataclass(frozen=True)
class WitnessBoard:
    """An offcut kept with its stack or piece, whose weight tells its moisture.

    Attributes
    ----------
    mass_g : float
        When its moisture content was known [g].
    mc_pct : float
        That moisture content [%].
    mc_uncertainty_pct : float
        How sure it is: 1 point by a meter, 0.1 by an oven-dried end slice.
    extra_g : float
        Finish and hardware on it, which weigh but hold no moisture [g].

    Examples
    --------
    >>> board = WitnessBoard(1240.0, 8.0)
    >>> round(board.oven_dry_g, 1), round(board.moisture(1224.0).mc_pct, 1)
    (1148.1, 6.6)
    """

    mass_g: float
    mc_pct: float
    mc_uncertainty_pct: float = METER_UNCERTAINTY_PCT
    extra_g: float = 0.0

    def __post_init__(self) -> None:
        _mass("mass_g", self.mass_g, self.extra_g)
        MOISTURE.check(self.mc_pct)

    @property
    def oven_dry_g(self) -> float:
        """Mass of its wood without water [g]."""
        return (self.mass_g - self.extra_g) / (1.0 + self.mc_pct / 100.0)

    def moisture(self, mass_g: float, scale_g: float = 0.0) -> MoistureMeasured:
        """Moisture content at another weighing.

        Parameters
        ----------
        mass_g : float
            Now [g].
        scale_g : float
            Uncertainty of a weighing [g]: 0.5 for a kitchen scale that shows grams.

        Returns
        -------
        Measured
            The change is as sure as the scale; the level no surer than the moisture content it began with.

        Raises
        ------
        BadInput
            If the board weighs less than its own dry wood.
        """
        now = _mass("mass_g", mass_g, self.extra_g)
        ratio = now / self.oven_dry_g
        if ratio < 0.99:
            least = self.oven_dry_g + self.extra_g
            raise BadInput("", "mass_g", f"must not be below {least:.1f} g, what it weighs oven-dry", mass_g)
        start = self.mass_g - self.extra_g
        by_scale = 100.0 * ratio * math.hypot(scale_g / now, scale_g / start)
        by_start = self.mc_uncertainty_pct * now / start
        return MoistureMeasured(max(100.0 * (ratio - 1.0), 0.0), math.hypot(by_scale, by_start))


# --- by pin meter ------------------------------------------------------------------------------------

PIN_PROVENANCE: Mapping[str, str] = MappingProxyType(
    {
        "smooth": "Pfaff and Garrahan 1986, from memory, unverified; neutral near 23 °C",
        "rule": "0.5 point for each 10 °F from 70 °F: Wood Handbook ch. 13, as repeated elsewhere",
    }
)
POINTS_PER_K = 0.5 * 1.8 / 10.0
RULE_NEUTRAL_C = (70.0 - 32.0) / 1.8


def pin_meter(
    reading_pct: float,
    wood_temperature_c: float,
    form: Literal["smooth", "rule"] = "smooth",
) -> MoistureMeasured:
    """Moisture content from a resistance (pin) meter, corrected for the temperature of the wood.

    Cold wood is wetter than it reads. The correction for species is the meter's own and comes first.

    Parameters
    ----------
    reading_pct : float
        As the meter shows on its species setting [%], 2 to 60.
    wood_temperature_c : float
        Of the wood, not of the air [°C], -20 to 60.
    form : str
        "smooth", (R + 0.567 - 0.026 x + 0.000051 x²)/(0.881 x 1.0056^x), or "rule", half a point for each
        10 °F below 70. They agree near 12 %; see `PIN_PROVENANCE`. A meter maker's own table goes before
        both.

    Returns
    -------
    Measured
        Uncertainty 1 point; it says so when the meter is out of its useful range.

    Raises
    ------
    BadInput
        If a number lies outside its range, or for another form.

    Examples
    --------
    >>> round(pin_meter(12.0, 0.0).mc_pct, 2), round(pin_meter(6.8, 10.0, "rule").mc_pct, 1)
    (14.26, 7.8)
    """
    reading = float(READING.check(reading_pct))
    x = float(WOOD_TEMPERATURE.check(wood_temperature_c))
    if form == "smooth":
        mc = (reading + 0.567 - 0.0260 * x + 0.000051 * x**2) / (0.881 * 1.0056**x)
    elif form == "rule":
        mc = reading + POINTS_PER_K * (RULE_NEUTRAL_C - x)
    else:
        raise BadInput("", "form", "must be smooth or rule", form)
    low, high = USABLE_METER_PCT
    says = ""
    if reading < low:
        says = f"below {low:g} % a pin meter only says: dry"
    elif reading > high:
        says = f"above {high:g} % a pin meter only says: wet"
    return MoistureMeasured(max(mc, 0.0), METER_UNCERTAINTY_PCT, says)
