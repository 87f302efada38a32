"""Widths to cut, grooves to plough, slots to drill.

Expected figures marked so are trade arithmetic, computed by hand from Wood Handbook coefficients (Table 13-5,
as read on the page); the formulas are common practice, no source.
"""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.wood.cutting import cut_advice, cut_document
from model.wood.design import design_range
from model.wood.errors import BadInput
from model.wood.fits.panel_in_groove.cut import RESERVE_MM
from model.wood.piece import Piece, piece_from_document
from model.wood.setting_out import INCH_STEPS, METRIC_STEPS, Allowances, both_units, told

INCH = 25.4


def a_piece(fit: dict, species: str = "black cherry", width: str = "14.5in", **changes: object) -> Piece:
    member = {"species": species, "cut": "flat-sawn", "width": width, "mc_pct": 8.0, "thickness": "3/4in"}
    return piece_from_document(
        {"piece": {"name": "Case"}, "part": {"part": member | changes}, "fit": {"fit": fit}}
    )


def panel(sight: float, groove: float = 0.75, **more: object) -> dict:
    return {
        "kind": "panel-in-groove",
        "part": "part",
        "sight_width": f"{sight}in",
        "groove_depth": f"{groove}in",
        **more,
    }


@pytest.mark.parametrize(
    ("species", "width_in", "centre_in", "centre_cut_in", "free_in", "free_cut_in"),
    [
        # g = reserve/2 + engage + move/2 when centred, reserve + engage + move when free, with 1/32 in of
        # reserve and 1/8 in engaged: 15 in of cherry moves 0.186 in from 6 to 11 %, 18 in of red oak 0.332.
        ("black cherry", 15.0, 0.234, 1 / 4, 0.342, 3 / 8),
        ("red oak", 18.0, 0.307, 5 / 16, 0.488, 1 / 2),
    ],
)
def test_the_grooves_the_trade_uses_come_out(
    species, width_in, centre_in, centre_cut_in, free_in, free_cut_in
):
    # Sight width such that a panel filling the grooves is as wide as the one in the sum.
    for held, expected_in, cut_in in (("centre", centre_in, centre_cut_in), ("free", free_in, free_cut_in)):
        sight = width_in + 1 / 32 - 2 * expected_in
        piece = a_piece(panel(sight, held=held), species, f"{width_in}in")
        advice = cut_advice(piece, "fit", 7.5, (6.0, 11.0))
        exact, rounded = (
            (advice.groove_depth_centre_mm, advice.groove_depth_centre_rounded_mm)
            if held == "centre"
            else (advice.groove_depth_free_mm, advice.groove_depth_free_rounded_mm)
        )
        assert exact / INCH == pytest.approx(expected_in, abs=0.003)
        assert rounded / INCH == pytest.approx(cut_in)


def test_the_width_today_is_what_fills_the_grooves_less_the_reserve_at_the_wet_end():
    # (14 + 0.75 - 1/32) x (1 - 0.00248 x 3.5) at 7.5 % for 11 %.
    advice = cut_advice(a_piece(panel(14, 0.375)), "fit", 7.5, (6.0, 11.0))
    by_hand = (14 + 0.75 - 1 / 32) * (1 - 0.00248 * 3.5)
    assert advice.width_to_cut_mm / INCH == pytest.approx(by_hand, abs=0.002)
    assert advice.width_to_cut_rounded_mm <= advice.width_to_cut_mm
    assert advice.clearance_wet_mm >= RESERVE_MM


sights = st.floats(6.0, 30.0)
moistures = st.floats(5.0, 12.0)


@settings(max_examples=60)
@given(
    sight=sights, today=moistures, held=st.sampled_from(["centre", "free", "one-edge"]), metric=st.booleans()
)
def test_a_panel_cut_as_told_in_grooves_as_told_keeps_its_reserve_and_its_tongue(sight, today, held, metric):
    steps = METRIC_STEPS if metric else INCH_STEPS
    fit = panel(sight, 2.5, held=held) | ({"held_engagement": 3.0} if held == "one-edge" else {})
    first = cut_advice(a_piece(fit, width=f"{sight + 1}in"), "fit", today, (6.0, 11.0))
    needed = first.groove_depth_centre_rounded_mm if held == "centre" else first.groove_depth_free_rounded_mm
    fit |= {"groove_depth": needed}
    advice = cut_advice(a_piece(fit, width=f"{sight + 0.2}in"), "fit", today, (6.0, 11.0), steps=steps)
    assert advice.enough
    # Build it as told, and look at its margins at both ends and today.
    as_told = a_piece(
        fit | {"least_engagement": 0}, width=f"{advice.width_to_cut_rounded_mm}mm", mc_pct=today
    ).fits["fit"]
    tongues = 2 if held == "centre" else 1
    for mc in (6.0, today, 11.0):
        left = {limit.name: limit.margin_mm for limit in as_told.limits({"part": mc})}
        assert left["groove-bottom"] >= RESERVE_MM - 1e-6
        # The width was rounded down by up to one step.
        assert left["leaves-groove"] >= tongues * Allowances.engagement_mm - steps.width_mm - 1e-6


