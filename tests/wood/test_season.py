"""Yearly air with its spread: what is learned, what is not, and what is drawn."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.wood.climate import seasonal_model as season
from model.wood.climate.seasonal_model import Expectation, learn
from model.wood.errors import BadInput

DAYS = np.arange(365)
USUAL = Expectation(
    20.0 + 2.5 * np.sin(2 * np.pi * (DAYS - 110) / 365), 45.0 + 10.0 * np.sin(2 * np.pi * (DAYS - 120) / 365)
)
FIRST = 20_000  # 2024-10-04
NOTHING = np.empty(0)


def house(days: int, seed: int = 1, level: float = 0.0, swing: float = 0.35) -> tuple[np.ndarray, np.ndarray]:
    """Days of an invented house: a yearly wave in the logit of its humidity, and weather on it."""
    rng = np.random.default_rng(seed)
    at = FIRST + np.arange(days)
    wave = swing * np.cos(2 * np.pi * (at - 210) / 365.2425)
    spells = np.zeros(days)
    for day in range(1, days):
        spells[day] = 0.75 * spells[day - 1] + 0.1 * rng.standard_normal()
    temperature = 21.0 + 1.5 * np.cos(2 * np.pi * (at - 200) / 365.2425) + 0.5 * rng.standard_normal(days)
    return temperature, season.humidity_of(-0.3 + level + wave + spells)


def test_without_history_the_middle_year_is_what_was_expected():
    (known,) = learn(FIRST, NOTHING, NOTHING, USUAL, [FIRST - 1])
    middle = known.middle(365)
    rows = season.row_of_year(FIRST + np.arange(365))
    assert middle.rh_pct == pytest.approx(USUAL.rh_pct[rows], abs=1e-9)
    assert middle.temperature_c == pytest.approx(USUAL.temperature_c[rows], abs=1e-9)
    assert known.seen_share == 0.0


def test_a_year_of_history_outweighs_what_was_expected():
    temperature, humidity = house(365, level=-0.5)
    (known,) = learn(FIRST, temperature, humidity, USUAL, [FIRST + 364])
    ahead = known.middle(365).rh_pct
    # The same house a year on, without its weather.
    at = FIRST + 365 + np.arange(365)
    truth = season.humidity_of(-0.8 + 0.35 * np.cos(2 * np.pi * (at - 210) / 365.2425))
    assert np.abs(ahead - truth).mean() < 2.5
    assert np.abs(USUAL.rh_pct[season.row_of_year(at)] - truth).mean() > 8.0
    assert known.seen_days == 365


def test_what_lies_between_is_weighted_by_what_was_seen():
    temperature, humidity = house(400, level=-0.5)
    at = [FIRST + n - 1 for n in (0, 30, 120, 240, 365)]
    spreads = []
    for known in learn(FIRST, temperature, humidity, USUAL, at):
        low, high = np.percentile(known.years(200, 200, 1).rh_pct[-60:], [10, 90], axis=1)
        spreads.append(float(np.mean(high - low)))
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[0] > 2.0 * spreads[-1]


def test_the_first_days_go_on_from_todays_air():
    temperature, humidity = house(365)
    humidity[-4:] += 12.0
    (known,) = learn(FIRST, temperature, humidity, USUAL, [FIRST + 364])
    drawn = known.years(60, 400, 1).rh_pct
    middle = np.median(drawn, axis=1)
    assert middle[0] > humidity[-30:-4].mean() + 4.0
    near, far = drawn[0].std(), drawn[-1].std()
    assert near < far


def test_years_drawn_keep_the_weathers_memory():
    temperature, humidity = house(730)
    (known,) = learn(FIRST, temperature, humidity, USUAL, [FIRST + 729])
    drawn = known.years(365, 50, 3).rh_pct
    weather = drawn - drawn.mean(axis=1, keepdims=True)
    # The house was made with 0.75 from one day to the next.
    shares = [np.corrcoef(year[:-1], year[1:])[0, 1] for year in weather.T]
    assert 0.6 < np.mean(shares) < 0.97


def test_what_is_known_follows_from_the_past_alone():
    temperature, humidity = house(300)
    (before,) = learn(FIRST, temperature, humidity, USUAL, [FIRST + 199])
    humidity[200:] = 5.0
    several = learn(FIRST, temperature, humidity, USUAL, [FIRST + 100, FIRST + 199, FIRST + 250])
    assert np.array_equal(several[1].years(30, 50, 1).rh_pct, before.years(30, 50, 1).rh_pct)


def test_a_shorter_look_is_the_beginning_of_a_longer_one():
    (known,) = learn(FIRST, *house(200), USUAL, [FIRST + 199])
    short, long = known.years(40, 50, 9), known.years(365, 50, 9)
    assert np.array_equal(short.rh_pct, long.rh_pct[:40])
    assert np.array_equal(short.temperature_c, long.temperature_c[:40])


def test_a_hole_in_the_record_teaches_nothing_and_breaks_nothing():
    temperature, humidity = house(365)
    holed_c, holed_rh = temperature.copy(), humidity.copy()
    holed_c[100:160] = holed_rh[100:160] = np.nan
    whole, holed = (
        learn(FIRST, *rows, USUAL, [FIRST + 364])[0]
        for rows in ((temperature, humidity), (holed_c, holed_rh))
    )
    assert holed.measured_days == 305
    assert np.isfinite(holed.years(365, 50, 1).rh_pct).all()
    assert np.abs(whole.middle(30).rh_pct - holed.middle(30).rh_pct).max() < 3.0


def test_a_long_silence_leads_back_to_the_season():
    temperature, humidity = house(365)
    humidity[-20:] += 10.0
    near, late = learn(FIRST, temperature, humidity, USUAL, [FIRST + 364, FIRST + 365 + 150])
    first, later = near.years(1, 400, 1).rh_pct, late.years(1, 400, 1).rh_pct
    assert later.std() > 1.5 * first.std()


@settings(max_examples=30)
@given(
    level=st.floats(-3.0, 3.0), swing=st.floats(0.0, 2.0), days=st.integers(0, 60), seed=st.integers(0, 99)
)
def test_whatever_the_house_its_years_are_air_that_can_be(level, swing, days, seed):
    (known,) = learn(FIRST, *house(days, seed, level, swing), USUAL, [FIRST + days - 1])
    drawn = known.years(40, 20, seed)
    assert drawn.rh_pct.min() >= 1.0
    assert drawn.rh_pct.max() <= 99.0
    assert np.isfinite(drawn.temperature_c).all()


def test_made_up_houses_come_where_they_were_foretold():
    # Nominal 80 %; forty houses of eight sorts, each foretold from one midnight after a year.
    inside = []
    for seed in range(40):
        level, swing = -0.6 + 0.15 * (seed % 8), 0.2 + 0.05 * (seed % 5)
        temperature, humidity = house(365 + 180, seed, level, swing)
        (known,) = learn(FIRST, temperature, humidity, USUAL, [FIRST + 364])
        low, high = np.percentile(known.years(180, 50, seed).rh_pct, [10, 90], axis=1)
        inside.append(np.mean((humidity[365:] >= low) & (humidity[365:] <= high)))
    assert 0.70 < np.mean(inside) < 0.92


def test_daily_means_want_half_a_day_of_readings():
    hours = 72
    temperature, humidity = np.full(hours, 20.0), np.repeat([40.0, 50.0, 60.0], 24)
    measured = np.ones(hours, dtype=bool)
    measured[24:40] = False
    first, (means_c, means_rh) = season.daily_means(FIRST * 24, measured, temperature, humidity)
    assert first == FIRST
    assert means_rh[[0, 2]].tolist() == [40.0, 60.0]
    assert np.isnan(means_rh[1])
    assert means_c[0] == 20.0


def test_a_record_may_begin_within_a_day():
    first, (means,) = season.daily_means(FIRST * 24 + 6, np.ones(42), np.full(42, 44.0))
    assert first == FIRST
    assert means.tolist() == [44.0, 44.0]


def test_the_day_of_the_year_is_the_calendars():
    days = np.array(["2024-01-01", "2024-02-29", "2024-03-01", "2025-12-31"], dtype="datetime64[D]")
    assert season.row_of_year(days.astype(np.int64)).tolist() == [0, 58, 59, 364]


@pytest.mark.parametrize("years", [0, 1, 7])
def test_an_uneven_number_of_years_is_refused(years):
    (known,) = learn(FIRST, NOTHING, NOTHING, USUAL, [FIRST])
    with pytest.raises(BadInput, match="even number"):
        known.years(10, years, 1)


def test_an_expectation_that_is_no_air_is_refused():
    with pytest.raises(BadInput, match="must lie in 1 to 99, got 140"):
        Expectation(np.full(365, 20.0), np.full(365, 140.0))
    with pytest.raises(BadInput, match="365 days"):
        Expectation(np.full(12, 20.0), np.full(365, 40.0))
