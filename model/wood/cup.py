"""How a wide part leaves the flat: by the curve of its growth rings, and by one face wetter than the other.

Of the two, ring geometry is lasting and follows the moisture content alone; unequal faces are passing,
unless the air keeps the faces apart. Both are those of a part free to move. In a frame the rails hold it
flat at both ends of its length and the free value is an upper bound; `framed_share` says how much of it is
left half way.

The mitre stands here too: there the shape that changes is the angle of the joint.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from .errors import BadInput
from .movement import Movement, movement_of, strain, width_at
from .units import Numbers, Range, apply

if TYPE_CHECKING:
    from .species import Species

WIDTH = Range("width_mm", 0.0, 5000.0, "mm")
MOMENT = Range("moment_pct_per_mm", -100.0, 100.0, "% per mm")
CURVATURE = Range("curvature_per_m", -1e3, 1e3, "1/m")

Side = Literal["face", "back", "neither"]

# --- ring geometry --------------------------------------------------------------------------------


@dataclass(frozen=True)
class RingCup:
    """Shape of a face after a uniform change of moisture.

    Attributes
    ----------
    sagitta_mm : float
        How far the middle of the face stands off the line between its edges [mm], away from the pith
        positive. Drying is negative: the edges move away from the pith and the bark side becomes hollow.
    width_mm : float
        Between the edges, in a straight line [mm].
    """

    sagitta_mm: float
    width_mm: float


def ring_cup(
    width_mm: float,
    pith_distance_mm: float,
    shrinkage_tangential: float,
    shrinkage_radial: float,
    offset_mm: float = 0.0,
) -> RingCup:
    """Cup of a board whose rings curve about a pith, exact for a uniform change of moisture.

    In a section free of the pith a shrinkage that differs along and across the rings needs no stress: every
    point moves to `r (1 - s_R)` at the angle `theta (1 - s_T)/(1 - s_R)` (derived; the shear strain
    vanishes). The usual parabola (s_T - s_R) w^2/(4 r) overstates by 20 % at w = 1.7 r and by three
    quarters at w = 3.8 r.

    Parameters
    ----------
    width_mm : float
        Of the face [mm], above 0.
    pith_distance_mm : float
        From the pith square to the plane of the face [mm], above 0.
    shrinkage_tangential, shrinkage_radial : float
        As a fraction, -0.3 to 0.3; swelling is negative.
    offset_mm : float
        How far the middle of the board lies to one side of the pith [mm]; 0 for a board cut flat over it.

    Raises
    ------
    BadInput
        If a length or a shrinkage lies outside its range.

    References ---------- Balodis, CSIRO Div. Forest Products Technological Paper 63, 1972: below some 20 %
    moisture content the cup of free boards follows such a model, and falls with distance from the pith.

    Examples
    --------
    >>> cup = ring_cup(150.0, 80.0, 0.00992, 0.00504)
    >>> round(cup.sagitta_mm, 3), round(cup.width_mm, 2)
    (-0.275, 148.65)
    """
    if not 0.0 < width_mm < math.inf:
        raise BadInput("", "width_mm", "must be above 0 mm", width_mm)
    if not 0.0 < pith_distance_mm < math.inf:
        raise BadInput(
            "", "pith_distance_mm", "must be above 0 mm: no board holds its pith", pith_distance_mm
        )
    if not math.isfinite(offset_mm):
        raise BadInput("", "offset_mm", "must be a length", offset_mm)
    for what, value in (
        ("shrinkage_tangential", shrinkage_tangential),
        ("shrinkage_radial", shrinkage_radial),
    ):
        Range(what, -0.3, 0.3, "as a fraction").check(value)
    turn = (1.0 - shrinkage_tangential) / (1.0 - shrinkage_radial)
    across = np.array([offset_mm - 0.5 * width_mm, offset_mm, offset_mm + 0.5 * width_mm])
    radius = np.hypot(across, pith_distance_mm) * (1.0 - shrinkage_radial)
    angle = np.arctan2(across, pith_distance_mm) * turn
    x, y = radius * np.sin(angle), radius * np.cos(angle)
    chord = math.hypot(x[2] - x[0], y[2] - y[0])
    sagitta = ((x[2] - x[0]) * (y[1] - y[0]) - (y[2] - y[0]) * (x[1] - x[0])) / chord
    return RingCup(float(sagitta), chord)


def ring_cup_of(
    species: "Species",
    width_mm: float,
    pith_distance_mm: float,
    mc_from_pct: float,
    mc_to_pct: float,
    offset_mm: float = 0.0,
) -> RingCup:
    """As `ring_cup` for a wood that goes from one moisture content, at which it is flat, to another.

    Examples
    --------
    >>> from model.wood.species import find_species
    >>> round(ring_cup_of(find_species("black cherry"), 150.0, 80.0, 10.0, 6.0).sagitta_mm, 3)
    -0.275
    """

    def shrinkage(ring_angle_deg: float) -> float:
        return 1.0 - width_at(1.0, mc_from_pct, mc_to_pct, movement_of(species, ring_angle_deg))

    return ring_cup(width_mm, pith_distance_mm, shrinkage(0.0), shrinkage(90.0), offset_mm)


# --- unequal faces --------------------------------------------------------------------------------


def curvature_of_moment(moment_pct_per_mm: Numbers, movement: Movement) -> Any:
    """Curvature of a free part from the lopsidedness of its moisture [1/m]; positive, the face is convex.

    Parameters
    ----------
    moment_pct_per_mm : float, array or Series
        `(12/h^3) ∫ (M - mean) z dz`, z towards the face, as `moisture.profile_moment` gives it [% per mm].
        Positive when the face is the wetter side.
    movement : Movement
        Across the width.

    Returns
    -------
    same shape
        [1/m]. The wetter face is the convex one. Stiffness is taken as the same throughout.

    Examples
    --------
    One percent from face to back of 19 mm of flat-sawn cherry:

    >>> round(curvature_of_moment(1.0 / 19.0, Movement(0.00248, 0.00248425, 30.0)), 6)
    0.130526
    """
    return apply(lambda moment: 1000.0 * movement.coefficient_per_pct * moment, (MOMENT, moment_pct_per_mm))


def curvature_of_faces(
    face_mc_pct: float, back_mc_pct: float, thickness_mm: float, movement: Movement
) -> float:
    """Curvature that lasts where the air keeps the two faces apart [1/m]; positive, the face is convex.

    At rest the moisture runs straight from one face to the other, and the curvature is the difference of
    their strains over the thickness.

    Parameters
    ----------
    face_mc_pct, back_mc_pct : float
        That each face settles to [%].
    thickness_mm : float
        Above 0.
    movement : Movement
    """
    if not 0.0 < thickness_mm < math.inf:
        raise BadInput("", "thickness_mm", "must be above 0 mm", thickness_mm)
    return 1000.0 * (strain(movement, face_mc_pct) - strain(movement, back_mc_pct)) / thickness_mm


def sagitta_of_curvature(curvature_per_m: Numbers, width_mm: Numbers) -> Any:
    """How far the middle stands off the edges of a width bent evenly [mm], `kappa w^2 / 8`; sign kept.

    Examples
    --------
    >>> round(sagitta_of_curvature(0.130526, 400.0), 4)
    2.6105
    """
    return apply(
        lambda curvature, width: curvature * width**2 / 8000.0,
        (CURVATURE, curvature_per_m),
        (WIDTH, width_mm),
    )


def convex_side(curvature_per_m: float, within_per_m: float = 1e-9) -> Side:
    """The face that bulges: the wetter one."""
    if abs(curvature_per_m) <= within_per_m:
        return "neither"
    return "face" if curvature_per_m > 0.0 else "back"


def framed_share(length_mm: float, width_mm: float, et_el: float | None) -> float:
    """What is left of a free cup half way along a panel whose ends are held flat in rails, 0 to 1.

    The panel is taken as a strip along the grain that would cup by itself and is pulled flat at both ends:
    a beam on an elastic foundation (derived). The softer the wood across the grain against along it, the
    farther the rails reach: to about one and a half times the width. Resistance to twist and the slack of
    the grooves are left out; of the two the first makes the answer too large and the second too small.

    Parameters
    ----------
    length_mm : float
        Between the rails, along the grain, above 0.
    width_mm : float
        Across the grain, above 0.
    et_el : float or None
        Stiffness across the grain as a ratio to that along it; None (not known) gives 1, the upper bound.

    Examples
    --------
    >>> round(framed_share(600.0, 400.0, 0.08), 2), round(framed_share(400.0, 400.0, 0.08), 2)
    (0.42, 0.11)
    """
    for what, value in (("length_mm", length_mm), ("width_mm", width_mm)):
        if not 0.0 < value < math.inf:
            raise BadInput("", what, "must be above 0 mm", value)
    if et_el is None:
        return 1.0
    if not 0.0 < et_el <= 1.0:
        raise BadInput("", "et_el", "must lie above 0 and at most 1", et_el)
    reach = (30.0 * et_el) ** 0.25 * length_mm / width_mm
    if reach > 20.0:
        return 1.0
    half = 0.5 * reach
    left = 1.0 - 2.0 * math.cosh(half) * math.cos(half) / (math.cosh(reach) + math.cos(reach))
    return min(max(left, 0.0), 1.0)


# --- mitre ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class MitreOpening:
    """How far a mitre gapes, and where.

    Attributes
    ----------
    gap_mm : float
        Zero or more [mm].
    at : str
        "heel" (the inside corner) when drier than when it was cut, "toe" (the outside point) when damper,
        "nowhere" when closed.
    """

    gap_mm: float
    at: Literal["heel", "toe", "nowhere"]


def mitre_opening(width_mm: float, mc_cut_pct: float, mc_now_pct: float, movement: Movement) -> MitreOpening:
    """Opening of a 45 degree mitre between two like members.

    Each member narrows and its length does not, so that the angle of each end turns by the strain; along a
    joint as long as the root of two times the width the gap is that much strain times the joint.

    Parameters
    ----------
    width_mm : float
        Of each member [mm].
    mc_cut_pct, mc_now_pct : float
        Moisture content when the mitre was cut, and now [%].
    movement : Movement

    Examples
    --------
    A 3 in frame of flat-sawn red oak, cut at 10 % and now at 6 %, opens 1/16 in at the heel:

    >>> opening = mitre_opening(76.2, 10.0, 6.0, Movement(0.00369, 0.0038, 30.0))
    >>> opening.at, round(opening.gap_mm / 25.4, 3)
    ('heel', 0.063)
    """
    growth = width_at(width_mm, mc_cut_pct, mc_now_pct, movement) - width_mm
    gap = math.sqrt(2.0) * abs(growth)
    if gap == 0.0:
        return MitreOpening(0.0, "nowhere")
    return MitreOpening(gap, "heel" if growth < 0.0 else "toe")
