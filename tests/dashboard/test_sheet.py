"""Paper: one page that opens, text that can be read out, a strip that is as wide as it says."""

import io
import re
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from PIL import Image

from dashboard.paper.client import PICTURE_ACROSS_MM, PICTURE_HIGHEST_MM, SMALLEST_PT, governing_fit
from dashboard.paper.client_rows import seen_of, seen_rows
from dashboard.paper.cut_through import WOOD
from dashboard.paper.job import JobFacts, job_sheet
from dashboard.paper.page import SIZES_MM, true_fractions
from dashboard.paper.pdf import Paper
from dashboard.paper.sheet import (
    Contact,
    client_sheet,
    cut_card,
)
from dashboard.shell.files import file_name
from model.answers.annual_range import HomeYear, given_year, usual_year
from model.wood.design.cutting import cut_document
from model.wood.piece import read_piece
from model.words.display import Display, Units, plain
from model.words.limits import cut_said
from tests.dashboard.papers import NOW, PIECES, facts_of, needs_poppler, poppler, sample


def words_of(pdf: bytes) -> str:
    return " ".join(poppler("pdftotext", pdf, "-raw", "-", "-").decode().split())


def pages_of(pdf: bytes) -> tuple[int, tuple[float, float]]:
    """Pages, and the size of the first [mm]."""
    told = poppler("pdfinfo", pdf, "-").decode()
    pages = re.search(r"Pages:\s+(\d+)", told)
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+) pts", told)
    assert pages is not None
    assert size is not None
    return int(pages[1]), (float(size[1]) / 72.0 * 25.4, float(size[2]) / 72.0 * 25.4)


# --- the client sheet ---------------------------------------------------------------------------------


@needs_poppler
def test_a_client_is_not_told_that_all_has_room_when_the_year_will_harm_something() -> None:
    chest = sample("chest_of_drawers")
    mild = facts_of(chest, harms=())
    assert "has been given room to move" in words_of(client_sheet(mild, Display()))
    # The book knows better than the ends of the year, and without the book the ends of the year decide.
    for facts in (
        replace(mild, harms=(("the screw of drawer_bottom meets the end of its slot", "swelling"),)),
        facts_of(chest, year=given_year(chest, 10.0, 85.0)),
    ):
        words = words_of(client_sheet(facts, Display()))
        assert "has been given room to move" not in words
        assert "One thing won't have room enough in the air of your home" in words
        assert "Call us before then" in words


@pytest.mark.slow
@needs_poppler
@pytest.mark.parametrize("name", ["chest_of_drawers", "wall_cupboard", "blanket_chest"])
@pytest.mark.parametrize(("units", "paper"), [("inch", "letter"), ("metric", "a4")])
def test_the_client_sheet_is_one_page_with_everything_on_it(name: str, units: Units, paper: Any) -> None:
    piece = sample(name)
    pdf = client_sheet(facts_of(piece), Display(units), paper)
    pages, size_mm = pages_of(pdf)
    assert pages == 1
    assert size_mm == pytest.approx(SIZES_MM[paper], abs=0.1)
    words = words_of(pdf)
    for said in (
        piece.name, "The air it likes", "relative humidity", "What is normal", "What is not",
        "Where to stand it",
        "Care", "Moving and storing", "So that it can't tip", "ASTM F2057-23", "16 CFR 1261",
        "check the rules where you live", "Measuring a gap for us", "Gap strip", "Water on the window glass",
        "Two benches", "ask@two-benches.example", "never remove the anchor",
    ):  # fmt: skip
        assert said in words, said
    assert "?" not in words
    # No date on a sheet that is kept for years.
    assert not re.search(r"\b20\d\d\b", words.replace(piece.details.get("built", "-"), ""))


NO_ROOM = ("chest_of_drawers", "letter")
"""Four rows, three letters on the strip and a page 18 mm shorter: there the words need it all."""


@needs_poppler
@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(path.stem for path in PIECES.glob("*.toml")))
def test_the_fit_that_gives_out_first_is_shown_cut_through(name: str) -> None:
    facts = facts_of(sample(name))
    for display, size in ((Display("inch"), "letter"), (Display("metric"), "a4")):
        pdf = client_sheet(facts, display)
        assert pages_of(pdf)[0] == 1
        fit = governing_fit(facts)
        assert fit is not None
        words = words_of(pdf)
        if (name, size) == NO_ROOM:
            assert "cut through" not in words
            continue
        called = fit.called
        if facts.piece.case:  # drawn whole, its place to watch in a heavy line
            assert f"To watch: {called}" in words
            continue
        assert f"{called[0].upper()}{called[1:]}, cut through as built" in words
        # It stands at the upper right and nowhere over the name: wood of the drawing's own colour is there.
        png = poppler("pdftoppm", pdf, "-r", "100", "-png", "-singlefile", "-")
        page = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
        wood = (np.abs(page - np.array(WOOD)).max(axis=2) <= 2).nonzero()
        assert len(wood[0]) > 300
        mm = 25.4 / 100.0
        assert wood[0].max() * mm < 14.0 + 2.4 + PICTURE_HIGHEST_MM + 1.0
        assert wood[1].min() * mm > SIZES_MM[size][0] - 14.0 - PICTURE_ACROSS_MM - 1.0
        assert wood[1].max() * mm < SIZES_MM[size][0] - 14.0 + 1.0


