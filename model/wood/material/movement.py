"""From a change of moisture content to a change of width.

The width of a part follows one strain curve, piecewise linear in moisture content: the coefficient of Wood
Handbook Table 13-5 or 13-6 between 6 and 14 %, the slope of total shrinkage outside (the basis of eq. 13-3),
and nothing above fibre saturation. A width goes from one moisture content to another along that curve, so
there and back is where it began, and the way taken does not matter.

The coefficients of Table 13-5 are slopes on the dimension at 10 %: they follow from the total shrinkage
of Table 4-3 as 1/(100 FSP/S - FSP + 10), which is eq. 13-3 taken from 10 %. Both slopes are therefore put on
that one dimension, and strain is zero at 10 %. A slope on the green dimension, S/(100 FSP), would be some 5 %
too small beside a coefficient; on the common basis the curve reproduces eq. 13-3 between any two moisture
contents and eq. 13-2 to within its own choice of reference.

References
----------
.. [1] Forest Products Laboratory, "Wood Handbook", FPL-GTR-190, Madison, WI, 2010, ch. 13, eq. 13-2 and 13-3,
   Tables 13-5 and 13-6; ch. 4, Tables 4-3 and 4-4.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from model.wood.material.ring_angle import RING_ANGLE as RING_ANGLE
from model.wood.material.ring_angle import coefficient_at_ring_angle as coefficient_at_ring_angle
from model.wood.material.ring_angle import ring_angle_of_cut as ring_angle_of_cut
from model.wood.material.species_record import REFERENCE_PCT, Species, coefficient_from_shrinkage
from model.wood.units import Floats, Numbers, Range, apply

MOISTURE = Range("mc_pct", 0.0, 300.0, "%")
WIDTH = Range("width_mm", 0.0, 1e6, "mm")

COEFFICIENT_LOW_PCT, COEFFICIENT_HIGH_PCT = 6.0, 14.0
"""Between these the printed coefficients hold (Wood Handbook ch. 13)."""

SPECIES_SCATTER = 0.20
"""Boards of one species scatter about its coefficient by some 20 % (common practice, no source)."""
FIGURED_EXCESS = 0.15
"""Figured wood may move more than flat-sawn by about this (common practice, no source)."""


@dataclass(frozen=True)
class Movement:
    """How one board moves across a face.

    Attributes
    ----------
    coefficient_per_pct : float
        Strain for one point of moisture content between 6 and 14 %.
    shrinkage_slope_per_pct : float
        The same outside that, up to fibre saturation.
    fibre_saturation_pct : float
        Moisture content above which nothing moves [%].
    """

    coefficient_per_pct: float
    shrinkage_slope_per_pct: float
    fibre_saturation_pct: float

    def scaled(self, factor: float) -> "Movement":
        """The same movement, so many times as large."""
        return Movement(
            self.coefficient_per_pct * factor,
            self.shrinkage_slope_per_pct * factor,
            self.fibre_saturation_pct,
        )


# --- slopes -----------------------------------------------------------------------------------------


def movement_of(species: Species, ring_angle_deg: float) -> Movement:
    """How a board of this wood moves across a face whose rings stand at this angle, 0 to 90 degrees."""
    saturation = species.fibre_saturation_pct
    return Movement(
        coefficient_at_ring_angle(species.c_radial_per_pct, species.c_tangential_per_pct, ring_angle_deg),
        coefficient_at_ring_angle(
            coefficient_from_shrinkage(species.shrinkage_radial_pct, saturation),
            coefficient_from_shrinkage(species.shrinkage_tangential_pct, saturation),
            ring_angle_deg,
        ),
        saturation,
    )


def thickness_movement_of(species: Species, ring_angle_deg: float) -> Movement:
    """How the thickness of a board moves whose rings stand at this angle to its wide face.

    Through the thickness the two directions change places: a quarter-sawn board thickens tangentially.
    """
    return movement_of(species, 90.0 - float(RING_ANGLE.check(ring_angle_deg)))


# --- strain and width -------------------------------------------------------------------------------


def _strain(movement: Movement, mc_pct: Floats) -> Floats:
    # Bare ufuncs: on the few moisture contents of a fit, np.clip's own overhead would be most of the time.
    low = np.minimum(mc_pct, COEFFICIENT_LOW_PCT)
    high = np.minimum(np.maximum(mc_pct, COEFFICIENT_HIGH_PCT), movement.fibre_saturation_pct)
    inner = np.minimum(np.maximum(mc_pct, COEFFICIENT_LOW_PCT), COEFFICIENT_HIGH_PCT) - REFERENCE_PCT
    outer = low - COEFFICIENT_LOW_PCT + high - COEFFICIENT_HIGH_PCT
    return movement.coefficient_per_pct * inner + movement.shrinkage_slope_per_pct * outer


def strain(movement: Movement, mc_pct: Numbers) -> Any:
    """Strain at a moisture content [%], as a fraction of the dimension at 10 %; zero at 10 %.

    Float, array or Series in, the same out, 0 to 300 %; constant above fibre saturation. NaN stays NaN;
    outside a scalar raises `OutsideValidity` and arrays get NaN.
    """
    return apply(lambda mc: _strain(movement, mc), (MOISTURE, mc_pct))


def width_at(width_mm: Numbers, mc_from_pct: Numbers, mc_to_pct: Numbers, movement: Movement) -> Any:
    """Width at another moisture content than that at which it was measured [mm].

    Width 0 or more [mm] and moisture contents 0 to 300 %, each float, array or Series of one shape or a
    scalar; what lies outside as in `strain`.

    Examples
    --------
    A 15 in panel of flat-sawn cherry from 8 to 6.19 % loses about 1/16 in:

    >>> cherry = Movement(0.00248, 0.00248425, 30.0)
    >>> round(width_at(381.0, 8.0, 6.19, cherry) - 381.0, 2)
    -1.72
    """

    def width(start: Floats, mc_from: Floats, mc_to: Floats) -> Floats:
        return start * (1.0 + _strain(movement, mc_to)) / (1.0 + _strain(movement, mc_from))

    return apply(
        width,
        (WIDTH, width_mm),
        (Range("mc_from_pct", MOISTURE.low, MOISTURE.high, "%"), mc_from_pct),
        (Range("mc_to_pct", MOISTURE.low, MOISTURE.high, "%"), mc_to_pct),
    )


# --- how sure ---------------------------------------------------------------------------------------


class CoefficientBand(NamedTuple):
    """Coefficients between which a board may lie, each per point of moisture content."""

    low: float
    central: float
    high: float


def coefficient_band(species: Species, ring_angle_deg: float, figured: bool = False) -> CoefficientBand:
    """Band of coefficients within which one board of this wood may lie.

    Parameters
    ----------
    species : Species
    ring_angle_deg : float
        Of the board, 0 to 90; figured wood has none that holds across a board, so there it is not used.
    figured : bool
        Burl, crotch or wild grain: the grain runs every way, so the band goes from the radial coefficient to
        15 % above the tangential one, and its middle is the mean of the two coefficients.

    Returns
    -------
    CoefficientBand
        low, central, high. For plain wood 20 % to either side of the coefficient. Both widths are common
        practice, no source.
    """
    central = movement_of(species, ring_angle_deg).coefficient_per_pct
    if figured:
        radial, tangential = species.c_radial_per_pct, species.c_tangential_per_pct
        return CoefficientBand(radial, 0.5 * (radial + tangential), (1.0 + FIGURED_EXCESS) * tangential)
    return CoefficientBand((1.0 - SPECIES_SCATTER) * central, central, (1.0 + SPECIES_SCATTER) * central)
