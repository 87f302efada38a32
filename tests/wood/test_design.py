"""The design range: where margins are zero, which fit governs, and the document that says so."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.design.check import check_document
from model.wood.design.design_range import design_band, design_range, settled
from model.wood.errors import BadInput
from model.wood.piece import Piece, piece_from_document


def a_piece(fits: dict, mc_pct: float = 8.0, **changes: object) -> Piece:
    member = {"species": "white ash", "cut": "flat-sawn", "width": 368.3, "mc_pct": mc_pct, "thickness": 16}
    document = {"piece": {"name": "Case"}, "part": {"panel": member | changes}, "fit": fits}
    return piece_from_document(document)


DOOR = {"kind": "front-in-opening", "part": "panel", "gap": 1.6}
PANEL = {"kind": "panel-in-groove", "part": "panel", "sight_width": 355.6, "groove_depth": 9.525}


def test_at_the_limits_the_margins_are_zero_and_between_them_all_are_positive():
    piece = a_piece({"door": DOOR, "panel": PANEL | {"held": "free"}})
    design = design_range(piece, 20.0)
    for fit_range in design.fits.values():
        for at in fit_range.limits:
            if at.mc_at_limit_pct is not None:
                fit = piece.fits[at.fit]
                limits = fit.limits(settled(fit.members, at.mc_at_limit_pct))
                margin = next(limit.margin_mm for limit in limits if limit.name == at.limit.name)
                assert margin == pytest.approx(0.0, abs=1e-6)
    inside = np.linspace(design.span.mc_low_pct + 1e-6, design.span.mc_high_pct - 1e-6, 50)
    for fit in piece.fits.values():
        for limit in fit.limits(settled(fit.members, inside)):
            assert (limit.margin_mm > 0).all()


def test_humidities_are_those_at_which_wood_settles_to_the_limits():
    design = design_range(a_piece({"door": DOOR}), 24.0)
    span = design.span
    assert equilibrium_moisture_content(24.0, span.rh_low_pct) == pytest.approx(span.mc_low_pct, abs=1e-9)
    assert equilibrium_moisture_content(24.0, span.rh_high_pct) == pytest.approx(span.mc_high_pct, abs=1e-9)


def test_a_warmer_room_allows_a_little_more_humidity():
    cool, warm = (design_range(a_piece({"door": DOOR}), t).span for t in (10.0, 30.0))
    assert cool.mc_high_pct == warm.mc_high_pct
    assert cool.rh_high_pct < warm.rh_high_pct


def test_a_piece_has_the_tightest_of_its_fits_and_names_it():
    tight = DOOR | {"gap": 1.0}
    piece = a_piece({"tight": tight, "wide": DOOR | {"gap": 3.0}, "panel": PANEL})
    design = design_range(piece)
    assert design.span.mc_high_pct == min(f.span.mc_high_pct for f in design.fits.values())
    assert (design.span.high.fit, design.span.high.limit) == ("tight", "binds")
    assert (design.span.low.fit, design.span.low.limit) == ("wide", "gap-shows")


def test_fits_that_tie_are_all_named():
    design = design_range(a_piece({"b": DOOR, "a": DOOR}))
    assert design.span.high.tied == (("a", "binds"), ("b", "binds"))
    assert design.span.high.fit == "a"


def test_what_shows_and_what_harms_are_told_apart():
    design = design_range(a_piece({"door": DOOR}))
    assert design.shows.mc_high_pct is None
    assert design.harms.mc_low_pct is None
    assert design.shows.mc_low_pct == design.span.mc_low_pct
    assert design.harms.mc_high_pct == design.span.mc_high_pct


def test_a_limit_never_reached_is_none():
    piece = a_piece({"door": DOOR | {"gap": 40.0, "widest_gap": 90.0}})
    span = design_range(piece).span
    assert (span.mc_low_pct, span.mc_high_pct, span.rh_low_pct, span.rh_high_pct) == (None, None, None, None)
    assert (span.low, span.high) == (None, None)


def test_moisture_that_no_air_gives_has_no_humidity():
    # At 20 °C even saturated air leaves wood under 29 %; this door binds just below fibre saturation.
    span = design_range(a_piece({"door": DOOR | {"gap": 21.8, "widest_gap": 90.0}})).span
    assert 28.9 < span.mc_high_pct < 30.0
    assert span.rh_high_pct is None


def test_a_fit_already_past_as_built_still_has_its_limit():
    span = design_range(a_piece({"door": DOOR | {"gap": 0.0}})).span
    assert span.mc_high_pct < 8.0
    assert not span.empty


def test_a_fit_past_at_every_moisture_leaves_nothing():
    # Built with a gap far too wide to look right, it looks right at no moisture content.
    piece = a_piece({"door": DOOR | {"gap": 30.0, "widest_gap": 1.0, "least_gap": 0.5}})
    design = design_range(piece)
    assert design.span.empty
    assert design.span.low.limit == "gap-shows"
    assert design.span.mc_low_pct == 30.0


def test_a_piece_without_fits_has_no_limits():
    document = check_document(a_piece({}))
    assert document["governing"] == {"low": None, "high": None}
    assert document["fits"] == {}


gaps = st.floats(0.0, 6.0)


@settings(max_examples=60)
@given(gap=gaps, widest=st.floats(0.5, 8.0), mc=st.floats(2.0, 20.0), depth=st.floats(7.0, 16.0))
def test_the_range_holds_the_reference_when_and_only_when_all_margins_are_positive(gap, widest, mc, depth):
    fits = {"door": DOOR | {"gap": gap, "widest_gap": widest}, "panel": PANEL | {"groove_depth": depth}}
    piece = a_piece(fits, mc_pct=mc)
    span = design_range(piece).span
    positive = [limit.margin_mm > 0 for fit in piece.fits.values() for limit in fit.limits(fit.references())]
    low = -np.inf if span.mc_low_pct is None else span.mc_low_pct
    high = np.inf if span.mc_high_pct is None else span.mc_high_pct
    margins = [abs(limit.margin_mm) for fit in piece.fits.values() for limit in fit.limits(fit.references())]
    if min(margins) > 1e-6:
        assert (low < mc < high) == all(positive)


@settings(max_examples=30)
@given(factor=st.floats(1.05, 2.0))
def test_wood_that_moves_more_has_a_narrower_range(factor):
    piece = a_piece({"door": DOOR})
    usual = design_range(piece).span
    more = design_range(piece.with_members(lambda member: member.moving_by(factor))).span
    assert more.mc_low_pct > usual.mc_low_pct
    assert more.mc_high_pct < usual.mc_high_pct


def test_the_band_of_figured_wood_is_wider_than_that_of_plain():
    plain, figured = a_piece({"door": DOOR}), a_piece({"door": DOOR}, figured=True)

    def spread(piece: Piece) -> float:
        most, least = design_band(piece)
        assert most.span.mc_high_pct < design_range(piece).span.mc_high_pct < least.span.mc_high_pct
        return least.span.mc_high_pct / most.span.mc_high_pct

    assert spread(figured) > spread(plain)


def test_the_document_says_what_the_range_is():
    piece = a_piece({"door": DOOR, "panel": PANEL})
    document = check_document(piece, 21.0)
    assert json.loads(json.dumps(document)) == document
    assert {"piece", "temperature_c", "mc_low_pct", "mc_high_pct", "rh_low_pct", "rh_high_pct", "governing",
            "fits"} <= set(document)  # fmt: skip
    assert (document["piece"], document["temperature_c"]) == ("Case", 21.0)
    design = design_range(piece, 21.0)
    assert document["mc_high_pct"] == design.span.mc_high_pct
    high = document["governing"]["high"]
    assert (high["fit"], high["limit"], high["tied"]) == (
        "door",
        "binds",
        [{"fit": "door", "limit": "binds"}],
    )
    door = document["fits"]["door"]
    assert {"mc_low_pct", "mc_high_pct", "rh_low_pct", "rh_high_pct", "governing", "limits"} <= set(door)
    for limit in door["limits"]:
        assert {"name", "direction", "severity", "mc_at_limit_pct", "margin_mm"} <= set(limit)
        assert limit["margin_mm"] == pytest.approx(limit["play_mm"])


def test_margins_are_given_at_the_moisture_asked_about():
    piece = a_piece({"door": DOOR})
    margins = [
        check_document(piece, 20.0, mc)["fits"]["door"]["limits"][0]["margin_mm"] for mc in (6.0, 8.0, 10.0)
    ]
    assert margins[0] > margins[1] > margins[2]
    assert margins[1] == check_document(piece)["fits"]["door"]["limits"][0]["margin_mm"]


@pytest.mark.parametrize("mc_pct", [-1.0, 30.5, float("nan")])
def test_a_moisture_outside_what_wood_can_hold_is_refused(mc_pct):
    with pytest.raises(BadInput, match=r"mc_pct must lie in 0 to 30 % \(fibre saturation\)"):
        check_document(a_piece({"door": DOOR}), 20.0, mc_pct)
