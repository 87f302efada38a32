"""Lengths and temperatures as people write them, and ranges."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.errors import BadInput, OutsideValidity
from model.wood.units import (
    Range,
    apply,
    celsius_to_fahrenheit,
    fahrenheit_to_celsius,
    parse_length_mm,
    parse_temperature_c,
)

HUMIDITY = Range("rh_pct", 0.0, 100.0, "%")


# An inch is 25.4 mm exactly (international yard and pound agreement, 1959).
@pytest.mark.parametrize(
    ("written", "length_mm"),
    [
        ("368mm", 368.0),
        ("368 mm", 368.0),
        ("36.8 cm", 368.0),
        ("1.2 m", 1200.0),
        ("14 1/2in", 368.3),
        ("14-1/2 in", 368.3),
        ("14 - 1/2 inches", 368.3),
        ("14½in", 368.3),
        ("14½ in.", 368.3),
        ("5/8in", 15.875),
        ('5/8"', 15.875),
        ("5⁄8 in", 15.875),
        ('14.5"', 368.3),
        ("14.5''", 368.3),
        (".5 in", 12.7),
        ("3ft", 914.4),
        ("4ft 6 1/2in", 1384.3),
        ("4' 6\"", 1371.6),
        ("4'-6 1/2\"", 1384.3),
        ("  7/8 IN ", 22.225),
        ("14", 14.0),
        ("368,5 mm", 368.5),
        ("0,125in", 3.175),
        ("14–1/2 in", 368.3),
        ('2⅞"', 73.025),
        ("⅒ in", 2.54),
        ("0mm", 0.0),
        (368, 368.0),
        (368.3, 368.3),
        (np.float64(12.5), 12.5),
    ],
)
def test_length_as_a_maker_writes_it(written, length_mm):
    assert parse_length_mm(written) == pytest.approx(length_mm, abs=1e-9)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("", "must be a length"),
        ("   ", "must be a length"),
        ("wide", "must be a length"),
        ("14 1/0in", "zero under the fraction bar"),
        ("1/2", "must say its unit"),
        ("14 1/2", "must say its unit"),
        ("3 furlongs", "one of the units mm, cm, m, in or ft"),
        ("-3mm", "must not be negative"),
        (-3.0, "must not be negative"),
        ("nan", "must be a length"),
        (math.nan, "must be a finite length"),
        (math.inf, "must be a finite length"),
        (True, "must be a length"),
        (None, "must be a length"),
        ([14], "must be a length"),
    ],
)
def test_a_length_that_is_none_is_answered_in_one_sentence(written, said):
    with pytest.raises(BadInput, match=said) as caught:
        parse_length_mm(written, "bench.toml", "width")
    assert str(caught.value).startswith("bench.toml: width ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("written", ["18", "18.5", "14 1/2", "14½"])
def test_a_bare_length_is_mm_inches_or_asked_back_as_the_caller_says(written):
    inches = {"18": 18, "18.5": 18.5}.get(written, 14.5)
    assert parse_length_mm(written, bare="in") == pytest.approx(inches * 25.4)
    with pytest.raises(BadInput, match=r"must say its unit \(1.* in or 1.* mm\?\)"):
        parse_length_mm(written, bare=None)
    if written.startswith("18"):
        assert parse_length_mm(written) == inches


def test_a_comma_that_may_mark_thousands_is_asked_back():
    with pytest.raises(BadInput, match=r"\(1250 or 1\.250\?\)"):
        parse_length_mm("1,250 mm")


def test_a_bare_temperature_is_read_in_the_unit_that_the_caller_shows():
    assert parse_temperature_c("45") == 45.0
    assert parse_temperature_c("45", bare="F") == pytest.approx(65 / 9)
    assert parse_temperature_c("7,5 °", bare="C") == 7.5
    with pytest.raises(BadInput, match=r"must say its unit \(45 F or 45 C\?\)"):
        parse_temperature_c("45", bare=None)


@given(whole=st.integers(0, 200), top=st.integers(0, 63), unit=st.sampled_from(["in", '"', " inches"]))
def test_fraction_and_decimal_inches_agree(whole, top, unit):
    written = f"{whole}-{top}/64{unit}"
    assert parse_length_mm(written) == pytest.approx((whole + top / 64) * 25.4, abs=1e-6)


@pytest.mark.parametrize(
    ("written", "temperature_c"),
    [
        ("21C", 21.0),
        ("21", 21.0),
        ("21 °C", 21.0),
        ("21 degrees C", None),
        ("21 deg C", 21.0),
        ("-5C", -5.0),
        ("−5 °C", -5.0),
        ("+4.5c", 4.5),
        ("70F", 190 / 9),
        ("32 °F", 0.0),
        ("294K", 20.85),
        (21, 21.0),
        (-12.5, -12.5),
    ],
)
def test_temperature_as_a_maker_writes_it(written, temperature_c):
    if temperature_c is None:
        with pytest.raises(BadInput, match="one of the units C, F or K"):
            parse_temperature_c(written)
    else:
        assert parse_temperature_c(written) == pytest.approx(temperature_c, abs=1e-9)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("", "must be a temperature"),
        ("warm", "must be a temperature"),
        ("21R", "one of the units"),
        ("-300C", "absolute zero"),
        (-500.0, "absolute zero"),
        (math.nan, "finite"),
        (False, "must be a temperature"),
        (None, "must be a temperature"),
    ],
)
def test_a_temperature_that_is_none_is_answered_in_one_sentence(written, said):
    with pytest.raises(BadInput, match=said):
        parse_temperature_c(written, "--temperature")


@given(st.floats(-200, 1000))
def test_fahrenheit_there_and_back(temperature_c):
    assert fahrenheit_to_celsius(celsius_to_fahrenheit(temperature_c)) == pytest.approx(
        temperature_c, abs=1e-9
    )


# Fixed points of the two scales, by definition.
@pytest.mark.parametrize(("f", "c"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0)])
def test_fahrenheit_fixed_points(f, c):
    assert fahrenheit_to_celsius(f) == pytest.approx(c, abs=1e-12)
    assert celsius_to_fahrenheit(c) == pytest.approx(f, abs=1e-12)


def test_a_scalar_outside_names_the_value_and_the_range():
    with pytest.raises(OutsideValidity, match=r"rh_pct must lie in 0 to 100 %, got 140\.2"):
        HUMIDITY.check(140.2)


@pytest.mark.parametrize("value", [math.inf, -math.inf, 100.0001, -1, np.float64(101), np.array(101.0)])
def test_a_scalar_outside_is_refused(value):
    with pytest.raises(OutsideValidity):
        HUMIDITY.check(value)


@pytest.mark.parametrize("value", ["40", None, True, ["a"], {"rh": 3}])
def test_what_is_no_number_is_refused(value):
    with pytest.raises(BadInput, match="rh_pct must"):
        HUMIDITY.check(value)


def test_an_array_outside_becomes_nan():
    values = np.array([40.0, 140.2, np.nan, -1.0, 100.0, np.inf])
    assert np.isnan(HUMIDITY.check(values)).tolist() == [False, True, True, True, False, True]


def test_shapes_come_back_as_they_came():
    index = pd.date_range("2026-01-01", periods=3, freq="h", tz="UTC")
    series = pd.Series([10.0, 20.0, 30.0], index=index)
    double = (HUMIDITY, series), (Range("factor", 0, 9, ""), 2.0)
    result = apply(lambda a, b: a * b, *double)
    assert isinstance(result, pd.Series)
    assert result.index.equals(index)
    assert result.tolist() == [20.0, 40.0, 60.0]
    assert isinstance(apply(lambda a: a, (HUMIDITY, 3)), float)
    assert isinstance(apply(lambda a: a, (HUMIDITY, [3, 4])), np.ndarray)
    assert apply(lambda a: a, (HUMIDITY, np.array([]))).shape == (0,)


def test_two_series_must_stand_on_one_index():
    one, other = pd.Series([1.0, 2.0]), pd.Series([1.0, 2.0], index=[5, 6])
    with pytest.raises(BadInput, match="same index"):
        apply(lambda a, b: a + b, (HUMIDITY, one), (HUMIDITY, other))
