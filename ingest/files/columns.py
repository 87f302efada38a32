"""Guesses what the columns of a readings file are, with reasons, to be shown before anything is stored."""

import csv
import gzip
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ingest.payload.quantities import plain
from ingest.recognise import words
from model.wood.errors import BadInput

HEAD_BYTES = 262_144
HEAD_ROWS = 200
DELIMITERS = (",", ";", "\t", "|")
ISO, EPOCH_S, EPOCH_MS = "ISO 8601", "seconds since 1970", "milliseconds since 1970"

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)\Z")
_ISO = re.compile(r"\d{4}-\d\d-\d\d([T ]\d\d(:?\d\d(:?\d\d([.,]\d+)?)?)?\s?(Z|[+-]\d\d(:?\d\d)?)?)?\Z", re.I)
_DATED = re.compile(
    r"(?P<a>\d{1,4})(?P<mark>[./-])(?P<b>\d{1,2})(?P=mark)(?P<c>\d{2,4})"
    r"(?P<gap>[ T]+)(?P<hour>\d{1,2}):\d\d(?P<seconds>:\d\d)?(?P<half>\s?[AaPp][Mm])?\Z"
)
_NAMES = {
    "sensor": ("sensor", "device", "node", "probe", "station", "logger", "room", "name"),
    "topic": ("topic",),
    "date": ("date", "day"),
    "time": ("time", "clock", "hour"),
}


@dataclass(frozen=True)
class ColumnGuess:
    """How a file of readings is laid out.

    Parameters
    ----------
    delimiter, decimal, encoding : str
    header : int
        Number of lines before the first reading.
    names : tuple of str
        The columns, in order.
    time : str
        Name of the column that holds the instant; with `time_of_day`, only its date.
    time_of_day, sensor, topic, temperature, rh : str, optional
        Names of the other columns in use.
    time_format : str
        `ISO 8601`, `seconds since 1970`, `milliseconds since 1970`, or a strptime pattern.
    temperature_unit : str
        C, F or K.
    rh_ratio : bool
        Whether humidity is a ratio, not a percentage.
    reasons : tuple of str
        What was taken for what and why, for people.
    """

    delimiter: str
    decimal: str
    encoding: str
    header: int
    names: tuple[str, ...]
    time: str
    time_format: str
    temperature: str | None
    rh: str | None
    time_of_day: str | None = None
    sensor: str | None = None
    topic: str | None = None
    temperature_unit: str = "C"
    rh_ratio: bool = False
    reasons: tuple[str, ...] = ()


@dataclass
class _Head:
    """The first lines of a file, taken apart."""

    where: str
    encoding: str
    delimiter: str
    header: int
    names: tuple[str, ...]
    rows: list[list[str]] = field(default_factory=list)

    def values(self, name: str) -> list[str]:
        at = self.names.index(name)
        return [row[at].strip() for row in self.rows if len(row) == len(self.names) and row[at].strip()]


