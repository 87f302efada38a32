"""Stock for a job: board feet and cubic metres, leaves from a resawn board, and what wood weighs."""

import math
from dataclasses import dataclass

from model.wood.errors import BadInput
from model.wood.material.movement import movement_of, strain
from model.wood.material.species_record import Species
from model.wood.units import MM_PER_INCH, Range

THICKNESS = Range("thickness_mm", 0.1, 500.0, "mm")
WIDTH = Range("width_mm", 1.0, 5000.0, "mm")
LENGTH = Range("length_mm", 1.0, 20_000.0, "mm")
MOISTURE = Range("mc_pct", 0.0, 200.0, "%")

CUBIC_M_PER_BOARD_FOOT = 144.0 * (MM_PER_INCH / 1000.0) ** 3
"""A board foot is 144 cubic inches: a foot square and an inch thick."""

KERF_MM = MM_PER_INCH / 16.0
CLEAN_UP_MM = 3.0 * MM_PER_INCH / 32.0
"""Kerf of a resaw, and what planing both faces of a leaf takes off. For two leaves they are a quarter inch
together, so that 3/4 in stock gives two of 1/4 in (common practice, no source)."""
EDGE_TRIM_MM = MM_PER_INCH / 8.0
"""Jointed off the width of a leaf (common practice, no source)."""


def _checked(limits: Range, what: str, value: float) -> float:
    number = float(Range(what, limits.low, limits.high, limits.unit).check(value))
    if math.isnan(number):
        raise BadInput("", what, limits.rule, value)
    return number


# --- how much ----------------------------------------------------------------------------------------


def cubic_metres(thickness_mm: float, width_mm: float, length_mm: float, pieces: int = 1) -> float:
    """Volume of a number of like boards [m3]."""
    thickness = _checked(THICKNESS, "thickness_mm", thickness_mm)
    width, length = _checked(WIDTH, "width_mm", width_mm), _checked(LENGTH, "length_mm", length_mm)
    if pieces < 0:
        raise BadInput("", "pieces", "must be 0 or more", pieces)
    return pieces * thickness * width * length / 1e9


def board_feet(thickness_mm: float, width_mm: float, length_mm: float, pieces: int = 1) -> float:
    """Board feet of a number of like boards, by the thickness given.

    Lumber is sold by its rough thickness in quarters of an inch, an inch at the least: hand that in to get
    what is paid, and the net thickness to get what is used.

    Examples
    --------
    Ten boards of 4/4, 6 in by 8 ft:

    >>> round(board_feet(25.4, 152.4, 2438.4, 10), 6)
    40.0
    """
    return cubic_metres(thickness_mm, width_mm, length_mm, pieces) / CUBIC_M_PER_BOARD_FOOT


# --- resawing ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Resawn:
    """What comes of a board resawn into leaves.

    Attributes
    ----------
    leaves : int
        How many leaves; 1 leaves the board whole, 0 where it is too thin even for that.
    leaf_width_mm : float
        Of each when clean [mm].
    """

    leaves: int
    leaf_width_mm: float


def resaw(thickness_mm: float, width_mm: float, leaf_thickness_mm: float) -> Resawn:
    """As many leaves of a thickness as a board gives.

    Each leaf costs its thickness and its clean-up, each cut a kerf; its edge is jointed.

    Parameters
    ----------
    thickness_mm, width_mm : float
        Of the board [mm].
    leaf_thickness_mm : float
        Of a leaf when clean [mm].

    Raises
    ------
    BadInput
        If a length is out of range, or nothing is left of the width.

    Examples
    --------
    Stock of 3/4 in gives two leaves of 1/4 in:

    >>> resaw(19.05, 152.4, 6.35).leaves
    2
    """
    thickness = _checked(THICKNESS, "thickness_mm", thickness_mm)
    leaf = _checked(THICKNESS, "leaf_thickness_mm", leaf_thickness_mm)
    width = _checked(WIDTH, "width_mm", width_mm) - EDGE_TRIM_MM
    if width <= 0.0:
        raise BadInput("", "width_mm", f"must be more than the {EDGE_TRIM_MM:g} mm jointed off it", width_mm)
    # A micrometre of slack: fractions of an inch in millimetres do not add up exactly.
    leaves = int((thickness + KERF_MM + 1e-3) // (leaf + CLEAN_UP_MM + KERF_MM))
    return Resawn(leaves, width)


# --- weight ------------------------------------------------------------------------------------------


def specific_gravity_at(species: Species, mc_pct: float) -> float:
    """Oven-dry mass on the volume at a moisture content, water being 1.

    The printed value at 12 % changed by the swelling of the volume, radial and tangential, by the same
    strain curve that moves widths.

    Parameters
    ----------
    species : Species
    mc_pct : float
        [%], 0 to 200.
    """
    mc = _checked(MOISTURE, "mc_pct", mc_pct)
    volume = 1.0
    for ring_angle_deg in (0.0, 90.0):
        movement = movement_of(species, ring_angle_deg)
        volume *= (1.0 + strain(movement, mc)) / (1.0 + strain(movement, 12.0))
    return species.specific_gravity_12pct / volume


def density_kg_m3(species: Species, mc_pct: float) -> float:
    """Mass of a cubic metre of wood with its water [kg/m3].

    `1000 G (1 + M/100)` with the specific gravity at that moisture content, Wood Handbook (FPL-GTR-190,
    2010) ch. 4.

    Parameters
    ----------
    species : Species
    mc_pct : float
        [%], 0 to 200.

    Examples
    --------
    >>> from model.wood.material.species import find_species
    >>> round(density_kg_m3(find_species("black cherry"), 12.0))
    560
    """
    return 1000.0 * specific_gravity_at(species, mc_pct) * (1.0 + mc_pct / 100.0)


def weight_kg(
    species: Species,
    mc_pct: float,
    thickness_mm: float,
    width_mm: float,
    length_mm: float,
    pieces: int = 1,
) -> float:
    """Mass of a number of like boards as measured at a moisture content [kg]."""
    return density_kg_m3(species, mc_pct) * cubic_metres(thickness_mm, width_mm, length_mm, pieces)
