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

from datetime import datetime
from functools import lru_cache

from ingest.payload import pointer
from ingest.payload.bodies import LARGEST, document_of, text_of
from ingest.payload.quantities import BadPayload
from ingest.payload.reader import Reader
from ingest.payload.shapes import AnotherDevice, Observed, PayloadReading, Presence

__all__ = [
    "LARGEST",
    "AnotherDevice",
    "BadPayload",
    "Observed",
    "PayloadReading",
    "Presence",
    "Reader",
    "read",
    "read_presence",
    "reader",
]


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
        Any shape but `presence`, which `read_presence` reads.
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


def read_presence(topic: str, payload: bytes, reading: PayloadReading) -> Presence:
    """What an availability message says.

    Raises
    ------
    BadPayload
        If it is none of the reading's words.
    """
    try:
        word: object = text_of(payload)
        if reading.state_at is not None or str(word).startswith("{"):
            at = pointer.tokens("/state" if reading.state_at is None else reading.state_at)
            word = pointer.follow(document_of(payload), at)
        if isinstance(word, bool):
            word = "true" if word else "false"
        if isinstance(word, str) and len(word) <= 64:
            lower = word.strip().strip('"').lower()
            if lower in reading.online:
                return Presence(reading.part, "online")
            if lower in reading.offline:
                return Presence(reading.part, "offline")
        raise BadPayload("presence", "must be one of the words for online and offline", word)
    except BadPayload as error:
        error.topic = topic
        raise


@lru_cache(maxsize=4096)
def reader(reading: PayloadReading, temperature_unit: str = "C", zone: str = "UTC") -> Reader:
    """The compiled form of a reading, kept: what a loop over many messages of one binding calls."""
    return Reader(reading, temperature_unit, zone)
