"""Resolves Sensor Measurement Lists (SenML, RFC 8428), JSON and CBOR, to records."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from math import isfinite
from typing import Any, Final, NamedTuple

import cbor2

from ingest.payload.quantities import BadPayload
from ingest.recognise import words

# RFC 8428, section 4.5.3: below 2^28 a time is relative to now.
RELATIVE_BELOW: Final = float(2**28)
VERSION: Final = 10  # RFC 8428, section 4.4
# RFC 8428, table 4: labels of the CBOR representation.
_LABELS: Final = dict(enumerate(("n", "u", "v", "vs", "vb", "s", "t", "ut", "vd"))) | dict(
    zip(range(-1, -7, -1), ("bver", "bn", "bt", "bu", "bv", "bs"), strict=True)
)
_KNOWN: Final = frozenset(_LABELS.values())
_NAME: Final = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-:./_")
_QUANTITIES: Final = {
    "Cel": "temperature",
    "K": "temperature",
    "degF": "temperature",
    "%RH": "rh",
    "%EL": "battery",
}
_DEEPEST: Final = 16
_MOST_RECORDS: Final = 10_000


class SenmlRecord(NamedTuple):
    """One resolved record: full name, unit ("" when none), value (None when it has no number), instant.

    `relative` says that the instant was given as a distance from now, so it stands on the clock of arrival.
    """

    name: str
    unit: str
    value: float | None
    at: datetime | None
    relative: bool


def pack_from_cbor(payload: bytes) -> Any:
    """A SenML pack from CBOR, with the labels of the JSON representation.

    Tags other than decimal fraction and bigfloat (RFC 8428, section 6) are refused: SenML has no others, and
    some of them build regular expressions, shared references or integers of any size.
    """
    try:
        pack = cbor2.loads(payload, semantic_decoders=_TAGS, max_depth=_DEEPEST, allow_duplicate_keys=False)
    except (cbor2.CBORError, ValueError, TypeError, OverflowError, RecursionError, UnicodeError) as error:
        raise BadPayload("message", "must be CBOR", payload) from error
    if not isinstance(pack, list):
        raise BadPayload("message", "must be a SenML pack, an array of records", pack)
    return [
        {_LABELS.get(key, key) if type(key) is int else key: value for key, value in record.items()}
        if isinstance(record, dict)
        else record
        for record in pack
    ]


def resolve(pack: Any, received_at: datetime) -> list[SenmlRecord]:
    """The records of a pack with base fields applied, in order.

    Parameters
    ----------
    pack : object
        As decoded; labels of the JSON representation.
    received_at : datetime
        What relative times are relative to, aware.

    Raises
    ------
    BadPayload
        If the pack breaks RFC 8428: no array of objects, a version above 10, an unknown field that must be
        understood (ends in "_"), a name that is empty or has other characters than the RFC allows.
    """
    if not isinstance(pack, list) or not pack:
        raise BadPayload("message", "must be a SenML pack, an array of records", pack)
    if len(pack) > _MOST_RECORDS:
        raise BadPayload("message", f"must have at most {_MOST_RECORDS} records", pack)
    base_name, base_unit, base_time, base_value = "", "", 0.0, 0.0
    out = []
    for record in pack:
        if not isinstance(record, dict):
            raise BadPayload("message", "must be a SenML pack, an array of records", record)
        for key in record:
            if key not in _KNOWN and isinstance(key, str) and key.endswith("_"):
                raise BadPayload("message", "has a field that must be understood and is not known", key)
        if "bver" in record:
            version = record["bver"]
            if type(version) is not int or not 1 <= version <= VERSION:
                raise BadPayload("bver", f"must be a version up to {VERSION}", version)
        base_name = _text("bn", record.get("bn", base_name))
        base_unit = _text("bu", record.get("bu", base_unit))
        base_time = _number("bt", record["bt"]) if "bt" in record else base_time
        base_value = _number("bv", record["bv"]) if "bv" in record else base_value
        if not record.keys() & {"v", "vs", "vb", "vd", "s"} and "n" not in record:
            continue  # a record of base fields only
        name = base_name + _text("n", record.get("n", ""))
        if not name or not name[0].isalnum() or not _NAME.issuperset(name):
            raise BadPayload("name", "must be a SenML name", name)
        value = None
        if record.get("v") is not None:
            number = _number(name, record["v"], nan=True)
            value = base_value + number if number == number else None
        elif "v" not in record and "bv" in record and not record.keys() & {"vs", "vb", "vd", "s"}:
            value = base_value
        seconds = base_time + (_number("t", record["t"]) if "t" in record else 0.0)
        at, relative = _instant(seconds, received_at)
        out.append(SenmlRecord(name, _text("u", record.get("u", base_unit)), value, at, relative))
    return out


def tail_of(record: SenmlRecord) -> str:
    """The last part of a record's name, which says what is measured."""
    return record.name[max(record.name.rfind(mark) for mark in "/:") + 1 :]


