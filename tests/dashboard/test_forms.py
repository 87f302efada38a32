"""What forms are made of."""

import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboard.figures.drawing import find
from dashboard.figures.section import section_drawing
from dashboard.forms import fields as forms
from dashboard.forms.declared import Asked, Form
from model.wood.errors import BadInput
from model.wood.piece import read_piece
from model.words.display import Display

PIECES = Path(__file__).parents[2] / "sample_readings" / "pieces"


def test_a_choice_that_would_be_cut_off_is_wider():
    short = forms.choice_field("Cut", "cut", [("a", "flat-sawn"), ("b", "quarter-sawn")])
    long = forms.choice_field("Stored", "stored", [("", "nowhere"), ("a", "an unheated garage, as is usual")])
    assert short.className == "field"
    assert long.className == "field broad"


@pytest.mark.parametrize("typed", ["1450 in", "1450"])
def test_a_length_beyond_any_part_is_asked_back(typed):
    with pytest.raises(BadInput) as refused:
        forms.length_typed(typed, "inch", "width")
    asked = forms.in_words(refused.value).replace("\u00a0", " ")
    assert asked == f"width of 36.8 m is longer than any part: was 14-1/2 in meant? (got {typed!r})"


def test_a_share_typed_for_per_cent_is_asked_back():
    with pytest.raises(BadInput) as refused:
        forms.number_typed("0.085 %", "moisture content")
    assert "is under 1 %: was 8.5 % meant?" in forms.in_words(refused.value)
    assert forms.number_typed("8.5", "moisture content") == 8.5
    assert forms.number_typed("0", "moisture content") == 0.0
    assert forms.number_typed("0.5", "its weight", "g") == 0.5


def test_a_comma_that_can_be_read_two_ways_is_asked_back():
    with pytest.raises(BadInput) as refused:
        forms.length_typed("1,450 in", "inch", "width")
    assert "can be read two ways: is 1450 meant, or 1.450?" in forms.in_words(refused.value)


def test_usual_lengths_are_read_as_before():
    assert forms.length_typed("14-1/2", "inch", "width") == 368.3
    assert forms.length_typed("1450", "metric", "width") == 1450.0


def test_a_plain_number_gets_a_phones_number_pad_and_a_fraction_does_not():
    def keys(hint):
        return getattr(forms.text_field("Moisture", "mc", hint=hint).children[1], "mode", None)

    assert [keys(hint) for hint in ("%", "% or mm", "°F", "grams")] == ["decimal"] * 4
    assert keys("in, as 14-1/2") is None
    assert keys("% for moisture, else in, as 3/64") is None


def test_a_number_gets_the_pad_whatever_stands_under_it_and_several_get_keys_to_part_them():
    asked = (Asked("days", "Days", "number", "empty if none"), Asked("mc", "MC", "numbers", "%, one a board"))
    viewer = SimpleNamespace(display=Display("inch"), units="inch")
    days, mc = Form("stored", "Check", asked).laid(viewer, {})
    assert (days.children[1].mode, mc.children[1].mode) == ("decimal", "text")


def test_end_grain_of_a_part_with_any_name_finds_its_pattern():
    chest = read_piece((PIECES / "chest_of_drawers.toml").read_text(), "chest")
    fit = chest.fits["side_panels"]
    drawing = section_drawing(fit.section(fit.references()), Display(), uid="live-back (left) panel-460")
    (pattern,) = [part[2][1]["id"] for part in drawing if isinstance(part, list) and part[0] == "defs"]
    fills = {str(part[1].get("fill")) for part in drawing[2:] if part[0] == "rect" and "fill" in part[1]}
    assert fills == {f"url(#{pattern})"}
    assert re.fullmatch(r"[A-Za-z0-9_-]+", pattern)
    assert find(drawing, "wood")
