"""The ranges on pages and paper: a client reads none that no house should be held at."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from sqlalchemy import select

from dashboard.figures.place_rule import place_rule
from dashboard.forms import drafts, recorded_draft
from dashboard.pages.pieces import client, piece, record_form
from dashboard.pages.places import place
from dashboard.pages.plans import plan_compared
from dashboard.pages.plans.plan_asked import plan_of
from dashboard.paper import sheet
from dashboard.shell.static_html import text_of
from dashboard.shell.view import Context, View
from model.answers.annual_range import given_year
from model.answers.record_of_fact import record_of_fact
from model.records.queries import overview as queries
from model.records.schema.tables import FitRow, MemberRow, PieceRow, Place
from model.wood.piece import document_of, read_piece
from model.words.display import Display
from model.words.record_text import record_text

PIECES = Path(__file__).parents[2] / "sample_readings" / "pieces"
RANGE = re.compile(r"(\d+)\s*(?:–|to)\s*(\d+)\s*%")
OPEN = re.compile(r"\bup to \d+\s*% ?(?:RH|relative)|\d+\s*% and up")
FROST = {"temperature_c": [-22, -18, -9, 3, 10, 16, 19, 17, 11, 4, -6, -18], "rh_pct": [75] * 12}


def view_of(book, now, query=None) -> View:
    return View(Context(book.store, lambda: now), Display("inch"), now, query or {})


def plain(page) -> str:
    return " ".join(text_of(page).replace("\u00a0", " ").split())


def read(book, piece_id, now):
    with book.store.session() as session:
        return queries.piece(session, piece_id, now)


def assert_no_wild_range(words: str) -> None:
    for low, high in RANGE.findall(words):
        assert 25 <= int(low) <= int(high) <= 60, words
    assert not OPEN.search(words), words


def make_impossible(book) -> None:
    """A drawer's front that binds before the panel, slid over, is held by its far groove."""
    with book.store.session() as session:
        bench = session.get_one(PieceRow, book.bench)
        fit = session.scalars(select(FitRow).where(FitRow.piece_id == book.bench)).one()
        width = 368.3
        fit.document = {**fit.document, "held": "free", "sight_width": width - 11.1125}
        front = {"species": "red oak", "cut": "flat-sawn", "width": 254.0, "mc_pct": 8.0, "thickness": 19.05}
        bench.members.append(
            MemberRow(
                name="low_front", document={**front, "role": "front of the low drawer"},
                start_at=bench.recorded_at, start_mc_pct=8.0,
            )
        )  # fmt: skip
        opening = {"kind": "front-in-opening", "part": "low_front", "gap": 0.396875}
        bench.fits.append(FitRow(name="low_drawer", kind="front-in-opening", document=opening))


def test_a_client_is_told_what_a_house_should_be_held_at(book, now):
    words = plain(client.client_page(read(book, book.bench, now), view_of(book, now)))
    assert "It is comfortable at 25–60 % relative humidity." in words
    assert_no_wild_range(words)


def test_in_a_hard_frost_a_client_is_told_of_the_windows(book, now):
    with book.store.session() as session:
        session.get_one(Place, book.shop).climate = FROST
    words = plain(client.client_page(read(book, book.bench, now), view_of(book, now)))
    assert "In the cold weeks ahead the windows sweat above 18 %. Let the room be dry" in words
    assert_no_wild_range(words)


def test_a_client_of_an_impossible_piece_hears_which_two_fits_disagree(book, now):
    make_impossible(book)
    words = plain(client.client_page(read(book, book.bench, now), view_of(book, now)))
    assert "No humidity suits all of it: the back needs " in words
    assert "the front of the low drawer 41 % or less. Hold the room as steady as you can, and ask" in words
    assert "low_front" not in words


def test_the_maker_reads_the_design_range_apart_and_under_its_name(book, now):
    words = plain(piece.page(read(book, book.bench, now), {}, view_of(book, now)))
    assert "It is comfortable at 25–60 % relative humidity." in words
    assert "Design range: " in words
    make_impossible(book)
    words = plain(piece.page(read(book, book.bench, now), {}, view_of(book, now)))
    assert "No humidity suits all of it" in words
    assert "a deeper hold" in words


def test_a_back_bare_behind_is_said_to_cup_on_its_page(book, now):
    """The bench's back has three coats in front and none behind."""
    words = plain(piece.page(read(book, book.bench, now), {}, view_of(book, now)))
    assert re.search(r"One face of the back is finished and the other bare: .* up to 3/64 in where", words)
    assert "Finish both faces alike." in words


def test_while_recording_the_cup_and_the_range_are_said(book, now):
    bench = read_piece((PIECES / "hall_bench.toml").read_text("utf-8"), "hall bench")
    checked = drafts.check(recorded_draft.draft_of(document_of(bench), "inch"))
    words = text_of(record_form.live(checked, view_of(book, now))).replace("\u00a0", " ")
    assert "It is comfortable at 25–60 % relative humidity." in words
    assert "One face of the panel of the back is finished and the other bare" in words
    assert "Finish both faces alike." in words


def test_places_show_what_a_piece_is_comfortable_at(book, now):
    bench = read(book, book.bench, now)
    (bracket,) = place.brackets_of([bench], now)
    assert bracket.says.replace("\u00a0", " ") == "25–60 %"
    make_impossible(book)
    (bracket,) = place.brackets_of([read(book, book.bench, now)], now)
    assert bracket.says == "no humidity suits all of it"
    rule = str(place_rule("Shop", 20.0, 45.0, [bracket]))
    assert "Hall bench · no humidity suits all of it" in rule
    assert "bracket-fill" not in rule


def test_a_plan_shows_both_under_their_names(book, now):
    asked = {
        "role": "side", "width": "15 in", "length": "24 in", "thickness": "3/4 in",
        "species": "black cherry", "cut": "flat-sawn", "mc": "8", "home": "usual",
    }  # fmt: skip
    view = view_of(book, now, asked)
    rows = plan_compared.table_rows(plan_of(asked, view).comparison.choices, view)
    comfortable = next(cells for name, _, cells in rows if name == "Comfortable at")
    assert "Design range" in [name for name, _, _ in rows]
    for cell in comfortable:
        assert_no_wild_range(cell)


def test_the_record_of_fact_says_the_comfortable_range(book, now):
    with book.store.session() as session:
        words = record_text(record_of_fact(session, book.bench, now))
    assert "Comfortable at 25 to 60 % relative humidity. Design range: " in words
    assert not re.search(r"\d+ % RH", words)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler (Debian package poppler-utils)")
@pytest.mark.parametrize("name", ["blanket_chest", "tool_cabinet", "wall_cupboard"])
def test_the_clients_sheet_names_no_air_that_no_house_should_have(name, now):
    built = read_piece((PIECES / f"{name}.toml").read_text("utf-8"), name)
    facts = sheet.ClientFacts(
        piece=built, design=sheet.design_range(built), year=given_year(built, 25.0, 55.0)
    )
    pdf = sheet.client_sheet(facts, Display("metric"))
    run = subprocess.run(["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True)
    words = " ".join(run.stdout.decode().replace("\u00a0", " ").split())
    said = re.search(r"It is comfortable at [^.]*\.", words)
    assert said
    assert_no_wild_range(said[0])
    assert not OPEN.search(words)
