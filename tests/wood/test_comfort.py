"""The humidity that may be said of a piece: within what a house should have, or why none suits."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.design.comfort import comfort_of
from model.wood.design.design_range import design_range
from model.wood.piece import Piece, read_piece
from model.words.display import plain
from model.words.limits import checked, comfort_for_client, comfort_range, comfort_reason
from tests.said import said

DOOR = """
[part.door_panel]
species = "black cherry"
cut = "flat-sawn"
width = "14 1/2in"
mc_pct = 8.0
thickness = "3/4in"
role = "panel of the left door"
[fit.door_panels]
kind = "panel-in-groove"
part = "door_panel"
held = "{held}"
sight_width = "{sight}"
groove_depth = "{groove}"
finished = "before assembly"
"""
FRONT = """
[part.low_front]
species = "red oak"
cut = "flat-sawn"
width = "10in"
mc_pct = 8.0
thickness = "3/4in"
role = "front of the bottom drawer"
[fit.low_drawer]
kind = "front-in-opening"
part = "low_front"
gap = "{gap}"
least_gap = "1/64in"
"""


def piece(*texts: str) -> Piece:
    return read_piece('[piece]\nname = "Press"\n' + "".join(texts))


def easy(held: str = "centre", sight: str = "14in", groove: str = "3/8in") -> str:
    return DOOR.format(held=held, sight=sight, groove=groove)


def test_a_range_nobody_would_sign_is_held_to_what_a_house_should_have() -> None:
    """A cherry panel that takes far drier and damper air than any house: 25 to 60 %, and no "up to 83 %"."""
    found = checked(piece(easy()))
    assert found["rh_low_pct"] is None or found["rh_low_pct"] < 25.0
    assert found["rh_high_pct"] > 60.0
    assert (found["comfort_rh_low_pct"], found["comfort_rh_high_pct"]) == (25.0, 60.0)
    assert found["comfort_reason"] is None


def test_a_tighter_range_is_its_own_rounded_inward() -> None:
    # Common practice's free cherry panel drops out of its groove below 31 %.
    found = checked(piece(easy("free")))
    assert found["rh_low_pct"] == pytest.approx(30.5, abs=0.5)
    assert (found["comfort_rh_low_pct"], found["comfort_rh_high_pct"]) == (31.0, 60.0)


def test_two_fits_that_disagree_are_named_by_their_parts() -> None:
    """The drawer's front binds before the door's panel is held: which two, by role, and what to do."""
    found = checked(piece(easy("free", "14 1/16in"), FRONT.format(gap="1/64in")))
    assert found["empty"]
    assert (found["comfort_rh_low_pct"], found["comfort_rh_high_pct"]) == (None, None)
    reason = plain(found["comfort_reason"])
    assert reason.startswith("No humidity suits all of it: the panel of the left door needs ")
    assert "the front of the bottom drawer 4" in reason
    assert "Give the front of the bottom drawer more room" in reason
    assert "door_panel" not in reason
    assert "low_front" not in reason


def test_a_fit_that_disagrees_with_itself_is_named_once() -> None:
    """A drawer's front that may run at 1/64 in and look right at hardly more."""
    found = checked(piece(FRONT.format(gap="1/64in") + 'widest_gap = "0.40mm"\n'))
    assert found["comfort_rh_low_pct"] is None
    assert plain(found["comfort_reason"]) == (
        "No humidity suits all of it: the front of the bottom drawer shrinks too far below 42 % and swells "
        "too far above 41 %. Build it with more room."
    )


def test_a_fit_with_no_room_in_any_air_is_named() -> None:
    press = piece(easy(), FRONT.format(gap="1/16in"))
    design = design_range(press)
    stuck = replace(design.fits["low_drawer"], span=replace(design.span, past_everywhere=True))
    gone = replace(
        design,
        span=replace(design.span, past_everywhere=True),
        fits={**design.fits, "low_drawer": stuck},
    )
    found = comfort_of(press, gone)
    assert said(found.why) == (
        "No humidity suits all of it: the front of the bottom drawer has no room left in any air."
    )
    assert said(found.mend).startswith("Check the sizes recorded for the front of the bottom drawer")


