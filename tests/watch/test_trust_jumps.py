"""One reading far off beside its neighbours: a jump, or air."""

import numpy as np
import pytest

from model.watch.trust import signatures
from model.watch.trust.findings import OPEN_MS
from model.watch.trust.series import Nearby
from model.wood.air.psychrometrics import relative_humidity_at
from tests.said import said
from tests.watch.trust_series import ALONE, doubts, quarter_hours, series_of, with_values


def test_one_reading_far_off_is_a_jump():
    series = with_values(quarter_hours(24), 50, rh_pct=80.0)
    (found,) = doubts(signatures.jumps(series, ALONE))
    assert (found.kind, found.since_ms, found.until_ms) == ("jump", series.at_ms[50], series.at_ms[50])


@pytest.mark.parametrize("temperature_c", [68.0, 37.5, 4.0], ids=["in fahrenheit", "implausible", "cold"])
def test_one_temperature_far_off_is_a_jump_though_its_humidity_is_in_line(temperature_c):
    series = with_values(quarter_hours(24), 50, temperature_c=temperature_c)
    (found,) = doubts(signatures.jumps(series, ALONE))
    assert (found.kind, found.since_ms, found.until_ms) == ("jump", series.at_ms[50], series.at_ms[50])
    assert f"to {temperature_c:.0f} °C at once" in said(found)
    assert ("taken as Fahrenheit it would be 20 °C" in said(found)) == (temperature_c == 68.0)


def test_a_last_temperature_far_off_is_held_until_the_next_confirms_it():
    held = with_values(quarter_hours(24), 95, temperature_c=68.0)
    (found,) = doubts(signatures.jumps(held, ALONE))
    assert (found.since_ms, found.until_ms) == (held.at_ms[95], OPEN_MS)
    confirmed = with_values(quarter_hours(24.25), slice(95, 97), temperature_c=35.0)
    assert doubts(signatures.jumps(confirmed, ALONE)) == []


def test_a_thermometer_alone_jumps_by_its_temperature():
    series = with_values(quarter_hours(24), 50, temperature_c=68.0)
    bare = series_of("bench", series.at_ms, series.temperature_c, np.full(96, np.nan))
    assert [f.since_ms for f in doubts(signatures.jumps(bare, ALONE))] == [series.at_ms[50]]


def test_a_sensor_beside_it_confirms_a_jump_of_temperature():
    # The big door stood open for one reading of each.
    series = with_values(quarter_hours(24), 50, temperature_c=4.0)
    other = with_values(quarter_hours(24, name="rack", seed=2), 50, temperature_c=7.0)
    assert doubts(signatures.jumps(series, Nearby([other]))) == []
    assert len(doubts(signatures.jumps(series, Nearby([quarter_hours(24, name="rack")])))) == 1


def test_a_ray_of_sun_for_one_reading_moves_no_dew_point_and_is_no_jump():
    hot = relative_humidity_at(20.0, 45.0, 33.0)
    series = with_values(quarter_hours(24), 50, temperature_c=33.0, rh_pct=float(hot))
    assert doubts(signatures.jumps(series, ALONE)) == []


@pytest.mark.parametrize("side", ["before", "after"])
def test_a_jump_at_the_edge_of_a_pause_has_one_near_neighbour_and_is_doubted(side):
    series = with_values(quarter_hours(24), 50, rh_pct=80.0)
    # The sensor was out of reach for five hours on one side of the reading that is far off.
    at = series.at_ms.copy()
    at[50 if side == "before" else 51 :] += 5 * 3_600_000
    paused = series_of("bench", at, series.temperature_c, series.rh_pct)
    assert [f.since_ms for f in doubts(signatures.jumps(paused, ALONE))] == [at[50]]


def test_the_last_reading_is_held_until_the_next_confirms_it():
    series = quarter_hours(24)
    held = with_values(series, 95, rh_pct=80.0)
    (found,) = doubts(signatures.jumps(held, ALONE))
    assert (found.since_ms, found.until_ms) == (series.at_ms[95], OPEN_MS)
    confirmed = with_values(quarter_hours(24.25), slice(95, 97), rh_pct=80.0)
    assert doubts(signatures.jumps(confirmed, ALONE)) == []


def test_a_return_to_what_was_before_needs_no_confirmation():
    series = with_values(quarter_hours(24), 94, rh_pct=80.0)
    (found,) = doubts(signatures.jumps(series, ALONE))
    assert found.since_ms == series.at_ms[94]


def test_a_sensor_beside_it_confirms_a_jump():
    series = with_values(quarter_hours(24), 95, rh_pct=80.0)
    other = with_values(quarter_hours(24, name="rack", seed=2), slice(94, 96), rh_pct=76.0)
    assert doubts(signatures.jumps(series, Nearby([other]))) == []
    calm = quarter_hours(24, name="rack", seed=2)
    assert len(doubts(signatures.jumps(series, Nearby([calm])))) == 1


def test_a_humidity_without_temperature_jumps_by_humidity_alone():
    series = with_values(quarter_hours(24), 50, rh_pct=80.0)
    bare = series_of("bench", series.at_ms, np.full(96, np.nan), series.rh_pct)
    assert [f.since_ms for f in doubts(signatures.jumps(bare, ALONE))] == [series.at_ms[50]]


def test_readings_a_day_apart_are_no_jump():
    rh = np.tile([40.0, 75.0], 10)
    assert doubts(signatures.jumps(quarter_hours(480, 20.0, rh, step_h=24.0), ALONE)) == []
