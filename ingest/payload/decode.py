"""Reads the bytes of a message: observations, or a refusal that says why.

Pure: no database, no network, no clock. How a sensor's messages are read is a `PayloadReading`, kept with its
binding; `read` applies one to one message.

Rules that hold for every shape:

- `null`, NaN, "", "unavailable", "unknown" and their like are a missing value; when nothing remains the
  message is refused. A missing quantity never costs the other one.
- The unit is the one behind the number in the message, else in the message's own unit field, else the one
  the reading of the payload fixes, else the sensor's setting. It is never taken from the size of a number.
- A temperature outside -40..85 °C or a humidity outside 1..100 % refuses both: a dead element spoils both.
  A humidity above 100 and up to 110 % is a wet element's: it is refused alone, and the temperature kept.
- Device time is used when it lies at most ten minutes after and 400 days before the arrival
  (`times.AHEAD`, `times.BEHIND`), else the arrival; `Observed.clock` says which. A time told as a distance
  from the message is taken from the arrival. A retained message is judged by its own time alone.
- JSON that names a field in use twice in one object is refused: which of the two was meant cannot be known.
- Bodies above `LARGEST` bytes are refused unread.
"""

import json
from collections.abc import Container, Iterable, Iterator
from datetime import datetime
from functools import lru_cache
from typing import Any, Final, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec

from ingest.payload import quantities, senml, times
from ingest.payload.bodies import checked_size, document_of, text_of
from ingest.payload.pointer import MISSING, follow, tokens
from ingest.payload.quantities import BadPayload, Saturated
from ingest.payload.shapes import (
    POINTERS,
    AnotherDevice,
    Observed,
    PayloadReading,
)
from ingest.recognise.devices import device_name

MOST: Final = 5_000  # readings in one message
_LONGEST_PART: Final = 200
_VALUES: Final = ("temperature", "temperature_unit_at", "rh", "rh_unit_at", "battery", "time")
_COLUMNS: Final = {"temperature": "temperature_c", "rh": "rh_pct", "battery": "battery_pct"}
_SENML_NAMES: Final = {f'"{name}"'.encode(): name for name in ("bn", "bt", "bu", "bv", "n", "t", "u", "v")}

Path = tuple[str, ...]
Raw = tuple[object, ...]
"""The values of one observation as they stand in a message, in the order of `_VALUES`; None is missing."""


def read(
    topic: str,
    payload: bytes,
    reading: PayloadReading,
    received_at: datetime,
    *,
    temperature_unit: str = "C",
    zone: str = "UTC",
    retained: bool = False,
) -> list[Observed]:
    """The observations in one message.

    Parameters
    ----------
    topic, payload, received_at, retained
        As they arrived; `received_at` aware.
    reading : PayloadReading
        Any shape but `presence`, which `ingest.payload.presence` reads.
    temperature_unit, zone : str
        Its settings: C, F or K for a payload that names no unit; IANA zone for a time without offset.

    Returns
    -------
    list of Observed
        Never empty.

    Raises
    ------
    BadPayload
        If the message, or one of its parts, cannot become a reading. Its `readings` are the good parts.
    """
    return reader(reading, temperature_unit, zone).read(topic, payload, received_at, retained)


@lru_cache(maxsize=4096)
def reader(reading: PayloadReading, temperature_unit: str = "C", zone: str = "UTC") -> "Reader":
    """The compiled form of a reading, kept: what a loop over many messages of one binding calls."""
    return Reader(reading, temperature_unit, zone)


class NothingThere(BadPayload):
    """A message, or a part of one, in which every quantity is missing."""