def guess_columns(
    path: Path, *, day_first: bool | None = None, temperature_unit: str | None = None
) -> ColumnGuess:
    """How the file seems to be laid out. Nothing is stored.

    Parameters
    ----------
    path : Path
        A CSV file, plain or gzipped.
    day_first : bool, optional
        Settles whether 3/4/2025 is in April or in March; needed when the file doesn't.
    temperature_unit : str, optional
        C, F or K, when the header names none.

    Raises
    ------
    BadInput
        If no column of instants, or no temperature or humidity, can be told; or a date has two readings.
    """
    head = _head(Path(path))
    reasons = [f"columns are separated by {_SPOKEN[head.delimiter]}"]
    time, time_of_day, time_format = _time(head, day_first, reasons)
    temperature, unit = _quantity(head, "temperature", reasons)
    rh, ratio_unit = _quantity(head, "rh", reasons)
    if temperature is None and rh is None:
        raise BadInput(head.where, "columns", "must hold a temperature or a humidity", ", ".join(head.names))
    used = [name for name in (temperature, rh) if name is not None]
    decimal = "." if head.delimiter == "," else _decimal([v for name in used for v in head.values(name)])
    if decimal == ",":
        reasons.append("decimals are written with a comma")
    rh_ratio = False
    if rh is not None:
        numbers = [float(v.replace(",", ".")) for v in head.values(rh) if _NUMBER.match(v)]
        rh_ratio = ratio_unit == "ratio" or (bool(numbers) and max(numbers) <= 1.0)
        if rh_ratio:
            reasons.append(f"{plain(rh)!r} never exceeds 1, so it is a ratio, not a percentage")
    chosen_unit = temperature_unit or unit or "C"
    if temperature is not None:
        how = (
            "as given" if temperature_unit else "as its name says" if unit else "since nothing says otherwise"
        )
        reasons.append(f"temperatures are in {'' if chosen_unit == 'K' else '°'}{chosen_unit}, {how}")
    return ColumnGuess(
        delimiter=head.delimiter,
        decimal=decimal,
        encoding=head.encoding,
        header=head.header,
        names=head.names,
        time=time,
        time_of_day=time_of_day,
        time_format=time_format,
        temperature=temperature,
        rh=rh,
        sensor=_named(head, "sensor", {time, time_of_day, temperature, rh}, reasons),
        topic=_named(head, "topic", {time, time_of_day, temperature, rh}, reasons),
        temperature_unit=chosen_unit,
        rh_ratio=rh_ratio,
        reasons=tuple(reasons),
    )


_SPOKEN = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}


def _head(path: Path) -> _Head:
    where = path.name
    try:
        with gzip.open(path, "rb") if path.suffix == ".gz" else path.open("rb") as file:
            raw = file.read(HEAD_BYTES)
    except (OSError, EOFError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput(where, "file", "must be readable", plain(reason)) from None
    encoding, text = _decoded(raw)
    lines = [line for line in text.splitlines() if line.strip()]
    if len(raw) == HEAD_BYTES:
        lines = lines[:-1]  # the last one is cut
    if not lines:
        raise BadInput(
            where, "file", "must hold a line of column names and readings below it", "an empty file"
        )
    delimiter = max(DELIMITERS, key=lambda mark: _evenness(lines, mark))
    rows = [_split(line, delimiter) for line in lines[: HEAD_ROWS + 20]]
    width = max((len(row) for row in rows), key=[len(row) for row in rows].count)
    first = next(at for at, row in enumerate(rows) if len(row) == width)
    all_lines = text.splitlines()
    header = next(at for at, line in enumerate(all_lines) if line == lines[first]) + 1
    names = tuple(name.strip().lstrip("\ufeff") for name in rows[first])
    if any(_NUMBER.match(name) for name in names):
        raise BadInput(where, "first line", "must name the columns", plain(lines[first]))
    if len(set(names)) != len(names):
        raise BadInput(where, "column names", "must differ from one another", plain(", ".join(names)))
    return _Head(where, encoding, delimiter, header, names, rows[first + 1 :])


def _decoded(raw: bytes) -> tuple[str, str]:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16", raw[: len(raw) // 2 * 2].decode("utf-16", "replace")
    try:
        return "utf-8", raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if error.start >= len(raw) - 4:
            return "utf-8", raw[: error.start].decode("utf-8-sig")
        return "cp1252", raw.decode("cp1252", "replace")


def _evenness(lines: Sequence[str], mark: str) -> tuple[float, int]:
    """How evenly a mark divides the lines, then into how many."""
    counts = [len(_split(line, mark)) for line in lines[:50]]
    usual = max(set(counts), key=counts.count)
    if usual == 1:
        return (0.0, 0)
    return (counts.count(usual) / len(counts), usual)


def _split(line: str, mark: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=mark))
    except csv.Error:  # longer than any field
        return [line]


