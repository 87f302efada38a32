"""Drawings are pure: numbers in, a drawing out."""

import pytest

from dashboard.figures.drawing import find, markup, shape, words_of
from dashboard.figures.place_rule import Bracket, place_rule
from dashboard.figures.scale import length_graduations, rule_graduations
from dashboard.figures.section import section_drawing
from dashboard.say.marks import WORDS, mark, verdict_mark
from model.wood.fits.drawing import Section
from model.wood.piece import read_piece
from model.words.display import Display

INCH, METRIC = Display("inch"), Display("metric")

# ---------------------------------------------------------------- rules and scales


def test_a_place_without_air_has_a_rule_without_an_index():
    tree = place_rule("Attic", None, None)
    assert find(tree, "index-line") == []
    assert tree[1]["aria-label"] == "Attic: no air known"


def test_a_place_rule_carries_humidity_on_one_edge_and_moisture_on_the_other():
    words = words_of(place_rule("Shop", 20.0, 45.0, [Bracket("Bench", 31.2, 62.7, "/piece/1")]))
    # Wood Handbook eq. 4-5 at 20 °C and 45 %: 8.5 %.
    assert "wood settles at 8.5\u00a0%" in words
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