@pytest.mark.parametrize("today", [6.0, 8.0, 11.0])
def test_wetter_stock_is_cut_wider(today):
    piece = a_piece(panel(14))
    here, wetter = (cut_advice(piece, "fit", mc, (6.0, 11.0)) for mc in (today, today + 0.5))
    assert wetter.width_to_cut_mm >= here.width_to_cut_mm
    assert (wetter.width_to_cut_mm > here.width_to_cut_mm) == (today < 11.0)
    if today < 11.0:
        assert wetter.groove_depth_centre_mm == here.groove_depth_centre_mm
    else:
        assert wetter.groove_depth_centre_mm > here.groove_depth_centre_mm


@pytest.mark.parametrize(
    ("changes", "today", "sentence"),
    [
        ({"groove_depth": "1/4in", "sight_width": "14.25in", "held": "free"}, 8.0, "not enough for this"),
        ({}, 13.0, "it can only shrink"),
        ({}, 5.0, "it can only swell"),
        ({"profile": "raised", "shoulder_gap": 1}, 8.0, "between each shoulder and its stile"),
    ],
)
def test_the_advice_says_what_matters(changes, today, sentence):
    advice = cut_advice(a_piece(panel(14, 0.375) | changes), "fit", today, (6.0, 11.0))
    assert sentence in " ".join(advice.sentences)


def test_more_reserve_and_more_tongue_ask_for_deeper_grooves():
    piece = a_piece(panel(14))
    usual = cut_advice(piece, "fit", 8.0)
    more_reserve = cut_advice(piece, "fit", 8.0, reserve_mm=3.0)
    more_tongue = cut_advice(piece, "fit", 8.0, engagement_mm=6.0)
    assert more_reserve.width_to_cut_mm < usual.width_to_cut_mm
    for more in (more_reserve, more_tongue):
        assert more.groove_depth_centre_mm > usual.groove_depth_centre_mm
        assert more.groove_depth_free_mm > usual.groove_depth_free_mm
    assert cut_advice(piece, "fit", 8.0, (5.0, 13.0)).groove_depth_free_mm > usual.groove_depth_free_mm


def test_the_narrowest_width_keeps_the_tongue_at_the_dry_end():
    fit = panel(14, 0.375)
    advice = cut_advice(a_piece(fit), "fit", 8.0, (6.0, 11.0))
    narrow = a_piece(fit, width=f"{advice.width_least_mm}mm")
    (margin,) = [
        limit.margin_mm + 2 * 25.4 / 16
        for limit in narrow.fits["fit"].limits({"part": 6.0})
        if limit.name == "leaves-groove"
    ]
    assert margin == pytest.approx(2 * Allowances.engagement_mm, abs=1e-6)


def test_a_front_is_told_its_gap_and_its_width():
    # 4 in of cherry from 8 to 11 %: 0.030 in to grow, and 1/64 in to run.
    fit = {"kind": "front-in-opening", "part": "part", "gap": 1, "opening_size": "4.1in"}
    advice = cut_advice(a_piece(fit, width="4in"), "fit", 8.0, (6.0, 11.0))
    assert advice.gap_mm / INCH == pytest.approx(4 * 0.00248 * 3 + 1 / 64, abs=0.001)
    assert advice.width_to_cut_mm + advice.gap_mm == pytest.approx(4.1 * INCH)
    assert advice.gap_wet_mm >= INCH / 64 - 1e-9
    assert advice.gap_dry_mm > advice.gap_rounded_mm > advice.gap_wet_mm
    assert advice.enough
    wide = cut_advice(a_piece(fit | {"opening_size": "20.5in"}, "red oak", "20in"), "fit", 6.0, (6.0, 11.0))
    assert not wide.enough
    assert "wider than" in wide.sentences[-1]


