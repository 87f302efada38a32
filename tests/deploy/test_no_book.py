"""Whoever asks about a book that isn't there is told so, and none is made by asking."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.ran import Ran

PIECE = str(Path(__file__).parents[2] / "sample_readings" / "pieces" / "hall_bench.toml")


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize(
    "words",
    [
        "state",
        "state --json",
        "sensors",
        "sensors accept loft/air",
        "rejected",
        "glue-up Shop",
        "ready Ash",
        "outlook Bench",
        "deliver Bench --to Flat",
        "sheet Bench --out bench.pdf",
        "export readings --out out.csv",
        "export book --out book.zip",
        "export record Bench --out record.txt",
        "backup",
        "watch --once",
        "fleet",
        f"piece add {PIECE} --place Shop",
    ],
)
def test_there_is_no_book_and_none_is_made(words: str, tmp_path: Path, paneltide: Callable[..., Ran]) -> None:
    status, out, err = paneltide(*words.split())
    assert (status, out) == (3, "")
    assert f"there is no book at {tmp_path / 'data' / 'paneltide.sqlite'} yet" in err
    assert "`paneltide run` begins one" in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_the_doctor_makes_none_either(tmp_path: Path, paneltide: Callable[..., Ran]) -> None:
    findings = json.loads(paneltide("doctor", "--json")[1])["findings"]
    found = {finding["what"]: finding["found"] for finding in findings}
    assert f"there is no book at {tmp_path / 'data' / 'paneltide.sqlite'} yet" in found["database"]
    assert list(tmp_path.iterdir()) == []


def test_a_piece_file_gets_its_sheet_without_a_book(tmp_path: Path, paneltide: Callable[..., Ran]) -> None:
    assert paneltide("sheet", PIECE, "--out", "bench.pdf")[0] == 0
    assert [path.name for path in tmp_path.iterdir()] == ["bench.pdf"]


def test_the_first_place_begins_one(tmp_path: Path, paneltide: Callable[..., Ran]) -> None:
    assert paneltide("place", "add", "Shop", "--kind", "shop")[0] == 0
    assert "Shop" in paneltide("state")[1]
