"""Widths to cut, grooves to plough, slots to drill.

Expected figures marked so are trade arithmetic, computed by hand from Wood Handbook coefficients (Table 13-5,
as read on the page); the formulas are common practice, no source.
"""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.wood.design.cutting import cut_advice, cut_document
from model.wood.design.gap_table import gap_table
from model.wood.design.setting_out import ENGAGEMENT_MM, INCH_STEPS, METRIC_STEPS
from model.wood.errors import BadInput
from model.wood.material.movement import Movement
from model.words.limits import cut_said
from model.words.reasons import METRIC
from tests.said import said
from tests.wood.cutting_pieces import INCH, SLOTTED, a_piece


def panel(sight: float, groove: float = 0.75, **more: object) -> dict:
    return {
        "kind": "panel-in-groove",
        "part": "part",
        "sight_width": f"{sight}in",
        "groove_depth": f"{groove}in",
        **more,
    }


def test_the_three_widths_of_a_door_panel():
    # 18 in of cherry at 9 +- 1 %, sight 17-3/8, grooves 1/2, house 5.4 to 10.1 % (common practice, no source;
    # C_T 0.00248 is Wood Handbook Table 13-5). Most: 18.375 / (1 + 0.00248 x 2.1), for it may be at 8 %.
    # Least: 17.625 x (1 + 0.00248 x 4.6), for it may be at 10 %. Best: the middle less half of 0.0447.
    advice = cut_advice(a_piece(panel(17.375, 0.5), width="18in"), "fit", 9.0, (5.4, 10.1))
    assert advice.width_most_mm / INCH == pytest.approx(18.375 / (1 + 0.00248 * 2.1), abs=0.002)
    assert advice.width_least_mm / INCH == pytest.approx(17.625 * (1 + 0.00248 * 4.6), abs=0.003)
    middle = (advice.width_most_mm + advice.width_least_mm) / 2
    assert (middle - advice.width_best_mm) / INCH == pytest.approx(0.5 * 18.05 * 0.00248, abs=0.001)
    assert advice.mc_doubt_pct == 1.0
    assert said(advice.reasons, "inch").startswith(
        "Cut the part 18-1/32 in wide (17-27/32 to 18-1/4 in will work), wood at 9 ± 1 %."
    )


def test_stock_wetter_than_its_home_is_not_built_with_yet():
    advice = cut_advice(a_piece(panel(17.375, 0.5), width="18in"), "fit", 13.0, (5.4, 10.1))
    assert not advice.build_now
    assert advice.figures == [("build with this stock", "not yet", "")]
    assert said(advice.reasons) == (
        "Don't build with this stock yet: at 13 ± 1 % it is wetter than it will ever be there "
        "(5.4 to 10.1 %). Let it come down to about 8 %."
    )
    # At 11 ± 1 % the meter leaves it open.
    damp = cut_advice(a_piece(panel(17.375, 0.5), width="18in"), "fit", 11.0, (5.4, 10.1))
    assert damp.build_now
    assert "may be wetter" in said(damp.reasons[-1])


@pytest.mark.parametrize(
    ("species", "width_in", "centre_in", "centre_cut_in", "free_in", "free_cut_in"),
    [
        # g = engage + move/2 when centred, engage + move when free, with 1/8 in engaged and a meter trusted:
        # 15 in of cherry moves 0.186 from 6 to 11 %, 18 in of red oak 0.332.
        ("black cherry", 15.0, 0.218, 1 / 4, 0.311, 5 / 16),
        ("red oak", 18.0, 0.291, 5 / 16, 0.457, 1 / 2),
    ],
)
def test_the_grooves_the_trade_uses_come_out(
    species, width_in, centre_in, centre_cut_in, free_in, free_cut_in
):
    # Sight width such that a panel filling the grooves is as wide as the one in the sum.
    for held, expected_in, cut_in in (("centre", centre_in, centre_cut_in), ("free", free_in, free_cut_in)):
        sight = width_in - 2 * expected_in
        piece = a_piece(panel(sight, held=held), species, f"{width_in}in")
        advice = cut_advice(piece, "fit", 7.5, (6.0, 11.0), mc_doubt_pct=0.0)
        exact, rounded = (
            (advice.groove_depth_centre_mm, advice.groove_depth_centre_rounded_mm)
            if held == "centre"
            else (advice.groove_depth_free_mm, advice.groove_depth_free_rounded_mm)
        )
        assert exact / INCH == pytest.approx(expected_in, abs=0.003)
        assert rounded / INCH == pytest.approx(cut_in)


