"""A piece as it is being written down."""

import pytest

from dashboard.forms import drafts, recorded_draft
from dashboard.forms import fields as forms
from dashboard.pages.pieces.record_form import faults_said
from model.wood.fits import kinds
from model.wood.piece import document_of, piece_from_document, read_piece
from model.words.display import Display


def a_draft(**fit):
    draft = drafts.new_draft("inch")
    draft["piece"]["name"] = "Hall bench"
    draft["members"][0] |= {
        "name": "back",
        "species": "white ash",
        "width": "14-1/2",
        "mc_pct": "8",
        "thickness": "5/8",
    }
    row = drafts.new_fit("panel-in-groove", ["back"], 1) | {"sight_width": "14", "groove_depth": "3/8"} | fit
    draft["fits"].append(row)
    return draft


@pytest.mark.parametrize(("grain", "key"), [("figured", "figured"), ("on_sheet", "on_sheet"), ("", None)])
def test_crotch_veneer_on_sheet_and_a_resawn_leaf_are_recorded_on_the_form(grain, key):
    leaf = {
        "name": "left leaf", "species": "black walnut", "cut": "flat-sawn", "width": "12", "mc_pct": "8",
        "thickness": "5/16", "face": "none", "grain": grain, "rest_until": "2026-03-12",
    }  # fmt: skip
    checked = drafts.check({"units": "inch", "piece": {"name": "Door"}, "members": [leaf], "fits": []})
    assert checked.piece is not None, checked.problems
    member = checked.piece.members["left leaf"]
    assert (member.figured, member.on_sheet) == (key == "figured", key == "on_sheet")
    assert member.rest_until.isoformat() == "2026-03-12"
    (shown,) = recorded_draft.draft_of(document_of(checked.piece), "inch")["members"]
    assert (shown["grain"], shown["rest_until"]) == (grain, "2026-03-12")


def test_a_draft_is_a_piece_once_nothing_is_missing():
    checked = drafts.check(a_draft())
    assert checked.problems == []
    assert checked.piece is not None
    assert checked.piece.members["back"].width_mm == pytest.approx(368.3)
    assert checked.piece.fits["panel in groove"].groove_depth_mm == pytest.approx(9.525)


def test_a_bare_number_is_in_the_unit_of_the_form_and_a_written_unit_wins():
    draft = a_draft()
    draft["members"][0]["width"] = "368.3mm"
    assert drafts.check(draft).piece.members["back"].width_mm == pytest.approx(368.3)
    metric = a_draft() | {"units": "metric"}
    metric["members"][0] |= {"width": "368.3", "thickness": "15.9"}
    metric["fits"][0] |= {"sight_width": "355.6", "groove_depth": "9.5"}
    assert drafts.check(metric).piece.members["back"].width_mm == pytest.approx(368.3)


def test_an_empty_draft_says_what_is_missing_and_does_not_fail():
    checked = drafts.check(drafts.new_draft("inch"))
    assert checked.piece is None
    assert checked.problems[0][1].what == "the piece's name"


@pytest.mark.parametrize(
    ("key", "value"),
    [("width", "wide"), ("width", "-3"), ("mc_pct", "damp"), ("thickness", ""), ("species", "unobtainium")],
)
def test_a_field_that_is_wrong_is_named(key, value):
    draft = a_draft()
    draft["members"][0][key] = value
    checked = drafts.check(draft)
    assert list(checked.faults) == [("members", 0, key)]
    assert checked.problems == [("back", checked.faults["members", 0, key])]


@pytest.mark.parametrize(
    ("section", "key", "typed", "question"),
    [
        (
            "members",
            "width",
            "1450 in",
            "width of back of 36.8 m is longer than any part: was 14-1/2 in meant?",
        ),
        ("members", "width", "1,450 in", "width of back can be read two ways: is 1450 meant, or 1.450?"),
        ("members", "mc_pct", "0.085 %", "moisture content of back is under 1 %: was 8.5 % meant?"),
        ("fits", "groove_depth", "1450", "is longer than any part: was 14-1/2 in meant?"),
        ("fits", "mc_pct", "0.085", "is under 1 %: was 8.5 % meant?"),
    ],
)
def test_the_absurd_is_asked_back_beside_its_field(section, key, typed, question):
    draft = a_draft()
    draft[section][0][key] = typed
    checked = drafts.check(draft)
    assert checked.piece is None
    asked = forms.in_words(checked.faults[section, 0, key]).replace("\u00a0", " ")
    assert question in asked


def test_every_field_that_is_missing_or_wrong_says_so_at_once():
    draft = a_draft(groove_depth="deep")
    draft["members"][0] |= {"species": "", "width": "wide", "mc_pct": "", "thickness": "-1"}
    faults = drafts.check(draft).faults
    assert {key for section, _, key in faults if section == "members"} == {
        "species", "width", "mc_pct", "thickness",
    }  # fmt: skip
    assert "groove depth of panel in groove" in faults["fits", 0, "groove_depth"].what
    said = faults_said(drafts.check(draft), [spot("species"), spot("width")], draft)
    assert said[0] == ""  # nobody is told what is missing before they had the time to type it
    assert said[1].startswith("Width of back must be a length")
    assert faults_said(drafts.check(draft), [spot("species")]) == ["Wood of back must be given."]


