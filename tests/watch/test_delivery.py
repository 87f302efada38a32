"""Hold or deliver, moving home, storage in a garage, and the humidity that may be advised."""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from model.answers.annual_range import HomeYear, constant_air, given_year, home_year, run_through, usual_year
from model.answers.delivery import delivery_note
from model.answers.moving import moving_home, storage
from model.watch.state.humidity import SHEET_OUTDOOR_F, ceilings
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import BadInput
from model.wood.piece import Piece, read_piece
from tests.said import said

INCH = 25.4
NOW = datetime(2026, 3, 1, tzinfo=UTC)

# The trade's panel: sight 14 in, grooves 3/8 in, 14-1/2 in of flat-sawn cherry at 8 %, thin and bare so that
# it answers within weeks. Left free it leaves a groove at 6.26 % (by hand: 0.0625 in over 0.03596 a point).
PANEL = """
[piece]
name = "Cherry door"
[part.panel]
species = "black cherry"
cut = "flat-sawn"
width = "14 1/2in"
mc_pct = {mc}
thickness = "1/4in"
[fit.panel]
kind = "panel-in-groove"
part = "panel"
held = "{held}"
sight_width = "14in"
groove_depth = "3/8in"
finished = "{finished}"
"""


def door(held: str = "free", mc: float = 8.0, finished: str = "before assembly") -> Piece:
    return read_piece(PANEL.format(held=held, mc=mc, finished=finished))


def recorded(temperature_c: Any, rh_pct: Any, days: float, until: datetime = NOW) -> pd.DataFrame:
    """Hours of measured air that end at an instant."""
    hours = pd.date_range(end=until, periods=round(days * 24) + 1, freq="h")
    return pd.DataFrame({"temperature_c": temperature_c, "rh_pct": rh_pct, "measured": True}, index=hours)


# --- hold or deliver ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("air", "why"),
    [
        (recorded(20.0, 45.0, 30.0).iloc[:0], "No air is recorded"),
        (recorded(20.0, 45.0, 30.0, NOW - timedelta(days=5)), "days old"),
        (recorded(20.0, 45.0, 4.0), "too few"),
    ],
)
def test_what_is_not_known_is_unknown(air: pd.DataFrame, why: str) -> None:
    note = delivery_note(door(), {"panel": 8.0}, air, "the flat", NOW)
    assert note.answer == "unknown"
    assert why in said(note.reasons[0])
    assert "sensor" in said(note.advice[0])
    assert note.there_pct is None


def test_a_home_inside_the_range_is_delivered_to() -> None:
    note = delivery_note(door(), {"panel": 8.0}, recorded(20.0, 45.0, 42.0), "the house", NOW)
    assert note.answer == "deliver"
    # Six weeks of 45 % are more than thin bare wood needs to come to what that air says.
    assert note.there_pct == pytest.approx(float(equilibrium_moisture_content(20.0, 45.0)), abs=0.05)
    assert all(limit.margin_mm >= 0.0 for limit in note.closest)


def test_a_home_whose_year_may_harm_it_is_not_called_well_in_a_good_month() -> None:
    """Six weeks of 45 % tell nothing of winter; in an expected year the free panel leaves its groove."""
    note = delivery_note(door(), {"panel": 8.0}, recorded(20.0, 45.0, 42.0), "the house", NOW)
    assert said(note.headline) == "It may go now, but a year there may harm it."
    assert said(note.reasons[0]).startswith("At the dry end of a year as expected at the house, ")
    assert note.document()["year_may_harm"]
    held = delivery_note(door("centre"), {"panel": 8.0}, recorded(20.0, 45.0, 42.0), "the house", NOW)
    assert said(held.headline) == "Deliver it."


def test_a_dry_flat_is_waited_for() -> None:
    """At 22 % the panel would come to 4.9 %, and its tongue leaves a groove at 6.26."""
    note = delivery_note(door(), {"panel": 8.0}, recorded(20.0, 22.0, 42.0), "the flat", NOW)
    assert note.answer == "hold"
    assert "out of the far groove" in said(note.reasons[0])
    assert note.span.mc_low_pct == pytest.approx(6.26, abs=0.02)
    assert any("outside its range" in said(reason) for reason in note.reasons)


def test_what_only_shows_is_told_and_delivered() -> None:
    """Finished after assembly, bare wood shows at 7.1 %: the client is told, and nothing is held for it."""
    piece = door("centre", finished="after assembly")
    note = delivery_note(piece, {"panel": 8.0}, recorded(20.0, 32.0, 42.0), "the flat", NOW)
    assert note.answer == "deliver"
    assert any("bare line" in said(words) for words in note.advice)


def test_a_short_record_says_so() -> None:
    note = delivery_note(door(), {"panel": 8.0}, recorded(20.0, 45.0, 12.0), "the house", NOW)
    assert note.answer == "deliver"
    assert any("Only 12 days" in said(reason) for reason in note.reasons)


def test_a_year_that_goes_past_later_holds_even_in_a_good_month() -> None:
    """The last weeks are clear; last winter, the same record says, was not."""
    hours = pd.date_range(end=NOW, periods=366 * 24, freq="h")
    away = np.abs((NOW - hours) / pd.Timedelta(days=1) - 200.0)
    air = recorded(20.0, np.where(away < 45.0, 20.0, 45.0), (366 * 24 - 1) / 24)
    note = delivery_note(door(), {"panel": 8.0}, air, "the flat", NOW)
    assert note.answer == "hold"
    assert said(note.reasons[0]).startswith("At the dry end of a year")


