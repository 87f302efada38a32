"""Reads a message that says whether a device is there."""

from typing import Literal

import msgspec

from ingest.payload.bodies import document_of, text_of
from ingest.payload.pointer import follow, tokens
from ingest.payload.quantities import BadPayload
from ingest.payload.shapes import PayloadReading
from ingest.recognise import words


class Presence(msgspec.Struct, frozen=True):
    """What an availability topic says: whether the device is there."""

    part: str
    presence: Literal["online", "offline"]


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
            word = follow(document_of(payload), tokens(reading.state_at or "/state"))
        if isinstance(word, bool):
            word = "true" if word else "false"
        if isinstance(word, str) and len(word) <= 64:
            lower = word.strip().strip('"').lower()
            if lower in words.ONLINE:
                return Presence(reading.part, "online")
            if lower in words.OFFLINE:
                return Presence(reading.part, "offline")
        raise BadPayload("presence", "must be one of the words for online and offline", word)
    except BadPayload as error:
        error.topic = topic
        raise