sights = st.floats(6.0, 30.0)
moistures = st.floats(5.0, 11.9)


@settings(max_examples=60)
@given(
    sight=sights,
    today=moistures,
    doubt=st.floats(0.0, 2.0),
    out=st.floats(-1.0, 1.0),
    held=st.sampled_from(["centre", "free", "one-edge"]),
    metric=st.booleans(),
)
def test_a_panel_cut_as_told_works_however_far_the_meter_is_out(sight, today, doubt, out, held, metric):
    steps = METRIC_STEPS if metric else INCH_STEPS
    fit = panel(sight, 2.5, held=held) | ({"held_engagement": 3.0} if held == "one-edge" else {})
    ask = {"mc_doubt_pct": doubt, "steps": steps}
    first = cut_advice(a_piece(fit, width=f"{sight + 1}in"), "fit", today, (6.0, 11.0), **ask)
    needed = first.groove_depth_centre_rounded_mm if held == "centre" else first.groove_depth_free_rounded_mm
    fit |= {"groove_depth": needed}
    advice = cut_advice(a_piece(fit, width=f"{sight + 0.2}in"), "fit", today, (6.0, 11.0), **ask)
    assert advice.enough
    assert advice.width_least_mm <= advice.width_best_mm <= advice.width_most_mm
    # Build it as told of wood that is really at `truly`, and look at its margins at both ends and today.
    truly = today + out * doubt
    for width_mm in (advice.width_least_mm, advice.width_best_rounded_mm, advice.width_most_mm):
        as_told = a_piece(fit | {"least_engagement": 0}, width=f"{width_mm}mm", mc_pct=truly).fits["fit"]
        tongues = 2 if held == "centre" else 1
        for mc in (6.0, truly, 11.0):
            left = {limit.name: limit.margin_mm for limit in as_told.limits({"part": mc})}
            # Rounded to a sixty-fourth where so little is left that no thirty-second lies between.
            assert left["groove-bottom"] >= -1e-6
            assert left["leaves-groove"] >= tongues * ENGAGEMENT_MM - steps.gap_mm - 1e-6


@pytest.mark.parametrize("today", [6.0, 8.0, 11.0])
def test_wetter_stock_is_cut_wider(today):
    piece = a_piece(panel(14))
    here, wetter = (cut_advice(piece, "fit", mc, (6.0, 11.0)) for mc in (today, today + 0.5))
    for which in ("width_least_mm", "width_best_mm", "width_most_mm"):
        assert getattr(wetter, which) > getattr(here, which)


@pytest.mark.parametrize(
    ("changes", "today", "sentence"),
    [
        (
            {"groove_depth": "1/4in", "sight_width": "14.25in", "held": "free"},
            8.0,
            "No width of the part works",
        ),
        ({}, 11.5, "it can only shrink"),
        ({}, 5.0, "it can only swell"),
        ({"profile": "raised", "shoulder_gap": 1}, 8.0, "between each shoulder and its stile"),
    ],
)
def test_the_advice_says_what_matters(changes, today, sentence):
    advice = cut_advice(a_piece(panel(14, 0.375) | changes), "fit", today, (6.0, 11.0))
    assert sentence in said(advice.reasons)


