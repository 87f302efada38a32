"""Cup, framed and free, and the mitre: signs, bounds and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.cup import (
    convex_side,
    curvature_of_faces,
    curvature_of_moment,
    framed_share,
    mitre_opening,
    ring_cup,
    ring_cup_of,
    sagitta_of_curvature,
)
from model.wood.errors import BadInput
from model.wood.movement import Movement, movement_of
from model.wood.species import find_species

CHERRY = find_species("black cherry")
FLAT = movement_of(CHERRY, 0.0)


def test_drying_hollows_the_bark_side_and_swelling_reverses_it():
    assert ring_cup_of(CHERRY, 200.0, 80.0, 12.0, 6.0).sagitta_mm < 0.0
    assert ring_cup_of(CHERRY, 200.0, 80.0, 6.0, 12.0).sagitta_mm > 0.0
    assert ring_cup_of(CHERRY, 200.0, 80.0, 9.0, 9.0).sagitta_mm == pytest.approx(0.0, abs=1e-12)


def test_farther_from_the_pith_cups_less():
    cups = [abs(ring_cup(150.0, pith, 0.02, 0.01).sagitta_mm) for pith in (60.0, 100.0, 200.0, 1000.0)]
    assert cups == sorted(cups, reverse=True)


def test_alike_both_ways_does_not_cup():
    cup = ring_cup(200.0, 50.0, 0.02, 0.02)
    assert cup.sagitta_mm == pytest.approx(0.0, abs=1e-12)
    assert cup.width_mm == pytest.approx(196.0)


def test_a_narrow_board_follows_the_parabola():
    # (s_T - s_R) w^2 / (4 r): exact in the limit.
    cup = ring_cup(20.0, 500.0, 0.02, 0.01)
    assert cup.sagitta_mm == pytest.approx(-0.01 * 20.0**2 / (4 * 500.0), rel=0.02)


def test_a_quartered_board_hardly_cups():
    over_the_pith = ring_cup(150.0, 60.0, 0.02, 0.01)
    beside_it = ring_cup(150.0, 10.0, 0.02, 0.01, offset_mm=300.0)
    assert abs(beside_it.sagitta_mm) < 0.1 * abs(over_the_pith.sagitta_mm)
    assert beside_it.width_mm == pytest.approx(150.0 * 0.99, rel=1e-3)


@given(st.floats(20.0, 400.0), st.floats(20.0, 500.0), st.floats(-200.0, 200.0))
def test_either_side_of_the_pith_is_alike(width, pith, offset):
    left, right = (ring_cup(width, pith, 0.015, 0.007, side * offset) for side in (-1, 1))
    assert left.sagitta_mm == pytest.approx(right.sagitta_mm, abs=1e-9)
    assert left.width_mm == pytest.approx(right.width_mm)


def test_the_wetter_face_is_the_convex_one():
    assert convex_side(curvature_of_faces(10.0, 7.0, 19.0, FLAT)) == "face"
    assert convex_side(curvature_of_faces(7.0, 10.0, 19.0, FLAT)) == "back"
    assert convex_side(curvature_of_faces(8.0, 8.0, 19.0, FLAT)) == "neither"


def test_curvature_takes_arrays_and_keeps_gaps():
    curvature = curvature_of_moment(np.array([0.1, np.nan, -0.1]), FLAT)
    assert np.isnan(curvature).tolist() == [False, True, False]
    bent = sagitta_of_curvature(curvature, 300.0)
    assert bent[0] == -bent[2] > 0.0


@given(st.floats(50.0, 3000.0), st.floats(50.0, 900.0), st.floats(0.02, 0.2))
def test_a_frame_never_adds_to_a_cup(length, width, ratio):
    assert 0.0 <= framed_share(length, width, ratio) <= 1.0


def test_rails_close_by_hold_a_panel_flat_and_far_ones_do_not():
    shares = [framed_share(length, 400.0, 0.08) for length in (200.0, 400.0, 600.0, 800.0)]
    assert shares == sorted(shares)
    assert shares[0] < 0.02
    assert framed_share(4000.0, 400.0, 0.08) > 0.95
    assert framed_share(40_000.0, 400.0, 0.08) == 1.0


def test_unknown_stiffness_gives_the_upper_bound():
    assert framed_share(100.0, 400.0, None) == 1.0


def test_the_beam_is_that_of_its_differential_equation():
    # a'''' + (120/W^4)(E_T/E_L)(a - 1) = 0 with a = a'' = 0 at both ends, solved by finite differences.
    length, width, ratio, n = 700.0, 400.0, 0.07, 400
    step = length / n
    ones = np.ones(n - 2)
    second = (np.diag(ones, 1) + np.diag(ones, -1) - 2 * np.eye(n - 1)) / step**2
    foundation = 120.0 * ratio / width**4
    amplitude = np.linalg.solve(second @ second + foundation * np.eye(n - 1), np.full(n - 1, foundation))
    assert framed_share(length, width, ratio) == pytest.approx(amplitude[n // 2 - 1], rel=1e-3)


def test_a_mitre_at_its_own_moisture_is_closed():
    assert mitre_opening(60.0, 8.0, 8.0, FLAT).at == "nowhere"
    assert mitre_opening(60.0, 8.0, 8.0, FLAT).gap_mm == 0.0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: ring_cup(0.0, 80.0, 0.01, 0.005),
        lambda: ring_cup(100.0, 0.0, 0.01, 0.005),
        lambda: ring_cup(100.0, 80.0, 3.0, 0.005),
        lambda: ring_cup(100.0, 80.0, 0.01, 0.005, float("nan")),
        lambda: curvature_of_faces(8.0, 9.0, 0.0, Movement(0.002, 0.002, 30.0)),
        lambda: framed_share(0.0, 300.0, 0.08),
        lambda: framed_share(300.0, 300.0, 2.0),
    ],
)
def test_nonsense_is_refused(wrong):
    with pytest.raises(BadInput):
        wrong()
