"""The book's archive: whole, consistent, and proven when it is brought back."""

import json
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, select, update

from model.records.archives.archive import compare, restore_archive, write_archive
from model.records.schema.tables import Place, Reading, RejectedMessage, RunningCount, Sensor
from model.records.store import Store
from model.wood.errors import BadInput

AT = datetime(2026, 2, 3, 12, tzinfo=UTC)


def fill(store: Store, readings: int = 500) -> None:
    with store.session() as session:
        session.add(Place(name="Shop ½ é", kind="shop", climate={"b": 1, "a": [1.5, None]}))
        sensor = Sensor(name="bench", accepted_at=AT)
        session.add(sensor)
        session.flush()
        session.add_all(
            Reading(
                sensor_id=sensor.id,
                observed_at=AT + timedelta(minutes=15 * step, milliseconds=step),
                received_at=AT,
                temperature_c=None if step % 7 == 0 else 20.0 + step / 100,
                rh_pct=45.0,
            )
            for step in range(readings)
        )
        session.add(
            RejectedMessage(topic="x", payload=b"\x00\xff{", size=3, reason="no reading", received_at=AT)
        )
        session.add(RunningCount(name="received", count=2**40))


@pytest.fixture
def other(tmp_path: Path) -> Store:
    book = Store(f"sqlite:///{tmp_path / 'other.sqlite'}")
    book.bring_up_to_date()
    return book


def test_what_is_brought_back_is_what_was_saved(store: Store, other: Store, tmp_path: Path) -> None:
    fill(store)
    path = tmp_path / "book.zip"
    saved = write_archive(store, path, AT)
    assert saved["reading"] == 500
    assert restore_archive(other, path) == saved
    assert compare(other, path) == []
    with store.session() as one, other.session() as two:
        for table in (Place, Reading, RejectedMessage, RunningCount):
            rows = [
                [
                    tuple(getattr(row, column.key) for column in table.__table__.columns)
                    for row in session.scalars(select(table).order_by(*table.__table__.primary_key.columns))
                ]
                for session in (one, two)
            ]
            assert rows[0] == rows[1]


def test_same_book_has_the_same_checksums(store: Store, other: Store, tmp_path: Path) -> None:
    fill(store)
    write_archive(store, tmp_path / "one.zip", AT)
    restore_archive(other, tmp_path / "one.zip")
    write_archive(other, tmp_path / "two.zip", AT)
    manifests = []
    for name in ("one.zip", "two.zip"):
        with zipfile.ZipFile(tmp_path / name) as archive:
            manifests.append(json.loads(archive.read("manifest.json")))
    assert manifests[0] == manifests[1]


def test_book_that_changed_since_is_told_apart(store: Store, tmp_path: Path) -> None:
    fill(store)
    path = tmp_path / "book.zip"
    write_archive(store, path, AT)
    assert compare(store, path) == []
    with store.session() as session:
        session.execute(update(RunningCount).values(count=1))
    (sentence,) = compare(store, path)
    assert sentence.startswith("tally: ")


def test_book_in_use_is_not_written_over(store: Store, other: Store, tmp_path: Path) -> None:
    fill(store, 3)
    path = tmp_path / "book.zip"
    write_archive(store, path, AT)
    fill(other, 5)
    with pytest.raises(BadInput, match="must be empty"):
        restore_archive(other, path)
    with other.session() as session:
        assert session.scalar(select(func.count()).select_from(Reading)) == 5


def test_archive_that_was_tampered_with_changes_nothing(store: Store, other: Store, tmp_path: Path) -> None:
    fill(store, 20)
    path, forged = tmp_path / "book.zip", tmp_path / "forged.zip"
    write_archive(store, path, AT)
    with zipfile.ZipFile(path) as archive, zipfile.ZipFile(forged, "w") as out:
        for name in archive.namelist():
            content = archive.read(name)
            if name == "manifest.json":
                manifest = json.loads(content)
                manifest["tables"]["reading"]["checksum"] = "0" * 64
                content = json.dumps(manifest).encode()
            out.writestr(name, content)
    with pytest.raises(BadInput, match="reading must have the checksum"):
        restore_archive(other, forged)
    with other.session() as session:
        assert session.scalar(select(func.count()).select_from(Reading)) == 0


@pytest.mark.parametrize("damage", ["cut", "text", "missing", "schema"])
def test_what_is_no_archive_is_refused_in_a_sentence(
    damage: str, store: Store, other: Store, tmp_path: Path
) -> None:
    fill(store, 3)
    path = tmp_path / "book.zip"
    write_archive(store, path, AT)
    if damage == "cut":
        path.write_bytes(path.read_bytes()[:-200])
    elif damage == "text":
        path.write_text("not an archive")
    elif damage == "missing":
        path.unlink()
    else:
        with zipfile.ZipFile(path, "w") as out:
            out.writestr("manifest.json", json.dumps({"format": 1, "schema": "9999", "tables": {}}))
    with pytest.raises(BadInput, match=r"book\.zip: archive"):
        restore_archive(other, path)


def test_copy_is_of_one_instant_while_others_write(store: Store, other: Store, tmp_path: Path) -> None:
    fill(store, 50)
    path = tmp_path / "book.zip"
    done = False

    def write_meanwhile(table: str, _rows: int) -> None:
        nonlocal done
        if not done:
            done = True
            with store.session() as session:
                session.add(RunningCount(name="later", count=1))
                session.add(Place(name="Later", kind="home"))

    saved = write_archive(store, path, AT, write_meanwhile)
    assert done
    assert saved["tally"] == 1
    assert saved["place"] == 1
    assert restore_archive(other, path) == saved
