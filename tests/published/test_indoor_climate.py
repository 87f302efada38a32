"""Indoor air without a sensor, and how damp a room may be, against published values.

EN 15026:2007 Annex C break-points as read in three public implementations; EN ISO 13788 excess as read in
three public copies (the standards themselves were not re-read); Kalamees, Vinha and Kurnitski,
J. Building Physics 2006. Resulting humidities were computed independently (mpmath) from those and the ASHRAE
saturation pressure.
"""

from dataclasses import replace

import numpy as np
import pytest

from model.wood.air.condensation import (
    GLASS_F_RSI,
    condensation_ceiling,
    room_humidity_at_surface_limit,
)
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.climate.indoor import SCHEMES, indoor_air
from model.wood.units import fahrenheit_to_celsius

# EN 15026 Annex C; EMC by Wood Handbook eq. 4-5, computed independently. Tolerance 0.01 on both.
ANNEX_C = [
    (-10.0, 20.0, 30.0, 6.188, 40.0, 7.722),
    (0.0, 20.0, 40.0, 7.722, 50.0, 9.271),
    (10.0, 20.0, 50.0, 9.271, 60.0, 11.000),
    (15.0, 22.5, 55.0, 10.028, 65.0, 11.908),
    (20.0, 25.0, 60.0, 10.832, 70.0, 12.931),
]


@pytest.mark.parametrize(("outdoor_c", "room_c", "normal", "emc_normal", "high", "emc_high"), ANNEX_C)
def test_en_15026_annex_c(outdoor_c, room_c, normal, emc_normal, high, emc_high):
    for scheme, rh, emc in (
        ("en-15026-normal", normal, emc_normal),
        ("en-15026-high", high, emc_high),
    ):
        air = indoor_air(outdoor_c, 80.0, scheme)
        assert air.temperature_c == pytest.approx(room_c, abs=0.01)
        assert air.rh_pct == pytest.approx(rh, abs=0.01)
        assert equilibrium_moisture_content(*air) == pytest.approx(emc, abs=0.01)


def test_en_15026_is_level_beyond_its_break_points():
    assert indoor_air(-25.0, 80.0) == indoor_air(-10.0, 80.0)
    assert indoor_air(35.0, 80.0) == indoor_air(20.0, 80.0)


@pytest.mark.parametrize(("outdoor_c", "normal"), [(-10.0, 35.0), (5.0, 50.0), (20.0, 65.0)])
def test_continental_form_of_iso_13788(outdoor_c, normal):
    # EN ISO 13788:2012, two public copies: 35 to 65 %, high occupancy 5 more.
    assert indoor_air(outdoor_c, 80.0, "iso-13788-continental-normal").rh_pct == pytest.approx(normal)
    assert indoor_air(outdoor_c, 80.0, "iso-13788-continental-high").rh_pct == pytest.approx(normal + 5.0)


# Computed independently, tolerance 0.15 % of humidity (the choice of saturation formula).
@pytest.mark.parametrize(
    ("outdoor_c", "outdoor_rh", "room_c", "number", "rh"),
    [
        (0.0, 85.0, 20.0, 2, 45.30),
        (0.0, 85.0, 20.0, 3, 56.84),
        (10.0, 80.0, 20.0, 3, 59.32),
        (-10.0, 90.0, 21.0, 2, 31.11),
    ],
)
def test_iso_13788_classes(outdoor_c, outdoor_rh, room_c, number, rh):
    scheme = replace(SCHEMES[f"iso-13788-class-{number}"], room_c=((0.0, room_c),))
    assert indoor_air(outdoor_c, outdoor_rh, scheme).rh_pct == pytest.approx(rh, abs=0.15)


@pytest.mark.parametrize(("outdoor_c", "rh"), [(-10.0, 32.03), (0.0, 44.04), (10.0, 57.91)])
def test_measured_dwellings(outdoor_c, rh):
    # +4 g/m3 at 5 °C and below, +1.5 at 15 and above (101 houses); humidities computed independently.
    assert indoor_air(outdoor_c, 80.0, "measured-dwelling").rh_pct == pytest.approx(rh, abs=0.15)


