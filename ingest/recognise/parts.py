"""What a proposal is made of: one sensor in the messages of a topic."""

from typing import Any

import msgspec

from ingest.payload import quantities
from ingest.payload.pointer import pointer_of
from ingest.payload.shapes import PayloadReading
from ingest.recognise import words
from ingest.recognise.candidates import Path

SPOKEN = {
    "temperature": "the temperature",
    "rh": "the relative humidity",
    "battery": "the battery's charge",
    "weight": "a weight",
    "moisture": "the wood's moisture",
    "resistance": "the wood's resistance",
    "length": "a length",
}
AIR = ("temperature", "rh")
MOST_PARTS = 64


class SensorPart(msgspec.Struct, frozen=True):
    """One sensor in the messages of a topic: what becomes a sensor and its binding.

    `part` is the sensor's own name inside the message, `name` a name to suggest, `quantities` what it tells.
    """

    part: str
    name: str
    reading: PayloadReading
    quantities: tuple[str, ...]


Answer = tuple[tuple[SensorPart, ...], float, tuple[str, ...]]
"""The sensors in some messages, the confidence from 0 to 1, and the reasons in sentences."""
NOTHING: Answer = ((), 0.0, ())


def nearest_time(path: Path, times: list[Path]) -> Path | None:
    """The time that stands nearest to a value: longest way in common, then highest up, then first."""

    def rank(time: Path) -> tuple[int, int]:
        common = 0
        while path[: common + 1] == time[: common + 1] and common < len(time):
            common += 1
        return -common, len(time)

    return min(times, key=rank, default=None)


def time_of(field: str, path: Path | None) -> dict[str, Any]:
    """What a reading says of a field of times: where it stands, and the unit if it is a distance."""
    if path is None:
        return {}
    unit = words.ago_unit(str(path[-1])) if path else None
    return {field: pointer_of(path)} | ({} if unit is None else {"time_unit": unit})


def said(path: Path) -> str:
    """Where a value stands, in a sentence."""
    return quantities.plain(pointer_of(path), 80) or "the message"
