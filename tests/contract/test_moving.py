"""A book moves from SQLite to PostgreSQL and back: the same rows, the same checksums, new rows after them."""

import json
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from model.records.archives.archive import compare, restore_archive, write_archive
from model.records.schema.tables import Place, Reading, RejectedMessage, Sensor
from model.records.store import Store

pytestmark = pytest.mark.postgres
AT = datetime(2026, 2, 3, 12, tzinfo=UTC)


def checksums(path: Path) -> dict[str, str]:
    with zipfile.ZipFile(path) as archive:
        tables = json.loads(archive.read("manifest.json"))["tables"]
    return {name: entry["checksum"] for name, entry in tables.items()}


def test_there_and_back_is_the_same_book(store: Store, postgres_store: Store, tmp_path: Path) -> None:
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
                rh_pct=45.1,
            )
            for step in range(2_000)
        )
        session.add(RejectedMessage(topic="x", payload=b"\x00\xff", size=2, reason="none", received_at=AT))
    there, back = tmp_path / "there.zip", tmp_path / "back.zip"
    counts = write_archive(store, there, AT)
    assert counts["reading"] == 2_000
    assert restore_archive(postgres_store, there) == counts
    assert compare(postgres_store, there) == []
    write_archive(postgres_store, back, AT)
    assert checksums(there) == checksums(back)


def test_new_rows_are_numbered_after_those_brought_in(
    store: Store, postgres_store: Store, tmp_path: Path
) -> None:
    with store.session() as session:
        session.add_all(Place(name=f"place {number}", kind="home") for number in range(5))
    write_archive(store, tmp_path / "book.zip", AT)
    restore_archive(postgres_store, tmp_path / "book.zip")
    with postgres_store.session() as session:
        place = Place(name="the sixth", kind="home")
        session.add(place)
        session.flush()
        assert place.id == 6
