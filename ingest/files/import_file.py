"""Stores the readings of a CSV file, piece by piece; the same file twice is the same rows."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from ingest.files.columns import EPOCH_MS, EPOCH_S, ISO, ColumnGuess, guess_columns
from ingest.files.imported import REJECTED_KEPT, ImportReport
from ingest.files.lines import LineBlock, cast_whole, pieces_of
from ingest.files.wall_time import WallTime
from ingest.files.whose import Names
from ingest.mqtt.batch import RowValues
from ingest.payload.quantities import RH_DAMPEST_PCT, shown
from ingest.storage.retrying_writer import CountingWriter, RetryingWriter
from model.records.clock import Now
from model.records.schema.types import to_epoch_ms
from model.records.store import Store

TRANSACTION_ROWS = 50_000
EARLIEST_MS, AHEAD_MS = to_epoch_ms(datetime.fromisoformat("1990-01-01T00:00:00+00:00")), 600_000

Progress = Callable[[int, int], None]
Floats = NDArray[np.float64]


def import_readings(
    store: Store,
    path: Path,
    now: Now,
    *,
    sensor: str | None = None,
    zone: str = "UTC",
    create: str | None = None,
    place_kind: str | None = None,
    columns: ColumnGuess | None = None,
    from_line: int = 1,
    keep: bool = True,
    progress: Progress | None = None,
) -> ImportReport:
    """Store the readings of a CSV file, plain or gzipped; or say what would become of them.

    Each piece is one transaction, and what is stored already is not stored again: an import that was
    interrupted is simply repeated.

    Parameters
    ----------
    path : Path
        Own layout: ``timestamp_utc,sensor,topic,temperature_c,rh_pct`` (topic may be missing); others as
        `columns` says, or as guessed.
    now : Now
        The book's clock; readings more than ten minutes ahead of it are rejected.
    sensor : str, optional
        Name of the sensor of a file without a sensor column.
    zone : str
        IANA zone of times without an offset. In the hour that comes twice in autumn the first pass is taken
        until the clock steps back; an hour that is skipped in spring is read with the offset before it.
    create : str, optional
        The place of the file's sensors: each hangs there at least since its first reading in the file, unless
        it hung elsewhere then. Sensors not known yet are made; without it their lines are rejected.
    place_kind : str
        Kind of a place that has to be made; then it must be given.
    from_line : int
        First line to read, for a file that grew.
    keep : bool
        Whether anything is stored; otherwise only the report is made.
    progress : callable, optional
        Told bytes done and bytes in all.

    Raises
    ------
    BadInput
        If the file can't be read or its columns can't be told; `sensor` or `zone` isn't known.
    """
    path = Path(path)
    guess = columns or guess_columns(path)
    report = ImportReport(guess)
    walls = WallTime(path.name, zone)
    names = Names(store, report, now(), path.name, create, place_kind, zone, keep)
    if sensor is not None:
        names.take_all_for(sensor)
    received_ms = to_epoch_ms(now())
    writer = RetryingWriter(store) if keep else CountingWriter(store)
    try:
        for piece in pieces_of(path, guess, report.refuse, from_line):
            table = _readings(piece, guess, walls, names, received_ms + AHEAD_MS, report)
            if not report.first:
                report.first = names.first_rows(table)
            for start in range(0, len(table), TRANSACTION_ROWS):
                part = table.iloc[start : start + TRANSACTION_ROWS]
                changed = writer.store(_rows(part, received_ms))
                report.accepted += changed
                report.duplicate += len(part) - changed
            report.lines = piece.last_line
            if progress is not None:
                progress(piece.bytes_done, piece.bytes_total)
        if keep:
            writer.count({"imported": report.accepted, "import_rejected": report.rejected_count})
    finally:
        writer.close()
    names.hang()
    report.rejected.sort()
    report.notes += walls.notes()
    if report.wet:
        lines = "line gives" if report.wet == 1 else "lines give"
        report.notes.append(
            f"{report.wet} {lines} a humidity above 100 %, as a wet sensor does: only the temperature is kept"
        )
    return report


# ---------------------------------------------------------------- one piece


def _readings(
    piece: LineBlock, guess: ColumnGuess, walls: WallTime, names: Names, limit_ms: int, report: ImportReport
) -> pd.DataFrame:
    """The good readings of a piece, each once, sorted; the rest refused."""
    frame, lines = piece.frame, piece.lines
    good = np.ones(len(frame), dtype=bool)

    def refuse(bad: NDArray[np.bool_], reason: str, got: "pd.Series[Any]") -> None:
        bad &= good
        good[bad] = False
        places = np.flatnonzero(bad)
        for place in places[:REJECTED_KEPT]:
            report.refuse(int(lines[place]), f"{reason}, got {shown(str(got.iloc[place]))}")
        report.rejected_count += max(0, len(places) - REJECTED_KEPT)

    sensor_ids, named = names.of(frame, guess)
    refuse(sensor_ids < 0, names.rule, named)
    temperature_c, strange = _numbers(frame, guess.temperature, guess)
    refuse(strange, "temperature must be a number", _column(frame, guess.temperature))
    rh_pct, strange = _numbers(frame, guess.rh, guess)
    refuse(strange, "humidity must be a number", _column(frame, guess.rh))
    if guess.temperature_unit == "F":
        temperature_c = np.round((temperature_c - 32.0) / 1.8, 6)
    elif guess.temperature_unit == "K":
        temperature_c = np.round(temperature_c - 273.15, 6)
    if guess.rh_ratio:
        rh_pct = np.round(rh_pct * 100.0, 6)
    refuse(
        (temperature_c < -40.0) | (temperature_c > 85.0),
        "temperature must lie in -40 to 85 °C",
        _column(frame, guess.temperature),
    )
    wet = (rh_pct > 100.0) & (rh_pct <= RH_DAMPEST_PCT) & ~np.isnan(temperature_c)
    report.wet += int(wet.sum())
    rh_pct = np.where(wet, np.nan, rh_pct)
    refuse((rh_pct < 1.0) | (rh_pct > 100.0), "humidity must lie in 1 to 100 %", _column(frame, guess.rh))
    written = frame[guess.time]
    if guess.time_of_day is not None:
        written = written.str.strip() + " " + frame[guess.time_of_day].str.strip()
    empty = np.isnan(temperature_c) & np.isnan(rh_pct)
    refuse(empty, "must hold a temperature or a humidity", written)
    observed_ms, readable = _instants(written, guess.time_format, walls, sensor_ids)
    refuse(~readable, f"time must be written as {guess.time_format}", written)
    refuse((observed_ms > limit_ms), "time must not lie ahead of the clock", written)
    refuse((observed_ms < EARLIEST_MS), "time must not lie before 1990", written)
    table = pd.DataFrame(
        {
            "sensor_id": sensor_ids,
            "observed_ms": observed_ms,
            "temperature_c": np.round(temperature_c, 6),  # as far as they are kept
            "rh_pct": np.round(rh_pct, 6),
        }
    )[good]
    table = table.iloc[np.lexsort((table["observed_ms"].to_numpy(), table["sensor_id"].to_numpy()))]
    names.seen(table)
    keys = ["sensor_id", "observed_ms"]
    sorted_keys = table[keys].to_numpy()
    repeated = (sorted_keys[1:] == sorted_keys[:-1]).all(axis=1)
    if repeated.any():
        count = len(table)
        table = table.drop_duplicates([*keys, "temperature_c", "rh_pct"])
        report.duplicate += count - len(table)
    return table


def _column(frame: pd.DataFrame, name: str | None) -> "pd.Series[Any]":
    return frame[name] if name is not None else pd.Series("", index=frame.index)


def _numbers(frame: pd.DataFrame, name: str | None, guess: ColumnGuess) -> tuple[Floats, NDArray[np.bool_]]:
    """A column as numbers, missing ones NaN; and where something else stands."""
    if name is None:
        return np.full(len(frame), np.nan), np.zeros(len(frame), dtype=bool)
    text = frame[name]
    whole = cast_whole(text, pa.float64())
    if whole is not None:
        return whole, np.isinf(whole)
    if guess.decimal == ",":
        text = text.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    missing = np.isnan(numbers)
    strange = np.isinf(numbers)
    if missing.any():
        said = text[missing].str.strip().str.lower()
        strange[missing] = ~said.isin(MISSING_WORDS).to_numpy(dtype=bool)
    return numbers, strange


MISSING_WORDS = ("", "nan", "na", "n/a", "null", "none", "-", "--", "unavailable", "unknown")


def _instants(
    written: "pd.Series[Any]", how: str, walls: WallTime, sensor_ids: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Milliseconds since 1970, and where they could be read."""
    if how in (EPOCH_S, EPOCH_MS):
        numbers = pd.to_numeric(written, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
        numbers = np.round(numbers * (1_000.0 if how == EPOCH_S else 1.0))
        readable = np.isfinite(numbers) & (np.abs(numbers) < 1e15)
        return np.where(readable, numbers, 0).astype(np.int64), readable
    if how == ISO:
        return walls.iso(written, sensor_ids)
    parsed = pd.to_datetime(written.str.strip(), format=how, errors="coerce")
    return walls.localized(parsed, sensor_ids)


def _rows(part: pd.DataFrame, received_ms: int) -> list[RowValues]:
    temperature_c, rh_pct = part["temperature_c"], part["rh_pct"]
    columns: list[Any] = [part["sensor_id"].tolist(), part["observed_ms"].tolist(), [received_ms] * len(part)]
    for values in (temperature_c, rh_pct):
        numbers = values.tolist()
        columns.append([None if n != n else n for n in numbers] if values.isna().any() else numbers)
    columns.append(["device"] * len(part))
    return list(zip(*columns, strict=True))
