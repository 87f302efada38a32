"""Boards in a stack, surface checks, glue water: directions, bounds, refusals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.wood.drying import STICKERED_PERMEANCE_KG_M2_S_PA, glue_water_pct, worst_surface_check
from model.wood.errors import BadInput
from model.wood.moisture import Batch, advance, uniform_profile
from model.wood.slab import days_by_hand, days_to_share, slab_uptake
from model.wood.species import find_species

OAK = find_species("red oak")
ASH = find_species("white ash")


# --- dates ------------------------------------------------------------------------------------------


def test_a_stack_is_slower_than_a_lone_board():
    gravity = OAK.specific_gravity_12pct
    days = {}
    for name, film in (("lone", math.nan), ("stack", STICKERED_PERMEANCE_KG_M2_S_PA)):
        batch = Batch(*(np.array([value]) for value in (25.4, gravity, 1000.0 * gravity, film, film)))
        air = np.full((60 * 24, 1), 20.0), np.full((60 * 24, 1), 40.0)
        means = advance(uniform_profile([11.0]), batch, *air, 0, 0).mc_mean_pct[:, 0]
        days[name] = np.argmax(np.abs(means - 7.72) <= 1.0) / 24.0
    assert days["stack"] > 1.3 * days["lone"]


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: slab_uptake(-1.0),
        lambda: slab_uptake(0.5, 0.0),
        lambda: days_to_share(1.0, 25.0, 3e-11),
        lambda: days_to_share(0.5, 25.0, 0.0),
        lambda: worst_surface_check(OAK, 0.0, [9.0, 8.0], [9.0]),
        lambda: worst_surface_check(OAK, 0.0, [], []),
        lambda: glue_water_pct(100.0, 0.0, 500.0),
    ],
)
def test_nonsense_is_refused_in_one_sentence(wrong):
    with pytest.raises(BadInput) as caught:
        wrong()
    assert "\n" not in str(caught.value)


# --- by hand ----------------------------------------------------------------------------------------


@settings(deadline=None)  # the first call loads a library
@given(st.floats(0.001, 5.0), st.floats(0.05, 50.0))
def test_a_slab_goes_one_way_and_never_beyond(fourier, biot):
    assert 0.0 <= slab_uptake(fourier, biot) < slab_uptake(1.2 * fourier, biot) + 1e-9
    assert slab_uptake(fourier, biot) <= slab_uptake(fourier) + 1e-9


def test_short_times_follow_the_root_of_time():
    # E = 2 sqrt(Fo / pi) in the beginning (Crank).
    assert slab_uptake(0.0005) == pytest.approx(2.0 * math.sqrt(0.0005 / math.pi), rel=1e-6)
    assert slab_uptake(0.0) == 0.0


def test_hand_days_fall_with_warmth():
    assert days_by_hand(OAK, 25.4, 0.9, 30.0, 8.0) < days_by_hand(OAK, 25.4, 0.9, 10.0, 8.0)
    assert days_by_hand(OAK, 25.4, 0.0, 20.0, 8.0) == 0.0


# --- surface ----------------------------------------------------------------------------------------


def test_the_worst_moment_of_a_drying_board_is_found():
    row, risk = worst_surface_check(OAK, 0.0, [12.0, 11.9, 11.5, 11.0], [12.0, 8.0, 8.5, 9.0])
    assert row == 1
    assert risk.likelihood in ("possible", "likely")
    assert worst_surface_check(OAK, 0.0, [8.0, 8.2], [9.0, 9.5])[1].likelihood == "none"


def test_thick_wet_oak_checks_in_dry_air_and_not_in_damp():
    # 50 mm at 16 %, ten days of it, through the solver: common practice, no source.
    one = np.ones(1)
    batch = Batch(one * 50.0, one * 0.63, one * 630.0, one * np.nan, one * np.nan)
    found = {}
    for rh in (25.0, 70.0):
        air = np.full((240, 1), 20.0), np.full((240, 1), rh)
        course = advance(uniform_profile(16.0), batch, *air, 0, 0)
        found[rh] = worst_surface_check(OAK, 0.0, course.mc_mean_pct[:, 0], course.mc_face_pct[:, 0])[1]
    assert found[25.0].likelihood == "likely"
    assert found[25.0].stress_high_mpa > 2.0 * found[70.0].stress_high_mpa
    assert found[70.0].likelihood != "likely"
