"""Readings from files, in pieces; the same file twice is the same rows."""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray
from sqlalchemy import select

from ingest.accept import place_named
from ingest.batch import RowValues
from ingest.cells import as_meant
from ingest.columns import EPOCH_MS, EPOCH_S, ISO, ColumnGuess, guess_columns
from ingest.lines import Piece, cast_whole, pieces_of
from ingest.patient_book import PatientBook
from ingest.quantities import plain, shown
from ingest.wall_time import WallTime
from model.records.clock import Now
from model.records.hangings import correct_hanging, hang_sensor
from model.records.store import Store
from model.records.tables import Binding, Hanging, Sensor
from model.records.types import from_epoch_ms, to_epoch_ms
from model.wood.errors import BadInput

REJECTED_KEPT = 10_000
TRANSACTION_ROWS = 50_000
EARLIEST_MS, AHEAD_MS = to_epoch_ms(datetime.fromisoformat("1990-01-01T00:00:00+00:00")), 600_000

Progress = Callable[[int, int], None]
Floats = NDArray[np.float64]


@dataclass
class ImportReport:
    """What became of a file.

    Attributes
    ----------
    guess : ColumnGuess
        How its columns were taken.
    accepted : int
        Readings that are new, or filled what was missing in one.
    duplicate : int
        Readings that were there already.
    rejected : list of (int, str)
        Line number (the first line is 1) and reason; the first ten thousand.
    rejected_count : int
    lines : int
        Lines read, the header's among them; pass it as `from_line` less one to go on with a file that grew.
    sensors : Counter
        Readings by sensor.
    created : list of str
        Sensors that the file made.
    notes : list of str
        What else should be known, in sentences.
    """

    guess: ColumnGuess
    accepted: int = 0
    duplicate: int = 0
    rejected: list[tuple[int, str]] = field(default_factory=list)
    rejected_count: int = 0
    lines: int = 0
    sensors: Counter[str] = field(default_factory=Counter)
    created: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def refuse(self, line: int, reason: str) -> None:
        """Count a line that is no reading, and keep why."""
        self.rejected_count += 1
        if len(self.rejected) < REJECTED_KEPT:
            self.rejected.append((line, reason))


def import_readings(
    store: Store,
    path: Path,
    now: Now,
    *,
    sensor: str | None = None,
    topic: str | None = None,
    zone: str = "UTC",
    create: Mapping[str, str] | str | None = None,
    place_kind: str = "home",
    columns: ColumnGuess | None = None,
    from_line: int = 1,
    progress: Progress | None = None,
) -> ImportReport:
    """Store the readings of a CSV file, plain or gzipped.

    Each piece is one transaction, and what is stored already is not stored again: an import that was
    interrupted is simply repeated.

    Parameters
    ----------
    path : Path
        Own layout: ``timestamp_utc,sensor,topic,temperature_c,rh_pct`` (topic may be missing); others as
        `columns` says, or as guessed.
    now : Now
        The book's clock; readings more than ten minutes ahead of it are rejected.
    sensor, topic : str, optional
        The sensor of a file without a sensor column: its name, or a topic bound to it.
    zone : str
        IANA zone of times without an offset. In the hour that comes twice in autumn the first pass is taken
        until the clock steps back; an hour that is skipped in spring is read with the offset before it.
    create : mapping or str, optional
        Sensors not known yet are made, and hang since their first reading at the place this names for
        them (one place for all when it is a string). Without it their lines are rejected.
    place_kind : str
        Kind of a place that has to be made.
    from_line : int
        First line to read, for a file that grew.
    progress : callable, optional
        Told bytes done and bytes in all.

    Raises
    ------
    BadInput
        If the file can't be read or its columns can't be told; `sensor`, `topic` or `zone` isn't known.
    """
    path = Path(path)
    guess = columns or guess_columns(path)
    report = ImportReport(guess)
    walls = WallTime(path.name, zone)
    names = _Names(store, report, now, path.name, create, place_kind, zone)
    names.settle(sensor, topic)
    limit_ms = to_epoch_ms(now()) + AHEAD_MS
    received_ms = to_epoch_ms(now())
    writer = PatientBook(store)
    try:
        for piece in pieces_of(path, guess, report.refuse, from_line):
            table = _readings(piece, guess, walls, names, limit_ms, report)
            for start in range(0, len(table), TRANSACTION_ROWS):
                part = table.iloc[start : start + TRANSACTION_ROWS]
                changed = writer.store(_rows(part, received_ms))
                report.accepted += changed
                report.duplicate += len(part) - changed
            report.lines = piece.last_line
            if progress is not None:
                progress(piece.bytes_done, piece.bytes_total)
        writer.count({"imported": report.accepted, "import_rejected": report.rejected_count})
    finally:
        writer.close()
    report.rejected.sort()
    report.notes += walls.notes()
    return report


# ---------------------------------------------------------------- one piece


