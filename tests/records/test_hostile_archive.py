"""An archive that is damaged, or made to do harm, is refused in one sentence and changes nothing."""

import io
import json
import struct
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from pyarrow import parquet
from sqlalchemy import func, select

from deploy.cli.commands import main
from model.records.archives.archive import write_archive
from model.records.schema.tables import Place, RunningCount, Sensor
from model.records.store import Store

AT = datetime(2026, 2, 3, 12, tzinfo=UTC)
Files = dict[str, bytes]


@pytest.fixture
def whole(store: Store, tmp_path: Path) -> Files:
    """The files of a good archive of a small book."""
    with store.session() as session:
        session.add(Place(name="Shop", kind="shop", climate={"a": 1}))
        session.add(Sensor(name="bench", accepted_at=AT))
        session.add(RunningCount(name="received", count=3))
    write_archive(store, tmp_path / "good.zip", AT)
    with zipfile.ZipFile(tmp_path / "good.zip") as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(files: Files, method: int = zipfile.ZIP_STORED, twice: str = "") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
        if twice:
            with pytest.warns(UserWarning, match="Duplicate name"):
                archive.writestr(twice, files[twice])
    return out.getvalue()


def manifest(files: Files, change: Callable[[Any], Any]) -> bytes:
    return packed(files | {"manifest.json": json.dumps(change(json.loads(files["manifest.json"]))).encode()})


def counted(document: Any, rows: Any) -> Any:
    document["tables"]["tally"]["rows"] = rows
    return document


def table(columns: dict[str, Any]) -> bytes:
    out = io.BytesIO()
    parquet.write_table(pa.table(columns), out, compression="zstd")
    return out.getvalue()


def bomb(files: Files) -> bytes:
    """A small file that unpacks to very much: half a million names that are all alike but their number."""
    names = [f"{'x' * 4000}{number:06}" for number in range(30_000)]
    counts = pa.array([0] * len(names), pa.int64())
    out = io.BytesIO()
    parquet.write_table(
        pa.table({"name": names, "count": counts}), out, compression="zstd", use_dictionary=False
    )
    document = counted(json.loads(files["manifest.json"]), len(names))
    return packed(files | {"tally.parquet": out.getvalue(), "manifest.json": json.dumps(document).encode()})


def flipped(files: Files) -> bytes:
    content = bytearray(packed(files))
    content[content.index(files["place.parquet"]) + 40] ^= 0xFF
    return bytes(content)


def encrypted(files: Files) -> bytes:
    content = bytearray(packed(files))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = content.find(mark)
        while at >= 0:
            (flags,) = struct.unpack_from("<H", content, at + offset)
            struct.pack_into("<H", content, at + offset, flags | 1)
            at = content.find(mark, at + 4)
    return bytes(content)


HOSTILE: dict[str, Callable[[Files], bytes]] = {
    "nothing": lambda _files: b"",
    "text": lambda _files: b"not an archive",
    "cut off": lambda files: packed(files)[:-300],
    "cut in the middle": lambda files: packed(files)[:500],
    "only the manifest": lambda files: packed({"manifest.json": files["manifest.json"]}),
    "no manifest": lambda files: packed({k: v for k, v in files.items() if k != "manifest.json"}),
    "manifest is no JSON": lambda files: packed(files | {"manifest.json": b"{"}),
    "manifest is no text": lambda files: packed(files | {"manifest.json": b"\xff\xfe\x00"}),
    "manifest is a list": lambda files: packed(files | {"manifest.json": b"[]"}),
    "manifest is deep": lambda files: packed(files | {"manifest.json": b"[" * 200_000}),
    "manifest is long": lambda files: packed(files | {"manifest.json": b" " * 2_000_000}),
    "tables are a list": lambda files: manifest(files, lambda document: document | {"tables": []}),
    "tables are words": lambda files: manifest(
        files, lambda d: d | {"tables": dict.fromkeys(d["tables"], "x")}
    ),
    "rows are words": lambda files: manifest(files, lambda document: counted(document, "three")),
    "rows are too many": lambda files: manifest(files, lambda document: counted(document, 10**12)),
    "a table is missing": lambda files: packed({k: v for k, v in files.items() if k != "tally.parquet"}),
    "a way out": lambda files: packed(files | {"../../escaped.txt": b"x"}),
    "a way from the root": lambda files: packed(files | {"/tmp/escaped.txt": b"x"}),
    "a file twice": lambda files: packed(files, twice="tally.parquet"),
    "packed again": lambda files: packed(files, zipfile.ZIP_DEFLATED),
    "a table that is no table": lambda files: packed(files | {"tally.parquet": b"PAR1 no PAR1"}),
    "a table of other columns": lambda files: packed(files | {"tally.parquet": table({"x": [1, 2]})}),
    "a table of other types": lambda files: packed(
        files | {"tally.parquet": table({"name": [1], "count": ["many"]})}
    ),
    "flipped bits": flipped,
    "encrypted": encrypted,
    "unpacks to very much": bomb,
}


@pytest.mark.slow
def test_no_hostile_archive_is_more_than_one_sentence(
    whole: Files, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "data"))
    path = tmp_path / "hostile.zip"
    before = {entry.name for entry in tmp_path.iterdir()} | {"data", "hostile.zip"}
    for name, made in HOSTILE.items():
        path.write_bytes(made(whole))
        with pytest.raises(SystemExit) as ended:
            main(["restore", str(path)])
        err = capsys.readouterr().err
        assert ended.value.code == 2, (name, err)
        assert err.count("\n") == 1, (name, err)
        assert "hostile.zip" in err, name
        assert len(err) < 600, (name, err)
    assert {entry.name for entry in tmp_path.iterdir()} == before
    book = Store(f"sqlite:///{tmp_path / 'data' / 'paneltide.sqlite'}")
    with book.session() as session:
        for rows in (Place, Sensor, RunningCount):
            assert session.scalar(select(func.count()).select_from(rows)) == 0
    book.close()


def test_the_good_one_is_let_in_after_all(
    whole: Files, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "data"))
    (tmp_path / "good-again.zip").write_bytes(packed(whole))
    with pytest.raises(SystemExit) as ended:
        main(["restore", str(tmp_path / "good-again.zip")])
    assert ended.value.code == 0, capsys.readouterr().err