def test_two_fits_of_one_part_are_told_apart_by_what_they_are() -> None:
    lid = """
[fit.low_edge]
kind = "panel-in-groove"
part = "low_front"
held = "free"
sight_width = "9 15/16in"
groove_depth = "3/8in"
"""
    reason = checked(piece(FRONT.format(gap="1/64in"), lid))["comfort_reason"]
    assert "the front of the bottom drawer (front or door in its opening)" in reason
    assert "the front of the bottom drawer (panel in grooves)" in reason


def test_a_client_is_told_to_ask_and_the_maker_what_to_change() -> None:
    press = piece(easy("free", "14 1/16in"), FRONT.format(gap="1/64in"))
    found = comfort_of(press, design_range(press))
    assert comfort_for_client(found).endswith("Hold the room as steady as you can, and ask your maker.")
    assert "deeper hold" not in comfort_for_client(found)
    assert "deeper hold" in comfort_reason(found)


def test_wood_that_wants_a_swamp_is_not_told_to_be_kept_in_one() -> None:
    """Held by so little that it drops out of its groove below 60 %: no house is kept there."""
    damp = easy("free", "14 1/16in").replace("mc_pct = 8.0", "mc_pct = 11.5")
    found = checked(piece(damp))
    assert found["rh_low_pct"] > 60.0
    assert found["comfort_rh_low_pct"] is None
    assert found["comfort_reason"].startswith(
        "No humidity suits all of it: the panel of the left door needs "
    )
    assert "a house should be held at 60 % or less" in plain(found["comfort_reason"])
    assert "never damp a room for it" in plain(found["comfort_reason"])


def test_in_a_frost_the_windows_end_the_range_and_then_leave_none() -> None:
    press = piece(easy("free"))
    design = design_range(press)
    mild, cold, hard = (comfort_of(press, design, ceiling) for ceiling in (70.0, 38.5, 24.9))
    assert (comfort_range(mild), mild.ceiling_pct) == ("31–60\u00a0%", None)
    assert (comfort_range(cold), cold.ceiling_pct) == ("31–38\u00a0%", 38.0)
    assert comfort_range(hard) == ""
    assert said(hard.reasons) == (
        "In the cold weeks ahead the windows sweat above 24 %, and the panel of the left door would like "
        "31 % or more. Let the room be dry, keep the piece away from registers and radiators, and expect "
        "the gap."
    )


@pytest.mark.slow
@given(
    held=st.sampled_from(("centre", "free", "one-edge")),
    sight=st.sampled_from(("14in", "14 1/16in", "14 1/8in", "13 7/8in")),
    groove=st.sampled_from(("5/16in", "3/8in", "1/2in")),
    gap=st.sampled_from(("1/64in", "1/32in", "1/16in", "1/8in")),
    ceiling=st.none() | st.floats(0.0, 100.0),
)
def test_whatever_is_said_is_a_range_of_a_house_or_a_reason(
    held: str, sight: str, groove: str, gap: str, ceiling: float | None
) -> None:
    try:
        press = piece(easy(held, sight, groove), FRONT.format(gap=gap))
    except ValueError:
        return  # A geometry that can't be.
    design = design_range(press)
    found = comfort_of(press, design, ceiling)
    if found.rh_low_pct is None or found.rh_high_pct is None:
        assert found.rh_low_pct is found.rh_high_pct is None
        assert comfort_reason(found).endswith(".")
        assert "_" not in comfort_reason(found)
        return
    assert comfort_reason(found) == ""
    assert 25.0 <= found.rh_low_pct <= found.rh_high_pct <= 60.0
    assert ceiling is None or found.rh_high_pct <= ceiling
    span = design.span
    assert span.rh_low_pct is None or found.rh_low_pct >= span.rh_low_pct - 1e-6
    assert span.rh_high_pct is None or found.rh_high_pct <= span.rh_high_pct + 1e-6


def test_a_gap_is_not_told_to_get_a_deeper_hold() -> None:
    """A wide oak front fitted in damp weather: its gap looks too wide below the humidity a house may have."""
    front = FRONT.format(gap="1/8in").replace("mc_pct = 8.0", "mc_pct = 12.5")
    told = comfort_reason(comfort_of(piece(front), design_range(piece(front))))
    assert "hold" not in told.replace("a house should be held at", "")
    assert (
        "frame the front of the bottom drawer, use quartered stock there, or let its gap show" in told.lower()
    )
