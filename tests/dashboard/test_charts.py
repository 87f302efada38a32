"""Charts over time are Plotly figures: data in; lines, limits, gaps and words out."""

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import numpy as np
import plotly.graph_objects as go
import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.figures import plot
from dashboard.figures.air import OverlaidAir, air_chart
from dashboard.figures.calendar import level, year_of_days
from dashboard.figures.compared import Off, compared_chart
from dashboard.figures.moisture import moisture_chart
from dashboard.figures.plot import Stretch, thinned
from dashboard.figures.tide import Fan, Flag, Shore, tide_chart
from dashboard.pages.sensors.sensor import as_air
from dashboard.shell.static_html import still, text_of
from model.records.queries.overview import Event
from model.records.queries.series import AirSeries, Tide
from model.records.queries.traces import Trace
from model.words.display import Display

INCH, METRIC = Display("inch"), Display("metric")
START = datetime(2025, 6, 1, tzinfo=UTC)
END = datetime(2026, 6, 1, tzinfo=UTC)
YEAR = Stretch(START, END, "UTC", "inch")
TWO_DAYS = Stretch(START, START + timedelta(days=2), "UTC", "inch")
SHORES = [
    Shore("groove bottom", "the tongue bottoms", "swelling", "harms", 372.0),
    Shore("bare line", "bare wood shows", "shrinking", "shows", 366.0),
]
ASSETS = Path(plot.__file__).parents[1] / "assets"


def instants(days):
    start = np.datetime64(START.replace(tzinfo=None), "ms")
    return np.array(
        [start + np.timedelta64(int(day * 86_400_000), "ms") for day in days], dtype="datetime64[ms]"
    )


def a_tide(days, estimated=None):
    n = len(days)
    width = np.array([368.0 + np.sin(day / 58.0) for day in days])
    moist = np.full(n, 8.0)
    return Tide(
        instants(days), moist, moist - 0.2, moist + 0.2, width, np.array(estimated or [False] * n, dtype=bool)
    )


def an_air(hours):
    n = len(hours)
    humid = np.array([45.0 + 5 * np.sin(hour / 24) for hour in hours])
    return AirSeries(
        instants([hour / 24 for hour in hours]), np.full(n, 20.0), humid, np.zeros(n, dtype=bool)
    )


def a_trace(days, values, doubts=(), step_ms=0):
    return Trace(
        1,
        "bench",
        instants(days),
        np.full(len(days), 20.0),
        np.asarray(values, float),
        doubts,
        step_ms=step_ms,
    )


def named(chart, name):
    return [trace for trace in chart.figure["data"] if trace["name"] == name]


def breaks(trace):
    return sum(value is None for value in trace["y"])


def written(chart):
    return [words["text"] for words in chart.figure["layout"]["annotations"]]


def read(chart):
    return chart.figure["data"][-1]


CHARTS = {
    "air": lambda: air_chart(an_air(range(48)), [a_trace([0, 1], [40, 50])], INCH, TWO_DAYS),
    "air beside": lambda: air_chart(
        an_air(range(48)),
        [],
        INCH,
        TWO_DAYS,
        beside=OverlaidAir("Lake house", an_air(range(48)), timedelta(0), "UTC"),
    ),
    "no air": lambda: air_chart(an_air([]), [], INCH, YEAR),
    "tide": lambda: tide_chart(
        a_tide(list(range(60)), [day % 7 == 0 for day in range(60)]),
        SHORES,
        INCH,
        YEAR,
        [Flag(START + timedelta(days=3), "moved to Lake house")],
        [(float(pct), 360.0 + pct) for pct in range(1, 20)],
        Fan(instants([300, 330, 360]), np.full(3, 367.0), np.full(3, 368.0), np.full(3, 370.0)),
        START + timedelta(days=59),
    ),
    "no tide": lambda: tide_chart(a_tide([]), SHORES, INCH, YEAR),
    "moisture": lambda: moisture_chart(
        a_tide([0, 1, 2, 9, 10]),
        INCH,
        YEAR,
        8.0,
        [Event(START + timedelta(days=2), "mc_pct", "pin meter", 9.0)],
    ),
    "compared": lambda: compared_chart(
        [("Widths, in too large", [Off(START, 0.01, "back")])], YEAR, "Widths: one."
    ),
}


