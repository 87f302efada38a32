"""Moist air against PsychroLib 2.5 (ASHRAE Fundamentals 2017, Hyland-Wexler) and independent evaluations."""

import numpy as np
import psychrolib
import pytest

from model.wood.air import psychrometrics as air

TEMPERATURES = np.round(np.arange(-60.0, 100.5, 2.5), 3)
HUMIDITIES = np.array([1.0, 5.0, 15.0, 35.0, 50.0, 65.0, 85.0, 95.0, 100.0])


@pytest.fixture(autouse=True)
def si_units():
    psychrolib.SetUnitSystem(psychrolib.SI)


def test_saturation_pressure_equals_psychrolib():
    theirs = np.array([psychrolib.GetSatVapPres(t) for t in TEMPERATURES])
    assert air.saturation_vapour_pressure(TEMPERATURES) == pytest.approx(theirs, rel=1e-12)


def test_vapour_pressure_equals_psychrolib():
    for rh in HUMIDITIES:
        theirs = [psychrolib.GetVapPresFromRelHum(t, rh / 100) for t in TEMPERATURES]
        assert air.vapour_pressure(TEMPERATURES, rh) == pytest.approx(np.array(theirs), rel=1e-12)


@pytest.mark.slow
def test_dew_point_equals_psychrolib():
    # PsychroLib stops its own search at 0.001 K.
    for rh in HUMIDITIES:
        ours = air.dew_point(TEMPERATURES, rh)
        theirs = np.array(
            [
                psychrolib.GetTDewPointFromRelHum(t, rh / 100) if d > -99 else np.nan
                for t, d in zip(TEMPERATURES, ours, strict=True)
            ]
        )
        compared = ~np.isnan(theirs)
        assert compared.sum() > 48
        assert np.abs(ours - theirs)[compared].max() < 0.002


@pytest.mark.parametrize("pressure_pa", [101_325.0, 84_556.0])
def test_humidity_ratio_equals_psychrolib(pressure_pa):
    temperatures = TEMPERATURES[TEMPERATURES <= 60.0]
    for rh in HUMIDITIES:
        ratio = np.array([psychrolib.GetHumRatioFromRelHum(t, rh / 100, pressure_pa) for t in temperatures])
        # PsychroLib never returns a ratio below 1e-7.
        assert air.humidity_ratio(temperatures, rh, pressure_pa) == pytest.approx(ratio, rel=1e-9, abs=1.1e-7)


def test_humidity_from_dew_point_equals_psychrolib():
    for spread in (0.0, 2.0, 10.0, 25.0):
        temperatures = TEMPERATURES[(TEMPERATURES > -30.0) & (TEMPERATURES < 60.0)]
        theirs = [100 * psychrolib.GetRelHumFromTDewPoint(t, t - spread) for t in temperatures]
        ours = air.relative_humidity_from_dew_point(temperatures, temperatures - spread)
        assert ours == pytest.approx(np.array(theirs), rel=1e-12)


# Hyland-Wexler evaluated independently with 30 digits (mpmath) and printed by PsychroLib. Tolerances there:
# pressure 0.1 %, dew point 0.05 K, humidity ratio 2e-5; these hold to the printed figures.
@pytest.mark.parametrize(
    ("temperature_c", "pressure_pa"),
    [
        (-10.0, 259.903),
        (0.0, 611.154),
        (10.0, 1227.995),
        (20.0, 2338.804),
        (25.0, 3169.216),
        (30.0, 4246.030),
    ],
)
def test_saturation_pressure_computed_independently(temperature_c, pressure_pa):
    assert air.saturation_vapour_pressure(temperature_c) == pytest.approx(pressure_pa, abs=6e-4)


@pytest.mark.parametrize(
    ("temperature_c", "rh_pct", "vapour_pa", "dew_c", "ratio"),
    [
        (20.0, 50.0, 1169.40, 9.2724, 0.0072617),
        (21.0, 40.0, 995.067, 6.8995, 0.0061684),
        (25.0, 60.0, 1901.53, 16.7011, 0.0118950),
        (10.0, 80.0, 982.396, 6.7130, 0.0060891),
        (-5.0, 85.0, 341.500, -6.8879, 0.0021033),
    ],
)
def test_moist_air_computed_independently(temperature_c, rh_pct, vapour_pa, dew_c, ratio):
    assert air.vapour_pressure(temperature_c, rh_pct) == pytest.approx(vapour_pa, abs=0.006)
    assert air.dew_point(temperature_c, rh_pct) == pytest.approx(dew_c, abs=1e-4)
    assert air.humidity_ratio(temperature_c, rh_pct) == pytest.approx(ratio, abs=1e-7)


def test_air_at_altitude_computed_independently():
    # 84 556 Pa: the standard atmosphere at 1500 m.
    assert air.humidity_ratio(20.0, 50.0, 84_556.0) == pytest.approx(0.0087221, abs=1e-6)


@pytest.mark.parametrize(("outdoor_c", "indoor_rh_pct"), [(-10.0, 8.36), (0.0, 19.65), (10.0, 39.49)])
def test_outdoor_air_warmed_indoors_computed_independently(outdoor_c, indoor_rh_pct):
    assert air.relative_humidity_at(outdoor_c, 80.0, 21.0) == pytest.approx(indoor_rh_pct, abs=0.005)
