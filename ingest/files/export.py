"""Writes readings to files: CSV, plain or gzipped, or Parquet, a piece at a time."""

import gzip
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import IO, Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet

from model.records.private import private
from model.records.queries.readings import portions, sensor_spans
from model.records.store import Store
from model.wood.errors import BadInput
from model.words.cells import harmless

COLUMNS = ("timestamp_utc", "sensor", "topic", "temperature_c", "rh_pct")
SCHEMA = pa.schema(
    [
        ("timestamp_utc", pa.timestamp("ms", "UTC")),
        ("sensor", pa.string()),
        ("topic", pa.string()),
        ("temperature_c", pa.float64()),
        ("rh_pct", pa.float64()),
    ]
)


def export_readings(
    store: Store,
    out: Path,
    *,
    sensor: str | None = None,
    since_at: datetime | None = None,
    until_at: datetime | None = None,
    progress: Callable[[int], None] | None = None,
) -> int:
    """Write readings, by sensor and time; how many.

    Parameters
    ----------
    out : Path
        Ends in .csv, .csv.gz or .parquet. It is there whole or not at all.
    sensor : str, optional
        Only this one's.
    since_at, until_at : datetime, optional
        From one instant up to, and without, another.
    progress : callable, optional
        Told how many are written so far.

    Raises
    ------
    BadInput
        If the ending is none of these, the sensor isn't known, or the file can't be written.
    """
    out = Path(out)
    if not out.name.endswith((".csv", ".csv.gz", ".parquet")):
        raise BadInput(out.name, "file name", "must end in .csv, .csv.gz or .parquet", out.name)
    spans = sensor_spans(store, sensor=sensor, since_at=since_at, until_at=until_at, where=out.name)
    unfinished = out.with_name(f".{out.name}.unfinished")
    count = 0
    try:
        unfinished.unlink(missing_ok=True)
        with open(unfinished, "wb", opener=private) as file:
            write, finish = _writer(out.name, file)
            for span in spans:
                for rows in portions(store, span):
                    write(_table(rows, span.sensor, span.topic))
                    count += len(rows)
                    if progress is not None:
                        progress(count)
            finish()
        unfinished.replace(out)
    except OSError as error:
        raise BadInput(str(out), "file", "must be writable", error.strerror or str(error)) from None
    finally:
        unfinished.unlink(missing_ok=True)
    return count


def _writer(name: str, file: IO[bytes]) -> tuple[Callable[[pa.Table], None], Callable[[], None]]:
    if name.endswith(".parquet"):
        sink = parquet.ParquetWriter(file, SCHEMA, compression="zstd")
        return sink.write_table, sink.close
    # No time of compression in the file: the same readings make the same bytes.
    text = gzip.GzipFile(fileobj=file, mode="wb", mtime=0) if name.endswith(".gz") else file
    text.write(",".join(COLUMNS).encode() + b"\n")

    def write(piece: pa.Table) -> None:
        frame = piece.to_pandas()
        at_ms = piece.column("timestamp_utc").cast(pa.int64()).to_numpy()
        whole = not (at_ms % 1_000).any()
        written = np.datetime_as_string(at_ms.astype("datetime64[ms]"), unit="s" if whole else "ms")
        frame["timestamp_utc"] = np.char.add(written, "Z")
        for column in ("sensor", "topic"):
            frame[column] = frame[column].map(harmless, na_action="ignore")
        text.write(frame.to_csv(index=False, header=False, lineterminator="\n").encode())

    def finish() -> None:
        if text is not file:
            text.close()

    return write, finish


def _table(rows: Any, name: str, topic: str | None) -> pa.Table:
    at, temperature_c, rh_pct, _ = zip(*rows, strict=True)
    count = len(rows)
    return pa.table(
        [
            pa.array(at, pa.timestamp("ms", "UTC")),
            pa.array([name] * count, pa.string()),
            pa.array([topic] * count, pa.string()),
            pa.array(temperature_c, pa.float64()),
            pa.array(rh_pct, pa.float64()),
        ],
        schema=SCHEMA,
    )
