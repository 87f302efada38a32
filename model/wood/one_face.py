"""A part finished on one face and bare on the other: how far it cups over a year, and what to do.

The bare face follows the air and the finished one lags behind it, so that for months one is the wetter: the
part bends hollow on its bare face as the air dries, and the other way as it turns damp.
"""

import math
from functools import lru_cache

import numpy as np

from model.wood.cup import curvature_of_moment, sagitta_of_curvature
from model.wood.finish import BARE, permeance_of
from model.wood.indoors import DEFAULT_SCHEME, indoor_air, scheme_named
from model.wood.member import Finish, Member
from model.wood.outdoor import DAYS, temperate
from model.wood.setting_out import INCH_STEPS, LENGTH, Spoken, spoken

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
    if not has_one_bare_face(member.finish):
        return 0.0
    moment = _largest_moment(member.thickness_mm, member.species.specific_gravity_12pct, member.finish)
    return abs(float(sagitta_of_curvature(curvature_of_moment(moment, member.movement), member.width_mm)))


@lru_cache(maxsize=256)
def _largest_moment(thickness_mm: float, specific_gravity: float, finish: Finish) -> float:
    """Greatest slope of moisture from face to back in the weeks of a usual year [% per mm]."""
    from model.wood import moisture  # here: the solver takes a moment to load

    def film(name: str, coats: int) -> float:
        return math.nan if name == BARE else permeance_of(name, coats).permeance

    batch = moisture.Batch(
        thickness_mm=np.array([thickness_mm]),
        specific_gravity=np.array([specific_gravity]),
        oven_dry_density_kg_m3=np.array([1000.0 * specific_gravity]),
        face_permeance=np.array([film(finish.face, finish.face_coats)]),
        back_permeance=np.array([film(finish.back, finish.back_coats)]),
    )
    outdoors = temperate().daily
    room = indoor_air(
        outdoors["temperature_c"].to_numpy(), outdoors["rh_pct"].to_numpy(), scheme_named(DEFAULT_SCHEME)
    )
    temperature_c, rh_pct = np.asarray(room.temperature_c)[:, None], np.asarray(room.rh_pct)[:, None]
    profile = moisture.uniform_profile(np.array([8.0]))
    faces = np.zeros(1, dtype=np.intp)
    profile = moisture.advance(profile, batch, temperature_c, rh_pct, faces, faces, 86_400.0).profile
    largest = 0.0
    for day in range(0, DAYS, WEEK_D):
        rows = slice(day, day + WEEK_D)
        done = moisture.advance(profile, batch, temperature_c[rows], rh_pct[rows], faces, faces, 86_400.0)
        profile = done.profile
        largest = max(largest, abs(float(moisture.profile_moment(profile, batch)[0])))
    return largest


def cup_caution(member: Member) -> Spoken | None:
    """What to say of a part with one bare face, its size still a number; None where nothing is seen."""
    cupped = cup_mm(member)
    if cupped < LEAST_SEEN_MM:
        return None
    return spoken(
        f"One face of {member.called} is finished and the other bare: in a usual year it cups by up to "
        f"{LENGTH} where nothing holds it flat, hollow on its bare face as the air dries. "
        "Finish both faces alike.",
        INCH_STEPS.gap_up(cupped),
    )
