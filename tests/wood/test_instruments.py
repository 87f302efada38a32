"""Witness board and salt check: uncertainty, acceptance and refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.air.salts import SALTS, find_salt, one_point_offset, salt_humidity, two_point_correction
from model.wood.errors import BadInput
from model.wood.material.instruments import WitnessBoard
from tests.said import said


@given(st.floats(50.0, 5000.0), st.floats(4.0, 20.0), st.floats(4.0, 20.0))
def test_a_witness_board_returns_the_moisture_it_holds(dry_g, start_pct, now_pct):
    board = WitnessBoard(dry_g * (1 + start_pct / 100), start_pct)
    assert board.moisture(dry_g * (1 + now_pct / 100)).mc_pct == pytest.approx(now_pct)


def test_finish_on_a_witness_board_holds_no_water():
    plain, finished = WitnessBoard(1080.0, 8.0), WitnessBoard(1110.0, 8.0, extra_g=30.0)
    assert finished.moisture(1130.0).mc_pct == pytest.approx(plain.moisture(1100.0).mc_pct)
    assert WitnessBoard(1110.0, 8.0).moisture(1130.0).mc_pct < plain.moisture(1100.0).mc_pct


def test_a_level_is_no_surer_than_its_start():
    by_meter, by_oven = WitnessBoard(1240.0, 8.0, 1.0), WitnessBoard(1240.0, 8.0, 0.1)
    assert by_meter.moisture(1224.0, 0.5).uncertainty_pct == pytest.approx(1.0, abs=0.02)
    assert by_oven.moisture(1224.0, 0.5).uncertainty_pct < 0.15


@pytest.mark.parametrize("salt", SALTS)
def test_salts_go_by_name_and_formula(salt):
    assert find_salt(find_salt(salt).formula.upper()) is find_salt(f" {salt.title()} ")
    assert 0.0 < salt_humidity(salt, 20.0) < 100.0


@pytest.mark.parametrize(
    ("low", "high", "accepted", "sound"),
    [
        ((33.0, 33.1), (75.0, 75.5), True, True),
        ((36.0, 33.1), (73.0, 75.5), True, False),  # slope 1.146
        ((27.0, 33.1), (69.0, 75.5), True, False),  # 6.5 % off
        ((22.0, 33.1), (64.0, 75.5), False, False),  # 11 % off
        ((33.0, 33.1), (66.0, 75.5), False, False),  # slope 1.28
    ],
)
def test_a_spent_sensor_is_not_corrected(low, high, accepted, sound):
    fix = two_point_correction(low, high)
    assert (fix.accepted, fix.sound) == (accepted, sound)
    assert ("replace" in said(fix)) is not sound


@given(st.floats(25.0, 40.0), st.floats(65.0, 85.0))
def test_the_points_themselves_come_out_true(low, high):
    fix = two_point_correction((low, 33.1), (high, 75.5))
    assert fix.true_humidity(low) == pytest.approx(33.1)
    assert fix.true_humidity(high) == pytest.approx(75.5)
    assert fix.uncertainty(low) == pytest.approx(0.5)
    assert fix.uncertainty((low + high) / 2) < 0.5 < fix.uncertainty(high + 10.0)


def test_corrected_humidity_stays_humidity():
    fix = one_point_offset(60.0, 75.5)
    assert fix.true_humidity(95.0) == 100.0
    assert not fix.accepted


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: WitnessBoard(1000.0, -1.0),
        lambda: WitnessBoard(1000.0, 8.0).moisture(800.0),
        lambda: find_salt("pepper"),
        lambda: salt_humidity("NaCl", 80.0),
        lambda: two_point_correction((33.0, 33.1), (40.0, 43.2)),
        lambda: two_point_correction((80.0, 33.1), (40.0, 75.5)),
        lambda: two_point_correction((33.0, 33.1), (140.0, 75.5)),
        lambda: one_point_offset(float("nan"), 75.5),
    ],
)
def test_nonsense_is_refused_in_one_sentence(wrong):
    with pytest.raises(BadInput) as caught:
        wrong()
    assert "\n" not in str(caught.value)