# ---------------------------------------------------------------- of all charts


@pytest.mark.parametrize("make", CHARTS.values(), ids=CHARTS)
def test_plotly_takes_every_figure_as_it_is(make):
    figure = make().figure
    assert json.loads(go.Figure(figure).to_json())["layout"]["showlegend"] is False


@pytest.mark.parametrize("make", CHARTS.values(), ids=CHARTS)
def test_every_colour_of_a_figure_is_the_papers_own(make):
    text = json.dumps(make().figure)
    inks = set(re.findall(r"#[0-9a-f]{6}", text))
    day = (ASSETS / "paper.css").read_text().split("@media")[0]
    script = (ASSETS / "chart.js").read_text()
    names = dict(re.findall(r'"(#[0-9a-f]{6})": "(--\w+)"', script))
    assert inks <= set(names)
    assert all(f"{name}: {ink};" in day for ink, name in names.items())


@pytest.mark.parametrize("make", CHARTS.values(), ids=CHARTS)
def test_only_one_trace_of_a_figure_is_read_and_it_is_the_last(make):
    figure = make().figure
    assert [trace["name"] == "read" for trace in figure["data"]] == [False] * (len(figure["data"]) - 1) + [
        True
    ]
    assert len(read(make())["text"]) == len(read(make())["x"])


def test_before_scripts_a_chart_is_its_sentence_and_the_room_it_will_take():
    chart = CHARTS["tide"]()
    page = still(plot.placed(chart, "Tide of back", "/piece/1"))
    assert "Width of back" not in page
    assert "<figcaption" in page
    assert "Width of the part through time: from 14-31/64" in page.replace("\u00a0", " ")
    assert "bare wood shows" in page.casefold()
    assert '<div class="plot">' in page


def test_the_bundle_is_plotlys_own_with_its_licence_and_is_no_part_of_every_page(book, now):
    from dashboard.shell.app import PLOTLY, build_app

    bundle = (ASSETS / PLOTLY).read_text(encoding="utf-8")
    assert "plotly.js (basic - minified) v4.1.1" in bundle[:200]
    assert "MIT License" in (ASSETS / PLOTLY).with_name("plotly-licence.txt").read_text()
    client = build_app(book.store, lambda: now).server.test_client()
    first = client.get("/").text
    assert first.count(PLOTLY) == 1
    assert f'data-plotly="/assets/{PLOTLY}"' in first
    assert client.get(f"/assets/{PLOTLY}").status_code == 200


def test_the_page_may_not_make_code_from_text_nor_ask_elsewhere(book, now):
    from dashboard.shell.app import build_app

    client = build_app(book.store, lambda: now).server.test_client()
    policy = client.get(f"/place/{book.shop}").headers["Content-Security-Policy"]
    assert "unsafe-eval" not in policy
    assert "http" not in policy
    assert re.search(r"connect-src 'self'(;|$)", policy)
    assert re.search(r"img-src 'self' data:(;|$)", policy)


# ---------------------------------------------------------------- tide


def test_a_tide_without_a_checkpoint_says_so_between_its_shores():
    chart = CHARTS["no tide"]()
    assert "No moisture is worked out for this span yet." in written(chart)
    assert named(chart, "the part") == []
    assert "the tongue bottoms" in written(chart)


def test_a_gap_in_a_tide_is_a_gap_in_its_line():
    (line,) = named(tide_chart(a_tide([0, 1, 2, 10, 11, 12]), SHORES, INCH, YEAR), "the part")
    assert breaks(line) == 1


def test_what_was_bridged_is_dotted_and_said():
    chart = tide_chart(a_tide([0, 1, 2, 3, 4], [False, False, True, True, False]), SHORES, INCH, YEAR)
    solid, dotted = named(chart, "the part")
    assert (solid["line"]["dash"], dotted["line"]["dash"]) == ("solid", "dot")
    assert breaks(solid) == 1
    assert [len(solid["x"]), len(dotted["x"])] == [5, 3]
    assert read(chart)["text"][2].endswith("air estimated")