def spot(key):
    return {"fault": "members", "row": 0, "key": key}


def test_two_members_of_one_name_are_refused():
    draft = a_draft()
    draft["members"].append(dict(draft["members"][0]))
    assert any("already called back" in str(error) for _, error in drafts.check(draft).problems)


def test_margins_are_there_while_something_else_is_still_missing():
    draft = a_draft()
    draft["members"].append(drafts.new_member(2))
    checked = drafts.check(draft)
    assert checked.piece is None
    assert list(checked.fits) == ["panel in groove"]


def test_fields_that_do_not_count_yet_are_neither_asked_nor_handed_on():
    flat = a_draft(profile="flat", shoulder_gap="1/32")
    asked, more = drafts.shown_fields(flat["fits"][0])
    assert "shoulder_gap" not in {own.key for own in asked + more}
    assert drafts.check(flat).piece is not None
    raised = a_draft(profile="raised", shoulder_gap="1/32")
    asked, _ = drafts.shown_fields(raised["fits"][0])
    assert "shoulder_gap" in {own.key for own in asked}
    assert drafts.check(raised).piece.fits["panel in groove"].shoulder_gap_mm == pytest.approx(0.79375)


@pytest.mark.parametrize("kind", sorted(kinds()))
def test_every_kind_can_be_begun(kind):
    row = drafts.new_fit(kind, ["back"], 1)
    asked, more = drafts.shown_fields(row)
    assert {own.key for own in kinds()[kind].fields() if own.required} <= {own.key for own in asked}
    assert not {own.key for own in asked} & {own.key for own in more}


PIECE = """
[piece]
name = "Desk"
client = "a friend"
[part.top]
species = "hard maple"
ring_angle_deg = 20
width = 533.33
mc_pct = 7.52
thickness = "7/8in"
finish = { face = "shellac", coats = 2, back = "none" }
mc_basis = "assumed"
[part.front]
species = "black walnut"
cut = "quarter-sawn"
width = "4 1/4in"
mc_pct = 7.5
thickness = "3/4in"
[fit.top]
kind = "top-on-fasteners"
part = "top"
fixed = "front"
button_gap = "1/8in"
engagement = "3/8in"
[fit.drawer]
kind = "front-in-opening"
parts = ["front"]
gap = 1.3
"""


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_a_piece_put_in_the_form_and_taken_out_again_is_the_same(units):
    piece = read_piece(PIECE)
    draft = recorded_draft.draft_of(document_of(piece), units)
    again = drafts.check(draft).piece
    assert again is not None
    before, after = document_of(piece), document_of(again)
    for member in before["part"]:
        for key in ("width", "thickness"):
            assert after["part"][member].pop(key) == pytest.approx(before["part"][member].pop(key), abs=0.01)
    for fit in before["fit"]:
        for key, value in list(before["fit"][fit].items()):
            if isinstance(value, float):
                assert after["fit"][fit].pop(key) == pytest.approx(before["fit"][fit].pop(key), abs=0.01)
    assert after == before


def test_a_length_that_is_no_fraction_is_not_rounded_to_one():
    assert recorded_draft.length_text(368.3, Display("inch")) == "14-1/2"
    assert recorded_draft.length_text(368.0, Display("inch")) == "368 mm"
    assert recorded_draft.length_text(368.0, Display("metric")) == "368"


def test_typing_keeps_its_unit_when_the_form_is_switched():
    switched = recorded_draft.in_units(a_draft(), "metric")
    assert switched["members"][0]["width"] == "14-1/2 in"
    assert drafts.check(switched).piece.members["back"].width_mm == pytest.approx(368.3)
    assert switched["fits"][0]["sight_width"] == "14 in"


def test_what_the_form_does_not_ask_is_handed_on():
    draft = recorded_draft.draft_of(document_of(read_piece(PIECE)), "inch")
    assert draft["members"][0]["mc_basis"] == "assumed"
    document = drafts.check(draft).document
    assert piece_from_document(document).members["top"].mc_basis == "assumed"


def test_of_a_fit_nothing_is_asked_that_follows_from_its_member():
    draft = drafts.new_draft("inch")
    draft["piece"] = {"name": "Coat rack"}
    draft["fits"].append(drafts.new_fit("panel-in-groove", ["panel"], 1))
    assert [where for where, _ in drafts.check(draft).problems] == ["panel"]
    draft["members"][0] |= {"species": "white ash", "width": "14-1/2", "mc_pct": "8", "thickness": "5/8"}
    assert [where for where, _ in drafts.check(draft).problems] == ["panel in groove"]
