"""Shared by the tests of files: a file to read, and a book with a sensor it may speak of."""

import gzip
from pathlib import Path

import pytest

from model.records.schema.tables import Binding, Sensor
from model.records.store import Store
from tests.ingest.files import NOW, Write


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def file(text: str, name: str = "readings.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        raw = text.encode(encoding)
        path.write_bytes(gzip.compress(raw) if name.endswith(".gz") else raw)
        return path

    return file


@pytest.fixture
def bench(store: Store) -> Store:
    """A book with one sensor, Bench, on the topic shop/bench."""
    with store.session() as session:
        sensor = Sensor(name="Bench", accepted_at=NOW)
        sensor.bindings.append(Binding(topic="shop/bench", payload={"shape": "json", "rh": "/rh"}))
        session.add(sensor)
    return store
