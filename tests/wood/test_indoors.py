"""Indoor schemes and the ceiling of room humidity: how they behave between and beyond published points."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.air.condensation import (
    GLASS_F_RSI,
    WALL_F_RSI,
    condensation_ceiling,
    room_humidity_at_surface_limit,
)
from model.wood.climate.indoor import SCHEMES, indoor_air, scheme_named
from model.wood.errors import BadInput, OutsideValidity

OUTDOORS = np.linspace(-40.0, 40.0, 81)


# A shop is let cool down at night, and a shed is as cold as it is outdoors.
COOLEST_C = {"heated-by-day": 14.0, "unheated": -39.0}


@pytest.mark.parametrize("name", SCHEMES)
def test_every_scheme_gives_air_that_exists(name):
    for rh in (0.0, 50.0, 100.0):
        air = indoor_air(OUTDOORS, rh, name)
        assert air.temperature_c.shape == air.rh_pct.shape == OUTDOORS.shape
        assert ((air.temperature_c >= COOLEST_C.get(name, 20.0)) & (air.temperature_c <= 41.0)).all()
        assert ((air.rh_pct >= 0.0) & (air.rh_pct <= 100.0)).all()


@pytest.mark.parametrize("name", SCHEMES)
def test_every_scheme_says_where_it_comes_from(name):
    scheme = scheme_named(name)
    assert scheme.name == name
    assert len(scheme.source) > 20
    assert scheme.title


@pytest.mark.parametrize("name", SCHEMES)
def test_a_gap_outdoors_is_a_gap_indoors(name):
    air = indoor_air(np.array([0.0, np.nan, 0.0]), np.array([50.0, 50.0, np.nan]), name)
    assert np.isnan(air.rh_pct).tolist() == [False, True, True]
    assert np.isnan(air.temperature_c).tolist() == [False, True, True]


def test_a_series_keeps_its_index():
    index = pd.date_range("2025-01-01", periods=3, freq="D", tz="UTC")
    air = indoor_air(pd.Series([-5.0, 0.0, 5.0], index=index), 80.0, "measured-dwelling")
    assert air.rh_pct.index.equals(index)


def test_an_uncooled_house_is_never_cooler_than_outdoors():
    air = indoor_air(np.array([25.0, 33.0]), 60.0, "dry-unhumidified")
    assert air.temperature_c.tolist() == [25.0, 33.0]
    assert air.rh_pct == pytest.approx([60.0, 60.0])


def test_more_water_added_is_damper_air():
    humidities = [indoor_air(0.0, 80.0, f"iso-13788-class-{number}").rh_pct for number in (1, 2, 3, 4, 5)]
    assert humidities == sorted(humidities)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: scheme_named("steamy"),
        lambda: indoor_air(80.0, 50.0),
        lambda: indoor_air(0.0, 101.0),
        lambda: room_humidity_at_surface_limit(0.0, 20.0, 1.2),
        lambda: condensation_ceiling(float("nan")),
        lambda: condensation_ceiling(-80.0),
    ],
)
def test_nonsense_is_refused_in_one_sentence(wrong):
    with pytest.raises(BadInput) as caught:
        wrong()
    assert "\n" not in str(caught.value)


def test_the_names_there_are_stand_in_the_error():
    with pytest.raises(BadInput, match="en-15026-normal"):
        scheme_named("EN 15026")


@pytest.mark.slow
@given(st.floats(10.0, 30.0))
def test_the_ceiling_never_rises_as_it_gets_colder(indoor_c):
    ceilings = np.array([condensation_ceiling(at, indoor_c).rh_pct for at in np.linspace(-60.0, 60.0, 121)])
    assert (np.diff(ceilings) >= -1e-9).all()
    assert ((ceilings >= 0.0) & (ceilings <= 60.0)).all()


@given(st.floats(-50.0, 40.0), st.floats(10.0, 30.0))
def test_at_the_ceiling_no_surface_is_past_its_limit(outdoor_c, indoor_c):
    ceiling = condensation_ceiling(outdoor_c, indoor_c)
    glass = room_humidity_at_surface_limit(outdoor_c, indoor_c, GLASS_F_RSI)
    wall = room_humidity_at_surface_limit(outdoor_c, indoor_c, WALL_F_RSI, 80.0)
    assert ceiling.rh_pct <= min(glass, wall, 60.0) + 1e-9
    assert {"glass": glass, "wall": wall, "health": 60.0}.get(
        ceiling.governing, ceiling.rh_pct
    ) == ceiling.rh_pct


def test_temperatures_outside_validity_say_which():
    with pytest.raises(OutsideValidity, match="outdoor_temperature_c"):
        condensation_ceiling(-99.0)