class Reader:
    """Reads messages by one `PayloadReading`, for one temperature unit and one zone.

    Raises
    ------
    ValueError
        If the unit or the zone is none.
    """

    def __init__(self, reading: PayloadReading, temperature_unit: str = "C", zone: str = "UTC") -> None:
        if temperature_unit not in {"C", "F", "K"}:
            raise ValueError(f"temperature_unit must be C, F or K, got {quantities.shown(temperature_unit)}")
        try:
            self._zone = ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError, OSError) as error:
            raise ValueError(f"zone must be an IANA time zone, got {quantities.shown(zone)}") from error
        self.reading = reading
        self._unit = reading.temperature_unit or temperature_unit
        self._is_ratio = reading.rh_unit == "ratio"
        pointers = {name: getattr(reading, name) for name in POINTERS}
        pointers = {name: told for name, told in pointers.items() if told is not None and told != "key"}
        self._paths: dict[str, Path] = {name: tokens(told) for name, told in pointers.items()}
        self._values = tuple(self._paths.get(name) for name in _VALUES)
        # An object with its fields at the top is read without walking any pointer.
        is_flat = all(path is None or len(path) == 1 for path in self._values)
        self._keys = tuple(path[0] if path else None for path in self._values) if is_flat else None
        self._guarded = {
            json.dumps(token, ensure_ascii=False).encode(): token
            for path in self._paths.values()
            for token in path
        }
        told = [column for name, column in _COLUMNS.items() if name in pointers or reading.quantity == name]
        several = reading.name_at is not None or not told or told[:2] == ["temperature_c", "rh_pct"]
        self._missing = (
            ("temperature_c and rh_pct", "are both missing")
            if several
            else (told[0], "is missing or makes no sense")
        )

    def read(
        self,
        topic: str,
        payload: bytes,
        received_at: datetime,
        retained: bool = False,
        parts: Container[str] | None = None,
    ) -> list[Observed]:
        """The observations in one message; see `read`.

        Raises
        ------
        AnotherDevice
            If the message names one device, and `parts` are given and it is none of them.
        """
        try:
            shape = self.reading.shape
            if shape == "json":
                document = document_of(payload, self._guarded)
                if self.reading.each is not None:
                    return self._together(self._of_items(document), received_at, retained, document)
                part = self._part_of(document, parts)
                return [self._observed(part, self._raw(document), received_at, retained)]
            if shape == "number":
                raw = self._raw_number(text_of(payload))
                return [self._observed(self.reading.part, raw, received_at, retained)]
            if shape == "senml-json":
                pack = document_of(payload, _SENML_NAMES)
                return self._together(self._of_records(pack, received_at), received_at, retained, pack)
            if shape == "senml-cbor":
                checked_size(payload)
                pack = senml.pack_from_cbor(payload)
                return self._together(self._of_records(pack, received_at), received_at, retained, pack)
            raise BadPayload("message", "speaks of presence and holds no reading", payload)
        except BadPayload as error:
            error.topic = topic
            raise

    # ------------------------------------------------------------ one observation

    def _observed(self, part: str, raw: Raw, received_at: datetime, retained: bool) -> Observed:
        t, t_unit, h, h_unit, b, at = raw
        temperature_c = self._temperature_c(t, t_unit)
        wet: Saturated | None = None
        try:
            rh_pct = self._rh_pct(h, h_unit)
        except Saturated as error:
            if temperature_c is None:
                raise
            rh_pct, wet = None, error
        battery_pct = None if b is None else quantities.battery_or_none(b)
        if temperature_c is None and rh_pct is None and battery_pct is None:
            raise NothingThere(*self._missing, t if t is not None else h if h is not None else b)
        observed_at, clock = self._when(at, received_at, retained)
        seen = Observed(part, observed_at, temperature_c, rh_pct, battery_pct, clock)
        if wet is not None:
            raise BadPayload(wet.field, wet.problem, wet.got, (seen,))
        return seen

    def _temperature_c(self, raw: object, raw_unit: object) -> float | None:
        if type(raw) is float and self._unit == "C" and raw_unit is None:
            return quantities.checked_temperature_c(raw)
        value, written = quantities.number_and_unit(raw, "temperature_c")
        if value is None:
            return None
        unit = quantities.temperature_unit(written or raw_unit) or self._unit
        return quantities.checked_temperature_c(quantities.celsius(value, unit))

    def _rh_pct(self, raw: object, raw_unit: object) -> float | None:
        if type(raw) is float and not self._is_ratio and raw_unit is None:
            return quantities.checked_rh_pct(raw)
        value, written = quantities.number_and_unit(raw, "rh_pct")
        if value is None:
            return None
        unit = quantities.rh_unit(written or raw_unit)
        if self._is_ratio if unit is None else unit == quantities.RATIO:
            value = round(value * 100.0, 9)
        return quantities.checked_rh_pct(value)

    def _when(
        self, at: object, received_at: datetime, retained: bool
    ) -> tuple[datetime, Literal["device", "arrival"]]:
        if at is not None:
            unit = self.reading.time_unit
            if unit not in times.AGO:
                observed_at = times.instant(at, self._zone, received_at)
                if observed_at is not None and times.sane(observed_at, received_at):
                    return observed_at, "device"
            # A distance from a message says nothing of one that was kept by the broker.
            before = None if retained else times.ago(at, unit)
            if before is not None:
                return received_at - before, "arrival"
        if retained:
            raise BadPayload("time", "is missing or not sane, so this retained message is old news", at)
        return received_at, "arrival"

    # ------------------------------------------------------------ raw values, by shape

    def _raw(self, item: object) -> Raw:
        if self._keys is not None and type(item) is dict:
            return tuple(map(item.get, self._keys))
        return tuple([value_at(item, path) for path in self._values])

    def _raw_number(self, text: str) -> Raw:
        return tuple(text if name == self.reading.quantity else None for name in _VALUES)

    def _raw_named(self, item: object) -> Raw:
        """From an item that holds one value and says which."""
        reading, paths = self.reading, self._paths
        name, value = value_at(item, paths["name_at"]), value_at(item, paths["value_at"])
        unit, at = value_at(item, paths.get("unit_at")), value_at(item, paths.get("time"))
        if name in reading.temperature_names:
            return value, unit, None, None, None, at
        if name in reading.rh_names:
            return None, None, value, unit, None, at
        return None, None, None, None, value if name in reading.battery_names else None, at

    def _part_of(self, document: object, parts: Container[str] | None) -> str:
        """The sensor's name in a message of one device."""
        where = self._paths.get("part_at")
        if where is None:
            return self.reading.part
        part = f"{device_name(value_at(document, where))} {self.reading.part}".strip()
        if parts is not None and part not in parts:
            raise AnotherDevice(part)
        return part

    def _of_items(self, document: object) -> Iterator[tuple[str, Raw, bool]]:
        """The items a message holds: each one's sensor and values."""
        raw_of = self._raw if self.reading.name_at is None else self._raw_named
        shared_unit = value_at(document, self._paths.get("shared_temperature_unit"))
        shared_time = value_at(document, self._paths.get("shared_time"))
        for key, item in self._items(document):
            t, t_unit, h, h_unit, b, at = raw_of(item)
            t_unit = shared_unit if t_unit is None else t_unit
            at = shared_time if at is None else at
            yield self._part_of_item(key, item), (t, t_unit, h, h_unit, b, at), False

    def _items(self, document: object) -> list[tuple[object, object]]:
        where = self.reading.each or "message"
        container = follow(document, self._paths["each"])
        if isinstance(container, dict):
            # A list holds several instants of the sensor that the key names.
            under = {key: [item] if isinstance(item, dict) else item for key, item in container.items()}
            items = [(key, one) for key, ones in under.items() if isinstance(ones, list) for one in ones]
        elif isinstance(container, list):
            items = list(enumerate(container))
        else:
            got = None if container is MISSING else container
            raise BadPayload(where, "must be a list or an object of sensors", got)
        if len(items) > MOST:
            raise BadPayload(where, f"must have at most {MOST} items", container)
        return items

    def _part_of_item(self, key: object, item: object) -> str:
        if self.reading.part_at == "key":
            part: object = str(key)
        elif (where := self._paths.get("part_at")) is not None:
            part = value_at(item, where)
            if isinstance(part, int) and not isinstance(part, bool) and part.bit_length() <= 64:
                part = str(part)
        else:
            part = self.reading.part
        return part if isinstance(part, str) and len(part) <= _LONGEST_PART else ""

    def _of_records(self, pack: object, received_at: datetime) -> Iterator[tuple[str, Raw, bool]]:
        """The records of a SenML pack that tell a quantity; whether their time is a distance from now."""
        for record in senml.resolve(pack, received_at):
            quantity = self._quantity_of(record)
            if quantity is not None:
                raw = dict.fromkeys(_VALUES) | {quantity: record.value, "time": record.at}
                if quantity != "battery":
                    raw["temperature_unit_at" if quantity == "temperature" else "rh_unit_at"] = record.unit
                yield senml.sensor_of(record), tuple(raw.values()), record.relative

    def _quantity_of(self, record: senml.SenmlRecord) -> str | None:
        reading = self.reading
        names = {
            "temperature": reading.temperature_names,
            "rh": reading.rh_names,
            "battery": reading.battery_names,
        }
        if not reading.temperature_names and not reading.rh_names:
            return senml.quantity_of(record)
        fixed = (one for one, known in names.items() if {record.name, senml.tail_of(record)} & {*known})
        return next(fixed, None)

    # ------------------------------------------------------------ several observations

    def _together(
        self,
        raws: Iterable[tuple[str, Raw, bool]],
        received_at: datetime,
        retained: bool,
        got: object,
    ) -> list[Observed]:
        """One row for each sensor and instant; the first problem is raised with the good rows in it."""
        seen: list[Observed] = []
        problems: list[BadPayload] = []
        for part, raw, is_relative in raws:
            try:
                if is_relative and retained:
                    raw = (*raw[:-1], None)
                one = self._observed(part, raw, received_at, retained)
                seen.append(msgspec.structs.replace(one, clock="arrival") if is_relative else one)
            except NothingThere:
                continue  # one missing among many costs nothing
            except BadPayload as error:
                problems.append(error)
                seen += error.readings
        good, torn = _halves_joined(seen)
        problems += [
            BadPayload(part or "message", "must give one value for one instant", "several") for part in torn
        ]
        if problems:
            first = problems[0]
            raise BadPayload(first.field, first.problem, first.got, tuple(good))
        if not good:
            raise NothingThere("temperature_c and rh_pct", "are both missing", got)
        return good


def _halves_joined(seen: Iterable[Observed]) -> tuple[list[Observed], list[str]]:
    """One row for each sensor and instant, and the sensors that gave two values for one instant.

    Nobody can say which of the two is meant, so neither is a row.
    """
    rows: dict[tuple[str, datetime], Observed] = {}
    torn: dict[tuple[str, datetime], None] = {}
    for one in seen:
        key = (one.part, one.observed_at)
        first = rows.setdefault(key, one)
        if first is one:
            continue
        pairs = ((first.temperature_c, one.temperature_c), (first.rh_pct, one.rh_pct))
        if any(None not in pair and pair[0] != pair[1] for pair in pairs):
            torn[key] = None
        t, h, b = (now if before is None else before
                   for before, now in (*pairs, (first.battery_pct, one.battery_pct)))  # fmt: skip
        rows[key] = Observed(*key, t, h, b, first.clock)
    return [row for key, row in rows.items() if key not in torn], [part for part, _ in torn]


def value_at(document: object, path: Path | None) -> Any:
    """What stands at a path; None where nothing does, or there is no path."""
    if path is None:
        return None
    value = follow(document, path)
    return None if value is MISSING else value