def sensor_of(record: SenmlRecord) -> str:
    """The name of the sensor that a record speaks of: its own name without the quantity."""
    return words.stem_of(record.name)


def quantity_of(record: SenmlRecord) -> str | None:
    """Which quantity a record is: by its unit (RFC 8428, section 12.1), else by its name."""
    meaning = words.meaning_of(tail_of(record))
    if meaning.unlike is not None:
        return None
    if record.unit in _QUANTITIES:
        return _QUANTITIES[record.unit]
    by_name = ("temperature", "rh", "battery") if record.unit == "" else ("rh", "battery")
    return meaning.quantity if record.unit in {"", "%", "/"} and meaning.quantity in by_name else None


def _instant(seconds: float, received_at: datetime) -> tuple[datetime | None, bool]:
    try:
        if seconds < RELATIVE_BELOW:
            return received_at + timedelta(seconds=seconds), True
        return datetime.fromtimestamp(seconds, UTC), False
    except (OverflowError, ValueError, OSError):
        return None, seconds < RELATIVE_BELOW


def _text(label: str, raw: object) -> str:
    if isinstance(raw, str) and len(raw) <= 1_000:
        return raw
    raise BadPayload(label, "must be a short text", raw)


def _number(label: str, raw: object, nan: bool = False) -> float:
    if type(raw) is float and (isfinite(raw) or (nan and raw != raw)):
        return raw
    if type(raw) is int and raw.bit_length() <= 64:
        return float(raw)
    raise BadPayload(label, "must be a number", raw)


def _fraction(base: float, pair: Any, _immutable: bool) -> float:
    """Decimal fraction or bigfloat (RFC 8949, section 3.4.4), bounded to what a double can hold."""
    if not isinstance(pair, (list, tuple)) or len(pair) != 2 or {type(pair[0]), type(pair[1])} != {int}:
        raise ValueError("a fraction must be two integers")
    exponent, mantissa = pair
    if abs(exponent) > 300 or mantissa.bit_length() > 64:
        raise ValueError("a fraction must be of ordinary size")
    return float(mantissa * base**exponent) if exponent >= 0 else float(mantissa / base**-exponent)


def _refuse(_value: Any, _immutable: bool) -> Any:
    raise ValueError("SenML has no such tag")


def _self_described(value: Any, _immutable: bool) -> Any:
    return value  # RFC 8949, section 3.4.6: says only that this is CBOR


def _tags() -> dict[int, Callable[..., Any]]:
    known = [0, 1, 2, 3, 25, 28, 29, 30, 35, 36, 37, 52, 54, 100, 256, 258, 260, 261, 1004, 43000]
    tags: dict[int, Callable[..., Any]] = dict.fromkeys(known, _refuse)
    tags[4] = partial(_fraction, 10.0)
    tags[5] = partial(_fraction, 2.0)
    tags[55799] = _self_described
    return tags


_TAGS: Final = _tags()
