"""Units and words. An inch is 25.4 mm by definition; how makers write it is common practice, no source."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.words import display as say
from model.words import times
from model.words.display import Display

INCH, METRIC = Display("inch"), Display("metric")


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("width_mm", "inches"),
    [
        (368.3, "14-1/2 in"),
        (30.1625, "1-3/16 in"),
        (15.875, "5/8 in"),
        (25.4, "1 in"),
        (0.0, "0 in"),
        (0.79375, "1/32 in"),
        (-0.79375, "−1/32 in"),
        (355.6 + 25.4 * 19 / 32, "14-19/32 in"),
    ],
)
def test_a_length_is_a_mixed_fraction_with_its_hyphen(width_mm, inches):
    assert plain(INCH.length(width_mm)) == inches


def test_metric_lengths_go_by_half_millimetres_and_small_ones_by_tenths():
    assert plain(METRIC.length(368.3)) == "368.5 mm"
    assert plain(METRIC.length(2.14, finest=64)) == "2.1 mm"


def test_a_length_that_is_not_known_is_a_dash():
    assert INCH.length(None) == INCH.length(float("nan")) == "–"


@given(st.floats(-2000, 2000), st.sampled_from([32, 64]), st.sampled_from([INCH, METRIC]))
def test_rounding_down_never_gives_more_than_there_is_nor_up_less(width_mm, finest, display):
    down, up = (display.bare_length(width_mm, toward, finest) for toward in ("down", "up"))
    assert in_mm(down, display) <= width_mm + 1e-6
    assert in_mm(up, display) >= width_mm - 1e-6
    step_mm = 25.4 / finest if display is INCH else (0.5 if finest == 32 else 0.1)
    assert in_mm(up, display) - in_mm(down, display) <= step_mm + 1e-6


def in_mm(text: str, display: Display) -> float:
    sign = -1 if text.startswith("−") else 1
    text = text.lstrip("−")
    if display.units == "metric":
        return sign * float(text)
    whole, _, rest = text.rpartition("-") if "-" in text else ("0", "", text)
    return sign * float(Fraction(whole) + Fraction(rest)) * 25.4


def test_an_exact_fraction_is_not_lost_to_the_last_bit_of_a_float():
    for sixty_fourths in range(1, 2000):
        exact_mm = sixty_fourths * 25.4 / 64
        assert INCH.bare_length(exact_mm, "down", 64) == INCH.bare_length(exact_mm, "up", 64)


def test_a_margin_is_said_no_larger_than_it_is_and_an_overrun_no_smaller():
    assert plain(INCH.margin(2.1)) == "5/64 in"  # 2.1 mm is 5.29 sixty-fourths
    assert plain(INCH.overrun(-0.5)) == "1/32 in"  # 0.5 mm is 1.26 sixty-fourths
    assert plain(METRIC.margin(2.19)) == "2.1 mm"
    assert plain(INCH.margin(0.1)) == "under 1/64 in"
    assert plain(INCH.margin(0.0)) == "0 in"


def test_temperatures():
    assert plain(INCH.temperature(21.1)) == "70 °F"
    assert plain(METRIC.temperature(21.1)) == "21 °C"
    assert plain(METRIC.temperature(-0.2)) == "0 °C"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (30.2, 63.9, "31–63 %"),
        (None, 63.9, "up to 63 %"),
        (30.2, None, "31 % and up"),
        (None, None, "any humidity"),
        (44.3, 44.8, "no humidity at all"),
        (31.0, 63.0, "31–63 %"),
    ],
)
def test_a_window_of_humidity_is_rounded_inward(low, high, words):
    assert plain(say.humidity_range(low, high)) == words


def test_differences_of_moisture_are_points():
    assert plain(say.points(-2.0)) == "2 points"
    assert plain(say.points(1.0)) == "1 point"
    assert plain(say.points(0.84)) == "0.8 points"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.2, 0.6, "within a day"),
        (10.9, 20.9, "in 10 to 20 days"),
        (14.2, 27.0, "in 2 to 3 weeks"),
        (28.0, 33.0, "in about 4 weeks"),
        (100.0, 200.0, "in 3 to 6 months"),
        (5.0, 5.9, "in about 5 days"),
        (0.3, 1.8, "in about 1 day"),
        (4.0, 25.0, "within 3 weeks"),
        (12.0, 310.0, "within 10 months"),
    ],
)
def test_a_lead_time_is_a_range_rounded_early(low, high, words):
    assert plain(times.lead_time(low, high)) == words


def test_a_silence_is_told_in_the_unit_a_maker_counts_it_in():
    now = datetime(2026, 2, 10, tzinfo=UTC)
    assert plain(times.ago(now - timedelta(seconds=20), now)) == "just now"
    assert plain(times.ago(now - timedelta(minutes=4), now)) == "4 minutes ago"
    assert plain(times.ago(now - timedelta(hours=36), now)) == "36 hours ago"
    assert plain(times.ago(now - timedelta(days=9), now)) == "9 days ago"
    assert times.ago(None, now) == "never"


def test_a_date_is_that_of_the_place():
    at = datetime(2026, 8, 14, 3, 20, tzinfo=UTC)
    assert times.day(at, "America/New_York") == "Aug 13"
    assert times.day(at, "Europe/Vienna", "metric") == "14 Aug"
    assert plain(times.moment(at, "America/New_York")) == "Aug 13, 11:20 pm"
    assert times.moment(at, "Europe/Vienna", "metric") == "14 Aug 05:20"
    assert times.day(at, "UTC", now=datetime(2027, 1, 2, tzinfo=UTC)) == "Aug 14, 2026"


def test_an_unknown_zone_is_no_reason_to_fail():
    assert times.day(datetime(2026, 8, 14, 3, tzinfo=UTC), "Nowhere/At_All") == "Aug 14"


def test_seasons_turn_over_at_the_equator():
    january = datetime(2026, 1, 15, tzinfo=UTC)
    assert times.season(january, "America/New_York") == "winter"
    assert times.season(january, "Australia/Hobart") == "summer"
    assert times.season(january, "UTC", latitude_deg=-43.0) == "summer"
    assert times.season(datetime(2026, 10, 15, tzinfo=UTC), "Europe/Vienna") == "autumn"


def test_not_knowing_hides_no_known_trouble_and_is_never_easy():
    assert say.worst(["clear", "unknown", "near"]) == "near"
    assert say.worst(["clear", "unknown"]) == "unknown"
    assert say.worst([]) == "unknown"


def test_words():
    assert say.joined(["a", "b", "c"]) == "a, b and c"
    assert say.said("back_panel") == "back panel"
    assert say.sentence("the tongue leaves its groove") == "The tongue leaves its groove."
    assert say.sentence("") == ""


@pytest.mark.parametrize(
    ("doubt_mm", "inch", "metric"),
    [
        (0.0, "1/64 in", "0.1 mm"),  # never "± 0"
        (0.41, "1/32 in", "0.5 mm"),  # a hair over a 64th
        (0.79, "1/32 in", "0.8 mm"),
        (1.38, "1/16 in", "1.4 mm"),
        (5.0, "7/32 in", "5.0 mm"),  # by 32nds from an eighth on: 6.3 of them
    ],
)
def test_a_doubt_is_rounded_up_and_is_never_nothing(doubt_mm, inch, metric):
    assert plain(INCH.doubt(doubt_mm)) == inch
    assert plain(METRIC.doubt(doubt_mm)) == metric


def test_a_size_is_said_with_its_doubt_in_one_unit():
    assert plain(INCH.with_doubt(458.0, 0.7)) == "18-1/32 ± 1/32 in"
    assert plain(METRIC.with_doubt(458.0, 0.7)) == "458.0 ± 0.7 mm"
    assert plain(INCH.margin(0.2, 0.7)) == "0 ± 1/32 in"
    assert plain(INCH.overrun(-0.9, 0.7)) == "3/64 ± 1/32 in"