def test_a_front_built_damp_is_fitted_close():
    fit = {"kind": "front-in-opening", "part": "part", "gap": 1}
    damp, dry = (cut_advice(a_piece(fit, width="8in"), "fit", mc, (6.0, 11.0)) for mc in (11.0, 6.0))
    assert damp.gap_mm == pytest.approx(INCH / 64)
    assert dry.gap_mm > damp.gap_mm
    assert damp.gap_dry_mm == pytest.approx(dry.gap_rounded_mm, abs=1.0)


def test_boards_are_told_their_gap_and_the_lap_it_needs():
    # 5 in of white pine moves 0.0106 in a point at each joint: 0.032 in from 8 to 11 %.
    fit = {"kind": "board-back", "part": "part", "gap": 1, "lap": "3/8in"}
    advice = cut_advice(a_piece(fit, "eastern white pine", "5in"), "fit", 8.0, (6.0, 11.0))
    assert advice.gap_mm / INCH == pytest.approx(0.0318 + 1 / 32, abs=0.001)
    assert advice.gap_dry_mm > advice.gap_wet_mm >= 0
    assert advice.lap_needed_mm == pytest.approx(advice.gap_dry_mm + INCH / 16)
    assert advice.enough
    short = fit | {"lap": "1/8in"}
    assert not cut_advice(a_piece(short, "eastern white pine", "5in"), "fit", 8.0, (6.0, 11.0)).enough


BOTTOM = {"kind": "drawer-bottom", "part": "part", "slot_length": "3/8in"}


@pytest.mark.parametrize(
    ("built_at", "place"),
    [
        # The bottom grows rearward past a screw that stands still: built dry it will only swell, and the
        # front end of the slot comes to the screw (common practice, no source).
        (6.0, "toward the rear end of the slot"),
        (11.0, "toward the front end of the slot"),
        (8.5, "in the middle of the slot"),
    ],
)
def test_the_screw_of_a_drawer_bottom_is_set_for_the_season(built_at, place):
    advice = cut_advice(a_piece(BOTTOM, "eastern white pine", "18in"), "fit", built_at, (6.0, 11.0))
    assert advice.place == place
    assert place in " ".join(advice.sentences)


@pytest.mark.parametrize(
    ("built_at", "place"),
    [(6.0, "toward the inner end of the slot"), (11.0, "toward the outer end of the slot")],
)
def test_the_screw_of_a_top_is_set_the_other_way(built_at, place):
    fit = {
        "kind": "top-on-fasteners",
        "part": "part",
        "fastener": "slotted-screw",
        "slot_length": "3/4in",
    }
    assert cut_advice(a_piece(fit), "fit", built_at, (6.0, 11.0)).place == place


SLOTTED = {
    "drawer bottom": BOTTOM,
    "top": {
        "kind": "top-on-fasteners",
        "part": "part",
        "fastener": "slotted-screw",
        "slot_length": "1/2in",
    },
    "breadboard": {"kind": "breadboard-end", "part": "part", "pin_distance": "6in", "slot_length": "3/8in"},
    "runner": {"kind": "cross-grain-fixing", "part": "part", "slot_length": "1/2in"},
}


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
    # A 64th is kept at each end, so both limits lie just outside the season.
    assert span.mc_low_pct < min(6.0, today)
    assert span.mc_high_pct > max(11.0, today)
    wider = cut_advice(piece, "fit", today, (5.0, 13.0))
    assert wider.slot_length_mm >= advice.slot_length_mm
    assert advice.slot_length_rounded_mm >= advice.slot_length_mm


def test_a_slot_as_drawn_is_judged_and_its_screw_placed():
    enough = cut_advice(a_piece(BOTTOM, width="12in"), "fit", 8.0, (7.0, 9.0))
    short = cut_advice(a_piece(BOTTOM | {"slot_length": "0.15in"}, width="18in"), "fit", 8.0, (6.0, 11.0))
    assert enough.enough
    assert not short.enough
    assert "not enough for this" in short.sentences[-1]
    assert 0 < enough.screw_at_in_slot_mm < 3 / 8 * INCH


def test_buttons_are_told_their_gap_and_their_tongue():
    # Walnut, 10-1/2 in from the fixed line, 7.5 % to 6 and 11 %: 0.043 in and 0.101 in.
    fit = {
        "kind": "top-on-fasteners", "part": "part", "button_gap": "1/8in", "engagement": "3/8in",
        "fastener_distance": "10.5in",
    }  # fmt: skip
    advice = cut_advice(a_piece(fit, "black walnut", "21in", mc_pct=7.5), "fit", 7.5, (6.0, 11.0))
    assert advice.swelling_mm / INCH == pytest.approx(10.5 * 0.00274 * 3.5, abs=0.002)
    assert advice.shrinking_mm / INCH == pytest.approx(10.5 * 0.00274 * 1.5, abs=0.001)
    assert advice.gap_mm > advice.swelling_mm
    assert advice.engagement_mm == pytest.approx(advice.shrinking_mm + INCH / 8)
    assert advice.enough
    assert "end aprons" in " ".join(advice.sentences)
    tight = fit | {"button_gap": "1/32in"}
    assert not cut_advice(a_piece(tight, "black walnut", "21in"), "fit", 7.5, (6.0, 11.0)).enough


