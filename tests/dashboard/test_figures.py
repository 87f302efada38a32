"""Figures are pure: numbers in, a drawing out. Empty and gappy data come first."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from dashboard.display import Display
from dashboard.drawing import find, markup, shape, words_of
from dashboard.figures.air import air_chart, spoken
from dashboard.figures.place_rule import Bracket, place_rule
from dashboard.figures.scale import length_graduations, months, rule_graduations
from dashboard.figures.section import section_drawing
from dashboard.figures.thin import gapped, thinned
from dashboard.figures.tide import Fan, Flag, Shore, tide_chart
from dashboard.marks import WORDS, mark, verdict_mark
from dashboard.pages.sensor import as_air
from model.records.series import AirSeries, Tide
from model.records.traces import Trace
from model.wood.fits.drawing import Section
from model.wood.piece import read_piece

INCH, METRIC = Display("inch"), Display("metric")
START = datetime(2025, 6, 1, tzinfo=UTC)
END = datetime(2026, 6, 1, tzinfo=UTC)
SHORES = [
    Shore("groove bottom", "the tongue bottoms", "swelling", "harms", 372.0),
    Shore("bare line", "bare wood shows", "shrinking", "shows", 366.0),
]


def instants(days: list[float]) -> np.ndarray:
    return np.array(
        [
            np.datetime64(START.replace(tzinfo=None), "ms") + np.timedelta64(int(day * 86_400_000), "ms")
            for day in days
        ]
    )


def a_tide(days: list[float], estimated: list[bool] | None = None) -> Tide:
    n = len(days)
    width = np.array([368.0 + np.sin(day / 58.0) for day in days])
    return Tide(
        instants(days) if days else np.array([], dtype="datetime64[ms]"),
        np.full(n, 8.0),
        np.full(n, 8.0),
        np.full(n, 8.0),
        width,
        np.array(estimated if estimated is not None else [False] * n, dtype=bool),
    )


def an_air(hours: list[int]) -> AirSeries:
    n = len(hours)
    return AirSeries(
        instants([hour / 24 for hour in hours]) if hours else np.array([], dtype="datetime64[ms]"),
        np.full(n, 20.0),
        np.array([45.0 + 5 * np.sin(hour / 24) for hour in hours]),
        np.zeros(n, dtype=bool),
    )


def lines(tree, class_: str) -> list[str]:
    return [drawn[1]["d"] for drawn in find(tree, class_) if drawn[0] == "path"]


# ---------------------------------------------------------------- tide


def test_a_tide_without_a_checkpoint_says_so_between_its_shores():
    tree = tide_chart(a_tide([]), SHORES, INCH, "UTC", START, END).tree
    assert "No moisture is worked out for this span yet." in words_of(tree)
    assert lines(tree, "tide-line") == []
    assert "the tongue bottoms" in words_of(tree)


def test_a_tide_without_shores_is_still_drawn():
    tree = tide_chart(a_tide([0, 1, 2]), [], INCH, "UTC", START, END).tree
    assert len(lines(tree, "tide-line")) == 1


def test_a_gap_in_a_tide_is_a_gap_in_its_line():
    tree = tide_chart(a_tide([0, 1, 2, 10, 11, 12]), SHORES, INCH, "UTC", START, END).tree
    (line,) = lines(tree, "tide-line")
    assert line.count("M") == 2


def test_what_was_bridged_is_drawn_apart():
    tree = tide_chart(
        a_tide([0, 1, 2, 3, 4], [False, False, True, True, False]), SHORES, INCH, "UTC", START, END
    )
    whole = lines(tree.tree, "tide-line")
    (bridged,) = lines(tree.tree, "bridged")
    assert len(whole) == 2
    assert bridged.count("L") == 2
    assert tree.readings["says"][2].endswith("air estimated")


def test_harm_is_hatched_land_and_showing_a_dashed_line():
    tree = tide_chart(a_tide([0, 1]), SHORES, INCH, "UTC", START, END).tree
    assert len(find(tree, "shore")) == 1
    assert len(find(tree, "shore-shows")) == 1


def test_the_swelling_shore_lies_above_the_shrinking_one():
    tree = tide_chart(a_tide([0, 1]), SHORES, INCH, "UTC", START, END).tree
    (high,), (low,) = find(tree, "shore"), find(tree, "shore-shows")
    assert high[1]["y1"] < low[1]["y1"]


def test_the_edge_is_numbered_in_the_viewers_unit():
    tide = a_tide(list(range(60)))
    assert "in" in words_of(tide_chart(tide, SHORES, INCH, "UTC", START, END).tree)
    assert "mm" in words_of(tide_chart(tide, SHORES, METRIC, "UTC", START, END).tree)


def test_months_ahead_open_as_a_fan_never_as_one_line():
    ahead = instants([300, 330, 360])
    fan = Fan(
        ahead,
        np.array([367.0, 366.8, 366.5]),
        np.array([368.0, 368.0, 368.0]),
        np.array([369.0, 370.0, 371.0]),
    )
    tree = tide_chart(a_tide([0, 1]), SHORES, INCH, "UTC", START, END, fan=fan).tree
    assert len(find(tree, "fan-outer")) == 1
    assert len(find(tree, "fan-middle")) == 1


def test_flags_stand_where_something_happened_and_only_in_the_span():
    flags = [Flag(START + timedelta(days=3), "moved"), Flag(END + timedelta(days=3), "measured")]
    tree = tide_chart(a_tide([0, 1]), SHORES, INCH, "UTC", START, END, flags=flags).tree
    assert len(find(tree, "flag")) == 1


def test_a_tide_tells_those_who_do_not_see_it():
    tree = tide_chart(a_tide([0, 1]), SHORES, METRIC, "UTC", START, END, name="back").tree
    assert tree[1]["role"] == "img"
    assert "Width of back through time: from 368.0" in tree[1]["aria-label"].replace("\u00a0", " ")
    assert "bare wood shows at 366.0" in tree[1]["aria-label"].replace("\u00a0", " ").casefold()


# ---------------------------------------------------------------- air


def test_air_that_is_not_known_says_so():
    chart = air_chart(an_air([]), [], INCH, "UTC", START, END)
    assert "No air is known for this span." in words_of(chart.tree)
    assert chart.readings["x"] == []


def test_a_gap_in_the_air_is_a_gap_in_every_strip():
    chart = air_chart(an_air([0, 1, 2, 30, 31, 32]), [], INCH, "UTC", START, START + timedelta(days=2))
    assert [line.count("M") for line in lines(chart.tree, "tide-line")] == [2, 2, 2]


def test_doubted_readings_are_drawn_apart():
    at = instants([hour / 24 for hour in range(48)])
    trace = Trace(
        1,
        "bench",
        at,
        np.full(48, 20.0),
        np.linspace(40, 50, 48),
        ((START + timedelta(hours=10), START + timedelta(hours=20), "stuck"),),
    )
    tree = air_chart(an_air(list(range(48))), [trace], INCH, "UTC", START, START + timedelta(days=2)).tree
    assert len(lines(tree, "doubted")) == 1
    assert len(lines(tree, "raw")) == 1


def test_a_year_of_minutes_stays_light_and_keeps_its_extremes():
    n = 525_600
    values = 45 + 5 * np.sin(np.arange(n) / 9000.0)
    values[123_456], values[400_001] = 3.0, 97.0
    at = np.datetime64(START.replace(tzinfo=None), "ms") + np.arange(n) * np.timedelta64(60_000, "ms")
    trace = Trace(1, "bench", at, np.full(n, 20.0), values)
    tree = air_chart(an_air(list(range(8760))), [trace], METRIC, "UTC", START, END).tree
    (line,) = lines(tree, "raw")
    heights = [float(point.split(" ")[1]) for point in line.replace("M", "L").split("L") if point]
    kept = thinned(values, 400)
    assert {123_456, 400_001} <= set(kept.tolist())
    assert len(heights) <= 402
    assert len(markup(tree)) < 60_000


def test_a_thinned_trace_is_broken_only_where_it_is_silent_for_longer_than_its_step():
    step_ms = 44 * 3_600_000
    days = [day * 1.5 for day in range(60)] + [100 + day * 1.5 for day in range(60)]
    trace = Trace(1, "bench", instants(days), np.full(120, 20.0), np.full(120, 45.0), step_ms=step_ms)
    tree = air_chart(an_air([]), [trace], INCH, "UTC", START, END).tree
    assert [line.count("M") for line in lines(tree, "raw")] == [2]


def test_what_a_sensor_is_doubted_for_is_dotted_and_said():
    at = instants([hour / 24 for hour in range(48)])
    doubts = ((START + timedelta(hours=10), None, "stuck"),)
    air = as_air(Trace(1, "bench", at, np.full(48, 20.0), np.linspace(40, 50, 48), doubts))
    assert air.estimated.tolist() == [False] * 10 + [True] * 38
    tree = air_chart(air, [], INCH, "UTC", START, START + timedelta(days=2)).tree
    assert len(find(tree, "bridged")) == 3
    _, says = spoken(air, INCH, "UTC", "doubted")
    assert [words.endswith("doubted") for words in says] == air.estimated.tolist()


def test_the_numbers_of_a_strip_never_run_into_each_other():
    air = an_air(list(range(48)))
    wild = replace(air, rh_pct=np.linspace(2, 98, 48), temperature_c=np.linspace(-30, 45, 48))
    for width in (960, 360):
        tree = air_chart(wild, [], INCH, "UTC", START, START + timedelta(days=2), width=width).tree
        ends = [drawn[1] for drawn in tree[2:] if drawn[0] == "text" and drawn[1].get("text-anchor") == "end"]
        heights = sorted(text["y"] for text in ends)
        assert len(heights) > 9
        assert min(b - a for a, b in pairwise(heights)) >= 12


# ---------------------------------------------------------------- thinning


def test_thinning_keeps_the_lowest_the_highest_and_every_gap():
    values = np.random.default_rng(4).normal(size=20_000)
    values[5_000:5_010] = np.nan
    kept = thinned(values, 1000)
    assert np.nanargmax(values) in kept
    assert np.nanargmin(values) in kept
    assert np.isnan(values[kept]).sum() >= 1
    assert len(kept) <= 1003


@pytest.mark.parametrize("values", [np.array([]), np.array([np.nan]), np.full(5000, np.nan)])
def test_thinning_nothing_is_nothing_to_fail_at(values):
    assert len(thinned(values, 100)) <= 102


def test_a_gap_becomes_a_hole_before_thinning():
    at, values = gapped(instants([0, 1, 9]), np.array([1.0, 2.0, 3.0]), np.timedelta64(3, "D"))
    assert np.isnan(values).tolist() == [False, False, True, False]
    assert len(at) == 4


# ---------------------------------------------------------------- rules and scales


def test_a_place_without_air_has_a_rule_without_an_index():
    tree = place_rule("Attic", None, None)
    assert find(tree, "index-line") == []
    assert tree[1]["aria-label"] == "Attic: no air known"


def test_a_place_rule_carries_humidity_on_one_edge_and_moisture_on_the_other():
    words = words_of(place_rule("Shop", 20.0, 45.0, [Bracket("Bench", 31.2, 62.7, "/piece/1")]))
    # Wood Handbook eq. 4-5 at 20 °C and 45 %: 8.5 %.
    assert "wood tends to 8.5\u00a0%" in words
    assert "45\u00a0% RH" in words
    assert "Bench · 32–62\u00a0%" in words


def test_a_bracket_leads_to_what_it_speaks_of():
    links = [
        node
        for node in walk(place_rule("Shop", 20.0, 45.0, [Bracket("B", 30, None, "/piece/4")]))
        if node[0] == "a"
    ]
    assert [link[1]["href"] for link in links] == ["/piece/4"]


def test_a_steel_rule_is_cut_to_thirty_seconds_or_half_millimetres():
    inch = rule_graduations(50.8, "inch")
    assert len(inch) == 65
    assert [mark.says for mark in inch if mark.says] == ["1", "2"]
    metric = rule_graduations(20.0, "metric")
    assert len(metric) == 41
    assert [mark.says for mark in metric if mark.says] == ["10", "20"]


def test_an_axis_has_few_graduations_and_every_one_is_numbered():
    for display in (INCH, METRIC):
        for span_mm in (0.3, 1.0, 4.0, 40.0, 400.0):
            marks = length_graduations(300.0, 300.0 + span_mm, display)
            assert len(marks) <= 10
            assert all(mark.says for mark in marks)
            assert len({mark.says for mark in marks}) == len(marks)


def test_months_carry_the_year_in_january_and_are_those_of_the_place():
    starts = months(START, END, "America/New_York")
    assert [says for _, says in starts][6:9] == ["Dec", "2026", "Feb"] or "2026" in [
        says for _, says in starts
    ]
    assert all(at.tzinfo is not None for at, _ in starts)
    assert starts[0][0] == datetime(2025, 6, 1, 4, tzinfo=UTC)


# ---------------------------------------------------------------- sections


PIECE = """
[piece]
name = "Hall bench"
[part.back]
species = "white ash"
cut = "flat-sawn"
width = "14 1/2in"
mc_pct = 8.0
thickness = "5/8in"
finish = { face = "oil-modified urethane varnish", coats = 3, back = "none" }
[fit.back_panel]
kind = "panel-in-groove"
part = "back"
held = "centre"
sight_width = "14in"
groove_depth = "3/8in"
"""


def section_of(mc_pct: float):
    piece = read_piece(PIECE)
    return piece.fits["back_panel"].section({"back": mc_pct})


def test_a_section_names_what_is_left_in_the_viewers_unit():
    # Common practice, no source: 14-1/2 in. a 14 in. sight with 3/8 grooves leaves 1/8 clear each side.
    words = words_of(section_drawing(section_of(8.0), INCH))
    assert "".join(words).replace("\u00a0", " ").count("1/8 in clearance") == 2
    metric = words_of(section_drawing(section_of(8.0), METRIC))
    assert "3.1\u00a0mm clearance" in metric or "3.2\u00a0mm clearance" in metric


def test_wetter_wood_is_drawn_with_less_room():
    def clearance_width(mc_pct):
        return min(
            abs(float(drawn[1]["d"].split("H")[1]) - float(drawn[1]["d"][1:].split(" ")[0]))
            for drawn in find(section_drawing(section_of(mc_pct), METRIC, 620), "dimension")
        )

    assert clearance_width(12.0) < clearance_width(8.0)


def test_a_section_with_nothing_in_it_is_no_reason_to_fail():
    tree = section_drawing(Section("empty", (), ()), INCH)
    assert "nothing to draw" in tree[1]["aria-label"]


def test_sections_fit_a_phone():
    tree = section_drawing(section_of(8.0), INCH, 360)
    for node in walk(tree):
        if node[0] == "rect" and "x" in node[1]:
            assert -1 <= node[1]["x"] <= 361
            assert node[1]["x"] + node[1]["width"] <= 361


# ---------------------------------------------------------------- marks and markup


def test_verdicts_differ_in_shape_before_colour():
    shapes = {verdict: [child[0] for child in mark(verdict)[2:]] for verdict in WORDS}
    assert shapes["past"] == ["rect"]
    assert shapes["near"] == ["path", "circle", "line"]
    assert shapes["clear"] == ["circle"] * 3
    assert shapes["unknown"] == ["circle"]
    assert all(mark(verdict)[1]["aria-label"] == WORDS[verdict] for verdict in WORDS)
    mark("past")[1]["aria-label"] = "changed by the one who asked for it"
    assert mark("past")[1]["aria-label"] == verdict_mark("past").tree[1]["aria-label"] == WORDS["past"]


def test_a_drawing_is_text_where_it_was_text():
    assert markup(shape("text", '<script>"&')) == "<text>&lt;script&gt;&quot;&amp;</text>"


def test_fractions_are_set_apart_in_a_drawing():
    assert shape("text", "14-1/2 in")[2:] == ["14-", ["tspan", {"class": "frac"}, "1/2"], " in"]


def test_only_elements_of_a_drawing_are_drawn():
    with pytest.raises(ValueError, match="not an element of a drawing"):
        shape("script", "x")


def walk(node):
    if isinstance(node, str):
        return
    yield node
    for child in node[2:]:
        yield from walk(child)
