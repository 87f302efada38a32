"""Charts over time are Plotly figures: data in; lines, limits, gaps and words out."""

import json
import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import plotly.graph_objects as go
import pytest

from dashboard.figures import plot
from dashboard.figures.calendar import level, year_of_days
from dashboard.figures.tide import Flag, tide_chart
from dashboard.shell.static_html import still, text_of
from tests.dashboard.chart_data import (
    CHARTS,
    END,
    INCH,
    METRIC,
    SHORES,
    START,
    YEAR,
    a_tide,
    an_air,
    breaks,
    named,
    read,
    written,
)

ASSETS = Path(plot.__file__).parents[1] / "assets"


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


# ---------------------------------------------------------------- moisture and forecasts


def test_a_stack_is_drawn_in_its_band_with_what_the_meter_said():
    chart = CHARTS["moisture"]()
    assert {"mean", "face", "core", "metered"} <= {trace["name"] for trace in chart.figure["data"]}
    (band,) = [shape for shape in chart.figure["layout"]["shapes"] if shape.get("y0") == 7.0]
    assert band["y1"] == 9.0
    assert "ready within a point of 8.0\u00a0%" in written(chart)
    assert breaks(named(chart, "mean")[0]) == 1


def test_each_measurement_stands_beside_the_band_of_its_forecast():
    band, letter, out, read = CHARTS["compared"]().figure["data"]
    assert band["y"] == [-0.02, 0.02, None, -0.02, 0.02]
    # Measured on one day they stand apart, each on its own bar.
    assert (letter["x"], out["x"]) == ([band["x"][0]], [band["x"][3]])
    assert letter["x"] != out["x"]
    assert (letter["y"], letter["marker"]["symbol"]) == ([0.01], "circle-open")
    assert (out["y"], out["marker"]["symbol"]) == ([-0.05], "square")
    assert read["text"] == ["back", "front"]


# ---------------------------------------------------------------- thinning


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