def test_more_doubt_asks_for_deeper_grooves():
    piece = a_piece(panel(14))
    usual = cut_advice(piece, "fit", 8.0)
    more_doubt = cut_advice(piece, "fit", 8.0, mc_doubt_pct=2.0)
    assert more_doubt.width_most_mm < usual.width_most_mm
    assert more_doubt.width_least_mm > usual.width_least_mm
    assert more_doubt.groove_depth_centre_mm > usual.groove_depth_centre_mm
    assert more_doubt.groove_depth_free_mm > usual.groove_depth_free_mm
    assert cut_advice(piece, "fit", 8.0, (5.0, 13.0)).groove_depth_free_mm > usual.groove_depth_free_mm


def test_a_front_is_told_its_gap_and_its_three_widths():
    # 4 in of cherry at 8 ± 1 % for 6 to 11 %: 4 points to grow and 1/64 in to run; 3 points to shrink, and
    # 1/8 in that still looks right (common practice, no source).
    fit = {"kind": "front-in-opening", "part": "part", "gap": 1, "opening_size": "4.1in"}
    advice = cut_advice(a_piece(fit, width="4in"), "fit", 8.0, (6.0, 11.0))
    least, most = 4.1 * 0.00248 * 4 + 1 / 64, 1 / 8 - 4.1 * 0.00248 * 3
    assert advice.gap_least_mm / INCH == pytest.approx(least, abs=0.001)
    assert advice.width_most_mm / INCH == pytest.approx(4.1 - least, abs=0.001)
    assert advice.width_least_mm / INCH == pytest.approx(4.1 - most, abs=0.001)
    assert advice.width_best_mm + advice.gap_mm == pytest.approx(4.1 * INCH)
    assert advice.gap_wet_mm >= INCH / 64 - 1e-9
    assert advice.gap_dry_mm > advice.gap_rounded_mm > advice.gap_wet_mm
    assert advice.enough
    wide = cut_advice(a_piece(fit | {"opening_size": "20.5in"}, "red oak", "20in"), "fit", 6.0, (6.0, 11.0))
    assert not wide.enough
    assert "wider than" in said(wide.reasons[-1])
    # Too wide a gap only shows, a front that binds is harmed: it keeps the gap it needs.
    assert wide.gap_mm == pytest.approx(wide.gap_least_mm)


@pytest.mark.parametrize("opening", ["4.1in", "6in", "8-1/16in"])
@pytest.mark.parametrize("today", [7.0, 8.0, 9.0])
def test_the_gap_as_marked_lies_between_the_least_and_the_most(opening, today):
    fit = {"kind": "front-in-opening", "part": "part", "gap": 1, "opening_size": opening}
    advice = cut_advice(a_piece(fit, "black walnut", width="4in"), "fit", today, (7.0, 9.0))
    assert advice.enough
    assert advice.width_least_mm <= advice.width_best_rounded_mm + 1e-6
    assert advice.width_best_rounded_mm <= advice.width_most_mm + 1e-6
    assert advice.gap_rounded_mm >= advice.gap_least_mm - 1e-6


def test_a_front_built_damp_is_fitted_close():
    fit = {"kind": "front-in-opening", "part": "part", "gap": 1}
    damp, dry = (
        cut_advice(a_piece(fit, width="8in"), "fit", mc, (6.0, 11.0), mc_doubt_pct=0.0) for mc in (11.0, 6.0)
    )
    assert damp.gap_least_mm == pytest.approx(INCH / 64)
    assert dry.gap_mm > damp.gap_mm


def test_boards_are_told_their_gap_and_the_lap_it_needs():
    # 5 in of white pine moves 0.0106 in a point at each joint: 0.042 in from 7 to 11 %, 0.032 from 9 to 6 %.
    fit = {"kind": "board-back", "part": "part", "gap": 1, "lap": "3/8in"}
    advice = cut_advice(a_piece(fit, "eastern white pine", "5in"), "fit", 8.0, (6.0, 11.0))
    assert advice.gap_mm / INCH == pytest.approx(0.0424, abs=0.001)
    assert advice.gap_dry_mm > advice.gap_wet_mm >= 0
    assert advice.lap_needed_mm / INCH == pytest.approx(3 / 64 + 0.0318 + 1 / 16, abs=0.001)
    assert advice.enough
    short = fit | {"lap": "1/8in"}
    assert not cut_advice(a_piece(short, "eastern white pine", "5in"), "fit", 8.0, (6.0, 11.0)).enough


