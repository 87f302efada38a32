"""A board that is weighed to tell what its stack or piece holds, and how sure that is.

Every measured figure comes with an uncertainty, a ±: half of the way from its 10th to its 90th percentile.
"""

import math
from dataclasses import dataclass

from model.wood.errors import BadInput
from model.wood.units import Range

MOISTURE = Range("mc_pct", 0.0, 300.0, "%")
MASS = Range("mass_g", 0.001, 1e6, "g")

METER_UNCERTAINTY_PCT = 1.0
"""Of a hand meter on the right species setting: Wood Handbook ch. 13 (as repeated elsewhere)."""
OVEN_DOUBT_PCT = 0.1
"""Of an offcut dried in an oven and weighed [points] (common practice, no source)."""
SCALE_G = 0.5
"""Of a kitchen scale that shows grams (common practice, no source)."""


@dataclass(frozen=True)
class MoistureMeasured:
    """A moisture content and how sure it is.

    Attributes
    ----------
    mc_pct, uncertainty_pct : float
        [% of oven-dry mass], and half the width of its band in points.
    """

    mc_pct: float
    uncertainty_pct: float


def _mass(value: float, extra_g: float) -> float:
    mass = float(MASS.check(value)) - extra_g
    if not mass > 0.0:
        raise BadInput("", "mass_g", "must be more than the dry mass of finish and hardware", value)
    return mass


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
        _mass(self.mass_g, self.extra_g)
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
        MoistureMeasured
            The change is as sure as the scale; the level no surer than the moisture content it began with.

        Raises
        ------
        BadInput
            If the board weighs less than its own dry wood.
        """
        now = _mass(mass_g, self.extra_g)
        ratio = now / self.oven_dry_g
        if ratio < 0.99:
            least = self.oven_dry_g + self.extra_g
            raise BadInput("", "mass_g", f"must not be below {least:.1f} g, what it weighs oven-dry", mass_g)
        start = self.mass_g - self.extra_g
        by_scale = 100.0 * ratio * math.hypot(scale_g / now, scale_g / start)
        by_start = self.mc_uncertainty_pct * now / start
        return MoistureMeasured(max(100.0 * (ratio - 1.0), 0.0), math.hypot(by_scale, by_start))
