"""A part finished on one face and bare on the other: how far it cups over a year, and what to do.

The bare face follows the air and the finished one lags behind it, so that for months one is the wetter: the
part bends hollow on its bare face as the air dries, and the other way as it turns damp.
"""

from collections.abc import Iterable
from functools import lru_cache

import numpy as np

from model.wood.climate.indoor import DEFAULT_SCHEME, indoor_air, scheme_named
from model.wood.climate.outdoor import DAYS, temperate
from model.wood.material.cup import curvature_of_moment, sagitta_of_curvature
from model.wood.material.finish import BARE
from model.wood.material.member import Finish, Member
from model.wood.piece import solver_constants
from model.wood.reason import Reason

LEAST_SEEN_MM = 0.2
"""Half of 1/64 in, below which nobody sees a part cup."""
WEEK_D = 7


def has_one_bare_face(finish: Finish) -> bool:
    """Whether one face is finished and the other bare."""
    return (finish.face == BARE) != (finish.back == BARE)


def cup_mm(member: Member) -> float:
    """How far the middle of a free part stands off its edges at most in a usual year [mm]; 0 if alike.

    The part goes twice through the indoor year of a general temperate climate, so that it has forgotten
    where it began, and the lopsidedness of its moisture in the second year bends it.
    """
    if member.on_sheet or not has_one_bare_face(member.finish):
        return 0.0
    moment = _largest_moment(
        member.thickness_mm, member.species.specific_gravity_12pct, member.finish, member.ring_angle_deg
    )
    return abs(float(sagitta_of_curvature(curvature_of_moment(moment, member.movement), member.width_mm)))


@lru_cache(maxsize=256)
def _largest_moment(
    thickness_mm: float, specific_gravity: float, finish: Finish, ring_angle_deg: float
) -> float:
    """Greatest slope of moisture from face to back in the weeks of a usual year [% per mm]."""
    from model.wood.design.rehearsal import DAY_S, simulate
    from model.wood.moisture import solver as moisture

    batch = moisture.Batch.of([solver_constants(thickness_mm, specific_gravity, finish, ring_angle_deg)])
    outdoors = temperate().daily
    room = indoor_air(outdoors["temperature_c"], outdoors["rh_pct"], scheme_named(DEFAULT_SCHEME))
    temperature_c, rh_pct = np.asarray(room.temperature_c), np.asarray(room.rh_pct)
    profile = simulate(batch, (temperature_c, rh_pct), [8.0], step_s=DAY_S).profile
    largest = 0.0
    for day in range(0, DAYS, WEEK_D):
        rows = slice(day, day + WEEK_D)
        profile = simulate(batch, (temperature_c[rows], rh_pct[rows]), profile, step_s=DAY_S).profile
        largest = max(largest, abs(float(moisture.profile_moment(profile, batch)[0])))
    return largest


def cups(members: Iterable[Member]) -> list[Reason]:
    """What to say of each part with one bare face that is seen to cup."""
    found = ((member, cup_mm(member)) for member in members)
    return [
        Reason("cups", {"part": member.called, "cup_mm": cup})
        for member, cup in found
        if cup >= LEAST_SEEN_MM
    ]
