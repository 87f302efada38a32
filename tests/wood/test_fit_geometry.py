"""Geometry of single kinds that a maker would draw, checked against the drawing."""

import math

import numpy as np
import pytest

from model.wood.design.design_range import design_range
from model.wood.fits import fit_from_document
from model.wood.fits.drawing import Section
from model.wood.piece import Piece, member_from_document

ASH = {"species": "white ash", "cut": "flat-sawn", "width": 368.3, "mc_pct": 8.0, "thickness": 16}
PANEL = {"kind": "panel-in-groove", "part": "panel", "sight_width": 355.6, "groove_depth": 9.525}


def fit_of(table, **members):
    parts = {name: member_from_document(name, ASH | changes) for name, changes in members.items()}
    return fit_from_document("it", table, parts, "")


def margin(fit, name, mc_pct):
    (limit,) = [
        limit for limit in fit.limits({member.name: mc_pct for member in fit.members}) if limit.name == name
    ]
    return limit.margin_mm


def spaces(section: Section) -> dict[str, float]:
    return {space.name: space.size_mm for space in section.spaces}


@pytest.mark.parametrize("held", ["centre", "free", "one-edge"])
@pytest.mark.parametrize("mc_pct", [4.0, 8.0, 12.0])
def test_the_drawn_clearances_of_a_panel_are_its_margins(held, mc_pct):
    fit = fit_of(PANEL | {"held": held}, panel={})
    drawn = spaces(fit.section({"panel": mc_pct}))
    bottoms = margin(fit, "groove-bottom", mc_pct)
    if held == "one-edge":
        assert drawn["right clearance"] == pytest.approx(bottoms)
        assert drawn["left engagement"] == pytest.approx(6.35)
    else:
        assert drawn["left clearance"] + drawn["right clearance"] == pytest.approx(bottoms)
    assert drawn["left clearance"] + drawn["left engagement"] == pytest.approx(9.525)


def test_a_free_panel_leaves_its_groove_before_a_centred_one():
    centred, free = (fit_of(PANEL | {"held": held}, panel={}) for held in ("centre", "free"))
    assert margin(free, "leaves-groove", 6.0) < margin(centred, "leaves-groove", 6.0)
    assert margin(free, "groove-bottom", 12.0) == margin(centred, "groove-bottom", 12.0)


def test_a_bevel_thickens_the_tongue_by_its_slope():
    # 12° entering 1/16 in deeper thickens by 0.013 in (trade arithmetic).
    fit = fit_of(
        PANEL | {"profile": "raised", "shoulder_gap": 3, "bevel_deg": 12, "groove_slack": 1.0}, panel={}
    )
    growth = fit.member.width_at(11.0) - fit.member.width_mm
    assert 1.0 - margin(fit, "bevel-wedges", 11.0) == pytest.approx(growth / 2 * math.tan(math.radians(12)))
    assert math.tan(math.radians(12)) / 16 == pytest.approx(0.013, abs=5e-4)


def test_a_prefinished_panel_has_no_bare_line_and_a_raw_tongue_has():
    assert [limit.name for limit in fit_of(PANEL, panel={}).limits({"panel": 8.0})] == [
        "groove-bottom",
        "leaves-groove",
    ]
    after = fit_of(PANEL | {"finished": "after assembly"}, panel={})
    assert "bare-line" in [limit.name for limit in after.limits({"panel": 8.0})]


def test_boards_of_different_movement_are_judged_by_their_worst_joint():
    fit = fit_of(
        {"kind": "board-back", "parts": ["a", "b", "c"], "gap": 1.0, "lap": 6.0},
        a={"width": 80}, b={"width": 80}, c={"width": 160},
    )  # fmt: skip
    pair = fit_of(
        {"kind": "board-back", "parts": ["b", "c"], "gap": 1.0, "lap": 6.0},
        b={"width": 80},
        c={"width": 160},
    )
    for mc, name in ((11.0, "boards-touch"), (5.0, "leaves-lap")):
        assert margin(fit, name, mc) == pytest.approx(margin(pair, name, mc))


def test_the_screw_of_a_drawer_bottom_nears_the_front_of_its_slot_as_the_bottom_swells():
    table = {"kind": "drawer-bottom", "part": "bottom", "slot_length": 10.0, "screw_diameter": 4.0}
    at_rear = fit_of(table | {"screw_at": 7.0}, bottom={})
    assert margin(at_rear, "slot-end-wet", 8.0) == pytest.approx(5.0)
    assert margin(at_rear, "slot-end-dry", 8.0) == pytest.approx(1.0)
    section = at_rear.section({"bottom": 10.0})
    slot, screw = (next(part for part in section.parts if part.role == role) for role in ("slot", "fastener"))
    assert screw.x_mm - slot.x_mm == pytest.approx(margin(at_rear, "slot-end-wet", 10.0))


def test_the_screw_of_a_top_nears_the_outer_end_of_its_slot_as_the_top_swells():
    table = {"kind": "top-on-fasteners", "part": "top", "fastener": "slotted-screw", "slot_length": 10.0,
             "screw_diameter": 4.0, "screw_at": 3.0}  # fmt: skip
    fit = fit_of(table, top={})
    assert margin(fit, "slot-end-wet", 8.0) == pytest.approx(5.0)
    section = fit.section({"top": 10.0})
    slot = next(part for part in section.parts if part.role == "slot")
    screw = next(part for part in section.parts if part.name == "screw")
    left = slot.x_mm + slot.width_mm - screw.x_mm - screw.width_mm
    assert left == pytest.approx(margin(fit, "slot-end-wet", 10.0))


def test_a_mitre_of_two_woods_opens_by_the_mean_of_both():
    both = fit_of(
        {"kind": "mitre", "parts": ["a", "b"]}, a={"width": 70}, b={"width": 70, "cut": "quarter-sawn"}
    )
    one, other = (
        fit_of({"kind": "mitre", "part": "a"}, a={"width": 70, "cut": cut})
        for cut in ("flat-sawn", "quarter-sawn")
    )
    for mc in (5.0, 11.0):
        moistures = {"a": mc, "b": mc}
        mean = (one.heel_gap(moistures) + other.heel_gap(moistures)) / 2
        assert both.heel_gap(moistures) == pytest.approx(mean)


def test_members_apart_in_moisture_are_each_taken_at_their_own():
    door = {"kind": "front-in-opening", "parts": ["hinge", "latch"], "construction": "frame", "gap": 1.6}
    fit = fit_of(door, hinge={"width": 57}, latch={"width": 57})
    damp_latch = fit.limits({"hinge": 8.0, "latch": 12.0})[0].margin_mm
    both_between = fit.limits({"hinge": 10.0, "latch": 10.0})[0].margin_mm
    assert damp_latch == pytest.approx(both_between, abs=1e-3)
    hinges = np.array([8.0, 9.0])
    assert fit.limits({"hinge": hinges, "latch": 8.0})[0].margin_mm.shape == (2,)


def test_splitting_a_tenon_does_not_help_when_both_are_glued():
    split = {
        "kind": "wide-tenon",
        "part": "rail",
        "tenons": "split",
        "centre_distance": 90,
        "tenon_width": 60,
    }
    dry = fit_of(split | {"slack": 0.8}, rail={"width": 180})
    glued = fit_of(split | {"slack": 0.8, "both_glued": True}, rail={"width": 180})

    def harms_low(fit):
        return design_range(Piece("x", {m.name: m for m in fit.members}, {"it": fit})).harms.mc_low_pct

    assert harms_low(glued) > harms_low(dry)
