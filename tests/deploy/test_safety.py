"""Backups prove themselves, old ones go, and a book moves whole."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.ran import Ran


@pytest.mark.slow
def test_backup_is_proven_and_comes_back(
    tmp_path: Path, paneltide: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert paneltide("place", "add", "Shop", "--kind", "shop")[0] == 0
    archive = tmp_path / "book.zip"
    status, out, _ = paneltide("backup", "--out", archive, "--json")
    assert status == 0
    assert json.loads(out)["proven"]
    assert not list(tmp_path.glob(".paneltide-proof-*"))
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "elsewhere"))
    assert paneltide("restore", archive)[0] == 0
    document = json.loads(paneltide("state", "--json")[1])
    assert [place["name"] for place in document["places"]] == ["Shop"]
    status, _, err = paneltide("restore", archive)
    assert status == 2
    assert "must be empty" in err


def test_only_so_many_backups_are_kept(tmp_path: Path, paneltide: Callable[..., Ran]) -> None:
    assert paneltide("migrate")[0] == 0
    folder = tmp_path / "data" / "backups"
    folder.mkdir(parents=True)
    for day in (1, 2, 3):
        (folder / f"paneltide-2026010{day}T000000Z.zip").write_bytes(b"")
    (folder / "mine.zip").write_bytes(b"")
    document = json.loads(paneltide("backup", "--keep", 2, "--json")[1])
    assert document["dropped"] == ["paneltide-20260101T000000Z.zip", "paneltide-20260102T000000Z.zip"]
    assert sorted(path.name for path in folder.iterdir()) == sorted(
        ["mine.zip", "paneltide-20260103T000000Z.zip", Path(document["archive"]).name]
    )


def test_book_moves_to_another_database(
    tmp_path: Path, paneltide: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert paneltide("place", "add", "Shop", "--kind", "shop")[0] == 0
    address = f"sqlite:///{tmp_path / 'new.sqlite'}"
    status, out, _ = paneltide("move", "--to", address)
    assert status == 0
    assert "proven by count and checksum" in out
    monkeypatch.setenv("PANELTIDE_DATABASE_URL", address)
    document = json.loads(paneltide("state", "--json")[1])
    assert [place["name"] for place in document["places"]] == ["Shop"]


def test_damaged_archive_is_refused_in_one_line(tmp_path: Path, paneltide: Callable[..., Ran]) -> None:
    (tmp_path / "bad.zip").write_bytes(b"PK")
    status, _, err = paneltide("restore", tmp_path / "bad.zip")
    assert status == 2
    assert err.count("\n") == 1
    assert "whole archive" in err
