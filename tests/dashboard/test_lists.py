"""Stacks and pieces from a spreadsheet, and back into one."""

import csv
import io

import pytest
from sqlalchemy import select

from dashboard.forms.acts import take_back
from dashboard.forms.lists import read_list
from dashboard.pages.lumber.stack_list import PAGE, STACKS
from dashboard.pages.pieces.piece_list import PIECES
from dashboard.shell.app import build_app
from dashboard.shell.static_html import text_of
from dashboard.shell.uploads import uploads
from dashboard.shell.view import Context, View
from model.records.schema.tables import PieceRow, Stack
from model.wood.errors import BadInput
from model.words.display import Display
from tests.dashboard.test_coming import likely

LUMBER = b"""\xef\xbb\xbfName;Species;Thickness;MC;How;Place;Destination;Stickered;Since\r
"'=Ash, loft";white ash;8/4;8,1 8,4;pin meter;Shop;Dry flat;no;2026-02-01\r
;;;;;;;;\r
Walnut billet;black walnut;"1 1/4";9;;Shop;;;\r
"""
PIECES_CSV = b"""name,case,species,width,drawers,place,since,client
Hall dresser,chest of drawers,hard maple,34in,5,Dry flat,2026-02-01,Marguerite
Small top,top,black walnut,40,,Shop,,
"""


@pytest.fixture
def view(book, now):
    return View(Context(book.store, lambda: now, zone="America/New_York"), Display("inch"), now)


def names(view: View, table) -> set[str]:
    with view.store.session() as session:
        return set(session.scalars(select(table.name)))


def test_a_list_of_stacks_is_shown_as_it_is_read_and_then_kept_as_one_act(view):
    before = names(view, Stack)
    shown = read_list(STACKS, LUMBER, view, keep=False)
    assert not shown.faults
    assert [(line, *row[:6]) for line, row in shown.rows] == [
        (2, "=Ash, loft", "white ash", "2\u00a0in", "8.3\u00a0±\u00a01.2\u00a0%", "Shop", "Dry flat"),
        (4, "Walnut billet", "black walnut", "1-1/4\u00a0in", "9.0\u00a0±\u00a01.0\u00a0%", "Shop", ""),
    ]
    assert names(view, Stack) == before
    kept = read_list(STACKS, LUMBER, view, keep=True)
    assert kept.rows == shown.rows
    assert kept.act.says == "Two stacks are recorded."
    assert names(view, Stack) == before | {"=Ash, loft", "Walnut billet"}
    take_back(view, kept.act.undo)
    assert names(view, Stack) == before


def test_a_fault_is_named_by_line_and_column_and_nothing_of_its_list_is_kept(view):
    before = names(view, Stack)
    wrong = LUMBER.replace(b"8/4", b"thick").replace(b"9;;Shop", b"9;a guess;Attic").replace(b"no;", b"half;")
    found = read_list(STACKS, wrong, view, keep=True)
    told = [str(fault) for fault in found.faults]
    assert told[0].startswith("line 2, Stickered: must be one of stickered, dead-piled, got 'half'")
    assert any(one.startswith("line 4, How: must be one of not said, ") for one in told)
    assert any(
        "line 4, Place: must be one that is recorded (Dry flat, Shop), got 'Attic'" in one for one in told
    )
    assert found.act is None
    assert names(view, Stack) == before
    (thick,) = read_list(STACKS, LUMBER.replace(b"8/4", b"thick"), view, keep=True).faults
    assert (thick.line, thick.column, thick.got) == (2, "Thickness", "thick")
    twice = read_list(STACKS, LUMBER.replace(b"Walnut billet", b"=Ash, loft"), view, keep=True)
    assert str(twice.faults[0]) == "line 4, Name: must be given and not yet taken, got '=Ash, loft'"
    assert names(view, Stack) == before
    for text, rule in (
        (b"Name;Colour\nAsh;red", "is no column of this list"),
        (b"Name;Species\nAsh;white ash", "must hold thickness"),
        (LUMBER.partition(b"\n")[0], "must have a line for each stack"),
        (b"PK\3\4\0\0", "save the spreadsheet as CSV first"),
    ):
        with pytest.raises(BadInput, match=rule):
            read_list(STACKS, text, view, keep=False)


def test_a_list_of_pieces_is_drawn_line_by_line(view):
    found = read_list(PIECES, PIECES_CSV, view, keep=True)
    assert not found.faults
    assert found.rows[0][1][:2] == ("Hall dresser", "chest of drawers")
    assert "drawers 5" in found.rows[0][1][2]
    assert "width 34" in found.rows[0][1][2]
    with view.store.session() as session:
        row = session.scalar(select(PieceRow).where(PieceRow.name == "Hall dresser"))
        assert row.client.name == "Marguerite"
        assert len(row.members) > 8
        assert row.stays[0].since_at.isoformat() == "2026-02-01T05:00:00+00:00"
    wrong = (
        PIECES_CSV.replace(b"34in,5", b"9in,five").replace(b"40,,Shop", b"40,3,Shop").replace(b"Hall", b"Old")
    )
    told = " / ".join(map(str, read_list(PIECES, wrong.replace(b"Small", b"Wide"), view, keep=True).faults))
    assert "line 2, drawers" in told or "line 2, width" in told
    assert "line 3, drawers: must be empty for a top" in told


def test_the_page_offers_to_keep_only_what_has_no_fault(view):
    for content, is_offered in ((LUMBER, True), (LUMBER.replace(b"8/4", b"thick"), False)):
        token = uploads.take("lumber.csv", content)
        page = text_of(PAGE.looked(PAGE.read(token, view, keep=False)))
        assert ("Record two stacks" in page) == is_offered
        assert ("line 2, Thickness" in page) != is_offered
    with pytest.raises(BadInput, match="line 2, Thickness"):
        PAGE.keep("all", {"file": token}, view)


def test_every_piece_and_fit_goes_into_a_spreadsheet_and_no_name_becomes_a_formula(book, now):
    likely(book, now, book.bench, {})
    with book.store.session() as session:
        session.get_one(PieceRow, book.bench).name = "=1+1"
    answer = build_app(book.store, lambda: now).server.test_client().get("/pieces.csv")
    assert answer.mimetype == "text/csv"
    rows = list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))
    bench = [row for row in rows if row["piece"] == "'=1+1"]
    assert {row["fit"] for row in bench} == {"back_panel"}
    (ahead,) = [row for row in bench if row["chance_pct"]]
    assert (ahead["limit"], ahead["from_day"]) == ("groove-bottom", "2026-03-12")
    assert {row["now"] for row in rows} <= {"clear", "near", "past", "unknown"}
