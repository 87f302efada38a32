"""The book, its copies and its exports are their owner's alone; a folder from before is mended."""

import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from deploy.cli.commands import main
from deploy.settings import load_settings
from deploy.wiring import open_folder, open_store
from model.records.store import Store


def mode(path: Path) -> str:
    return oct(stat.S_IMODE(path.stat().st_mode))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "data"))
    return tmp_path / "data"


@pytest.fixture
def book(folder: Path) -> Iterator[Store]:
    store = open_store(load_settings(), create=True)
    with store.engine.begin() as connection:
        connection.exec_driver_sql("INSERT INTO tally (name, count) VALUES ('received', 1)")
    yield store
    store.close()


@pytest.fixture
def paneltide() -> Callable[..., None]:
    def run(*arguments: object) -> None:
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        assert ended.value.code == 0

    return run


def test_a_new_book_and_its_folder_are_their_owners_alone(folder: Path, book: Store) -> None:
    assert mode(folder) == "0o700"
    names = {path.name for path in folder.iterdir()}
    assert names >= {"paneltide.sqlite", "paneltide.sqlite-wal", "paneltide.sqlite-shm"}
    assert {mode(path) for path in folder.iterdir()} == {"0o600"}


def test_a_book_from_before_is_mended_at_the_next_start(folder: Path, book: Store) -> None:
    folder.chmod(0o755)
    for path in folder.iterdir():
        path.chmod(0o644)
    open_store(load_settings(), create=True).close()
    assert mode(folder) == "0o700"
    assert {mode(path) for path in folder.iterdir()} == {"0o600"}


@pytest.mark.slow
def test_backups_and_exports_are_their_owners_alone(
    folder: Path, book: Store, tmp_path: Path, paneltide: Callable[..., None]
) -> None:
    out = tmp_path / "out"
    out.mkdir(mode=0o755)
    (out / "r.csv").write_text("of before")
    (folder / "backups").mkdir()
    old = folder / "backups" / "paneltide-20260101T000000Z.zip"
    old.write_bytes(b"of before")
    old.chmod(0o644)
    paneltide("backup")
    paneltide("backup", "--out", out / "b.zip")
    paneltide("export", "book", "--out", out / "e.zip")
    for name in ("r.csv", "r.csv.gz", "r.parquet"):
        paneltide("export", "readings", "--out", out / name)
    kept = list((folder / "backups").iterdir())
    assert mode(folder / "backups") == "0o700"
    assert len(kept) == 2
    assert {mode(path) for path in kept} == {"0o600"}
    assert {mode(path) for path in out.iterdir()} == {"0o600"}
    assert len(list(out.iterdir())) == 5
    # A folder the maker chose is the maker's.
    assert mode(out) == "0o755"


def test_a_folder_that_everybody_writes_into_stays_as_it_is(tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o1777)
    open_folder(shared)
    assert mode(shared) == "0o1777"
