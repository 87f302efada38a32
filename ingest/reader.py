"""A reading of the payload, taken apart once and applied to many messages."""

import json
from collections.abc import Container
from datetime import datetime
from typing import Any, Final, Literal, NoReturn
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec

from ingest import pointer, quantities, senml, times, words
from ingest.bodies import checked_size, document_of, text_of
from ingest.devices import device_name
from ingest.found import Found, NothingThere
from ingest.pointer import MISSING
from ingest.quantities import BadPayload
from ingest.shapes import AnotherDevice, Observed, PayloadReading

MOST: Final = 5_000  # readings in one message
_LONGEST_PART: Final = 200


class Reader:
    """A `PayloadReading` with its pointers taken apart, for one temperature unit and one zone.

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
        self._t_fixed = reading.temperature_unit or temperature_unit
        self._ratio = reading.rh_unit == "ratio"
        self._t, self._h, self._b = _path(reading.temperature), _path(reading.rh), _path(reading.battery)
        self._at = _path(reading.time)
        self._t_unit, self._h_unit = _path(reading.temperature_unit_at), _path(reading.rh_unit_at)
        self._ago = reading.time_unit in times.AGO
        self._each = _path(reading.each)
        self._part = None if reading.part_at == "key" else _path(reading.part_at)
        self._device = self._part if reading.each is None and reading.shape == "json" else None
        self._shared = _path(reading.shared_time)
        self._shared_unit = _path(reading.shared_temperature_unit)
        self._name, self._value, self._unit = (
            _path(reading.name_at),
            _path(reading.value_at),
            _path(reading.unit_at),
        )
        self._plain_t = reading.temperature_scale == 1.0 and self._t_fixed == "C"
        self._plain_h = reading.rh_scale == 1.0 and not self._ratio
        used = [self._t, self._t_unit, self._h, self._h_unit, self._b, self._at]
        # The plain case, one object with its fields at the top, is read without walking any pointer.
        self._flat: tuple[str | None, ...] | None = None
        if reading.shape == "json" and reading.each is None and all(p is None or len(p) == 1 for p in used):
            self._flat = tuple(p[0] if p else None for p in used)
        every = [
            *used,
            self._each,
            self._part,
            self._shared,
            self._shared_unit,
            self._name,
            self._value,
            self._unit,
        ]
        tokens = {token for path in every if path for token in path}
        self._guarded = tuple(sorted(json.dumps(token, ensure_ascii=False).encode() for token in tokens))

    def read(
        self,
        topic: str,
        payload: bytes,
        received_at: datetime,
        retained: bool = False,
        parts: Container[str] | None = None,
    ) -> list[Observed]:
        """The observations in one message; see `ingest.payload.read`.

        Raises
        ------
        AnotherDevice
            If the message names one device, and `parts` are given and it is none of them.
        """
        shape = self.reading.shape
        if shape == "json":
            document = document_of(topic, payload, self._guarded)
            part = self.reading.part
            if self._device is not None:
                part = f"{device_name(_at(document, self._device))} {part}".strip()
                if parts is not None and part not in parts:
                    raise AnotherDevice(part)
            if self._flat is not None and type(document) is dict:
                get = document.get
                t, t_unit, h, h_unit, b, at = self._flat
                return [
                    self._observed(
                        topic,
                        part,
                        None if t is None else get(t),
                        None if t_unit is None else get(t_unit),
                        None if h is None else get(h),
                        None if h_unit is None else get(h_unit),
                        None if b is None else get(b),
                        None if at is None else get(at),
                        received_at,
                        retained,
                    )
                ]
            if self._each is not None:
                return self._from_items(topic, document, received_at, retained)
            return [self._from_item(topic, part, document, None, None, received_at, retained)]
        if shape == "number":
            return [self._from_number(topic, payload, received_at, retained)]
        if shape == "senml-json":
            return self._from_senml(topic, document_of(topic, payload, _SENML_NAMES), received_at, retained)
        if shape == "senml-cbor":
            checked_size(topic, payload)
            return self._from_senml(topic, senml.pack_from_cbor(topic, payload), received_at, retained)
        raise BadPayload(topic, "message", "speaks of presence and holds no reading", payload)

    def _observed(
        self,
        topic: str,
        part: str,
        t: object,
        t_unit: object,
        h: object,
        h_unit: object,
        b: object,
        at: object,
        received_at: datetime,
        retained: bool,
    ) -> Observed:
        """One observation from raw values; None is a missing one. Every shape ends here."""
        temperature_c: float | None
        if type(t) is float and self._plain_t and t_unit is None and -40.0 <= t <= 85.0:
            temperature_c = t
        else:
            temperature_c = self._temperature_c(topic, t, t_unit)
        rh_pct: float | None
        spoiled: BadPayload | None = None
        if type(h) is float and self._plain_h and h_unit is None and 1.0 <= h <= 100.0:
            rh_pct = h
        else:
            try:
                rh_pct = self._rh_pct(topic, h, h_unit)
            except quantities.Saturated as error:
                if temperature_c is None:
                    raise
                rh_pct, spoiled = None, error
        battery_pct = None if b is None else quantities.battery_or_none(b)
        if temperature_c is None and rh_pct is None and battery_pct is None:
            self._nothing(topic, t, h, b)
        if at is not None and spoiled is None and not self._ago:
            # The plain case, without another call.
            told_at = times.instant(at, self._zone, received_at, self.reading.time_unit)
            if told_at is not None and times.sane(told_at, received_at):
                return Observed(part, told_at, temperature_c, rh_pct, battery_pct, "device")
        observed_at, clock = self._when(topic, at, received_at, retained)
        seen = Observed(part, observed_at, temperature_c, rh_pct, battery_pct, clock)
        if spoiled is not None:
            raise BadPayload(spoiled.topic, spoiled.field, spoiled.problem, spoiled.got, (seen,))
        return seen

    def _when(
        self, topic: str, at: object, received_at: datetime, retained: bool
    ) -> tuple[datetime, Literal["device", "arrival"]]:
        if at is not None:
            unit = self.reading.time_unit
            if not self._ago:
                observed_at = times.instant(at, self._zone, received_at, unit)
                if observed_at is not None and times.sane(observed_at, received_at):
                    return observed_at, "device"
            # A distance from a message says nothing of one that was kept by the broker.
            before = None if retained else times.ago(at, unit)
            if before is not None:
                return received_at - before, "arrival"
        if retained:
            raise BadPayload(
                topic, "time", "is missing or not sane, so this retained message is old news", at
            )
        return received_at, "arrival"

    def _temperature_c(self, topic: str, raw: object, raw_unit: object) -> float | None:
        value, written = quantities.number_and_unit(topic, "temperature_c", raw)
        if value is None:
            return None
        unit = quantities.temperature_unit(topic, written or raw_unit) or self._t_fixed
        return quantities.checked_temperature_c(
            topic, quantities.celsius(value * self.reading.temperature_scale, unit)
        )

    def _rh_pct(self, topic: str, raw: object, raw_unit: object) -> float | None:
        value, written = quantities.number_and_unit(topic, "rh_pct", raw)
        if value is None:
            return None
        unit = quantities.rh_unit(topic, written or raw_unit)
        if self._ratio if unit is None else unit == quantities.RATIO:
            value = round(value * 100.0, 9)
        return quantities.checked_rh_pct(topic, value * self.reading.rh_scale)

    def _nothing(self, topic: str, t: object, h: object, b: object) -> NoReturn:
        reading = self.reading
        if reading.shape == "json" and reading.name_at is None:
            named = [
                word
                for word, path in (("temperature_c", reading.temperature), ("rh_pct", reading.rh))
                if path
            ]
        elif reading.quantity is not None:
            named = [
                {"temperature": "temperature_c", "rh": "rh_pct", "battery": "battery_pct"}[reading.quantity]
            ]
        else:
            named = ["temperature_c", "rh_pct"]
        got = t if t is not None else h if h is not None else b
        if named and len(named) == 2:
            raise NothingThere(topic, "temperature_c and rh_pct", "are both missing", got)
        raise NothingThere(topic, named[0] if named else "battery_pct", "is missing or makes no sense", got)

    def _from_item(
        self,
        topic: str,
        part: str,
        item: object,
        shared: object,
        unit: object,
        received_at: datetime,
        retained: bool,
    ) -> Observed:
        at, t_unit = _at(item, self._at), _at(item, self._t_unit)
        return self._observed(
            topic,
            part,
            _at(item, self._t),
            unit if t_unit is None else t_unit,
            _at(item, self._h),
            _at(item, self._h_unit),
            _at(item, self._b),
            shared if at is None else at,
            received_at,
            retained,
        )

    def _items(self, topic: str, document: object) -> list[tuple[str, object]]:
        """The items a message holds, each with its sensor's name."""
        where = self.reading.each or "message"
        container = pointer.follow(document, self._each or ())
        if isinstance(container, dict):
            items: list[tuple[Any, Any]] = []
            for key, item in container.items():
                if isinstance(item, dict):
                    items.append((key, item))
                elif isinstance(item, list):  # several instants of the sensor that the key names
                    items.extend((key, one) for one in item)
        elif isinstance(container, list):
            items = list(enumerate(container))
        else:
            raise BadPayload(
                topic, where, "must be a list or an object of sensors", _none_if_missing(container)
            )
        if len(items) > MOST:
            raise BadPayload(topic, where, f"must have at most {MOST} items", container)
        named = []
        for key, item in items:
            part: object = self.reading.part
            if self.reading.part_at == "key":
                part = str(key)
            elif self._part is not None:
                part = _at(item, self._part)
                if isinstance(part, int) and not isinstance(part, bool) and part.bit_length() <= 64:
                    part = str(part)
            named.append((part if isinstance(part, str) and len(part) <= _LONGEST_PART else "", item))
        return named

    def _from_items(
        self, topic: str, document: object, received_at: datetime, retained: bool
    ) -> list[Observed]:
        shared, shared_unit = _at(document, self._shared), _at(document, self._shared_unit)
        one = self._from_item if self._name is None else self._from_named
        found, problems = Found(), []
        for part, item in self._items(topic, document):
            try:
                found.add(topic, one(topic, part, item, shared, shared_unit, received_at, retained))
            except NothingThere:
                continue  # one missing among many costs nothing
            except BadPayload as error:
                problems.append(error)
                for good in error.readings:
                    found.add(topic, good)
        return found.settled(topic, problems, document)

    def _from_named(
        self,
        topic: str,
        part: str,
        item: object,
        shared: object,
        shared_unit: object,
        received_at: datetime,
        retained: bool,
    ) -> Observed:
        """From an item that holds one value and says which."""
        reading = self.reading
        name, at = _at(item, self._name), _at(item, self._at)
        value, unit = _at(item, self._value), _at(item, self._unit)
        t = t_unit = h = h_unit = b = None
        if name in reading.temperature_names:
            t, t_unit = value, shared_unit if unit is None else unit
        elif name in reading.rh_names:
            h, h_unit = value, unit
        elif name in reading.battery_names:
            b = value
        at = shared if at is None else at
        return self._observed(topic, part, t, t_unit, h, h_unit, b, at, received_at, retained)

    def _from_number(self, topic: str, payload: bytes, received_at: datetime, retained: bool) -> Observed:
        text = text_of(topic, payload)
        quantity = self.reading.quantity
        return self._observed(
            topic,
            self.reading.part,
            text if quantity == "temperature" else None,
            None,
            text if quantity == "rh" else None,
            None,
            text if quantity == "battery" else None,
            None,
            received_at,
            retained,
        )

    def _from_senml(self, topic: str, pack: object, received_at: datetime, retained: bool) -> list[Observed]:
        found, problems = Found(), []
        for record in senml.resolve(topic, pack, received_at):
            quantity = self._senml_quantity(record)
            if quantity is None:
                continue
            unit = _SENML_UNITS.get(record.unit, record.unit)
            t, t_unit = (record.value, unit) if quantity == "temperature" else (None, None)
            h, h_unit = (record.value, unit) if quantity == "rh" else (None, None)
            b = record.value if quantity == "battery" else None
            # A time relative to now stands on the clock of arrival, and says nothing in a retained message.
            at = None if record.relative and retained else record.at
            part = words.stem_of(record.name)
            try:
                seen = self._observed(topic, part, t, t_unit, h, h_unit, b, at, received_at, retained)
            except NothingThere:
                continue
            except BadPayload as error:
                problems.append(error)
                continue
            if record.relative and seen.clock == "device":
                now = seen.observed_at == received_at
                seen = msgspec.structs.replace(
                    seen, clock="arrival", observed_at=received_at if now else seen.observed_at
                )
            found.add(topic, seen)
        return found.settled(topic, problems, pack)

    def _senml_quantity(self, record: senml.SenmlRecord) -> str | None:
        reading = self.reading
        tail = record.name[max(record.name.rfind(mark) for mark in "/:") + 1 :]
        if reading.temperature_names or reading.rh_names:
            for quantity, names in (
                ("temperature", reading.temperature_names),
                ("rh", reading.rh_names),
                ("battery", reading.battery_names),
            ):
                if tail in names or record.name in names:
                    return quantity
            return None
        return senml_quantity(record.name, tail, record.unit)


def senml_quantity(name: str, tail: str, unit: str) -> str | None:
    """Which quantity a SenML record is: by its unit (RFC 8428, section 12.1), else by its name."""
    meaning = words.meaning_of(tail)
    if meaning.unlike is not None:
        return None
    if unit in {"Cel", "K", "degF"}:
        return "temperature"
    if unit == "%RH":
        return "rh"
    if unit == "%EL":
        return "battery"
    if unit in {"", "%", "/"} and meaning.quantity in {"temperature", "rh", "battery"}:
        if unit != "" and meaning.quantity == "temperature":
            return None
        return meaning.quantity
    return None


_SENML_NAMES: Final = (b'"bn"', b'"bt"', b'"bu"', b'"bv"', b'"n"', b'"t"', b'"u"', b'"v"')
_SENML_UNITS: Final = {"degF": "F"}


def _path(text: str | None) -> tuple[str, ...] | None:
    return None if text is None else pointer.tokens(text)


def _at(document: object, path: tuple[str, ...] | None) -> object:
    return None if path is None else _none_if_missing(pointer.follow(document, path))


def _none_if_missing(value: object) -> object:
    return None if value is MISSING else value
