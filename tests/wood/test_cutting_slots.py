"""Slots, screws and fasteners: where they are set on the day they are made."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.wood.design.cutting import cut_advice
from model.wood.design.design_range import design_range
from tests.said import said
from tests.wood.cutting_pieces import BOTTOM, INCH, SLOTTED, a_piece


@pytest.mark.parametrize(
    ("built_at", "place", "words"),
    [
        # The bottom grows rearward past a screw that stands still: built dry it will only swell, and the
        # front end of the slot comes to the screw (common practice, no source).
        (6.0, "rear", "toward the rear end of the slot"),
        (11.0, "front", "toward the front end of the slot"),
        (8.5, "middle", "in the middle of the slot"),
    ],
)
def test_the_screw_of_a_drawer_bottom_is_set_for_the_season(built_at, place, words):
    advice = cut_advice(a_piece(BOTTOM, "eastern white pine", "18in"), "fit", built_at, (6.0, 11.0))
    assert advice.place == place
    assert words in said(advice.reasons)


@pytest.mark.parametrize(
    ("built_at", "place"),
    [(6.0, "inner"), (11.0, "outer")],
)
def test_the_screw_of_a_top_is_set_the_other_way(built_at, place):
    fit = {
        "kind": "top-on-fasteners",
        "part": "part",
        "fastener": "slotted-screw",
        "slot_length": "3/4in",
    }
    assert cut_advice(a_piece(fit), "fit", built_at, (6.0, 11.0)).place == place


@settings(max_examples=60)
@given(which=st.sampled_from(sorted(SLOTTED)), today=st.floats(5.0, 12.0))
def test_a_slot_made_as_told_with_its_screw_as_told_lasts_the_season(which, today):
    piece = a_piece(SLOTTED[which])
    advice = cut_advice(piece, "fit", today, (6.0, 11.0))
    table = SLOTTED[which] | {
        "slot_length": advice.slot_length_mm,
        "screw_at": advice.screw_at_mm,
        "mc_pct": today,
    }
    span = design_range(a_piece(table)).span
    # The doubt of the meter is in the slot too, so the season lies well within.
    assert span.mc_low_pct <= min(6.0, today) + 1e-6
    assert span.mc_high_pct >= max(11.0, today) - 1e-6
    assert span.mc_high_pct - span.mc_low_pct >= 5.0 + 0.9
    wider = cut_advice(piece, "fit", today, (5.0, 13.0))
    assert wider.slot_length_mm >= advice.slot_length_mm
    assert advice.slot_length_rounded_mm >= advice.slot_length_mm


def test_a_slot_as_drawn_is_judged_and_its_screw_placed():
    enough = cut_advice(a_piece(BOTTOM, width="12in"), "fit", 8.0, (7.0, 9.0))
    short = cut_advice(a_piece(BOTTOM | {"slot_length": "0.15in"}, width="18in"), "fit", 8.0, (6.0, 11.0))
    assert enough.enough
    assert not short.enough
    assert "not enough for this" in said(short.reasons[-1])
    assert 0 < enough.screw_at_in_slot_mm < 3 / 8 * INCH


def test_buttons_are_told_their_gap_and_their_tongue():
    # Walnut, 10-1/2 in from the fixed line, at 6.5 to 8.5 %, to 6 and 11 %: 0.072 in and 0.129 in.
    fit = {
        "kind": "top-on-fasteners", "part": "part", "button_gap": "9/64in", "engagement": "3/8in",
        "fastener_distance": "10.5in",
    }  # fmt: skip
    advice = cut_advice(a_piece(fit, "black walnut", "21in", mc_pct=7.5), "fit", 7.5, (6.0, 11.0))
    assert advice.swelling_mm / INCH == pytest.approx(10.5 * 0.00274 * 4.5, abs=0.002)
    assert advice.shrinking_mm / INCH == pytest.approx(10.5 * 0.00274 * 2.5, abs=0.001)
    assert advice.gap_mm == advice.swelling_mm
    assert advice.engagement_mm == pytest.approx(advice.shrinking_mm + INCH / 8)
    assert advice.enough
    assert "end aprons" in said(advice.reasons)
    tight = fit | {"button_gap": "1/32in"}
    assert not cut_advice(a_piece(tight, "black walnut", "21in"), "fit", 7.5, (6.0, 11.0)).enough