def test_harm_is_hatched_land_and_showing_a_dashed_line():
    chart = tide_chart(a_tide([0, 1]), SHORES, INCH, YEAR)
    (land,) = named(chart, "swelling harms")
    assert land["fillpattern"]["shape"] == "/"
    assert min(land["y"]) == 372.0
    edges = {
        shape["y0"]: shape["line"]["dash"]
        for shape in chart.figure["layout"]["shapes"]
        if shape.get("xref") == "paper"
    }
    assert edges == {372.0: "solid", 366.0: "dash"}


def test_the_edge_is_numbered_in_the_viewers_unit():
    metric = tide_chart(a_tide(list(range(60))), SHORES, METRIC, replace(YEAR, units="metric"))
    assert "<b>Width, mm</b>" in written(metric)
    assert "<b>Width, in</b>" in written(CHARTS["tide"]())
    assert any("/" in says for says in CHARTS["tide"]().figure["layout"]["yaxis"]["ticktext"])
    assert "mm wide" in read(metric)["text"][0]


def test_months_ahead_are_a_hatched_spread_about_a_dashed_middle_and_can_be_read():
    chart = CHARTS["tide"]()
    (low,), (middle,) = named(chart, "10th percentile ahead"), named(chart, "the middle ahead")
    assert low["fill"] == "tonexty"
    assert low["fillpattern"]["shape"]
    assert middle["line"]["dash"] == "dash"
    assert "likely 14-29/64" in read(chart)["text"][-1].replace("\u00a0", " ")


def test_flags_stand_where_something_happened_and_only_in_the_span():
    flags = [Flag(START + timedelta(days=3), "moved"), Flag(END + timedelta(days=3), "measured")]
    chart = tide_chart(a_tide([0, 1]), SHORES, INCH, YEAR, flags)
    assert [
        words["hovertext"] for words in chart.figure["layout"]["annotations"] if "hovertext" in words
    ] == ["moved"]


# ---------------------------------------------------------------- air


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


# ---------------------------------------------------------------- moisture and forecasts


def test_a_stack_is_drawn_in_its_band_with_what_the_meter_said():
    chart = CHARTS["moisture"]()
    assert {"mean", "face", "core", "metered"} <= {trace["name"] for trace in chart.figure["data"]}
    (band,) = [shape for shape in chart.figure["layout"]["shapes"] if shape.get("y0") == 7.0]
    assert band["y1"] == 9.0
    assert "ready within a point of 8.0\u00a0%" in written(chart)
    assert breaks(named(chart, "mean")[0]) == 1


def test_a_forecast_that_was_too_large_stands_above_the_line_of_what_was_measured():
    (ring,) = CHARTS["compared"]().figure["data"]
    assert ring["y"] == [0.01]
    assert "as measured" in written(CHARTS["compared"]())


# ---------------------------------------------------------------- thinning


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


# ---------------------------------------------------------------- a year of days


def test_a_year_of_days_has_each_day_with_its_mean_and_leads_to_it():
    table = year_of_days(an_air(range(24 * 60)), METRIC, "UTC", "/place/1")
    page = still(table)
    assert text_of(table).count("June 2025") == 1
    assert 'title="1 Jun: 45' in page
    asked = parse_qs(urlsplit(re.search(r'href="(/place/1[^"]*)"', page)[1].replace("&amp;", "&")).query)
    assert asked == {"since": ["2025-06-01T00:00Z"], "until": ["2025-06-02T00:00Z"]}


def test_dry_and_damp_days_are_hatched_apart():
    assert [level(rh) for rh in (20, 35, 48, 60, 80)] == ["dry2", "dry1", "", "damp1", "damp2"]
    styles = (ASSETS / "paper.css").read_text()
    assert all(
        re.search(rf"\.{name} {{ background: repeating-linear-gradient", styles) for name in ("dry1", "damp2")
    )
