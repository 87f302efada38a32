"""Each signature of a faulty sensor: seen where it is, and not where air does what air does.

The signatures and their limits are common practice of those who keep humidity sensors, no source.
"""

import numpy as np
import pytest

from model.watch.trust import cross_sensor as company
from model.watch.trust import presence, signatures
from model.watch.trust.findings import DAY_MS, HOUR_MS, OPEN_MS
from model.watch.trust.series import Nearby
from model.wood.air.psychrometrics import relative_humidity_at
from tests.said import said
from tests.watch.trust_series import ALONE, T0, doubts, quarter_hours, with_values


def all_quick(series, beside=ALONE):
    return doubts(
        [
            *signatures.out_of_range(series),
            *signatures.jumps(series, beside),
            *signatures.stuck(series, beside),
            *signatures.pegged(series, beside),
            *signatures.moved(series, beside),
            *company.warm(series, beside),
        ]
    )


# ---------------------------------------------------------------- air that does what air does


def day(amplitude, hours=72.0):
    return amplitude * np.sin(np.arange(round(hours * 4)) * 2.0 * np.pi / 96.0)


def test_a_sharp_front_is_no_jump():
    rh = np.where(np.arange(96) < 48, 75.0, 48.0)
    assert all_quick(quarter_hours(24, 20.0, rh)) == []


def test_wet_sanding_and_glue_are_no_jump():
    rh = np.full(96, 45.0)
    rh[40:52] += 12.0  # points of humidity for hours
    assert all_quick(quarter_hours(24, 20.0, rh)) == []


