"""Pieces of the sample shop on paper, read back by poppler."""

import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dashboard.paper.sheet import (
    ClientFacts,
    Contact,
)
from model.answers.annual_range import given_year
from model.wood.design.design_range import design_range
from model.wood.piece import Piece, read_piece

PIECES = Path(__file__).parents[2] / "sample_readings" / "pieces"
NOW = datetime(2026, 2, 3, 12, tzinfo=UTC)
CONTACT = Contact("Two benches", "ask@two-benches.example", "https://two-benches.example/7")


needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="needs poppler (Debian package poppler-utils)"
)


def sample(name: str) -> Piece:
    return read_piece((PIECES / f"{name}.toml").read_text("utf-8"), name)


def facts_of(piece: Piece, **more: Any) -> ClientFacts:
    given = {
        "year": given_year(piece, 22.0, 55.0),
        "place": "Orchard house",
        "contact": CONTACT,
        "made_at": NOW,
    }
    return ClientFacts(piece=piece, design=design_range(piece), **(given | more))


def poppler(tool: str, pdf: bytes, *options: str) -> bytes:
    run = subprocess.run([tool, *options], input=pdf, capture_output=True, check=True)
    # A page with something wrong in it opens, and says so.
    assert run.stderr == b""
    return run.stdout
