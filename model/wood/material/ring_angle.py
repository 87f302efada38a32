"""How a board was cut from the log: the angle of its growth rings to its wide face, in degrees and in words.

0° is flat-sawn: the rings run along the face, and its width moves tangentially. 90° is quarter-sawn.
"""

import math

from model.wood.errors import BadInput
from model.wood.units import Range

RING_ANGLE = Range("ring_angle_deg", 0.0, 90.0, "degrees")


def coefficient_at_ring_angle(radial: float, tangential: float, ring_angle_deg: float) -> float:
    """Coefficient across a face whose growth rings stand at this angle, C_T cos² + C_R sin².

    The rotation of a plane strain whose principal axes are radial and tangential. Angle 0 to 90 degrees.

    >>> round(coefficient_at_ring_angle(0.00126, 0.00248, 45.0), 5)
    0.00187
    """
    angle = math.radians(float(RING_ANGLE.check(ring_angle_deg)))
    return tangential * math.cos(angle) ** 2 + radial * math.sin(angle) ** 2


FLAT_SAWN, RIFT_SAWN, QUARTER_SAWN = "flat-sawn", "rift-sawn", "quarter-sawn"
RING_ANGLE_OF_CUT = {FLAT_SAWN: 0.0, RIFT_SAWN: 45.0, QUARTER_SAWN: 90.0}
"""The middle of what the trade calls so; at 45° the coefficient is the mean of the two."""


def cut_document(ring_angle_deg: float) -> dict[str, str | float]:
    """How a board was cut, as its table says it: `cut` in the trade's word, else `ring_angle_deg`."""
    for word, angle in RING_ANGLE_OF_CUT.items():
        if angle == ring_angle_deg:
            return {"cut": word}
    return {"ring_angle_deg": ring_angle_deg}


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