@needs_poppler
def test_a_picture_is_left_out_before_a_row_of_the_table() -> None:
    facts = facts_of(sample(NO_ROOM[0]))
    for display in (Display("inch"), Display("metric")):
        words = words_of(client_sheet(facts, display))
        for row in seen_rows(facts.piece, facts.year, display):
            assert " ".join(true_fractions(row.dry).split()) in words


@needs_poppler
def test_no_letter_is_missing() -> None:
    piece = replace(sample("hall_bench"), name="Señora Łódź’s café bench, ½ by ⅜")
    facts = facts_of(piece, contact=Contact("Zoë Brânză ﬁnish 木", "déjà-vu@two-benches.example"))
    words = words_of(client_sheet(facts, Display("inch")))
    assert "Señora Łódź’s café bench, ½ by ⅜" in words
    # What the fonts do not have is told as missing, and nothing else is lost with it.
    assert "Zoë Brânză finish ?" in words
    assert "déjà-vu@two-benches.example" in words


@needs_poppler
def test_a_name_beyond_all_measure_still_gives_one_page() -> None:
    piece = replace(sample("china_cabinet"), name="The long low cabinet " * 12, details={"client": "X" * 200})
    assert pages_of(client_sheet(facts_of(piece), Display("metric")))[0] == 1


def test_type_is_never_smaller_than_a_reader_needs(monkeypatch: pytest.MonkeyPatch) -> None:
    sizes: list[float] = []
    kept = Paper.set_font

    def spy(self: Paper, family: str, style: str = "", size: float = 0.0) -> None:
        sizes.append(size)
        kept(self, family, style, size)

    monkeypatch.setattr(Paper, "set_font", spy)
    client_sheet(facts_of(sample("chest_of_drawers")), Display("inch"), "letter")
    assert min(sizes) >= SMALLEST_PT


def test_seasons_follow_the_hemisphere() -> None:
    piece = sample("writing_desk")
    year = replace(
        given_year(piece, 25.0, 60.0), basis="recorded", dry_at=datetime(2026, 7, 10, tzinfo=UTC),
        wet_at=datetime(2026, 1, 20, tzinfo=UTC),
    )  # fmt: skip
    south = facts_of(piece, year=year, zone="Australia/Hobart")
    assert (south.dry_season, south.damp_season) == ("winter", "summer")
    north = facts_of(piece, year=year, zone="Europe/Vienna")
    assert (north.dry_season, north.damp_season) == ("summer", "winter")
    assert facts_of(piece, year=usual_year(piece)).dry_season == "the heating season"


@needs_poppler
def test_the_sheet_says_what_its_sizes_rest_on() -> None:
    piece = sample("wall_cupboard")
    words = words_of(client_sheet(facts_of(piece, year=usual_year(piece)), Display("metric")))
    assert "has not been measured" in words
    known = words_of(
        client_sheet(facts_of(piece, year=replace(usual_year(piece), basis="recorded")), Display("metric"))
    )
    assert "has not been measured" not in known


@needs_poppler
def test_the_printed_ceilings_stand_over_the_rule() -> None:
    words = words_of(client_sheet(facts_of(sample("writing_desk")), Display("inch")))
    assert "−20 −10 0 10 20 32 40" in words
    # Home-energy table, double glazing.
    assert "40 % at 32 °F, 30 % at 10 °F and 20 % at −10 °F" in words.replace("\u00a0", " ")
    assert "nor above 60 % in any weather" in words


# --- what is normal -----------------------------------------------------------------------------------

DOOR = """
[piece]
name = "Door"
[part.panel]
species = "black cherry"
cut = "flat-sawn"
width = "14 1/2in"
mc_pct = 8.0
thickness = "3/4in"
[fit.panel]
kind = "panel-in-groove"
part = "panel"
held = "{held}"
sight_width = "14in"
groove_depth = "3/8in"
finished = "{finished}"
"""


