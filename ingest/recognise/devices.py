"""Finds the field that tells several devices behind one topic apart."""

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from ingest.payload.quantities import MISSING_WORDS
from ingest.recognise import words
from ingest.recognise.candidates import Path, leaves

MOST_STEPS = 3
_LONGEST = 64
_MARKS = re.compile(r"[^a-z0-9]")
# Beside one of these "id" is the message's own: it stands in an envelope (CloudEvents 1.0 has a specversion).
_ENVELOPE = frozenset(("specversion", "sender", "from"))
_RANK = {key: rank for rank, key in enumerate(words.DEVICE_KEYS)}
# Random names of 128 bits, as programs give to messages (RFC 9562).
_RANDOM = re.compile(r"[0-9a-f]{8}-?(?:[0-9a-f]{4}-?){3}[0-9a-f]{12}\Z", re.I)


def device_path(documents: Sequence[Any]) -> Path | None:
    """The field that names the device in every one of some messages; None when there is none.

    One that differs among them goes before one that doesn't. A number that grows from message to message, and
    a random name that never comes again, count messages and name no device.
    """
    found: list[dict[Path, str | int]] = [_named(document) for document in documents]
    if not found:
        return None
    everywhere = [path for path in found[0] if all(path in one for one in found)]
    told = {path: [one[path] for one in found] for path in everywhere}
    fit = [path for path in everywhere if not _counts_messages(told[path])]
    return min(
        fit, key=lambda path: (len(set(told[path])) == 1, _RANK[_plain(path[-1])], len(path)), default=None
    )


def device_name(raw: object) -> str:
    """A device's name as text; "" when there is none."""
    if isinstance(raw, str) and len(raw) <= _LONGEST:
        return raw
    return str(raw) if isinstance(raw, int) and not isinstance(raw, bool) and raw.bit_length() <= 64 else ""


def _named(document: Any) -> dict[Path, str | int]:
    named: dict[Path, str | int] = {}
    enveloped = isinstance(document, dict) and not _ENVELOPE.isdisjoint(document)
    for leaf in leaves(document):
        if not 1 <= len(leaf.path) <= MOST_STEPS or any(isinstance(step, int) for step in leaf.path):
            continue
        if _plain(leaf.path[-1]) not in _RANK or any(words.unlike_inside(str(s)) for s in leaf.path[:-1]):
            continue
        if enveloped and leaf.path == ("id",):
            continue
        name = device_name(leaf.raw)
        if name.strip().lower() not in MISSING_WORDS:
            named[leaf.path] = leaf.raw if isinstance(leaf.raw, int) else name
    return named


def _plain(step: str | int) -> str:
    return _MARKS.sub("", str(step).lower())


def _counts_messages(told: Sequence[str | int]) -> bool:
    if len(told) < 3 or len(set(told)) < len(told):
        return False
    numbers = [int(one) for one in told if isinstance(one, int) or one.isdecimal()]
    if len(numbers) == len(told):
        return all(a < b for a, b in pairwise(numbers))
    return all(isinstance(one, str) and _RANDOM.match(one) for one in told)