def _time(head: _Head, day_first: bool | None, reasons: list[str]) -> tuple[str, str | None, str]:
    """The column or two of instants, and how they are written."""
    named = [
        n for n in head.names if words.meaning_of(n).quantity == "time" or _is_named(n, ("date", "time"))
    ]
    for name in named or head.names:
        values = head.values(name)
        found = _time_format(head.where, name, values, day_first) if values else None
        if found is not None and not _is_day_only(values):
            reasons.append(f"{plain(name)!r} is the time, written as {found}")
            return name, None, found
    dates = [name for name in named if _is_day_only(head.values(name))]
    times = [
        name
        for name in named
        if name not in dates and all(re.match(r"\d{1,2}:\d\d", v) for v in head.values(name))
    ]
    if dates and times:
        joined = [f"{d} {t}" for d, t in zip(head.values(dates[0]), head.values(times[0]), strict=False)]
        found = _time_format(head.where, dates[0], joined, day_first)
        if found is not None:
            reasons.append(
                f"{plain(dates[0])!r} and {plain(times[0])!r} together are the time, written as {found}"
            )
            return dates[0], times[0], found
    raise BadInput(
        head.where, "columns", "must hold the instants of the readings", plain(", ".join(head.names))
    )


def _is_day_only(values: Sequence[str]) -> bool:
    return bool(values) and all(re.match(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}\Z", value) for value in values)


def _time_format(where: str, name: str, values: Sequence[str], day_first: bool | None) -> str | None:
    looked = values[:HEAD_ROWS]
    most = 0.5 * len(looked)
    if sum(bool(_ISO.match(value)) for value in looked) >= most:
        return ISO
    if sum(bool(re.match(r"\d{9,10}(\.\d+)?\Z", value)) for value in looked) >= most:
        return EPOCH_S
    if sum(bool(re.match(r"\d{12,13}\Z", value)) for value in looked) >= most:
        return EPOCH_MS
    dated = [found for value in looked if (found := _DATED.match(value))]
    if not dated or len(dated) < most:
        return None
    first = dated[0]
    mark, gap = first["mark"], first["gap"]
    hour = "%I" if first["half"] else "%H"
    clock = (
        f"{hour}:%M"
        + (":%S" if first["seconds"] else "")
        + ((" " if " " in first["half"] else "") + "%p" if first["half"] else "")
    )
    if len(first["a"]) == 4:
        return f"%Y{mark}%m{mark}%d{gap}{clock}"
    year = "%Y" if len(first["c"]) == 4 else "%y"
    if day_first is None:
        over_a, over_b = any(int(d["a"]) > 12 for d in dated), any(int(d["b"]) > 12 for d in dated)
        if mark == "." or (over_a and not over_b):
            day_first = True
        elif over_b and not over_a:
            day_first = False
        else:
            raise BadInput(
                where, name, "could have the day or the month first: say which (day_first)", first.group()
            )
    order = ("%d", "%m") if day_first else ("%m", "%d")
    return f"{order[0]}{mark}{order[1]}{mark}{year}{gap}{clock}"


def _quantity(head: _Head, quantity: str, reasons: list[str]) -> tuple[str | None, str | None]:
    """The one column of a quantity, by its name; None when there is none."""
    found = []
    for name in head.names:
        meaning = words.meaning_of(name)
        if meaning.quantity == quantity and meaning.unlike is None:
            values = head.values(name)
            if not values or sum(bool(_NUMBER.match(value)) for value in values) >= 0.5 * len(values):
                found.append((name, meaning))
    if not found:
        return None, None
    whole = [each for each in found if not each[1].short] or found
    if len(whole) > 1:
        names = ", ".join(plain(name) for name, _ in whole)
        raise BadInput(head.where, "columns", f"must hold one {_QUANTITY[quantity]}: choose one", names)
    name, meaning = whole[0]
    reasons.append(f"{plain(name)!r} is the {_QUANTITY[quantity]}, by its name")
    return name, meaning.unit


_QUANTITY = {"temperature": "temperature", "rh": "relative humidity"}


def _named(head: _Head, kind: str, used: set[str | None], reasons: list[str]) -> str | None:
    for name in head.names:
        if name not in used and _is_named(name, _NAMES[kind]):
            reasons.append(f"{plain(name)!r} names the {kind}")
            return name
    return None


def _is_named(name: str, meant: Sequence[str]) -> bool:
    return bool(set(words.words_of(name)) & set(meant))


def _decimal(values: Sequence[str]) -> str:
    return "," if sum("," in value for value in values) > len(values) / 2 else "."
