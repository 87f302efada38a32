"""Figures of air, sensor by sensor, and the thinning of long traces."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.figures.air import OverlaidAir, air_chart
from dashboard.figures.plot import thinned
from dashboard.pages.sensors.sensor import as_air
from model.records.queries.traces import Trace
from tests.dashboard.chart_data import (
    CHARTS,
    INCH,
    METRIC,
    START,
    TWO_DAYS,
    YEAR,
    a_trace,
    an_air,
    breaks,
    instants,
    named,
    read,
    written,
)


def test_air_that_is_not_known_says_so():
    chart = CHARTS["no air"]()
    assert "No air is known for this span." in written(chart)
    assert chart.message.endswith("nothing is known for this span.")


def test_a_gap_in_the_air_is_a_gap_in_every_strip():
    chart = air_chart(an_air([0, 1, 2, 30, 31, 32]), [], INCH, TWO_DAYS)
    assert [breaks(line) for line in named(chart, "air")] == [1, 1, 1]
    assert [line["yaxis"] for line in named(chart, "air")] == ["y", "y2", "y3"]


def test_hours_that_were_bridged_are_dotted_and_called_estimated():
    air = replace(an_air(range(48)), estimated=np.arange(48) > 40)
    chart = air_chart(air, [], INCH, TWO_DAYS)
    assert len(named(chart, "estimated")) == 3
    assert read(chart)["text"][-1].endswith("estimated")
    assert not read(chart)["text"][0].endswith("estimated")


def test_doubted_readings_are_drawn_apart():
    doubts = ((START + timedelta(hours=10), START + timedelta(hours=20), "stuck"),)
    trace = a_trace([hour / 24 for hour in range(48)], np.linspace(40, 50, 48), doubts)
    chart = air_chart(an_air(range(48)), [trace], INCH, TWO_DAYS)
    assert len(named(chart, "bench, as sent")) == 1
    (doubted,) = named(chart, "bench, doubted")
    assert doubted["line"]["dash"] == "dot"


def test_a_year_of_minutes_stays_light_and_keeps_its_extremes():
    n = 525_600
    values = 45 + 5 * np.sin(np.arange(n) / 9000.0)
    values[123_456], values[400_001] = 3.0, 97.0
    at = np.datetime64(START.replace(tzinfo=None), "ms") + np.arange(n) * np.timedelta64(60_000, "ms")
    trace = Trace(1, "bench", at, np.full(n, 20.0), values)
    chart = air_chart(an_air(range(8760)), [trace], METRIC, replace(YEAR, units="metric"))
    (line,) = named(chart, "bench, as sent")
    assert {3.0, 97.0} <= set(line["y"])
    assert len(line["y"]) <= 402
    assert len(json.dumps(chart.figure, cls=PlotlyJSONEncoder)) < 130_000


def test_a_thinned_trace_is_broken_only_where_it_is_silent_for_longer_than_its_step():
    days = [day * 1.5 for day in range(60)] + [100 + day * 1.5 for day in range(60)]
    trace = a_trace(days, np.full(120, 45.0), step_ms=44 * 3_600_000)
    (line,) = named(air_chart(an_air([]), [trace], INCH, YEAR), "bench, as sent")
    assert breaks(line) == 1


def test_what_a_sensor_is_doubted_for_is_dotted_and_said():
    doubts = ((START + timedelta(hours=10), None, "stuck"),)
    air = as_air(a_trace([hour / 24 for hour in range(48)], np.linspace(40, 50, 48), doubts))
    assert air.estimated.tolist() == [False] * 10 + [True] * 38
    chart = air_chart(air, [], INCH, TWO_DAYS, marked_is="doubted")
    assert len(named(chart, "doubted")) == 3
    assert sum(says.endswith("doubted") for says in read(chart)["text"]) == 38


def test_two_homes_are_laid_over_each_other_and_read_together():
    chart = CHARTS["air beside"]()
    assert {line["line"]["dash"] for line in named(chart, "Lake house")} == {"7px,3px"}
    assert len(named(chart, "Lake house")) == 3
    assert all("<br>Lake house: " in says for says in read(chart)["text"])


def test_a_single_hour_laid_over_a_year_is_read_at_that_hour_only():
    chart = air_chart(an_air(range(48)), [], INCH, TWO_DAYS, beside=OverlaidAir("Lake house", an_air([20])))
    hours = [hour for hour, says in enumerate(read(chart)["text"]) if "Lake house" in says]
    assert hours == [18, 19, 20, 21, 22]


def test_the_year_before_stands_under_the_same_dates():
    before = replace(an_air(range(48)), at=instants([hour / 24 - 365 for hour in range(48)]))
    chart = air_chart(
        an_air(range(48)),
        [],
        INCH,
        TWO_DAYS,
        beside=OverlaidAir("a year before", before, timedelta(days=365)),
    )
    assert named(chart, "a year before")[0]["x"] == named(chart, "air")[0]["x"]


def test_a_figure_tells_the_time_of_its_place():
    summer = replace(TWO_DAYS, zone="America/New_York")
    chart = air_chart(an_air(range(48)), [], INCH, summer)
    assert chart.figure["layout"]["xaxis"]["range"] == ["2025-05-31 20:00", "2025-06-02 20:00"]
    assert datetime.fromtimestamp(read(chart)["x"][0] / 1000, UTC).hour == 20
    assert "May 31, 8:00\u00a0pm" in read(chart)["text"][0]


def test_winters_and_summers_are_named_under_a_long_stretch_only():
    names = {"winter", "spring", "summer", "autumn"}
    assert names <= set(written(CHARTS["no air"]()))
    assert not names & set(written(CHARTS["air"]()))
    south = air_chart(an_air([]), [], INCH, replace(YEAR, latitude_deg=-35.0))
    assert written(south).index("winter") < written(south).index("summer")


def test_thinning_keeps_the_lowest_the_highest_and_every_gap():
    values = np.random.default_rng(4).normal(size=20_000)
    values[5_000:5_010] = np.nan
    kept = thinned(values, 1000)
    assert np.nanargmax(values) in kept
    assert np.nanargmin(values) in kept
    assert np.isnan(values[kept]).sum() >= 1
    assert len(kept) <= 1003
    assert kept.tolist() == sorted(set(kept.tolist()))


@pytest.mark.parametrize("values", [np.array([]), np.array([np.nan]), np.full(5000, np.nan)])
def test_thinning_nothing_is_nothing_to_fail_at(values):
    assert len(thinned(values, 100)) <= 102
