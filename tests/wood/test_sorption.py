"""Sorption: monotony, inverse, slope, bounds. The printed table: see tests/published/test_emc_table.py."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.air.sorption import (
    equilibrium_moisture_content,
    relative_humidity_for,
    sorption_slope,
)
from model.wood.errors import OutsideValidity

TEMPERATURES = st.floats(-40.0, 60.0)


def test_rises_with_humidity_at_every_temperature():
    for temperature_c in np.linspace(-40.0, 60.0, 201):
        mc_pct = equilibrium_moisture_content(temperature_c, np.linspace(0.0, 100.0, 1001))
        assert (np.diff(mc_pct) > 0).all()


def test_dry_air_dries_wood_out_and_saturated_air_stays_below_fibre_saturation():
    temperature_c = np.linspace(-40.0, 60.0, 101)
    assert (equilibrium_moisture_content(temperature_c, 0.0) == 0.0).all()
    assert (equilibrium_moisture_content(temperature_c, 100.0) < 30.0).all()


@given(TEMPERATURES, st.floats(0.0, 100.0))
def test_there_and_back_is_the_identity(temperature_c, rh_pct):
    mc_pct = equilibrium_moisture_content(temperature_c, rh_pct)
    assert relative_humidity_for(temperature_c, mc_pct) == pytest.approx(rh_pct, abs=1e-9)


def test_there_and_back_on_a_grid_at_once():
    temperature_c, rh_pct = np.meshgrid(np.linspace(-40.0, 60.0, 101), np.linspace(0.0, 100.0, 401))
    back = relative_humidity_for(temperature_c, equilibrium_moisture_content(temperature_c, rh_pct))
    assert np.abs(back - rh_pct).max() < 1e-9


def test_slope_is_the_derivative():
    temperature_c, rh_pct = np.meshgrid(np.linspace(-40.0, 60.0, 41), np.linspace(1.0, 99.0, 99))
    step = 1e-3
    ahead = equilibrium_moisture_content(temperature_c, rh_pct + step)
    behind = equilibrium_moisture_content(temperature_c, rh_pct - step)
    numeric = (ahead - behind) / (2 * step / 100.0)
    # A central difference with this step is good to some 1e-7 of the value.
    assert sorption_slope(temperature_c, rh_pct) == pytest.approx(numeric, rel=1e-6)


@pytest.mark.parametrize(
    ("temperature_c", "rh_pct"), [(20.0, 101.0), (20.0, -0.5), (-41.0, 50.0), (61.0, 50.0), (20.0, math.inf)]
)
def test_a_scalar_outside_is_refused_and_in_an_array_becomes_nan(temperature_c, rh_pct):
    for function in (equilibrium_moisture_content, sorption_slope):
        with pytest.raises(OutsideValidity, match="must lie in"):
            function(temperature_c, rh_pct)
        assert np.isnan(function(np.array([temperature_c]), np.array([rh_pct])))[0]


def test_no_air_makes_wood_wetter_than_saturated_air_does():
    with pytest.raises(OutsideValidity, match=r"mc_pct must lie in 0 to 28\.8 %, what wood reaches"):
        relative_humidity_for(20.0, 29.5)
    assert np.isnan(relative_humidity_for(20.0, np.array([29.5, 8.0]))).tolist() == [True, False]
    with pytest.raises(OutsideValidity):
        relative_humidity_for(20.0, -1.0)


def test_nan_in_nan_out():
    for function in (equilibrium_moisture_content, sorption_slope, relative_humidity_for):
        assert math.isnan(function(math.nan, 10.0))
        assert math.isnan(function(20.0, math.nan))
        assert np.isnan(function(np.array([20.0, np.nan]), np.array([np.nan, 10.0]))).all()


def test_a_series_keeps_its_index_and_its_gaps():
    index = pd.date_range("2026-01-01", periods=4, freq="h", tz="UTC")
    rh = pd.Series([35.0, np.nan, 120.0, 50.0], index=index)
    mc = equilibrium_moisture_content(20.0, rh)
    assert mc.index.equals(index)
    assert mc.isna().tolist() == [False, True, True, False]


def test_a_frozen_house_still_has_an_answer():
    assert 10.0 < equilibrium_moisture_content(-20.0, 70.0) < 15.0
