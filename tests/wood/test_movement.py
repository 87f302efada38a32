"""Movement: the one width definition, cuts, ring angle, band. Printed coefficients: see tests/published."""

import itertools
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import BadInput, OutsideValidity
from model.wood.material.movement import (
    Movement,
    coefficient_at_ring_angle,
    coefficient_band,
    movement_of,
    ring_angle_of_cut,
    strain,
    thickness_movement_of,
    width_at,
)
from model.wood.material.species import all_species, find_species
from model.wood.material.species_record import coefficient_from_shrinkage, shrinkage_from_coefficient

CHERRY = movement_of(find_species("cherry"), 0.0)
MM_PER_INCH = 25.4
MOISTURES = st.floats(0.0, 60.0)


@given(MOISTURES, MOISTURES, st.floats(1.0, 2000.0))
def test_there_and_back_is_the_identity(start, end, width_mm):
    away = width_at(width_mm, start, end, CHERRY)
    assert width_at(away, end, start, CHERRY) == pytest.approx(width_mm, rel=1e-13)


@given(MOISTURES, MOISTURES, MOISTURES)
def test_the_way_taken_does_not_matter(start, by, end):
    detour = width_at(width_at(400.0, start, by, CHERRY), by, end, CHERRY)
    assert detour == pytest.approx(width_at(400.0, start, end, CHERRY), rel=1e-13)


def test_strain_is_piecewise_linear_with_the_slopes_of_the_definition():
    movement = Movement(0.0030, 0.0020, 28.0)
    assert strain(movement, 10.0) == 0.0
    corners = [(0.0, 6.0, 0.0020), (6.0, 14.0, 0.0030), (14.0, 28.0, 0.0020), (28.0, 200.0, 0.0)]
    for low, high, slope in corners:
        mc = np.linspace(low, high, 7)
        assert np.diff(strain(movement, mc)) / np.diff(mc) == pytest.approx(np.full(6, slope), abs=1e-12)


def test_width_grows_with_moisture_for_every_wood_and_cut():
    mc = np.linspace(0.0, 30.0, 121)
    for wood, angle in itertools.product(all_species(), (0.0, 45.0, 90.0)):
        movement = movement_of(wood, angle)
        width = width_at(300.0, 8.0, mc, movement)
        growing = mc <= movement.fibre_saturation_pct
        assert (np.diff(width[growing]) > 0).all()
        assert np.ptp(width[~growing]) == 0.0 if (~growing).any() else True


def test_nothing_moves_above_fibre_saturation():
    assert width_at(400.0, 35.0, 90.0, CHERRY) == 400.0


def test_nan_in_nan_out_and_a_series_keeps_its_index():
    assert math.isnan(width_at(400.0, 8.0, math.nan, CHERRY))
    index = pd.date_range("2026-01-01", periods=3, freq="D", tz="UTC")
    mc = pd.Series([8.0, np.nan, -4.0], index=index)
    width = width_at(400.0, 8.0, mc, CHERRY)
    assert width.index.equals(index)
    assert width.isna().tolist() == [False, True, True]


@pytest.mark.parametrize(
    "ask",
    [
        lambda: width_at(400.0, 8.0, -1.0, CHERRY),
        lambda: width_at(400.0, 301.0, 8.0, CHERRY),
        lambda: width_at(-1.0, 8.0, 8.0, CHERRY),
        lambda: strain(CHERRY, -0.1),
        lambda: movement_of(find_species("cherry"), 91.0),
        lambda: movement_of(find_species("cherry"), -1.0),
    ],
)
def test_a_scalar_outside_validity_is_refused(ask):
    with pytest.raises(OutsideValidity, match="must lie in"):
        ask()


@given(st.floats(0.0, 29.9), st.floats(0.0, 29.9), st.floats(1.0, 14.0))
def test_one_slope_throughout_is_equation_13_3(start, end, shrinkage_pct):
    """Where the coefficient is that of the shrinkage, width follows eq. 13-3 exactly: the common basis."""
    slope = coefficient_from_shrinkage(shrinkage_pct)
    movement = Movement(slope, slope, 30.0)
    change = width_at(400.0, start, end, movement) - 400.0
    # D_I (M_F - M_I)/(100 FSP/S - FSP + M_I), Wood Handbook (FPL-GTR-190, 2010) ch. 13.
    by_handbook = 400.0 * (end - start) / (3000.0 / shrinkage_pct - 30.0 + start)
    assert change == pytest.approx(by_handbook, abs=1e-9)