@pytest.mark.parametrize(("outdoor_c", "rh"), [(-10.0, 8.36), (0.0, 19.65), (10.0, 39.49)])
def test_outdoor_air_with_nothing_added_computed_independently(outdoor_c, rh):
    nothing_added = replace(SCHEMES["dry-unhumidified"], excess_g_m3=())
    assert indoor_air(outdoor_c, 80.0, nothing_added).rh_pct == pytest.approx(rh, abs=0.01)


def test_a_house_without_humidifier_is_drier_than_the_design_profile():
    # Common practice, no source: heated houses sit at 15 to 30 % in a cold January.
    outdoor = np.linspace(-15.0, 2.0, 18)
    dry = indoor_air(outdoor, 80.0, "dry-unhumidified").rh_pct
    assert (dry < indoor_air(outdoor, 80.0, "en-15026-normal").rh_pct).all()
    assert ((dry > 9.0) & (dry < 30.0)).all()


# T_e + f (T_i - T_e), glass by f = 1 - 0.13 U: computed independently, tolerance 0.1.
@pytest.mark.parametrize(
    ("f_rsi", "condenses_at", "mould_at"),
    [
        (1.0 - 2.8 * 0.13, 49.4, None),
        (1.0 - 1.1 * 0.13, 76.3, None),
        (0.5, 37.3, 29.8),
        (0.7, 56.1, 44.9),
    ],
)
def test_cold_surfaces_at_20_in_and_minus_10_out(f_rsi, condenses_at, mould_at):
    assert room_humidity_at_surface_limit(-10.0, 20.0, f_rsi) == pytest.approx(condenses_at, abs=0.1)
    if mould_at is not None:
        assert room_humidity_at_surface_limit(-10.0, 20.0, f_rsi, 80.0) == pytest.approx(mould_at, abs=0.1)


def test_glazing_is_turned_into_a_temperature_factor():
    assert pytest.approx(0.636, abs=1e-9) == GLASS_F_RSI


# Home-energy guidance for double glazing: highest room humidity by outdoor temperature.
@pytest.mark.parametrize(
    ("outdoor_f", "rh"),
    [(40.0, 45.0), (32.0, 40.0), (20.0, 35.0), (10.0, 30.0), (0.0, 25.0), (-10.0, 20.0), (-20.0, 15.0)],
)
def test_ceiling_never_goes_above_the_published_table(outdoor_f, rh):
    assert condensation_ceiling(fahrenheit_to_celsius(outdoor_f), 20.0).rh_pct <= rh + 1e-9


# The cold rows of that table, where nothing else is lower, and 5 % for every 10 °F more of frost beyond its
# last row, which is its own step carried on (no source prints it), down to nothing.
@pytest.mark.parametrize(
    ("outdoor_f", "rh"),
    [(0.0, 25.0), (-10.0, 20.0), (-20.0, 15.0), (-25.0, 12.5), (-30.0, 10.0), (-40.0, 5.0), (-60.0, 0.0)],
)
def test_the_ceiling_falls_with_the_frost_to_its_cold_end(outdoor_f, rh):
    ceiling = condensation_ceiling(fahrenheit_to_celsius(outdoor_f))
    assert ceiling.rh_pct == pytest.approx(rh, abs=1e-6)
    assert ceiling.governing == "table"


def test_at_zero_fahrenheit_no_more_than_25_percent_is_advised():
    # The trade's acceptance case: a piece that wants 31 % or more must not get it at 0 °F outside.
    ceiling = condensation_ceiling(fahrenheit_to_celsius(0.0))
    assert ceiling.rh_pct == pytest.approx(25.0, abs=1e-9)
    assert ceiling.rh_pct < 31.0
    assert ceiling.governing == "table"


def test_ceiling_is_60_percent_in_mild_weather():
    # US EPA: keep rooms below 60 %.
    assert condensation_ceiling(25.0).governing == "health"
    assert condensation_ceiling(25.0).rh_pct == 60.0
