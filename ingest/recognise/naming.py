"""Proposes a sensor's name from its topic and from what its messages call it."""

import re
from collections.abc import Collection, Sequence
from typing import Any

from ingest.payload.quantities import plain
from ingest.recognise import words
from ingest.recognise.candidates import leaves

LONGEST = 60
# Keys whose text a person or a maker gave the device, the better ones first.
_NAMES = ("name", "friendly_name", "device_name", "devicename", "alias", "label", "location", "room", "place")
_ID = re.compile(r"(?:0x)?(?=[0-9a-f]*[0-9])[0-9a-f]{6,}|[0-9]+", re.IGNORECASE)
_SEPARATORS = re.compile(r"[\s_./:-]+")


def readable_name(topic: str, documents: Sequence[Any] = ()) -> str:
    """A proposed name: what the messages call the device, else the telling last parts of the topic.

    Parameters
    ----------
    topic : str
        Without what names the quantity, where the topic has such a level.
    documents : sequence
        Decoded messages; those that are no objects say nothing.

    Returns
    -------
    str
        1 to 60 characters; the topic itself where no part of it tells anything.

    Examples
    --------
    >>> readable_name("valley/shop/bench_2/state"), readable_name("radio/0x00158d0001a2b3c4")
    ('shop bench 2', 'radio b3c4')
    """
    return _called(documents) or _of_topic(topic) or _words(topic) or "sensor"


def unique_name(name: str, taken: Collection[str]) -> str:
    """The name, or the first of "name 2", "name 3" ... that nobody has."""
    found, number = name, 2
    while found in taken:
        found, number = f"{name} {number}", number + 1
    return found


def _called(documents: Sequence[Any]) -> str:
    """What every message calls the device, in words that hold more than a number."""
    found: dict[str, set[str]] = {}
    for document in documents:
        if not isinstance(document, dict):
            continue
        for leaf in leaves(document):
            # Deeper or inside a list, a name is as likely another thing's.
            if len(leaf.path) > 2 or not isinstance(leaf.raw, str) or not isinstance(leaf.path[-1], str):
                continue
            if words.unlike_inside(str(leaf.path[0])) is None:
                found.setdefault(leaf.path[-1].lower(), set()).add(leaf.raw)
    for key in _NAMES:
        said = found.get(key, set())
        if len(said) == 1:
            name = _words(said.pop())
            if name and not _ID.fullmatch(name.replace(" ", "")) and words.meaning_of(name).quantity is None:
                return name
    return ""


def _of_topic(topic: str) -> str:
    telling: list[str] = []
    last_id = ""
    for level in topic[:1000].split("/"):
        text = _words(level.lstrip("$"))
        if not text or text.lower() in words.PLUMBING:
            continue
        if _ID.fullmatch(text.replace(" ", "")):
            last_id = text
        else:
            telling.append(text)
            last_id = ""
    if last_id:
        telling = [*(telling[-1:] or ["sensor"]), last_id.replace(" ", "")[-4:]]
    return " ".join(telling[-2:])[:LONGEST].strip()


def _words(text: str) -> str:
    return _SEPARATORS.sub(" ", plain(text.strip(), LONGEST)).strip()
