"""Cold iron in damp air: the lag of a plate, and when water comes on it."""

import math

import numpy as np
import psychrolib
import pytest

from model.wood.air.cold_iron import iron_temperature, is_wet, lag_h

psychrolib.SetUnitSystem(psychrolib.SI)


def test_a_step_of_the_air_is_followed_as_the_exponential_says():
    air = np.concatenate([[0.0], np.full(9, 10.0)])
    expected = 10.0 * (1.0 - np.exp(-np.arange(10) / lag_h(25.0)))
    np.testing.assert_allclose(iron_temperature(air, 25.0), expected, atol=1e-12)


def test_the_lag_is_heat_over_film():
    # 7500 kg/m3 x 450 J/(kg K) x 0.025 m / 7.7 W/(m2 K), worked by hand: 10,958 s.
    assert lag_h(25.0) * 3600.0 == pytest.approx(10_958.0, abs=1.0)
    assert lag_h(50.0) == pytest.approx(2.0 * lag_h(25.0))


@pytest.mark.slow
def test_a_warm_damp_day_after_a_cold_night_wets_iron():
    # Night at 2 C, 70 %; then doors open to 14 C, 80 %: dew point 10.6 C (ASHRAE's formulae in PsychroLib).
    night, day = 12, 10
    temperature_c = np.concatenate([np.full(night, 2.0), np.full(day, 14.0)])
    rh_pct = np.concatenate([np.full(night, 70.0), np.full(day, 80.0)])
    dew = psychrolib.GetTDewPointFromRelHum(14.0, 0.80)
    # The iron passes the dew point after lag x ln(12 / (14 - dew)) hours; only whole hours below count.
    wet_for = lag_h() * math.log(12.0 / (14.0 - dew))
    found = is_wet(temperature_c, rh_pct)
    assert not found[:night].any()
    assert found[night : night + math.floor(wet_for)].all()
    assert not found[night + math.ceil(wet_for) :].any()
    assert math.floor(wet_for) == 3


def test_an_hour_in_which_the_iron_dries_is_no_wet_hour():
    """Iron passes the dew point 3.8 h into a damp day: three hours are wet, the fourth only in part."""
    temperature_c = np.concatenate([np.full(12, 2.0), np.full(10, 14.0)])
    rh_pct = np.concatenate([np.full(12, 70.0), np.full(10, 80.0)])
    dew = psychrolib.GetTDewPointFromRelHum(14.0, 0.80)
    iron = iron_temperature(temperature_c)
    assert iron[14] < dew < iron[15]
    assert np.flatnonzero(is_wet(temperature_c, rh_pct)).tolist() == [12, 13, 14]


def test_iron_below_the_dew_point_for_part_of_an_hour_is_not_wet():
    # Air of 8 °C, then an hour of 12 °C: the iron goes from 8.0 to 9.1 °C. A dew point of 8.5 °C lies
    # between, and one of 11 °C (ASHRAE's formulae in PsychroLib) above both.
    air = np.array([8.0, 12.0])
    assert iron_temperature(air).round(1).tolist() == [8.0, 9.1]
    part, whole = (100.0 * psychrolib.GetRelHumFromTDewPoint(12.0, dew) for dew in (8.5, 11.0))
    assert is_wet(air, np.array([10.0, part])).tolist() == [False, False]
    assert is_wet(air, np.array([10.0, whole])).tolist() == [False, True]


@pytest.mark.parametrize(("temperature_c", "rh_pct"), [(20.0, 60.0), (5.0, 92.0)])
def test_still_air_and_heating_without_water_wet_nothing(temperature_c: float, rh_pct: float):
    air = np.full(48, temperature_c)
    assert not is_wet(air, np.full(48, rh_pct)).any()
    # Heated by 11 K with no water added: the dew point stays where it was, below the iron.
    heated = np.concatenate([np.full(24, 10.0), np.full(24, 21.0)])
    humidity = np.concatenate([np.full(24, 60.0), np.full(24, 29.7)])
    assert not is_wet(heated, humidity).any()


def test_thicker_iron_stays_wet_for_longer_and_no_air_is_no_answer():
    temperature_c = np.concatenate([np.full(12, 2.0), np.full(24, 14.0)])
    rh_pct = np.concatenate([np.full(12, 70.0), np.full(24, 80.0)])
    counts = [int(is_wet(temperature_c, rh_pct, mm).sum()) for mm in (10.0, 25.0, 60.0)]
    assert counts == sorted(counts)
    assert counts[0] < counts[2]
    assert len(is_wet(np.empty(0), np.empty(0))) == 0