def test_the_line_beside_a_panel_by_hand() -> None:
    """14-1/2 in cherry, 8 to 6.19 % (30 % RH): 14.5 x 0.00248 x 1.81 = 0.065 in, half of it a side."""
    piece = read_piece(DOOR.format(held="centre", finished="after assembly"))
    year = HomeYear("", {"panel": 6.19}, {"panel": 8.0})
    row = seen_of(piece.fits["panel"], year, Display("inch"))
    assert row is not None
    assert row.gap_mm is not None
    assert row.gap_mm[0] / 25.4 == pytest.approx(0.0325, abs=0.0005)
    assert row.dry == "a light line at each edge, up to 1/16\u00a0in"
    assert row.damp == "no line; the panel sits deep in its grooves"
    free = seen_of(
        read_piece(DOOR.format(held="free", finished="before assembly")).fits["panel"], year, Display("inch")
    )
    assert free is not None
    assert free.gap_mm == pytest.approx((2.0 * row.gap_mm[0], 0.0))
    assert free.dry.startswith("a line of finished wood at one edge")


def test_gaps_come_first_and_every_row_covers_what_comes() -> None:
    for name in ("chest_of_drawers", "wall_cupboard", "china_cabinet", "tool_cabinet"):
        piece = sample(name)
        rows = seen_rows(piece, given_year(piece, 20.0, 60.0), Display("metric"))
        assert rows
        gaps = [row.gap_mm is not None for row in rows]
        assert gaps == sorted(gaps, reverse=True)
        for row in rows:
            told = re.search(r"up to ([\d.]+)", row.dry)
            if told and row.gap_mm:
                assert float(told[1]) >= row.gap_mm[0]


# --- the gap strip ------------------------------------------------------------------------------------


# --- cut card and job sheet ---------------------------------------------------------------------------


@needs_poppler
@pytest.mark.parametrize(("units", "size"), [("inch", "card"), ("metric", "a6")])
def test_a_cut_card_is_one_card_with_its_sizes(units: Units, size: Any) -> None:
    display = Display(units)
    piece = sample("hall_bench")
    document = cut_document(piece, "back_panel", 8.1, (6.0, 11.0), display.steps)
    pdf = cut_card(document, display, NOW, "Dry flat")
    pages, size_mm = pages_of(pdf)
    assert pages == 1
    assert size_mm == pytest.approx(SIZES_MM[size], abs=0.1)
    words = words_of(pdf)
    for which in ("width_best_rounded_mm", "groove_depth_mm"):
        assert true_fractions(display.length(document[which], finest=64).replace("\u00a0", " ")) in words
    assert "stock at 8.1 ± 1 % today; Dry flat, 6.0 to 11.0 % there" in words
    assert "Pinned at its centre" in words
    assert "_" not in words


@needs_poppler
@pytest.mark.parametrize("fit", ["top", "drawer_bottoms", "top_drawer"])
def test_every_kind_of_advice_makes_a_card(fit: str) -> None:
    document = cut_document(sample("chest_of_drawers"), fit, 8.0, (6.0, 11.0))
    words = words_of(cut_card(document, Display("inch"), NOW)).replace("\u00a0", " ")
    assert "Chest of drawers" in words
    last = plain(cut_said(document, Display("inch"))[len(document["reasons"]) - 1])
    assert true_fractions(last) in words
    assert " mm" not in words


@needs_poppler
def test_a_job_sheet_holds_the_record() -> None:
    piece = sample("chest_of_drawers")
    facts = JobFacts(piece, given_year(piece, 22.0, 55.0), "Dry flat", NOW, "America/New_York", NOW)
    pdf = job_sheet(facts, Display("inch"))
    words = words_of(pdf)
    assert pages_of(pdf)[0] <= 2
    for member in piece.members.values():
        assert member.species.name in words
    for said in (
        "As built",
        "Fits, and what gives out first",
        "wet end",
        "Cut again for Dry flat",
        "13 in",
        "8.9 %",
    ):
        assert said in words
    assert "?" not in words


# --- small things -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("plain", "set_as"),
    [
        ("14-1/2 in", "14½ in"),
        ("3/8 in", "⅜ in"),
        ("1-3/16 in and 5/64 in", "1³⁄₁₆ in and ⁵⁄₆₄ in"),
        ("5/4 lumber, 16/4", "5/4 lumber, 16/4"),
        ("2026/03/04, 1/3, 0.1/2", "2026/03/04, 1/3, 0.1/2"),
    ],
)
def test_inch_fractions_are_set_as_fractions(plain: str, set_as: str) -> None:
    assert true_fractions(plain) == set_as


def test_a_paper_is_named_after_its_piece() -> None:
    assert file_name("Hall bench, No. 2", "sheet") == "hall-bench-no-2-sheet.pdf"
    assert file_name("木", "sheet") == "piece-sheet.pdf"
