"""Is a stack ready: near its target, no longer moving, and even through its thickness.

Three questions, and all must be answered yes (common practice, no source). Steady alone is not ready: a
dead-piled stack, or one in air that is itself too damp, lies still and is nowhere near.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .errors import BadInput

TOLERANCE_PCT = 1.0
SLOPE_LIMIT_PCT_WEEK = 0.3
CORE_TO_FACE_LIMIT_PCT = 1.0
THICK_MM = 31.75
"""Ready is within a point of the target, moving less than 0.3 a week, and core within a point of the face;
above 1-1/4 in a core reading is asked for (all common practice, no source)."""


@dataclass(frozen=True)
class Readiness:
    """Whether a stack is ready, and every reason why not.

    Attributes
    ----------
    ready : bool
    level_off_pct : float
        Latest reading less target [points].
    slope_pct_week : float or None
        Trend of the readings [points a week]; None when they span less than six days.
    core_to_face_pct : float or None
        Core less face [points]; None when there is no core reading.
    reasons : tuple of str
        Why not; empty when ready.
    """

    ready: bool
    level_off_pct: float
    slope_pct_week: float | None
    core_to_face_pct: float | None
    reasons: tuple[str, ...]


def readiness(
    readings: Sequence[tuple[float, float]],
    target_pct: float,
    thickness_mm: float,
    face_pct: float | None = None,
    core_pct: float | None = None,
    tolerance_pct: float = TOLERANCE_PCT,
) -> Readiness:
    """Whether stock is ready: near its target, no longer moving, and even through its thickness.

    Parameters
    ----------
    readings : sequence of (day, mc_pct)
        Mean moisture content against days of any origin, oldest first; those of the last three weeks tell
        the trend.
    target_pct : float
        Where it should be [%].
    thickness_mm : float
        Above 1-1/4 in a core reading is wanted.
    face_pct, core_pct : float, optional
        Near the face and at mid-thickness, last metered or from the solver [%].
    tolerance_pct : float
        [points].

    Returns
    -------
    Readiness

    Raises
    ------
    BadInput
        If there is no reading, or they are not in order of time.
    """
    if len(readings) == 0:
        raise BadInput("", "readings", "must hold at least one", "none")
    days, values = (np.array(column, dtype=np.float64) for column in zip(*readings, strict=True))
    if not np.isfinite(days).all() or not np.isfinite(values).all() or (np.diff(days) < 0.0).any():
        raise BadInput("", "readings", "must be numbers in order of time", list(readings)[:5])
    off = float(values[-1] - target_pct)
    recent = days >= days[-1] - 21.0
    slope = None
    if days[-1] - days[recent][0] >= 6.0:
        slope = 7.0 * float(np.polyfit(days[recent] - days[-1], values[recent], 1)[0])
    uneven = core_pct - face_pct if core_pct is not None and face_pct is not None else None
    steady = slope is not None and abs(slope) < SLOPE_LIMIT_PCT_WEEK
    reasons = []
    if abs(off) > tolerance_pct:
        side = "above" if off > 0.0 else "below"
        reasons.append(f"{abs(off):.1f} points {side} the target of {target_pct:.1f} %")
        if steady:
            reasons.append(
                "steady but not there: is the stack stickered, is its air right, are the readings deep?"
            )
    if slope is None:
        reasons.append("readings a week apart are needed to see whether it still moves")
    elif not steady:
        reasons.append(f"still moving {slope:+.1f} points a week")
    if uneven is not None and abs(uneven) > CORE_TO_FACE_LIMIT_PCT:
        side = "wetter" if uneven > 0.0 else "drier"
        reasons.append(f"core {abs(uneven):.1f} points {side} than the face")
    elif core_pct is None and thickness_mm > THICK_MM:
        reasons.append("surface readings only: meter the core of stock this thick")
    return Readiness(not reasons, off, slope, uneven, tuple(reasons))