@pytest.mark.parametrize(
    "fit", [panel(14), {"kind": "front-in-opening", "part": "part", "gap": 1}, *SLOTTED.values()]
)
def test_the_document_is_plain_json_with_its_sentences(fit):
    document = cut_document(a_piece(fit), "fit", 7.5, (6.0, 11.0))
    assert json.loads(json.dumps(document)) == document
    assert (document["piece"], document["fit"], document["range_mc_pct"]) == ("Case", "fit", [6.0, 11.0])
    assert all(sentence.endswith((".", ")")) for sentence in document["sentences"])


@pytest.mark.parametrize("fit", [panel(14), *SLOTTED.values()])
def test_lengths_stay_numbers_until_somebody_says_them(fit):
    advice = cut_document(a_piece(fit), "fit", 7.5, (6.0, 11.0))
    assert [told(parts) for parts in advice["parts"]] == advice["sentences"]
    in_feet = [told(parts, lambda length_mm: f"{length_mm / 304.8:.4f} ft") for parts in advice["parts"]]
    assert not any(" mm" in sentence or " in)" in sentence for sentence in in_feet)
    lengths = [part for parts in advice["parts"] for part in parts if isinstance(part, float)]
    assert lengths
    assert sum(sentence.count(" ft") for sentence in in_feet) == len(lengths)


def test_the_width_in_words_is_the_width_in_numbers():
    advice = cut_document(a_piece(panel(14)), "fit", 7.5, (6.0, 11.0))
    first, width_mm, rest = advice["parts"][0]
    assert (first, rest) == ("Cut the part ", " wide today, at 7.5 %.")
    assert width_mm == advice["width_to_cut_rounded_mm"]


def test_the_document_of_a_panel_has_width_and_both_grooves():
    document = cut_document(a_piece(panel(14)), "fit", 7.5, (6.0, 11.0))
    assert document["groove_depth_free_mm"] > document["groove_depth_centre_mm"]
    assert document["width_to_cut_mm"] > 14 * INCH


@pytest.mark.parametrize(
    ("fit_name", "mc", "span", "sentence"),
    [
        ("fitt", 8.0, (6.0, 11.0), "fit must be a fit of Case; did you mean fit?, got 'fitt'"),
        ("x", 8.0, (6.0, 11.0), "fit must be a fit of Case (there are: fit), got 'x'"),
        ("fit", 31.0, (6.0, 11.0), "mc must lie in 0 to 30 % (fibre saturation), got 31.0"),
        ("fit", float("nan"), (6.0, 11.0), "mc must lie in 0 to 30 % (fibre saturation), got nan"),
        ("fit", 8.0, (-1.0, 11.0), "range must lie in 0 to 30 % (fibre saturation), got -1.0"),
        ("fit", 8.0, (11.0, 6.0), "range must run from a dry to a wetter moisture content, got '11-6'"),
    ],
)
def test_what_cannot_be_advised_on_is_told(fit_name, mc, span, sentence):
    for ask in (cut_advice, cut_document):
        with pytest.raises(BadInput) as refused:
            ask(a_piece(panel(14)), fit_name, mc, span)
        assert str(refused.value) == sentence


def test_a_fit_that_nothing_is_cut_for_is_told():
    mitre = a_piece({"kind": "mitre", "part": "part"})
    tight = a_piece({"kind": "cross-grain-fixing", "part": "part", "fixing": "tight"})
    for piece in (mitre, tight):
        with pytest.raises(BadInput, match=r"must be one whose part is cut to width .* or held by a screw"):
            cut_advice(piece, "fit", 8.0)


@pytest.mark.parametrize(
    ("length_mm", "words"),
    [
        (368.3, "368.3 mm (14-1/2 in)"),
        (9.525, "9.53 mm (3/8 in)"),
        (25.4, "25.4 mm (1 in)"),
        (0.0, "0 mm (0 in)"),
        (-1.5875, "-1.59 mm (-1/16 in)"),
    ],
)
def test_lengths_are_said_in_both_units(length_mm, words):
    assert both_units(length_mm) == words
