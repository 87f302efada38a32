"""A new kind of fit is one new file: dropped in its folder, it is on every page, sheet, card and command.

The kind is a drop leaf beside its table top, made up for this test; its limits have names that are known.
"""

import json
import shutil
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

import model.wood.fits as folder
from dashboard.forms import drafts, recorded_draft
from dashboard.pages.pieces import gap, piece, record_form
from dashboard.paper import sheet
from dashboard.paper.sheet import ClientFacts
from dashboard.shell.static_html import text_of
from dashboard.shell.view import Context, View
from deploy.cli.commands import app
from model.answers.annual_range import given_year
from model.records.acts import book as records
from model.records.schema.tables import Place
from model.wood.design.cutting import cut_document
from model.wood.design.design_range import design_range
from model.wood.piece import Piece, document_of, piece_from_document, read_piece, write_piece
from model.words.display import Display

NOW = datetime(2026, 2, 10, 15, 0, tzinfo=UTC)

KIND = """
from dataclasses import dataclass
from typing import ClassVar

from model.wood.fits.base import Fit
from model.wood.fits.limit import Moistures, Way
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import length, one_member
from model.wood.material.member import Amount, Member
from model.wood.design.setting_out import GapCut, Increments, ServiceRange


@dataclass(frozen=True, kw_only=True)
class DropLeaf(Fit):
    kind: ClassVar[str] = "drop-leaf"
    title: ClassVar[str] = "Drop leaf"
    what: ClassVar[str] = "A leaf hinged beside a fixed top."
    gap_attribute: ClassVar[str | None] = "gap_mm"

    leaf: Member = one_member("the leaf")
    gap_mm: float = length("gap between leaf and top, as built", zero=True)
    widest_gap_mm: float = length("widest gap that still looks right", 3.0)

    def gap_now(self, mc: Moistures) -> Amount:
        return self.gap_mm - self.growth(self.leaf, mc)

    def ways(self, mc: Moistures) -> list[Way]:
        gap, parts = self.gap_now(mc), (self.leaf.called,)
        return [
            Way("binds", "swelling", "harms", gap, parts),
            Way("gap-shows", "shrinking", "shows", self.widest_gap_mm - gap, parts),
        ]

    def section(self, mc: Moistures) -> Section:
        width, gap = float(self.leaf.width_at(mc[self.leaf.name])), float(self.gap_now(mc))
        parts = (
            Part(self.leaf.name, "member", 0.0, 0.0, width, 19.0),
            Part("top", "frame", width + gap, 0.0, 40.0, 19.0),
        )
        return Section("leaf beside its top", parts, (Space("gap", width, width + gap, 9.0),))

    def cut(self, service: ServiceRange, steps: Increments) -> GapCut:
        gap = service.to_wet(self.leaf, self.leaf.width_mm)
        return GapCut(
            **self.cut_head(service, self.leaf.name),
            enough=True,
            figures=[("gap today", gap, "up")],
            reasons=[service.reason("cut-gap", part=self.leaf.called, gap_mm=gap)],
            gap_mm=gap,
            gap_rounded_mm=gap,
            gap_least_mm=gap,
            gap_dry_mm=gap,
            gap_wet_mm=gap,
        )
"""

TABLE = """
[piece]
name = "Leaf table"
[part.leaf]
species = "black walnut"
cut = "flat-sawn"
width = "12in"
mc_pct = 8.0
thickness = "3/4in"
[fit.left_leaf]
kind = "drop-leaf"
leaf = "leaf"
gap = 1.5
"""


