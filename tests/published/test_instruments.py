"""Weighing and salts against published values and independent computations."""

import pytest

from model.wood.air.salts import one_point_offset, salt_humidity, two_point_correction
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.material.instruments import WitnessBoard


def test_tracked_sample_computed_independently():
    # Tolerance 0.001.
    tracked = WitnessBoard(1250.0, 8.0)
    assert tracked.oven_dry_g == pytest.approx(1157.407, abs=0.001)
    assert tracked.moisture(1268.0).mc_pct == pytest.approx(9.5552, abs=0.001)


def test_witness_board_has_arrived():
    # Trade's acceptance case: 1240 g at 8.0 %, dry 1148.1 g; at 1224 g 6.6 %, and a shop at 33 % RH says
    # 6.66.
    board = WitnessBoard(1240.0, 8.0)
    assert board.oven_dry_g == pytest.approx(1148.1, abs=0.05)
    now = board.moisture(1224.0)
    assert now.mc_pct == pytest.approx(6.6, abs=0.05)
    assert equilibrium_moisture_content(20.0, 33.0) == pytest.approx(now.mc_pct, abs=0.1)


# Greenspan, J. Res. NBS 81A (1977) 89, polynomials as written out in two public programs and computed
# independently; the printed table may differ by 0.01, tolerance 0.03.
GREENSPAN_AT_15_20_25_30 = {
    "LiCl": (11.31, 11.31, 11.30, 11.29),
    "MgCl2": (33.30, 33.07, 32.79, 32.45),
    "K2CO3": (43.15, 43.16, 43.17, 43.18),
    "NaCl": (75.61, 75.48, 75.30, 75.09),
    "KCl": (85.92, 85.11, 84.35, 83.63),
    "K2SO4": (97.89, 97.60, 97.30, 97.01),
}


@pytest.mark.parametrize("salt", GREENSPAN_AT_15_20_25_30)
def test_saturated_salts(salt):
    for temperature_c, printed in zip((15.0, 20.0, 25.0, 30.0), GREENSPAN_AT_15_20_25_30[salt], strict=True):
        assert salt_humidity(salt, temperature_c) == pytest.approx(printed, abs=0.03)


def test_lithium_chloride_has_the_sign_that_agrees_with_another_fit():
    # CRC Handbook (Wexler): 14.53 exp(-75/T) = 11.25 % at 20 °C, good to 2 %. With the sign as it stands in
    # two public copies the polynomial would give 10.98.
    assert salt_humidity("LiCl", 20.0) == pytest.approx(11.25, abs=0.1)


def test_two_point_correction_computed_independently():
    # Tolerance 1e-4.
    fix = two_point_correction((31.2, 33.07), (77.9, 75.47))
    assert fix.slope == pytest.approx(0.907923, abs=1e-5)
    assert fix.intercept_pct == pytest.approx(4.74281, abs=1e-4)
    assert fix.true_humidity(45.0) == pytest.approx(45.5993, abs=1e-4)
    assert fix.uncertainty(45.0) == pytest.approx(0.38198, abs=1e-4)
    coarse = two_point_correction((31.2, 33.07), (77.9, 75.47), (1.0, 1.0))
    assert coarse.uncertainty(45.0) == pytest.approx(0.76396, abs=1e-4)


def test_salt_check_of_a_sensor_that_reads_high():
    # Trade's acceptance case: reads 35.6 at 33.1 and 78.5 at 75.5; 45.0 then means 42.4 %, EMC 8.1 and not
    # 8.5.
    fix = two_point_correction((35.6, 33.1), (78.5, 75.5))
    assert fix.intercept_pct == pytest.approx(-2.09, abs=0.02)
    assert fix.slope == pytest.approx(0.988, abs=0.001)
    assert fix.true_humidity(45.0) == pytest.approx(42.4, abs=0.05)
    assert equilibrium_moisture_content(20.0, fix.true_humidity(45.0)) == pytest.approx(8.1, abs=0.05)
    assert equilibrium_moisture_content(20.0, 45.0) == pytest.approx(8.5, abs=0.05)
    assert fix.accepted
    assert fix.sound


def test_a_sensor_good_to_3_percent_is_good_to_half_a_point():
    # Slope 0.15 to 0.16 points per percent at 30 to 50 %: 3 % are 0.45 to 0.5 points (computed
    # independently).
    for rh in (30.0, 40.0, 50.0):
        half = equilibrium_moisture_content(20.0, rh + 3.0) - equilibrium_moisture_content(20.0, rh)
        assert 0.44 < half < 0.51


def test_one_point_is_a_shift():
    assert one_point_offset(35.6, 33.1).true_humidity(45.0) == pytest.approx(42.5, abs=1e-9)
