"""Decodes the body of a message, as a JSON document or as text, within bounds."""

import json
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

import msgspec

from ingest.payload.quantities import BadPayload

LARGEST: Final = 256 * 1024  # bytes of one message

_BOM: Final = b"\xef\xbb\xbf"
# Firmware that prints a float that is none: {"rh": nan}. Only where a value may stand.
_BARE_NAN = re.compile(rb"(?<=[:\[,])(\s*)[-+]?(?:nan|null|none|undefined)(?=\s*[,}\]])", re.I)
_UNREADABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)

_decode = msgspec.json.Decoder().decode


def document_of(payload: bytes, guarded: Mapping[bytes, str] = MappingProxyType({})) -> Any:
    """The JSON document in a body.

    Beyond RFC 8259 three habits of small firmware are understood: a byte order mark in front, NUL and blanks
    behind, and a bare `nan` for a missing value.

    Parameters
    ----------
    guarded : mapping, optional
        Names in use, each by its JSON string. One that stands twice in one object is refused.

    Raises
    ------
    BadPayload
        If the body is larger than `LARGEST`, is no JSON in UTF-8, nests too deeply, or has a number no
        double or 64-bit integer can hold.

    Examples
    --------
    >>> document_of(b'{"rh": nan}\\x00')
    {'rh': None}
    """
    checked_size(payload)
    try:
        document = _decode(payload)
    except _UNREADABLE:
        payload = _mended(payload)
        try:
            document = _decode(payload)
        except _UNREADABLE as error:
            raise BadPayload("message", _rule_broken(error, payload), payload) from error
    for name in guarded:
        if payload.count(name) > 1 or b"\\" in payload:
            _refuse_doubled(payload, frozenset(guarded.values()))
            break
    return document


def checked_size(payload: bytes, largest: int = LARGEST) -> None:
    """Raise `BadPayload` when a body is too large to be looked into."""
    if len(payload) > largest:
        raise BadPayload("message", f"must have at most {largest} bytes", len(payload))


def text_of(payload: bytes, longest: int = 1_024) -> str:
    """The text of a short body, without a byte order mark, blanks, trailing NULs and quotes round it.

    Raises
    ------
    BadPayload
        If it is longer than `longest` bytes or not UTF-8.
    """
    checked_size(payload, longest)
    try:
        text = bytes(payload).removeprefix(_BOM).decode().strip(" \t\r\n\x00")
    except UnicodeDecodeError as error:
        raise BadPayload("message", "must be UTF-8", payload) from error
    if len(text) >= 2 and text[0] == text[-1] == '"':
        text = text[1:-1].strip()
    return text


def _mended(payload: bytes) -> bytes:
    return _BARE_NAN.sub(rb"\1null", bytes(payload).removeprefix(_BOM).rstrip(b"\x00 \t\r\n"))


def _rule_broken(error: Exception, payload: bytes) -> str:
    if not payload:
        return "must not be empty"
    if isinstance(error, UnicodeDecodeError):
        return "must be UTF-8"
    if isinstance(error, RecursionError):
        return "must not nest so deeply"
    if isinstance(error, msgspec.ValidationError):
        return "must have numbers of ordinary size"
    return "must be JSON"


def _refuse_doubled(payload: bytes, names: frozenset[str]) -> None:
    """Refuse a body in which one object has one of these names twice."""

    def checked(pairs: list[tuple[str, Any]]) -> None:
        keys = [name for name, _ in pairs if name in names]
        for name in keys:
            if keys.count(name) > 1:
                raise BadPayload(name, "must stand once in its object", "two")

    try:
        json.loads(payload, object_pairs_hook=checked)
    except BadPayload:
        raise
    except (ValueError, RecursionError) as error:
        raise BadPayload("message", "must be JSON that two readers agree on", payload) from error
