"""Moist air: identities and edges. Published values stand in tests/published/test_psychrometrics.py."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.air import psychrometrics as air
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import OutsideValidity

TEMPERATURES = st.floats(-60.0, 100.0)


@given(TEMPERATURES, st.floats(0.5, 100.0))
def test_saturation_at_the_dew_point_is_the_vapour_pressure(temperature_c, rh_pct):
    dew_c = air.dew_point(temperature_c, rh_pct)
    if dew_c >= air.TEMPERATURE.low:
        vapour_pa = air.vapour_pressure(temperature_c, rh_pct)
        # 1e-9 K at the steepest, 15 % of the pressure per kelvin at -60 °C. Within 1e-7 K of the triple
        # point the two branches of the source differ by 7e-9 of the pressure.
        assert air.saturation_vapour_pressure(dew_c) == pytest.approx(vapour_pa, rel=1e-8)


def test_dew_point_of_saturated_air_is_its_temperature():
    temperature_c = np.linspace(-60.0, 100.0, 1601)
    assert air.dew_point(temperature_c, 100.0) == pytest.approx(temperature_c, abs=1e-7)


def test_dew_point_is_solved_to_1e_9_kelvin():
    temperature_c, rh_pct = np.meshgrid(np.linspace(-60, 100, 161), np.linspace(1, 100, 100))
    dew_c = air.dew_point(temperature_c, rh_pct)
    inside = dew_c > air.TEMPERATURE.low
    error = np.log(
        air.saturation_vapour_pressure(dew_c[inside]) / air.vapour_pressure(temperature_c, rh_pct)[inside]
    )
    away = np.abs(dew_c[inside] - air.TRIPLE_POINT_C) > 1e-6
    assert np.abs(error[away]).max() < 0.05 * 1e-9  # d ln p/dT is at least 0.035 per kelvin


@given(TEMPERATURES, st.floats(0.5, 100.0), TEMPERATURES)
def test_air_warmed_and_cooled_again_is_the_same_air(temperature_c, rh_pct, other_c):
    moved = air.relative_humidity_at(temperature_c, rh_pct, other_c)
    if 0.0 < moved <= 100.0:
        assert air.relative_humidity_at(other_c, moved, temperature_c) == pytest.approx(rh_pct, rel=1e-12)
        if moved > 1.0:
            assert air.dew_point(other_c, moved) == pytest.approx(
                air.dew_point(temperature_c, rh_pct), abs=1e-6
            )


def test_saturation_pressure_rises_with_temperature_over_ice_and_water():
    pressure = air.saturation_vapour_pressure(np.linspace(-60.0, 100.0, 16001))
    assert (np.diff(pressure) > 0).all()


def test_humidity_from_pressure_and_from_dew_point_undo_each_other():
    temperature_c = np.linspace(-50, 90, 29)
    for rh_pct in (5.0, 42.0, 99.0):
        pressure = air.vapour_pressure(temperature_c, rh_pct)
        assert air.relative_humidity_from_pressure(temperature_c, pressure) == pytest.approx(
            rh_pct, rel=1e-12
        )
        dew_c = air.dew_point(temperature_c, rh_pct)
        assert air.relative_humidity_from_dew_point(temperature_c, dew_c)[dew_c > -60] == pytest.approx(
            rh_pct, rel=1e-7
        )


def test_air_cooled_below_its_dew_point_says_more_than_saturated():
    assert air.relative_humidity_at(20.0, 50.0, 5.0) > 100.0


@pytest.mark.parametrize(
    "ask",
    [
        lambda: air.saturation_vapour_pressure(-60.5),
        lambda: air.saturation_vapour_pressure(101.0),
        lambda: air.vapour_pressure(20.0, 100.5),
        lambda: air.vapour_pressure(20.0, -0.1),
        lambda: air.dew_point(20.0, 255.0),
        lambda: air.humidity_ratio(20.0, 50.0, 500.0),
        lambda: air.humidity_ratio(100.0, 100.0, 90_000.0),
        lambda: air.relative_humidity_at(20.0, 50.0, 400.0),
    ],
)
def test_a_scalar_outside_validity_is_refused(ask):
    with pytest.raises(OutsideValidity, match="must"):
        ask()


def test_bone_dry_air_has_no_dew_point():
    assert air.vapour_pressure(20.0, 0.0) == 0.0
    with pytest.raises(OutsideValidity, match="rh_pct must leave the air a frost point"):
        air.dew_point(20.0, 0.0)
    assert np.isnan(air.dew_point(np.array([20.0]), 0.0))[0]


def test_frozen_air_has_a_frost_point():
    assert -40.0 < air.dew_point(-35.0, 70.0) < -35.0


def test_nan_in_nan_out():
    for function in (air.vapour_pressure, air.dew_point, air.humidity_ratio):
        assert math.isnan(function(math.nan, 50.0))
        assert math.isnan(function(20.0, math.nan))
        result = function(np.array([20.0, np.nan, 20.0, 20.0]), np.array([50.0, 50.0, np.nan, 140.0]))
        assert np.isnan(result).tolist() == [False, True, True, True]


def test_a_series_keeps_its_index():
    index = pd.date_range("2026-02-01", periods=3, freq="h", tz="UTC")
    frame = pd.DataFrame({"temperature_c": [20.0, 21.0, np.nan], "rh_pct": [40.0, 41.0, 42.0]}, index=index)
    dew = air.dew_point(frame["temperature_c"], frame["rh_pct"])
    assert dew.index.equals(index)
    assert dew.isna().tolist() == [False, False, True]


def test_a_warmed_shop_keeps_its_dew_point_and_dries_its_air():
    """A shop at 10 °C and 60 % RH heated to 21 °C with no water added.

    Computed independently from eq. 4-5 of the Wood Handbook (FPL-GTR-190) and Hyland-Wexler.
    """
    assert equilibrium_moisture_content(10.0, 60.0) == pytest.approx(11.24, abs=0.01)
    assert air.dew_point(10.0, 60.0) == pytest.approx(2.6, abs=0.05)
    warmed = air.relative_humidity_at(10.0, 60.0, 21.0)
    assert warmed == pytest.approx(29.7, abs=0.1)
    assert equilibrium_moisture_content(21.0, warmed) == pytest.approx(6.1, abs=0.05)
    assert air.dew_point(21.0, warmed) == pytest.approx(air.dew_point(10.0, 60.0), abs=1e-9)