@given(st.floats(6.0, 14.0), st.floats(6.0, 14.0))
def test_between_6_and_14_width_agrees_with_equation_13_2(start, end):
    """Eq. 13-2 takes its slope on whatever width it starts from; 4 points off 10 % that is 1 % for cherry."""
    change = width_at(400.0, start, end, CHERRY) - 400.0
    assert change == pytest.approx(400.0 * 0.00248 * (end - start), rel=0.0101, abs=1e-9)


@given(st.floats(0.5, 20.0), st.sampled_from([22.0, 28.0, 30.0]))
def test_coefficient_and_shrinkage_undo_each_other(shrinkage_pct, saturation_pct):
    slope = coefficient_from_shrinkage(shrinkage_pct, saturation_pct)
    assert shrinkage_from_coefficient(slope, saturation_pct) == pytest.approx(shrinkage_pct, rel=1e-12)


# --- cuts and ring angle ---


@pytest.mark.parametrize(
    ("cut", "angle"),
    [
        ("flat-sawn", 0.0), ("flatsawn", 0.0), ("Flat sawn", 0.0), ("plain-sawn", 0.0), ("plainsawn", 0.0),
        ("slash-sawn", 0.0), ("crown cut", 0.0), ("tangential", 0.0), ("flat", 0.0),
        ("rift", 45.0), ("rift-sawn", 45.0), ("riftsawn", 45.0),
        ("quarter-sawn", 90.0), ("quartersawn", 90.0), ("Quartered", 90.0), ("vertical grain", 90.0),
        ("edge-grain", 90.0), ("radial", 90.0), ("QUARTER SAWN", 90.0),
    ],
)  # fmt: skip
def test_cuts_in_the_words_of_the_trade(cut, angle):
    assert ring_angle_of_cut(cut) == angle


@pytest.mark.parametrize("cut", ["", "sawn", "sideways", "live-edge", None, 45])
def test_a_cut_that_is_none_is_refused(cut):
    with pytest.raises(BadInput, match=r"bench\.toml: cut must be flat-sawn, rift-sawn or quarter-sawn"):
        ring_angle_of_cut(cut, "bench.toml")


# Computed independently: C_T cos² + C_R sin² with cherry's printed 0.00248 and 0.00126.
@pytest.mark.parametrize(
    ("angle", "coefficient"), [(0, 0.00248), (30, 0.002175), (45, 0.00187), (60, 0.001565), (90, 0.00126)]
)
def test_coefficient_turns_with_the_rings(angle, coefficient):
    assert coefficient_at_ring_angle(0.00126, 0.00248, angle) == pytest.approx(coefficient, abs=1e-12)
    assert movement_of(find_species("cherry"), angle).coefficient_per_pct == pytest.approx(coefficient)


def test_a_quarter_sawn_board_thickens_tangentially():
    cherry = find_species("cherry")
    for angle in (0.0, 20.0, 45.0, 90.0):
        thick, wide = thickness_movement_of(cherry, angle), movement_of(cherry, angle)
        # A rotation keeps the sum of the two.
        total = thick.coefficient_per_pct + wide.coefficient_per_pct
        assert total == pytest.approx(0.00248 + 0.00126, rel=1e-12)
    assert thickness_movement_of(cherry, 90.0) == movement_of(cherry, 0.0)


# --- band ---


def test_plain_wood_scatters_by_a_fifth():
    band = coefficient_band(find_species("cherry"), 0.0)
    assert band == pytest.approx((0.8 * 0.00248, 0.00248, 1.2 * 0.00248))


def test_figured_wood_has_a_band_from_radial_to_above_tangential_at_any_angle():
    walnut = find_species("walnut")
    flat, quartered = (coefficient_band(walnut, angle, figured=True) for angle in (0.0, 90.0))
    assert flat == quartered
    assert flat.low == walnut.c_radial_per_pct
    assert flat.high == pytest.approx(1.15 * walnut.c_tangential_per_pct)
    assert flat.low < flat.central < flat.high


