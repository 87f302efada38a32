"""What a message becomes (`Observed`, `Presence`) and how it is read (`PayloadReading`)."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final, Literal

import msgspec

from ingest.payload import pointer


class Observed(msgspec.Struct, frozen=True, gc=False):
    """One observation of one sensor.

    `part` is the sensor's own name inside the message, empty when the message speaks of one sensor;
    `temperature_c` and `rh_pct` may be missing, at least one of the three quantities is there;
    one on wood has `wood` alone, in g, %, ohms or mm, and its `temperature_c` is the wood's.
    `observed_at` is UTC; `clock` says whose clock gave it: a time told as a distance from the message stands
    on that of the arrival.
    """

    part: str
    observed_at: datetime
    temperature_c: float | None
    rh_pct: float | None
    battery_pct: float | None
    clock: Literal["device", "arrival"]
    wood: float | None = None


class AnotherDevice(Exception):
    """A message is of a device that is none of those it is read for; `part` is its name."""

    def __init__(self, part: str) -> None:
        super().__init__(part)
        self.part = part


class PayloadReading(msgspec.Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """How the messages of a topic are read. Every pointer is a JSON Pointer (RFC 6901).

    Parameters
    ----------
    shape : str
        `json`, `number` (the bare value of one quantity), `senml-json`, `senml-cbor` or `presence`.
    part : str
        Name given to the sensor in the observations, when the message holds none.
    temperature, rh, battery, time : str, optional
        Pointers to the values; with `each`, from the item.
    temperature_unit : str, optional
        `C`, `F` or `K`, fixed; None leaves it to the sensor's setting.
    temperature_unit_at, rh_unit_at : str, optional
        Pointers to the message's own unit.
    rh_unit : str
        `%` or `ratio`.
    time_unit : str
        `auto` for an instant, whose size tells seconds from milliseconds; `s-ago`, `ms-ago` or `min-ago` for
        a number that says how long before the message it was measured.
    each : str, optional
        Pointer to a list or object that holds one item for each sensor or instant.
    part_at : str, optional
        Pointer to the sensor's name, where one topic carries several; with `each` from the item, or `key`
        when its key or index is that. Without `each` the name goes before `part`, and messages of other
        devices are none of this reading's.
    shared_time : str, optional
        With `each`: pointer from the whole message to a time for items that have none.
    shared_temperature_unit : str, optional
        With `each`: pointer from the whole message to the unit of items that have none.
    name_at, value_at, unit_at : str, optional
        With `each`: items are single values, told apart by a name ("temperature", 21.4, "C").
    temperature_names, rh_names, battery_names : tuple of str
        Names that `name_at` must show. In SenML: last parts of names; when empty, the unit decides.
    quantity : str, optional
        Of a `number`: `temperature`, `rh` or `battery`.
    wood_quantity : str, optional
        Of a sensor on wood: `weight`, `moisture`, `resistance` or `length`. Its `temperature` is the wood's.
    wood, wood_unit_at : str, optional
        Of it in JSON: pointers to the value and to the message's own unit.
    wood_unit : str, optional
        Its unit, fixed, where the message gives none.
    state_at : str, optional
        Of a `presence` in JSON: pointer to the word.
    """

    shape: Literal["json", "number", "senml-json", "senml-cbor", "presence"]
    part: str = ""
    temperature: str | None = None
    rh: str | None = None
    battery: str | None = None
    time: str | None = None
    temperature_unit: Literal["C", "F", "K"] | None = None
    temperature_unit_at: str | None = None
    rh_unit: Literal["%", "ratio"] = "%"
    rh_unit_at: str | None = None
    time_unit: Literal["auto", "s-ago", "ms-ago", "min-ago"] = "auto"
    each: str | None = None
    part_at: str | None = None
    shared_time: str | None = None
    shared_temperature_unit: str | None = None
    name_at: str | None = None
    value_at: str | None = None
    unit_at: str | None = None
    temperature_names: tuple[str, ...] = ()
    rh_names: tuple[str, ...] = ()
    battery_names: tuple[str, ...] = ()
    quantity: Literal["temperature", "rh", "battery"] | None = None
    state_at: str | None = None
    wood_quantity: Literal["weight", "moisture", "resistance", "length"] | None = None
    wood: str | None = None
    wood_unit: str | None = None
    wood_unit_at: str | None = None

    def to_document(self) -> dict[str, Any]:
        """As a JSON-able dictionary without what is default: what a binding stores."""
        document: dict[str, Any] = msgspec.to_builtins(self)
        return document

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> "PayloadReading":
        """From what `to_document` gave, or what a person wrote.

        Raises
        ------
        ValueError
            With one sentence, if a field is unknown, a pointer is none, or nothing would ever be read.
        """
        reading = msgspec.convert(dict(document), cls)  # msgspec.ValidationError is a ValueError
        for name in POINTERS:
            value = getattr(reading, name)
            if value is not None and not (name == "part_at" and value == "key"):
                pointer.tokens(value)
        if reading.wood_quantity is not None:
            if reading.shape not in {"json", "number"} or (reading.shape == "json") == (reading.wood is None):
                raise ValueError("a reading of wood must be a number, or json with a pointer to its value")
            return reading
        if reading.shape == "number" and reading.quantity is None:
            raise ValueError("a number must say its quantity: temperature, rh or battery")
        if reading.part_at == "key" and reading.each is None:
            raise ValueError("part_at can be key only with each")
        if reading.shape == "json":
            if reading.name_at is not None or reading.value_at is not None:
                if reading.each is None or reading.name_at is None or reading.value_at is None:
                    raise ValueError("named values need each, name_at and value_at")
            elif reading.temperature is None and reading.rh is None and reading.battery is None:
                raise ValueError("a json reading must point to temperature, rh or battery")
        return reading


POINTERS: Final = (
    *("temperature", "rh", "battery", "time", "temperature_unit_at", "rh_unit_at", "each", "part_at"),
    *("shared_time", "shared_temperature_unit", "name_at", "value_at", "unit_at", "state_at"),
    *("wood", "wood_unit_at"),
)