# --- the year of a home -------------------------------------------------------------------------------


def test_a_recorded_year_gives_its_ends_with_the_lag_counted() -> None:
    hours = pd.date_range(end=NOW, periods=366 * 24, freq="h")
    turn = 2.0 * np.pi * (hours.day_of_year.to_numpy() - 15) / 365.0
    air = recorded(20.0, 45.0 - 15.0 * np.cos(turn), (366 * 24 - 1) / 24)
    year = home_year(door(), air, "the house")
    assert year.basis == "recorded"
    low, high = (float(equilibrium_moisture_content(20.0, rh)) for rh in (30.0, 60.0))
    # A year's swing gets through to thin wood nearly whole, and never more than whole.
    assert low <= year.mc_low_pct["panel"] <= low + 0.3
    assert high - 0.3 <= year.mc_high_pct["panel"] <= high
    assert year.dry_at is not None
    assert year.dry_at.month in (1, 2)
    assert year.wet_at is not None
    assert year.wet_at.month in (7, 8)


def test_a_part_of_a_year_only_widens_what_is_usual() -> None:
    usual = usual_year(door())
    year = home_year(door(), recorded(20.0, 20.0, 60.0))
    assert year.basis == "partly recorded"
    assert year.mc_low_pct["panel"] < usual.mc_low_pct["panel"]
    assert year.mc_high_pct == usual.mc_high_pct
    assert year.dry_at is None


def test_a_run_agrees_with_air_that_holds() -> None:
    """In air that holds, wood comes to its EMC (Wood Handbook eq. 4-5) and stays."""
    run = run_through(door(), {"panel": 8.0}, constant_air(20.0, 60.0, 200.0))
    assert run.end_pct["panel"] == pytest.approx(float(equilibrium_moisture_content(20.0, 60.0)), abs=0.01)


# --- moving home --------------------------------------------------------------------------------------


def test_to_the_desert() -> None:
    """Cut at 9.5 %, moved to 15 % RH: 0.214 in narrower by Wood Handbook eq. 13-2; pinned it holds."""
    piece = door("centre", mc=9.5)
    before = HomeYear("the coast", {"panel": 9.5}, {"panel": 11.0}, basis="given", says="as given")
    move = moving_home(piece, {"panel": 9.5}, before, given_year(piece, 15.0, 25.0, place="the desert"))
    assert move.change_mm["panel"][0] / INCH == pytest.approx(-0.214, abs=0.003)
    assert move.answer == "suits"
    assert "the desert" in said(move.reasons)
    assert 0.0 < move.settles_days[0] <= move.settles_days[1] < 365.0


def test_a_free_panel_is_not_sent_to_the_desert() -> None:
    piece = door("free")
    move = moving_home(piece, {"panel": 8.0}, usual_year(piece), given_year(piece, 15.0, 25.0))
    assert move.answer == "harms"
    assert move.passed[0].limit == "leaves-groove"
    assert said(move.advice[0]).startswith("Ease or pin")


# --- storage ------------------------------------------------------------------------------------------


def test_a_garage_makes_it_damp_and_the_return_dries_it() -> None:
    """70 % at 5 °C is 13.5 % EMC by Wood Handbook eq. 4-5; trade: 12 to 15 % in an unheated garage."""
    piece = door("centre")
    stored = [storage(piece, {"panel": 8.0}, days) for days in (2.0, 8.0, 180.0)]
    there = float(equilibrium_moisture_content(5.0, 70.0))
    returned = [found.return_pct for found in stored]
    assert 8.0 < returned[0] < returned[1] < returned[2] <= there
    assert returned[2] == pytest.approx(there, abs=0.1)
    assert any("dry it by" in said(reason) for reason in stored[2].reasons)
    assert "spring" in said(stored[2].advice)
    # On its return it dries from there; the wettest of it is behind it.
    assert min(limit.margin_mm for limit in stored[2].after) >= min(
        limit.margin_mm for limit in stored[2].in_storage
    )


def test_a_snug_panel_is_harmed_in_a_garage() -> None:
    """18 in red oak, 1/16 clear each side at 6.5 %, bottoms at 8.38 % (by hand: 0.125 over 0.06642)."""
    oak = read_piece(
        PANEL.replace("black cherry", "red oak")
        .replace("14 1/2in", "18in")
        .replace("14in", "17 3/8in")
        .format(held="centre", mc=6.5, finished="before assembly")
    )
    found = storage(oak, {"panel": 6.5}, 90.0)
    assert found.harmed
    assert any("is hard in its grooves" in said(reason) for reason in found.reasons)


def test_recorded_garage_air_is_used() -> None:
    found = storage(door("centre"), {"panel": 8.0}, 60.0, garage=recorded(20.0, 45.0, 61.0))
    assert found.return_pct == pytest.approx(float(equilibrium_moisture_content(20.0, 45.0)), abs=0.05)
    assert not any("Nothing is recorded" in said(reason) for reason in found.reasons)


def test_days_that_cannot_be_are_refused() -> None:
    with pytest.raises(BadInput, match="days"):
        storage(door(), {"panel": 8.0}, 0.0)


# --- the humidity that may be advised -----------------------------------------------------------------


def test_the_ceilings_are_those_of_the_printed_table() -> None:
    """40 °F 45 %, 32 40, 20 35, 10 30, 0 25, -10 20, -20 15 (home-energy guidance, double glazing)."""
    assert [rh for _, rh in ceilings()] == [45, 40, 35, 30, 25, 20, 15]
    assert len(SHEET_OUTDOOR_F) == 7