# --- facts of the trade, common practice, no source ---


@pytest.mark.parametrize("name", ["cherry", "walnut", "white ash", "hard maple", "white oak", "red oak"])
def test_a_wide_flat_sawn_side_moves_an_eighth_in_an_ordinary_year(name):
    side = movement_of(find_species(name), 0.0)
    swing = width_at(508.0, 8.0, 10.0, side) - width_at(508.0, 8.0, 6.0, side)
    assert swing >= MM_PER_INCH / 8


def test_boards_with_one_grain_direction_move_together():
    side = top = movement_of(find_species("sycamore"), 0.0)
    assert width_at(450.0, 8.0, 11.0, side) == width_at(450.0, 8.0, 11.0, top)


# Movement from 6 to 10 % over a foot, from the printed coefficients; computed independently.
@pytest.mark.parametrize(
    ("name", "flat_in", "quartered_in"),
    [
        ("cherry", 0.119, 0.060),
        ("walnut", 0.132, 0.091),
        ("hard maple", 0.169, 0.079),
        ("white oak", 0.175, 0.086),
        ("red oak", 0.177, 0.076),
    ],
)
def test_movement_of_a_foot_over_four_points(name, flat_in, quartered_in):
    for angle, expected in ((0.0, flat_in), (90.0, quartered_in)):
        movement = movement_of(find_species(name), angle)
        change = (width_at(304.8, 6.0, 10.0, movement) - 304.8) / MM_PER_INCH
        # Half a printed digit, and the start at 6 % where eq. 13-2 takes the slope of the width there.
        assert change == pytest.approx(expected, abs=0.0005 + 0.016 * expected)


def _change_in(width_in, start, end, name, angle):
    return width_at(width_in, start, end, movement_of(find_species(name), angle)) - width_in


def test_a_panel_in_a_dry_room():
    """15 in of cherry from 8 % into 30 % RH, 16 in of white oak from 9 to 6 %; computed independently."""
    dry = equilibrium_moisture_content(20.0, 30.0)
    assert _change_in(15.0, 8.0, dry, "cherry", 0.0) == pytest.approx(-0.067, abs=0.001)
    assert _change_in(15.0, 8.0, dry, "cherry", 90.0) == pytest.approx(-0.034, abs=0.001)
    assert _change_in(16.0, 9.0, 6.0, "white oak", 0.0) == pytest.approx(-0.175, abs=0.001)
    assert _change_in(16.0, 9.0, 6.0, "white oak", 90.0) == pytest.approx(-0.086, abs=0.001)


def test_a_drawer_front_from_dry_to_damp():
    """35 to 80 % RH at 70 °F; computed independently with eq. 13-2 throughout, so good to some 2 %."""
    dry, damp = (equilibrium_moisture_content(190 / 9, rh) for rh in (35.0, 80.0))
    assert damp - dry == pytest.approx(9.05, abs=0.01)
    assert _change_in(4.0, dry, damp, "hard maple", 0.0) == pytest.approx(0.128, abs=0.003)
    assert _change_in(4.0, dry, damp, "cherry", 0.0) == pytest.approx(0.090, abs=0.002)
    maple = thickness_movement_of(find_species("hard maple"), 90.0)
    assert width_at(0.375, dry, damp, maple) - 0.375 == pytest.approx(0.012, abs=0.0005)


def test_a_mitre_opens_by_its_width_and_its_coefficient():
    """3 in red oak, 10 to 6 %: the square root of 2 times what its width loses; computed independently."""
    flat, quartered = (_change_in(3.0, 10.0, 6.0, "red oak", angle) for angle in (0.0, 90.0))
    assert -math.sqrt(2.0) * flat == pytest.approx(0.063, abs=0.001)
    assert -math.sqrt(2.0) * quartered == pytest.approx(0.027, abs=0.001)


def test_a_move_to_the_desert():
    """14.5 in cherry from 9.5 % to 15 % RH, below the printed range; eq. 13-3 computed independently."""
    desert = equilibrium_moisture_content(20.0, 15.0)
    assert desert == pytest.approx(3.55, abs=0.01)
    assert _change_in(14.5, 9.5, desert, "cherry", 0.0) == pytest.approx(-0.214, abs=0.001)