@pytest.fixture
def table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A piece file with a fit of the new kind, once its one file lies in a folder of kinds."""
    (tmp_path / "kinds").mkdir()
    (tmp_path / "kinds" / "drop_leaf.py").write_text(KIND, "utf-8")
    monkeypatch.setattr(folder, "__path__", [*folder.__path__, str(tmp_path / "kinds")])
    folder._registry.cache_clear()
    file = tmp_path / "leaf_table.toml"
    file.write_text(TABLE, "utf-8")
    yield file
    monkeypatch.undo()
    folder._registry.cache_clear()
    assert "drop-leaf" not in folder.kinds()


@pytest.fixture
def leaf_table(table: Path) -> Piece:
    return read_piece(table.read_text("utf-8"), "leaf_table")


def plain(page: object) -> str:
    return " ".join(text_of(page).replace("\u00a0", " ").split())


def words_of(pdf: bytes) -> str:
    ran = subprocess.run(["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True)
    return " ".join(ran.stdout.decode().replace("\u00a0", " ").split())


def view_of(book) -> View:
    return View(Context(book.store, lambda: NOW), Display("inch"), NOW, {})


def recorded(book, wood: Piece) -> int:
    with book.store.session() as session:
        return int(records.add_piece(session, wood, session.get_one(Place, book.shop), NOW, NOW).id)


def test_its_piece_file_is_written_and_read_as_it_is(leaf_table: Piece) -> None:
    assert piece_from_document(document_of(leaf_table)) == leaf_table
    assert read_piece(write_piece(leaf_table), "again") == leaf_table


def test_it_is_on_the_piece_page_with_its_limits(book, leaf_table: Piece) -> None:
    words = plain(piece.layout(view_of(book), recorded(book, leaf_table)))
    assert "left leaf" in words.lower()
    assert "the leaf sticks in its opening" in words
    assert "the gap at the leaf looks too wide" in words


def test_it_is_on_the_page_of_gaps(book, leaf_table: Piece) -> None:
    page = plain(gap.layout(view_of(book), recorded(book, leaf_table)))
    assert "Left leaf: " in page
    assert "They read the gap strip" in page


def test_it_is_on_the_record_form(book, leaf_table: Piece) -> None:
    view = view_of(book)
    draft = recorded_draft.draft_of(document_of(leaf_table), "inch")
    form = plain(record_form.form_of(draft, (), view, True))
    assert "gap between leaf and top, as built" in form.lower() or "Gap between leaf and top" in form
    checked = drafts.check(draft)
    assert checked.problems == []
    assert "the leaf sticks in its opening" in plain(record_form.live(checked, view))


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler (Debian package poppler-utils)")
def test_it_is_on_the_client_sheet_and_on_a_cut_card(leaf_table: Piece) -> None:
    year = given_year(leaf_table, 25.0, 45.0)
    facts = ClientFacts(piece=leaf_table, design=design_range(leaf_table), year=year, place="Orchard house")
    assert "the leaf a gap of up to" in words_of(sheet.client_sheet(facts, Display("inch"))).lower()
    card = words_of(sheet.cut_card(cut_document(leaf_table, "left_leaf", 8.0), Display("inch"), NOW))
    assert "gap today" in card
    assert "at the leaf today" in card


def test_the_command_line_checks_and_cuts_it(table: Path) -> None:
    ran = CliRunner().invoke(app, ["check", str(table), "--json"])
    assert ran.exit_code == 0, ran.output
    (fit,) = json.loads(ran.stdout)["fits"].values()
    assert fit["kind"] == "drop-leaf"
    assert fit["limits"][0]["says"] == "the leaf sticks in its opening"
    asked = ["cut", str(table), "--fit", "left_leaf", "--mc", "8", "--range", "6-11"]
    ran = CliRunner().invoke(app, [*asked, "--json"])
    assert ran.exit_code == 0, ran.output
    assert json.loads(ran.stdout)["gap_mm"] > 0.5
    ran = CliRunner().invoke(app, asked)
    assert "at the leaf today" in ran.stdout


def test_without_the_file_the_kind_is_refused_by_name() -> None:
    with pytest.raises(Exception, match="must be a kind of fit"):
        read_piece(TABLE, "leaf_table")