def test_a_night_without_heat_moves_humidity_but_no_dew_point():
    temperature = np.where((np.arange(192) // 48) % 2 == 0, 21.0, 9.0)  # at once, faster than any shop
    rh = relative_humidity_at(21.0, 35.0, temperature)
    assert rh.max() - rh.min() > signatures.JUMP_PCT
    series = quarter_hours(48, temperature, rh)
    assert doubts(signatures.jumps(series, ALONE)) == []
    assert doubts(signatures.moved(series, ALONE)) == []


def test_a_stove_that_dries_the_air_in_an_afternoon_is_no_fault():
    rh = 45.0 - 20.0 * np.clip(np.arange(96) - 40, 0, 24) / 24.0
    temperature = 12.0 + 10.0 * np.clip(np.arange(96) - 40, 0, 24) / 24.0
    assert all_quick(quarter_hours(24, temperature, rh)) == []


def test_a_week_of_ordinary_air_raises_nothing_alone_or_in_company():
    series = quarter_hours(168, 20.0 + day(2.0, 168), 45.0 + day(6.0, 168))
    other = quarter_hours(168, 19.0 + day(2.0, 168), 46.0 + day(6.0, 168), "rack", 2)
    assert all_quick(series) == []
    assert all_quick(series, Nearby([other])) == []


def test_no_readings_and_one_reading_raise_nothing():
    for n in (0, 1):
        series = quarter_hours(0.25 * n)
        assert all_quick(series) == []
        assert company.drift(series, ALONE) == []
        assert presence.silences(series.at_ms, [(0, OPEN_MS)], T0) == []


# ---------------------------------------------------------------- out of range


def test_hot_as_no_room_is_says_what_it_would_be_in_fahrenheit():
    (found,) = all_quick(quarter_hours(6, 70.0, 45.0 + day(3.0, 6)))
    assert (found.kind, found.until_ms) == ("out-of-range", OPEN_MS)
    assert "as Fahrenheit it would be 21 °C" in said(found)


def test_dry_as_no_room_is_doubted_until_it_recovers():
    series = with_values(quarter_hours(24), slice(20, 30), rh_pct=2.0)
    (found,) = doubts(signatures.out_of_range(series))
    assert (found.since_ms, found.until_ms) == (series.at_ms[20], series.at_ms[29])


def test_a_steam_heated_flat_in_a_hard_frost_is_in_range():
    assert all_quick(quarter_hours(48, 23.0, 9.0 + day(1.0, 48))) == []


# ---------------------------------------------------------------- jump


# ---------------------------------------------------------------- stuck


def test_41_percent_forty_eight_times_running_is_stuck():
    # A quarter of an hour each: twelve hours in which its own temperature moved and it didn't.
    series = with_values(quarter_hours(12, 20.0 + day(1.0, 12)), slice(None), rh_pct=41.0)
    (found,) = all_quick(series)
    assert (found.kind, found.since_ms, found.until_ms) == ("stuck", series.at_ms[0], OPEN_MS)
    assert "41.0 %" in said(found)


def test_one_reading_fewer_is_not_yet_stuck():
    series = with_values(quarter_hours(11.75, 20.0 + day(1.0, 11.75)), slice(None), rh_pct=41.0)
    assert all_quick(series) == []


def test_where_nothing_speaks_against_it_it_is_only_perhaps_stuck():
    series = with_values(quarter_hours(24), slice(None), rh_pct=41.0, temperature_c=20.0)
    (found,) = all_quick(series)
    assert found.kind == "perhaps-stuck"


def test_stuck_beside_one_that_moves_and_not_beside_one_that_rests():
    series = with_values(quarter_hours(36), slice(30, 130), rh_pct=41.0)
    moving = quarter_hours(36, 20.0, 45.0 + day(5.0, 36), "rack", 2)
    (found,) = doubts(signatures.stuck(series, Nearby([moving])))
    assert (found.since_ms, found.until_ms) == (series.at_ms[30], series.at_ms[129])
    assert "while rack moves" in said(found)
    at_rest = with_values(quarter_hours(36, name="rack", seed=2), slice(None), rh_pct=44.9)
    assert doubts(signatures.stuck(series, Nearby([at_rest]))) == []


def test_a_sensor_of_whole_percents_may_rest():
    rh = np.concatenate([np.full(20, 42.0), np.full(70, 41.0), np.full(10, 42.0)])
    series = quarter_hours(25, 20.0 + day(1.0, 25))
    assert doubts(signatures.stuck(with_values(series, slice(None), rh_pct=rh), ALONE)) == []
    fine = with_values(series, slice(None), rh_pct=rh + np.where(rh == 42.0, 0.3, 0.0))
    assert len(doubts(signatures.stuck(fine, ALONE))) == 1


def test_a_stuck_temperature_shows_against_one_that_moves():
    series = with_values(quarter_hours(24, 20.0, 45.0 + day(4.0, 24)), slice(None), temperature_c=20.0)
    moving = quarter_hours(24, 20.0 + day(2.0, 24), 45.0 + day(4.0, 24), "rack", 2)
    assert [f.kind for f in doubts(signatures.stuck(series, Nearby([moving])))] == ["stuck"]
    assert doubts(signatures.stuck(series, ALONE)) == []


# ---------------------------------------------------------------- pegged


def damp_spell():
    rh = np.full(192, 80.0)
    rh[40:60] = 100.0
    rh[60:70] = 97.0
    return with_values(quarter_hours(48, 12.0), slice(None), rh_pct=rh + 0.0)


def test_pegged_lasts_until_it_was_below_95_for_six_hours():
    series = damp_spell()
    (found,) = doubts(signatures.pegged(series, ALONE))
    assert found.since_ms == series.at_ms[40]
    assert found.until_ms == series.at_ms[69] + 6 * HOUR_MS - 1


def test_another_damp_reading_within_six_hours_starts_them_again():
    series = with_values(damp_spell(), 80, rh_pct=96.0)
    (found,) = doubts(signatures.pegged(series, ALONE))
    assert found.until_ms == series.at_ms[80] + 6 * HOUR_MS - 1


def test_fog_that_those_beside_it_see_too_is_air():
    other = with_values(quarter_hours(48, 12.0, 80.0, "rack", 2), slice(38, 72), rh_pct=98.0)
    assert doubts(signatures.pegged(damp_spell(), Nearby([other]))) == []


def test_damp_for_hours_beside_a_dry_one_is_doubted_before_the_top():
    rh = np.full(96, 60.0)
    rh[40:52] = 99.0
    series = with_values(quarter_hours(24), slice(None), rh_pct=rh)
    assert doubts(signatures.pegged(series, ALONE)) == []
    dry = quarter_hours(24, 20.0, 60.0, "rack", 2)
    (found,) = doubts(signatures.pegged(series, Nearby([dry])))
    assert "rack is dry" in said(found)


def test_a_single_reading_at_the_top_is_not_pegged():
    assert doubts(signatures.pegged(with_values(quarter_hours(24), 50, rh_pct=100.0), ALONE)) == []


# ---------------------------------------------------------------- warm, not dry


def sunny(excess_c=8.0, first=40, last=52, dew_too=False):
    temperature = np.full(96, 20.0)
    temperature[first:last] += excess_c
    rh = np.full(96, 45.0) if dew_too else relative_humidity_at(20.0, 45.0, temperature)
    return quarter_hours(24, temperature, rh)


def test_in_the_sun_it_is_warm_not_dry():
    shade = quarter_hours(24, name="rack", seed=2)
    series = sunny()
    assert series.rh_pct.min() < 30.0
    (found,) = doubts(company.warm(series, Nearby([shade])))
    assert (found.since_ms, found.until_ms) == (T0 + 10 * HOUR_MS, T0 + 13 * HOUR_MS - 1)
    assert said(found).startswith("Warm, not dry")
    assert doubts(company.warm(shade, Nearby([series]))) == []  # the cooler one is not the one in the sun


def test_warm_and_damper_is_other_air():
    shade = quarter_hours(24, name="rack", seed=2)
    assert doubts(company.warm(sunny(dew_too=True), Nearby([shade]))) == []


def test_always_warmer_is_no_sun_but_advice_after_two_weeks():
    shade = quarter_hours(480, name="rack", seed=2)
    warm = quarter_hours(480, 24.5, relative_humidity_at(20.0, 45.0, 24.5))
    assert doubts(company.warm(warm, Nearby([shade]))) == []
    (found,) = company.self_heated(warm, Nearby([shade]))
    assert (found.since_ms, found.until_ms) == (T0, OPEN_MS)
    assert company.self_heated(shade, Nearby([warm])) == []
    assert company.drift(warm, Nearby([shade])) == []  # at one temperature they agree


# ---------------------------------------------------------------- drift, moved


def test_a_steady_difference_asks_for_salt():
    rh = 45.0 + day(5.0, 480)
    other = quarter_hours(480, 20.0, rh, "rack", 2)
    (found,) = company.drift(quarter_hours(480, 20.0, rh + 6.5), Nearby([other]))
    assert (found.kind, found.until_ms) == ("drift", OPEN_MS)
    assert "check it with salt" in said(found)
    assert company.drift(quarter_hours(480, 20.0, rh + 4.0), Nearby([other])) == []


def test_a_difference_that_comes_and_goes_is_no_drift():
    rh = 45.0 + day(5.0, 480)
    other = quarter_hours(480, 20.0, rh, "rack", 2)
    swing = np.repeat(np.where(np.arange(20) % 2 == 0, 12.0, 0.0), 96)
    assert company.drift(quarter_hours(480, 20.0, rh + swing), Nearby([other])) == []


def test_nine_days_are_too_few_for_drift():
    other = quarter_hours(216, name="rack", seed=2)
    assert company.drift(quarter_hours(216, 20.0, 55.0), Nearby([other])) == []


def test_a_step_of_both_that_stays_asks_whether_it_was_moved():
    step = np.arange(96) >= 48
    series = quarter_hours(24, np.where(step, 14.0, 21.0), np.where(step, 50.0, 45.0))
    (found,) = signatures.moved(series, ALONE)
    assert found.since_ms == found.until_ms == series.at_ms[48]
    together = Nearby([quarter_hours(24, np.where(step, 14.0, 21.0), 45.0, "rack", 2)])
    assert signatures.moved(series, together) == []


# ---------------------------------------------------------------- silent, clock


HUNG = [(0, OPEN_MS)]


def test_silent_after_three_intervals_and_an_hour():
    series = quarter_hours(24)
    last = int(series.at_ms[-1])
    assert presence.silences(series.at_ms, HUNG, last + HOUR_MS) == []
    (found,) = presence.silences(series.at_ms, HUNG, last + HOUR_MS + 1)
    assert (found.since_ms, found.until_ms) == (last + 1, OPEN_MS)


def test_a_silence_ends_with_the_next_reading_and_counts_only_while_it_hung():
    series = quarter_hours(24)
    at = np.delete(series.at_ms, slice(40, 60))
    (found,) = presence.silences(at, HUNG, int(at[-1]))
    assert (found.since_ms, found.until_ms) == (at[39] + 1, at[40] - 1)
    assert presence.silences(at, [(0, int(at[39]))], int(at[-1])) == []


def test_a_sensor_that_sends_on_change_may_pause():
    pauses = np.tile([0.2, 0.2, 0.3, 2.0, 0.2, 2.5, 0.2, 2.8], 8)
    at = T0 + np.round(np.cumsum(pauses) * HOUR_MS).astype(np.int64)
    assert [f for f in presence.silences(at, HUNG, int(at[-1])) if f.since_ms > at[16]] == []


def test_late_by_one_time_is_a_clock_and_late_by_many_a_batch():
    hours = 5 * HOUR_MS
    (found,) = presence.wrong_clock([(20_000, 96, hours, 5_000.0, 0), (20_001, 96, hours, 5_000.0, 0)])
    assert (found.since_ms, found.until_ms) == (20_000 * DAY_MS, 20_002 * DAY_MS - 1)
    # Stored through a night and sent in the morning: late by nothing to twelve hours.
    assert presence.wrong_clock([(20_000, 96, hours, 3.4 * HOUR_MS, 0)]) == []
    assert presence.wrong_clock([(20_000, 96, 2_000.0, 500.0, 0)]) == []


def test_instants_that_were_refused_tell_of_a_clock():
    (found,) = presence.wrong_clock([(20_000, 60, 2_000.0, 500.0, 36)])
    assert found.kind == "clock"
    assert presence.wrong_clock([(20_000, 0, 0.0, 0.0, 96)]) == []  # a device that names no instants


@pytest.mark.parametrize("seed", range(4))
def test_a_sensor_year_of_working_air_raises_nothing(seed):
    hours = 24 * 365
    rng = np.random.default_rng(seed)
    season = np.sin(np.arange(hours) * 2.0 * np.pi / 8760.0)
    weather = np.convolve(rng.standard_normal(hours + 47), np.ones(48) / 7.0, "valid")
    daily = np.sin(np.arange(hours) * 2.0 * np.pi / 24.0)
    rh = np.clip(50.0 + 12.0 * season + 6.0 * weather - 4.0 * daily, 12.0, 90.0)
    series = quarter_hours(hours, 18.0 + 5.0 * season + 2.0 * daily, rh, step_h=1.0)
    assert all_quick(series) == []
