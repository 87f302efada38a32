"""What a proposal is made of: one sensor in the messages of a topic."""

import msgspec

from ingest import quantities, words
from ingest.candidates import Path
from ingest.pointer import pointer_of
from ingest.shapes import PayloadReading

SPOKEN = {"temperature": "the temperature", "rh": "the relative humidity", "battery": "the battery's charge"}
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
NOTHING: Answer = ((), 0.0, ())


def nearest_time(path: Path, times: list[Path]) -> Path | None:
    """The time that stands nearest to a value: longest way in common, then highest up, then first."""

    def rank(time: Path) -> tuple[int, int]:
        common = 0
        for a, b in zip(path, time, strict=False):
            if a != b:
                break
            common += 1
        return -common, len(time)

    return min(times, key=rank, default=None)


def time_of(field: str, path: Path) -> dict[str, str]:
    """What a reading says of a field of times: where it stands, and the unit if it is a distance."""
    unit = words.ago_unit(str(path[-1])) if path else None
    return {field: pointer_of(path), **({} if unit is None else {"time_unit": unit})}


def said(path: Path) -> str:
    return said_pointer(pointer_of(path)) if path else "the message"


def said_pointer(pointer: str) -> str:
    return quantities.plain(pointer, 80) or "the message"
