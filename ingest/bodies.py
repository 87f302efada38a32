"""The body of a message as a document or as text, within bounds and without surprises."""

import json
import re
from functools import lru_cache
from typing import Any, Final

import msgspec

from ingest.quantities import BadPayload

LARGEST: Final = 256 * 1024  # bytes of one message

_BOM: Final = b"\xef\xbb\xbf"
# Firmware that prints a float that is none: {"rh": nan}. Only where a value may stand.
_BARE_NAN = re.compile(rb"(?<=[:\[,])(\s*)[-+]?(?:nan|null|none|undefined)(?=\s*[,}\]])", re.I)

_decode = msgspec.json.Decoder().decode


def document_of(topic: str, payload: bytes, guarded: tuple[bytes, ...] = ()) -> Any:
    """The JSON document in a body.

    Beyond RFC 8259 three habits of small firmware are understood: a byte order mark in front, NUL and blanks
    behind, and a bare `nan` for a missing value.

    Parameters
    ----------
    guarded : tuple of bytes
        Names in use, as JSON strings. One that stands twice in one object is refused.

    Raises
    ------
    BadPayload
        If the body is larger than `LARGEST`, is no JSON in UTF-8, nests too deeply, or has a number no
        double or 64-bit integer can hold.
    """
    checked_size(topic, payload)
    try:
        document = _decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        payload, document = _mended(topic, payload, error)
    for name in guarded:
        if payload.count(name) > 1 or b"\\" in payload:
            if b"\\" in payload or not _accounted_for(document, payload, guarded):
                _refuse_doubled(topic, payload, _names(guarded))
            break
    return document


def checked_size(topic: str, payload: bytes, largest: int = LARGEST) -> None:
    """Raise `BadPayload` when a body is too large to be looked into."""
    if len(payload) > largest:
        raise BadPayload(topic, "message", f"must have at most {largest} bytes", len(payload))


def text_of(topic: str, payload: bytes, longest: int = 1_024) -> str:
    """The text of a short body, without a byte order mark, blanks, trailing NULs and quotes round it.

    Raises
    ------
    BadPayload
        If it is empty, longer than `longest` bytes or not UTF-8.
    """
    checked_size(topic, payload, longest)
    try:
        text = bytes(payload).removeprefix(_BOM).decode().strip(" \t\r\n\x00")
    except UnicodeDecodeError as error:
        raise BadPayload(topic, "message", "must be UTF-8", payload) from error
    if len(text) >= 2 and text[0] == text[-1] == '"':
        text = text[1:-1].strip()
    return text


def _mended(topic: str, payload: bytes, error: Exception) -> tuple[bytes, Any]:
    if not payload:
        raise BadPayload(topic, "message", "must not be empty", payload) from error
    mended = bytes(payload).removeprefix(_BOM).rstrip(b"\x00 \t\r\n")
    if isinstance(error, msgspec.DecodeError) and not isinstance(error, msgspec.ValidationError):
        mended = _BARE_NAN.sub(rb"\1null", mended)
    if mended != payload:
        try:
            return mended, _decode(mended)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as second:
            error = second
    if isinstance(error, UnicodeDecodeError):
        raise BadPayload(topic, "message", "must be UTF-8", payload) from error
    if isinstance(error, RecursionError):
        raise BadPayload(topic, "message", "must not nest so deeply", payload) from error
    if isinstance(error, msgspec.ValidationError):
        raise BadPayload(topic, "message", "must have numbers of ordinary size", payload) from error
    raise BadPayload(topic, "message", "must be JSON", payload) from error


def _accounted_for(document: Any, payload: bytes, guarded: tuple[bytes, ...]) -> bool:
    """Whether every time a guarded name stands in the text is a key of its own in the document.

    Several sensors in one message name their fields alike; this spares them the slow look.
    """
    names = _names(guarded)
    keys = 0
    stack = [document]
    while stack:
        value = stack.pop()
        if type(value) is dict:
            keys += len(names & value.keys())
            stack.extend(value.values())
        elif type(value) is list:
            stack.extend(value)
    return keys == sum(payload.count(name) for name in guarded)


@lru_cache(maxsize=4096)
def _names(guarded: tuple[bytes, ...]) -> frozenset[str]:
    return frozenset(json.loads(name) for name in guarded)


class _Doubled(Exception):
    pass


def _refuse_doubled(topic: str, payload: bytes, names: frozenset[str]) -> None:
    def pairs(found: list[tuple[str, Any]]) -> None:
        seen = set()
        for name, _ in found:
            if name in seen and name in names:
                raise _Doubled(name)
            seen.add(name)

    try:
        json.loads(payload, object_pairs_hook=pairs)
    except _Doubled as doubled:
        raise BadPayload(topic, str(doubled), "must stand once in its object", "two") from None
    except (ValueError, RecursionError) as error:
        raise BadPayload(topic, "message", "must be JSON that two readers agree on", payload) from error