def _readings(
    piece: Piece, guess: ColumnGuess, walls: WallTime, names: "_Names", limit_ms: int, report: ImportReport
) -> pd.DataFrame:
    """The good readings of a piece, one a key, sorted; the rest refused."""
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
            "temperature_c": temperature_c,
            "rh_pct": rh_pct,
        }
    )[good]
    table = table.iloc[np.lexsort((table["observed_ms"].to_numpy(), table["sensor_id"].to_numpy()))]
    names.seen(table)
    keys = ["sensor_id", "observed_ms"]
    sorted_keys = table[keys].to_numpy()
    repeated = (sorted_keys[1:] == sorted_keys[:-1]).all(axis=1)
    if repeated.any():
        report.duplicate += int(repeated.sum())
        table = table.groupby(keys, as_index=False, sort=True).first()  # the first that is not missing
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


# ---------------------------------------------------------------- sensors


class _Names:
    """Which sensor a line speaks of; makes those that may be made."""

    def __init__(
        self,
        store: Store,
        report: ImportReport,
        now: Now,
        where: str,
        create: Mapping[str, str] | str | None,
        place_kind: str,
        zone: str,
    ) -> None:
        self._store, self._report, self._now, self._where = store, report, now, where
        self._create, self._place_kind, self._zone = create, place_kind, zone
        self._first_ms: dict[int, int] = {}
        self._fixed: int | None = None
        self.rule = "sensor must be one that is known"
        with store.session() as session:
            self._ids = {name: number for number, name in session.execute(select(Sensor.id, Sensor.name))}
            bound = session.execute(select(Binding.topic, Binding.sensor_id))
            self._topics = {row.topic: row.sensor_id for row in bound}

    def settle(self, sensor: str | None, topic: str | None) -> None:
        """Take every line for one sensor's, if one is named."""
        if sensor is not None:
            self._fixed = self._ids.get(sensor)
            if self._fixed is None and self._place_of(sensor) is None:
                raise BadInput(self._where, "sensor", "must be one that is known", plain(sensor))
            if self._fixed is None:
                self._fixed = self._make(sensor)
        elif topic is not None:
            self._fixed = self._topics.get(topic)
            if self._fixed is None:
                raise BadInput(self._where, "topic", "must be one that a sensor is bound to", plain(topic))

    def of(self, frame: pd.DataFrame, guess: ColumnGuess) -> tuple[NDArray[np.int64], "pd.Series[Any]"]:
        """The sensor's number for every line, -1 where there is none; and what the line says of it."""
        if self._fixed is not None:
            return np.full(len(frame), self._fixed, dtype=np.int64), pd.Series("", index=frame.index)
        if guess.sensor is None and guess.topic is None:
            raise BadInput(
                self._where, "columns", "name no sensor: say whose readings these are", ", ".join(guess.names)
            )
        column = guess.sensor or guess.topic
        assert column is not None
        codes, distinct = pd.factorize(frame[column].str.strip())
        numbers = np.array(
            [self._number(as_meant(str(name)), guess) for name in distinct] + [-1], dtype=np.int64
        )
        ids = numbers[codes]
        if guess.sensor is not None and guess.topic is not None and (ids < 0).any():
            codes, distinct = pd.factorize(frame[guess.topic].str.strip())
            by_topic = np.array(
                [self._topics.get(as_meant(str(name)), -1) for name in distinct] + [-1], dtype=np.int64
            )
            ids = np.where(ids < 0, by_topic[codes], ids)
        return ids, frame[column]

    def _number(self, name: str, guess: ColumnGuess) -> int:
        if guess.sensor is None:
            return self._topics.get(name, -1)
        number = self._ids.get(name)
        if number is None and name and self._place_of(name) is not None:
            number = self._make(name)
        return -1 if number is None else number

    def _place_of(self, name: str) -> str | None:
        return (
            self._create if self._create is None or isinstance(self._create, str) else self._create.get(name)
        )

    def _make(self, name: str) -> int:
        with self._store.session() as session:
            made = Sensor(name=name, zone=self._zone, accepted_at=self._now())
            session.add(made)
            session.flush()
            self._ids[name] = number = made.id
        self._report.created.append(name)
        return number

    def seen(self, table: pd.DataFrame) -> None:
        """Note the readings of each sensor, and hang new ones since their first."""
        by_sensor = table.groupby("sensor_id")["observed_ms"].agg(["size", "min"])
        names = {number: name for name, number in self._ids.items()}
        for number, count, first_ms in by_sensor.itertuples():
            name = names.get(number, "")
            self._report.sensors[name] += int(count)
            if name in self._report.created and first_ms < self._first_ms.get(number, first_ms + 1):
                self._first_ms[number] = int(first_ms)
                self._hang(int(number), name, from_epoch_ms(int(first_ms)))

    def _hang(self, number: int, name: str, since_at: datetime) -> None:
        with self._store.session() as session:
            place = place_named(session, self._place_of(name) or "", self._place_kind, self._zone)
            hanging = session.scalars(select(Hanging).where(Hanging.sensor_id == number)).one_or_none()
            if hanging is None:
                hang_sensor(session, session.get_one(Sensor, number), place, since_at)
            else:
                correct_hanging(session, hanging, place, since_at)
