"""Piece files written when a part was called a member are read as before, and written in the words of now."""

import pytest
from typer.testing import CliRunner

from deploy.cli.commands import app
from model.wood.piece import read_piece, write_piece

NOW = """
[piece]
name = "Blanket chest"

[part.side]
species = "white ash"
cut = "flat-sawn"
width = "18in"
mc_pct = 8.0
thickness = "3/4in"

[part.door]
species = "white ash"
cut = "flat-sawn"
width = "12in"
mc_pct = 8.0
thickness = "3/4in"

[fit.runner]
kind = "cross-grain-fixing"
part = "side"
across = "runner"
distance = "17in"
slot_length = "1/2in"
screw_diameter = "0.164in"

[fit.pair]
kind = "front-in-opening"
parts = ["door", "door"]
gap = "1/16in"
"""
BEFORE = (
    NOW.replace('part = "side"', 'member = "side"')
    .replace('across = "runner"', 'part = "runner"')
    .replace("parts = ", "members = ")
    .replace("[part.", "[member.")
)


def test_a_file_of_before_is_the_same_piece() -> None:
    assert "[member.side]" in BEFORE
    assert "[part." not in BEFORE
    assert read_piece(BEFORE) == read_piece(NOW)


def test_the_old_word_is_never_written() -> None:
    written = write_piece(read_piece(BEFORE))
    assert "member" not in written
    assert "[part.side]" in written
    assert 'across = "runner"' not in written or 'part = "side"' in written
    assert read_piece(written) == read_piece(NOW)


@pytest.mark.parametrize(("text", "is_told"), [(BEFORE, True), (NOW, False)])
def test_who_reads_an_old_file_is_told(tmp_path, text, is_told) -> None:
    file = tmp_path / "chest.toml"
    file.write_text(text)
    ran = CliRunner().invoke(app, ["check", str(file), "--json"])
    assert ran.exit_code in (0, 1), ran.output
    assert ("parts are called [part.name] now" in ran.stderr) is is_told