@pytest.mark.parametrize(
    "fit", [panel(14), {"kind": "front-in-opening", "part": "part", "gap": 1}, *SLOTTED.values()]
)
def test_the_document_is_plain_json_with_its_sentences(fit):
    document = cut_document(a_piece(fit), "fit", 7.5, (6.0, 11.0))
    assert json.loads(json.dumps(document)) == document
    assert (document["piece"], document["fit"], document["range_mc_pct"]) == ("Case", "fit", [6.0, 11.0])
    assert len(cut_said(document, METRIC)) == len(document["reasons"]) + len(document["cautions"])


def test_the_width_in_words_is_the_width_in_numbers():
    advice = cut_document(a_piece(panel(14)), "fit", 7.5, (6.0, 11.0))
    assert advice["reasons"][0]["best_mm"] == advice["width_best_rounded_mm"]


def test_the_document_of_a_panel_has_width_and_both_grooves():
    document = cut_document(a_piece(panel(14)), "fit", 7.5, (6.0, 11.0))
    assert document["groove_depth_free_mm"] > document["groove_depth_centre_mm"]
    assert document["width_most_mm"] > document["width_best_mm"] > document["width_least_mm"] > 14 * INCH


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


ADVISED = {
    # 20 in of white oak held fast over 17 in, 9 to 6 %: 17 x 0.00365 x 3 + 17 x 0.00365 x 4 + 0.138 in of
    # screw is 0.572, a slot of 5/8 in.
    "tight runner": (
        {"kind": "cross-grain-fixing", "part": "part", "fixing": "tight", "distance": "17in"},
        "Don't fix the runner fast across 17 in of the part; slot it: fast at one end, slots 5/8 in long",
    ),
    # 15 x 0.00365 x 3 = 0.164 to shrink, and x 4 = 0.219 to grow with 1/8 in left in its mortise.
    "web frame": (
        {
            "kind": "cross-grain-fixing", "part": "part", "fixing": "telescoping", "across": "web frame",
            "distance": "15in", "shoulder_gap": "3/16in", "tenon_length": "1in",
        },
        "Leave 3/16 in at the shoulder of the dry tenon, and stand 3/8 in of it or more",
    ),
    "wide tenon": ({"kind": "wide-tenon", "part": "part"}, "Don't glue the part over 20 in of its"),
    # 20 in x 0.00365 x 4 = 0.292 out, x 3 = 0.219 back and a hair, to the next 64th.
    "lid": (
        {"kind": "lid-on-box", "part": "part", "overhang": "3/4in", "least_overhang": "1/2in"},
        "Leave 47/64 in or more of overhang in front.",
    ),
    "figure-eights": (
        {"kind": "top-on-fasteners", "part": "part", "fastener": "figure-eight"},
        "Don't: figure-eights suit a top up to about 18 in wide, and swing 1/8 in each way. Use buttons.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("which", sorted(ADVISED))
def test_what_is_cut_to_no_width_gets_advice(which):
    """Trade arithmetic on the printed C_T 0.00365 of white oak (Wood Handbook Table 13-5)."""
    fit, words = ADVISED[which]
    advice = cut_advice(a_piece(fit, "white oak", "20in"), "fit", 8.0, (6.0, 11.0))
    assert words in said(advice.reasons, "inch")
    assert advice.figures


def test_a_mitre_and_a_lipping_are_told_what_to_expect():
    # Heel: sqrt(2) x 3 in of red oak x 0.00369 x 3 points = 0.0470 in; toe, 4 points: 0.0626; each
    # just beyond a 64th, and said to the next.
    mitre = cut_advice(a_piece({"kind": "mitre", "part": "part"}, "red oak", "3in"), "fit", 8.0)
    assert "may open 1/16 in at the heel by 6 % and 5/64 in at the toe by 11 %" in said(mitre.reasons, "inch")
    assert said(mitre.reasons, "inch").startswith("Don't: a plain mitre as wide as this will show.")
    assert cut_advice(a_piece({"kind": "mitre", "part": "part"}, "red oak", "1/2in"), "fit", 8.0).enough
    lipping = cut_advice(a_piece({"kind": "edging-on-sheet", "part": "part"}, width="3/4in"), "fit", 8.0)
    assert "1/64 in proud of the sheet at 11 % and 1/64 in shy at 6 %" in said(lipping.reasons, "inch")


def test_a_figure_eight_on_a_narrow_top_swings_in_a_relief():
    fit = {"kind": "top-on-fasteners", "part": "part", "fastener": "figure-eight"}
    advice = cut_advice(a_piece(fit, width="16in"), "fit", 8.0)
    # 8 in of cherry from the middle, 4 points: 0.079 in, a relief of an eighth.
    assert "cut a relief 1/8 in wide on both sides of it" in said(advice.reasons, "inch")
    assert "Record that relief at the fit as a travel of 1/8 in" in said(advice.reasons, "inch")
    assert advice.enough
    # Cut and recorded so, it is still a figure-eight: no slot is asked of it, and nothing is left to record.
    advice = cut_advice(a_piece(fit | {"travel": "1/8in"}, width="16in"), "fit", 8.0)
    told = said(advice.reasons, "inch")
    assert "cut a relief 1/8 in wide" in told
    assert "slot" not in told
    assert "Record" not in told


@pytest.mark.parametrize("steps", [INCH_STEPS, METRIC_STEPS])
def test_what_is_left_is_never_said_to_be_more_than_it_is(steps):
    # 0.0439 in was "3/64 in hand".
    advice = cut_advice(a_piece(panel(14, 0.375)), "fit", 8.0, steps=steps)
    in_hand, tongue = (advice.reasons[1].values[name] for name in ("in_hand_mm", "tongue_mm"))
    assert in_hand <= advice.clearance_wet_mm < in_hand + steps.gap_mm
    assert tongue <= advice.engagement_dry_mm < tongue + steps.gap_mm
    assert steps.gap_down(0.0439 * INCH) == pytest.approx(2 * INCH / 64 if steps is INCH_STEPS else 1.0)


# The front rule of a drawer bank worked by hand (common practice, no source): run 1/64 in and C x height x
# (11 - mc), C 0.003, never under 1/32 in, up to the next 64th or half millimetre; Feb 6.5, May 8.5, Aug 10 %.
@pytest.mark.parametrize(
    ("height", "steps", "gaps"),
    [
        (4 * INCH, INCH_STEPS, (5 / 64, 3 / 64, 1 / 32)),
        (6 * INCH, INCH_STEPS, (7 / 64, 1 / 16, 3 / 64)),
        (8 * INCH, INCH_STEPS, (1 / 8, 5 / 64, 3 / 64)),
        (10 * INCH, INCH_STEPS, (5 / 32, 3 / 32, 3 / 64)),
        (100.0, METRIC_STEPS, (2.0, 1.5, 1.0)),
        (150.0, METRIC_STEPS, (2.5, 2.0, 1.0)),
        (200.0, METRIC_STEPS, (3.5, 2.0, 1.0)),
        (250.0, METRIC_STEPS, (4.0, 2.5, 1.5)),
    ],
)
def test_a_bank_of_drawers_has_its_gaps_by_height_and_month(height, steps, gaps):
    (row,) = gap_table(Movement(0.003, 0.003, 30.0), [height], (6.0, 11.0), steps=steps)
    unit = INCH if steps is INCH_STEPS else 1.0
    assert [row.gaps_mm[month] / unit for month in (1, 4, 7)] == pytest.approx(gaps)
    (south,) = gap_table(Movement(0.003, 0.003, 30.0), [height], (6.0, 11.0), southern=True, steps=steps)
    assert south.gaps_mm == row.gaps_mm[6:] + row.gaps_mm[:6]
