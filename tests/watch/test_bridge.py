"""The rule that fills a place's air where nobody measured it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.watch.air.gap_fill import (
    MEMORY_H,
    SHORT_GAP_H,
    YEAR_H,
    Measured,
    filled,
    measured_of,
    merged,
)


def measured(hours, rh_pct, temperature_c=20.0):
    hours = np.asarray(hours, dtype=np.int64)
    return Measured(
        hours,
        np.broadcast_to(np.asarray(temperature_c, dtype=float), hours.shape).copy(),
        np.broadcast_to(np.asarray(rh_pct, dtype=float), hours.shape).copy(),
        np.ones(len(hours), dtype=np.int64),
    )


def test_measured_hours_are_kept_as_they_are_and_marked():
    air = filled(measured([100, 101, 102], [40.0, 41.0, 42.0]), 100, 103)
    assert air.rh_pct.tolist() == [40.0, 41.0, 42.0]
    assert air.measured.all()


def test_a_short_gap_is_a_straight_line_marked_as_estimated():
    hours = [100, 100 + SHORT_GAP_H + 1]
    air = filled(measured(hours, [40.0, 47.0]), 100, hours[1] + 1)
    assert air.rh_pct == pytest.approx(np.linspace(40.0, 47.0, SHORT_GAP_H + 2))
    assert air.measured.tolist() == [True] + [False] * SHORT_GAP_H + [True]


def test_a_long_gap_fades_from_one_side_into_the_other_and_toward_what_the_place_is_used_to():
    # A fortnight at 50 %, one wet day, a silence of ten days, then half a day dry.
    before = np.arange(0, 14 * 24)
    wet = np.arange(14 * 24, 15 * 24)
    dry = np.arange(25 * 24, 25 * 24 + 12)
    hours = np.concatenate([before, wet, dry])
    values = np.concatenate([np.full(len(before), 50.0), np.full(24, 70.0), np.full(12, 35.0)])
    air = filled(measured(hours, values), 0, int(hours[-1]) + 1)
    gap = air.rh_pct[15 * 24 : 25 * 24]
    assert gap[0] == pytest.approx(70.0, abs=1.0)
    assert gap[-1] == pytest.approx(35.0, abs=1.0)
    assert 45.0 < gap[len(gap) // 2] < 55.0
    assert (np.diff(gap) <= 1e-9).all()


def test_after_the_last_reading_the_last_day_fades_over_the_memory():
    hours = np.arange(0, 20 * 24)
    values = np.where(hours < 19 * 24, 50.0, 60.0)
    until = 20 * 24 + 30 * 24
    air = filled(measured(hours, values), 0, until)
    assert air.end == until
    usual = 50.0 + 10.0 / 14.0  # the last fortnight, the wet day in it
    for after_h in (1, 24, 120, 400):
        expected = usual + (60.0 - usual) * np.exp(-after_h / MEMORY_H)
        assert air.rh_pct[20 * 24 - 1 + after_h] == pytest.approx(expected, abs=1e-9)


def test_a_long_silence_follows_the_same_season_of_the_year_before():
    hours = np.arange(0, YEAR_H + 10 * 24)
    summer = 50.0 + 15.0 * np.sin(2 * np.pi * hours / YEAR_H)
    air = filled(measured(hours, summer), 0, int(hours[-1]) + 1 + 60 * 24)
    later = np.arange(len(hours) + 40 * 24, len(hours) + 60 * 24)
    expected = 50.0 + 15.0 * np.sin(2 * np.pi * later / YEAR_H)
    assert air.rh_pct[later] == pytest.approx(expected, abs=1.0)


def test_before_the_first_reading_the_first_day_is_all_there_is():
    air = filled(measured(np.arange(240, 480), 44.0), 0, 480)
    assert air.first == 0
    assert air.rh_pct == pytest.approx(np.full(480, 44.0))
    assert not air.measured[:240].any()


def test_a_place_that_never_had_a_reading_has_no_air():
    assert len(filled(measured([], []), 0, 100)) == 0


def test_estimates_stay_within_what_air_can_be():
    hours = np.concatenate([np.arange(0, 400), np.arange(600, 640)])
    values = np.where(hours % 24 < 12, 99.0, 60.0)
    values[376:400] = 100.0
    air = filled(measured(hours, values), 0, 900)
    assert air.rh_pct.max() <= 100.0
    assert air.rh_pct.min() >= 0.0


@pytest.mark.slow
@settings(max_examples=60)
@given(data=st.data(), seed=st.integers(0, 10_000))
def test_what_is_computed_step_by_step_is_what_is_computed_at_once(data, seed):
    rng = np.random.default_rng(seed)
    length = 60 * 24
    hours = np.arange(length)
    keep = np.ones(length, dtype=bool)
    for _ in range(data.draw(st.integers(0, 3))):
        start = data.draw(st.integers(0, length - 1))
        keep[start : start + data.draw(st.integers(1, 20 * 24))] = False
    keep &= rng.random(length) > 0.05
    values = 45.0 + 10.0 * rng.standard_normal(length)
    values, hours = np.clip(values[keep], 0.0, 100.0), hours[keep]
    portions = np.array_split(rng.permutation(len(hours)), data.draw(st.integers(1, 6)))
    known = measured([], [])
    until = 0
    for portion in portions:
        came = np.sort(portion)
        if not len(came):
            continue
        until = max(until, data.draw(st.integers(0, length + 200)))
        known = merged(known, hours[came], measured(hours[came], values[came]))
        air = filled(known, 0, until)
        assert measured_of(air).hours.tolist() == known.hours.tolist()
    at_once = filled(measured(hours, values), 0, until)
    assert air.rh_pct.tobytes() == at_once.rh_pct.tobytes()
    assert air.temperature_c.tobytes() == at_once.temperature_c.tobytes()
    assert air.n_readings.tolist() == at_once.n_readings.tolist()
