"""How a board was cut from the log: the angle of its growth rings to its wide face, in degrees and in words.

0° is flat-sawn: the rings run along the face, and its width moves tangentially. 90° is quarter-sawn.
"""

import math

from .errors import BadInput
from .units import Range

RING_ANGLE = Range("ring_angle_deg", 0.0, 90.0, "degrees")


def coefficient_at_ring_angle(radial: float, tangential: float, ring_angle_deg: float) -> float:
    """Coefficient across a face whose growth rings stand at this angle, C_T cos² + C_R sin².

    The rotation of a plane strain whose principal axes are radial and tangential. Angle 0 to 90 degrees.

    >>> round(coefficient_at_ring_angle(0.00126, 0.00248, 45.0), 5)
    0.00187
    """
    angle = math.radians(float(RING_ANGLE.check(ring_angle_deg)))
    return tangential * math.cos(angle) ** 2 + radial * math.sin(angle) ** 2


def ring_angle_from_pith(width_mm: float, pith_distance_mm: float) -> float:
    """Ring angle that stands for a whole board of which the distance to the pith is known [degrees].

    In a board that was cut flat the rings turn from 0° below the middle to steeper at the edges. Averaged
    over the width, sin² of the angle is 1 - (2r/w) atan(w/2r), r being the distance of the face from the
    pith; the angle returned has that sine, so `movement_of` gives the mean coefficient of the board.

    Parameters
    ----------
    width_mm : float
        Width of the board, above 0.
    pith_distance_mm : float
        From the pith, square to the face [mm], 0 or more.

    Examples
    --------
    >>> round(ring_angle_from_pith(150.0, 80.0), 2)
    26.32
    """
    if not 0.0 < width_mm < math.inf:
        raise BadInput("", "width_mm", "must be above 0 mm", width_mm)
    if not 0.0 <= pith_distance_mm < math.inf:
        raise BadInput("", "pith_distance_mm", "must be 0 mm or more", pith_distance_mm)
    half = 0.5 * width_mm
    if pith_distance_mm > 1000.0 * half:
        return 0.0
    flat_part = pith_distance_mm / half * math.atan2(half, pith_distance_mm)
    return math.degrees(math.asin(math.sqrt(max(0.0, 1.0 - flat_part))))


FLAT_SAWN, RIFT_SAWN, QUARTER_SAWN = "flat-sawn", "rift-sawn", "quarter-sawn"
RING_ANGLE_OF_CUT = {FLAT_SAWN: 0.0, RIFT_SAWN: 45.0, QUARTER_SAWN: 90.0}
"""The middle of what the trade calls so; at 45° the coefficient is the mean of the two."""
_CUT_WORDS = {
    **dict.fromkeys(
        ("flat", "plain", "slash", "slab", "tangential", "crown", "flatgrain", "backsawn"), FLAT_SAWN
    ),
    **dict.fromkeys(("rift", "bastard", "diagonal"), RIFT_SAWN),
    **dict.fromkeys(
        ("quarter", "quartered", "radial", "edgegrain", "verticalgrain", "straightgrain"), QUARTER_SAWN
    ),
}


def ring_angle_of_cut(cut: str, where: str = "", what: str = "cut") -> float:
    """Ring angle [degrees] that stands for a cut named as the trade names it.

    Flat-sawn (plain-sawn, slash-sawn, crown-cut) 0, rift 45, quarter-sawn (quartered, vertical grain) 90.

    Raises
    ------
    BadInput
        For a word that is no cut.

    Examples
    --------
    >>> ring_angle_of_cut("Quartersawn")
    90.0
    """
    word = "".join(letter for letter in str(cut).lower() if letter.isalpha())
    name = _CUT_WORDS.get(word)
    for ending in ("sawn", "sawed", "cut"):
        if name is None and word.endswith(ending):
            name = _CUT_WORDS.get(word.removesuffix(ending))
    if name is None or not isinstance(cut, str):
        raise BadInput(where, what, "must be flat-sawn, rift-sawn or quarter-sawn", cut)
    return RING_ANGLE_OF_CUT[name]


def cut_of_ring_angle(ring_angle_deg: float) -> str:
    """What the trade calls a board with this ring angle: flat-sawn to 30, rift-sawn to 60, else quarter-sawn.

    >>> cut_of_ring_angle(20.0)
    'flat-sawn'
    """
    angle = float(RING_ANGLE.check(ring_angle_deg))
    if angle < 30.0:
        return FLAT_SAWN
    return RIFT_SAWN if angle < 60.0 else QUARTER_SAWN
