"""How fast a file of readings comes in, beside pandas reading the same file alone, in pairs.

``python -m tests.bench.bench_import [--rows N] [--pairs N] [--database URL]``
"""

import argparse
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from sqlalchemy import text

from ingest.files.import_file import import_readings
from model.records.clock import machine_now
from model.records.store import Store
from tests.bench.smoke import parsed

SENSORS = 50


def write_file(path: Path, rows: int) -> None:
    """Fifty sensors, a reading a minute each, until now."""
    rng = np.random.default_rng(20_250_601)
    minutes = np.arange(rows) // SENSORS
    at = np.datetime64("2024-01-01T00:00", "s") + minutes.astype("timedelta64[m]")
    pd.DataFrame(
        {
            "timestamp_utc": np.char.add(np.datetime_as_string(at), "Z"),
            "sensor": [f"sensor {number % SENSORS}" for number in range(rows)],
            "temperature_c": np.round(15 + 10 * rng.random(rows), 2),
            "rh_pct": np.round(30 + 30 * rng.random(rows), 1),
        }
    ).to_csv(path, index=False)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--database", help="PostgreSQL address; SQLite in a temporary folder when missing")
    given = parsed(parser, rows=2_000, pairs=1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        write_file(path, given.rows)
        ours, theirs, again = [], [], []
        for number in range(given.pairs):
            begun = time.perf_counter()
            pd.read_csv(path, parse_dates=["timestamp_utc"])
            theirs.append(given.rows / (time.perf_counter() - begun))
            store = Store(given.database or f"sqlite:///{folder}/bench{number}.sqlite")
            store.bring_up_to_date()
            with store.session() as session:
                for table in ("reading", "stale_hour", "hanging", "sensor", "place"):
                    session.execute(text(f"DELETE FROM {table}"))
            for rates in (ours, again):
                begun = time.perf_counter()
                report = import_readings(store, path, machine_now, create="Shop", place_kind="shop")
                rates.append(given.rows / (time.perf_counter() - begun))
                assert report.accepted + report.duplicate == given.rows
            store.close()
            shown = f"import {ours[-1]:,.0f}, again {again[-1]:,.0f}"
            print(f"pair {number + 1}: pandas {theirs[-1]:,.0f} rows/s, {shown}")
        ratio = statistics.median(mine / other for mine, other in zip(ours, theirs, strict=True))
        print(
            f"median: import {statistics.median(ours):,.0f} rows/s, of rows already there "
            f"{statistics.median(again):,.0f}, ratio to pandas reading alone {ratio:.2f}"
        )


if __name__ == "__main__":
    main()
