"""Readings written into files, and read again as they were."""

import csv
import gzip
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

from ingest.files.export import export_readings
from ingest.files.import_file import import_readings
from model.records.schema.tables import Binding, Reading, Sensor
from model.records.store import Store
from model.wood.errors import BadInput
from tests.ingest.files import Write, now, stored


@pytest.mark.parametrize("name", ["out.csv", "out.csv.gz", "out.parquet"])
def test_what_is_written_out_is_what_was_read(bench: Store, write: Write, tmp_path: Path, name: str) -> None:
    text = (
        "timestamp_utc,sensor,topic,temperature_c,rh_pct\n"
        "2025-06-01T12:00:00Z,Bench,shop/bench,20.5,45.0\n2025-06-01T13:00:00Z,Bench,shop/bench,,46.0\n"
    )
    import_readings(bench, write(text), now)
    out = tmp_path / name
    assert export_readings(bench, out) == 2
    if name.endswith(".parquet"):
        frame = pd.read_parquet(out)
        assert frame["timestamp_utc"].tolist() == list(pd.to_datetime(["2025-06-01T12Z", "2025-06-01T13Z"]))
        assert frame["rh_pct"].tolist() == [45.0, 46.0]
    else:
        raw = out.read_bytes()
        assert (gzip.decompress(raw) if name.endswith(".gz") else raw).decode() == text
    assert list(tmp_path.glob(".*unfinished")) == []


FORMULAS = ["=1+1", "+bench", "-bench", "@bench", "'=bench", "''@x", "'bench", "a=b", '=HYPERLINK("x","y")']


@pytest.mark.parametrize("name", ["out.csv", "out.csv.gz"])
def test_no_name_is_a_formula_in_a_spreadsheet_and_comes_back_as_it_was(
    store: Store, tmp_path: Path, name: str
) -> None:
    with store.session() as session:
        for hour, formula in enumerate(FORMULAS):
            sensor = Sensor(name=formula, accepted_at=now())
            sensor.bindings.append(Binding(topic=f"{formula}/t", payload={"kind": "json"}))
            session.add(sensor)
            session.flush()
            at = datetime(2025, 6, 1, hour, tzinfo=UTC)
            session.add(
                Reading(
                    sensor_id=sensor.id,
                    observed_at=at,
                    received_at=at,
                    temperature_c=-4.5,
                    rh_pct=40.0 + hour,
                )
            )
    before = stored(store)
    out = tmp_path / name
    assert export_readings(store, out) == len(FORMULAS)
    raw = gzip.decompress(out.read_bytes()) if name.endswith(".gz") else out.read_bytes()
    for row in csv.DictReader(raw.decode().splitlines()):
        assert row["sensor"][0] not in "=+-@"
        assert row["topic"][0] not in "=+-@"
        assert row["temperature_c"] == "-4.5"
    report = import_readings(store, out, now)
    assert (report.duplicate, report.accepted, report.rejected) == (len(FORMULAS), 0, [])
    assert stored(store) == before
    export_readings(store, tmp_path / "out.parquet")
    assert sorted(pd.read_parquet(tmp_path / "out.parquet")["sensor"]) == sorted(FORMULAS)


def test_an_export_is_cut_to_a_span_and_a_sensor(bench: Store, write: Write, tmp_path: Path) -> None:
    lines = "".join(f"2025-06-0{day}T12:00:00Z,Bench,20,45\n" for day in range(1, 6))
    import_readings(bench, write("time,sensor,temperature,humidity\n" + lines), now)
    since, until = datetime(2025, 6, 2, 12, tzinfo=UTC), datetime(2025, 6, 4, 12, tzinfo=UTC)
    assert export_readings(bench, tmp_path / "a.csv", sensor="Bench", since_at=since, until_at=until) == 2
    with pytest.raises(BadInput, match="must be one that is known"):
        export_readings(bench, tmp_path / "a.csv", sensor="Nobody")
    with pytest.raises(BadInput, match=r"must end in \.csv"):
        export_readings(bench, tmp_path / "a.xls")
