"""How a wide part leaves the flat by one face wetter than the other.

The cup is passing, unless the air keeps the faces apart, and it is that of a part free to move: in a frame
the rails hold it flat at both ends of its length, and the free value is an upper bound.
"""

import math
from typing import Any

from model.wood.errors import BadInput
from model.wood.material.movement import Movement, strain
from model.wood.units import Numbers, Range, apply

WIDTH = Range("width_mm", 0.0, 5000.0, "mm")
MOMENT = Range("moment_pct_per_mm", -100.0, 100.0, "% per mm")
CURVATURE = Range("curvature_per_m", -1e3, 1e3, "1/m")


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
