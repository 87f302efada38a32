"""Finds the fields of a JSON message that may be temperature or humidity, by name.

Pure structure and names, and a sentence for each look-alike; `ingest.recognise.groups` judges the values.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from ingest.payload import quantities, times
from ingest.payload.pointer import follow
from ingest.payload.quantities import BadPayload
from ingest.recognise import words

DEEPEST = 12
MOST_NODES = 4_000
_ANY_ZONE, _ANY_TIME = ZoneInfo("UTC"), datetime(2025, 1, 1, tzinfo=UTC)

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Candidate:
    """A field that may be one quantity of one sensor.

    `home` is the object that stands for the sensor, `which` the words that tell it from others there.
    """

    path: Path
    quantity: str
    home: Path
    which: tuple[str, ...]
    unit: str | None  # that its name says
    unit_path: Path | None  # of the field that writes it
    raw: object
    short: bool


class Node(NamedTuple):
    """A value in a document, and where it stands."""

    path: Path
    raw: Any


def nodes(document: Any) -> Iterator[Node]:
    """Every value of a document, breadth first, within bounds of depth and number."""
    queue = [Node((), document)]
    for seen, node in enumerate(queue):
        if seen >= MOST_NODES:
            return
        yield node
        if len(node.path) >= DEEPEST:
            continue
        if isinstance(node.raw, dict):
            named = [(key, inner) for key, inner in list(node.raw.items())[:500] if isinstance(key, str)]
            queue += [Node((*node.path, key), inner) for key, inner in named]
        elif isinstance(node.raw, list):
            queue += [Node((*node.path, index), inner) for index, inner in enumerate(node.raw[:100])]


def leaves(document: Any) -> Iterator[Node]:
    """Those values of a document that are neither object nor list."""
    return (node for node in nodes(document) if not isinstance(node.raw, (dict, list)))


def is_in_list(path: Path) -> bool:
    """Whether a value stands inside a list."""
    return any(isinstance(step, int) for step in path)


def is_number(raw: object) -> bool | None:
    """Whether a value is a number as devices write it; None when it is a missing one."""
    try:
        value, _ = quantities.number_and_unit(raw)
    except BadPayload:
        return False
    return None if value is None else True


def candidates(document: Any, topic_name: str = "") -> tuple[list[Candidate], list[str]]:
    """The fields that may be air, and one sentence for each look-alike that is left.

    Parameters
    ----------
    document : object
        Decoded JSON.
    topic_name : str
        The level of the topic that names a quantity, for a message that holds a bare value; "" when none.
    """
    found: list[Candidate] = []
    left: list[str] = []
    for path, raw in leaves(document):
        if is_number(raw) is False:
            continue
        names = [step if isinstance(step, str) else "" for step in path]
        start = _named_from(names)
        if start is None:
            if topic_name and len(path) <= 1 and (not names or words.is_value(names[-1])):
                meaning = words.meaning_of(topic_name)
                if meaning.quantity in words.MEASURED:
                    quantity = str(meaning.quantity)
                    unit_path = _unit_field(document, path, quantity, True)
                    found.append(Candidate(path, quantity, (), (), meaning.unit, unit_path, raw, False))
            continue
        meaning = words.meaning_of(names[start])
        quantity = str(meaning.quantity)
        if quantity == "battery" and not words.is_charge(names[start:]):
            continue
        unlike = next((m.unlike for m in map(words.meaning_of, names[start:]) if m.unlike), None)
        unlike = unlike or next(filter(None, map(words.unlike_inside, names[:start])), None)
        if unlike is not None:
            if quantity != "battery" and len(left) < 20:
                shown = quantities.plain("/".join(map(str, path)), 80)
                left.append(f"{shown} is left out: it {unlike}")
            continue
        naming = [m for m in map(words.meaning_of, names[start:]) if m.quantity == quantity]
        short = all(m.short for m in naming) and words.meaning_of(topic_name).quantity != quantity
        unit = words.meaning_of(names[-1]).unit or meaning.unit
        is_value = start < len(names) - 1 and words.is_value(names[-1])
        unit_path = _unit_field(document, path, quantity, is_value)
        which = tuple(word for name in names[start:] for word in words.which_of(name))
        found.append(Candidate(path, quantity, path[:start], which, unit, unit_path, raw, short))
    return found, left


def time_fields(document: Any) -> list[Path]:
    """Fields that may be the time of the measurement, the likelier first; how long ago it was, if none is."""
    found: list[Path] = []
    distances: list[Path] = []
    for path, raw in leaves(document):
        if not path or not isinstance(path[-1], str) or isinstance(raw, bool):
            continue
        name = path[-1]
        unit = words.ago_unit(name)
        if unit is not None:
            fits = times.ago(raw, unit) is not None
        else:
            # "t" is a temperature, unless an instant stands there.
            is_named = words.meaning_of(name).quantity == "time" or name.lower() == "t"
            fits = is_named and _may_be_time(raw, name)
        if fits and not any(words.unlike_inside(step) for step in path[:-1] if isinstance(step, str)):
            (found if unit is None else distances).append(path)
    return found or distances


def _may_be_time(raw: object, name: str) -> bool:
    at = times.instant(raw, _ANY_ZONE, _ANY_TIME)
    if at is not None and 2001 <= at.year < 2100:
        return True
    before = times.ago(raw)  # before the message, as in SenML
    return name.lower() != "t" and before is not None and before > timedelta()


def _named_from(names: list[str]) -> int | None:
    """Where on the way to a value its quantity is named, as far up as it is; None if nowhere."""
    last = len(names) - 1
    if last < 0:
        return None
    at = last
    while at > 0 and words.meaning_of(names[at]).quantity is None and _only_holds(names[at]):
        at -= 1
    quantity = words.meaning_of(names[at]).quantity
    if quantity not in words.MEASURED:
        return None
    while at > 0 and words.meaning_of(names[at - 1]).quantity == quantity:
        at -= 1
    return at


def _only_holds(name: str) -> bool:
    """Whether a key says nothing of its own: "value", "relative", a channel's number."""
    return words.is_value(name) or name.isdigit() or (name != "" and not words.which_of(name))


def _unit_field(document: Any, path: Path, quantity: str, is_value: bool) -> Path | None:
    """The field that writes the unit of a value: beside it, or above, named after the quantity."""
    if quantity == "battery":
        return None
    read = quantities.temperature_unit if quantity == "temperature" else quantities.rh_unit
    for depth in range(len(path) - 1, -1, -1):
        container = follow(document, path[:depth])
        if not isinstance(container, dict):
            continue
        for key, raw in list(container.items())[:200]:
            if not isinstance(key, str) or not isinstance(raw, str) or not words.is_unit_key(key):
                continue
            own = words.meaning_of(key).quantity
            if not (own == quantity or (own is None and is_value and depth == len(path) - 1)):
                continue
            try:
                if read(raw) is not None:
                    return (*path[:depth], key)
            except BadPayload:
                continue
    return None
