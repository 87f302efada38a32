"""Which fields of a JSON message may be temperature or humidity, by name, and which only look so.

Pure structure and names; ranges are judged by `ingest.recognise`, which sees several messages.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from ingest import quantities, times, words
from ingest.quantities import BadPayload

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
    unit: str | None
    unit_path: Path | None
    raw: object
    short: bool


@dataclass(frozen=True)
class Leaf:
    """A value that is neither object nor list, and where it stands."""

    path: Path
    raw: object


def leaves(document: Any) -> Iterator[Leaf]:
    """Every value of a document, breadth first, within bounds of depth and number."""
    queue: list[tuple[Path, Any]] = [((), document)]
    for seen, (path, value) in enumerate(queue):
        if seen >= MOST_NODES:
            return
        if len(path) < DEEPEST and isinstance(value, dict):
            queue.extend(
                ((*path, key), inner) for key, inner in list(value.items())[:500] if isinstance(key, str)
            )
        elif len(path) < DEEPEST and isinstance(value, list):
            queue.extend(((*path, index), inner) for index, inner in enumerate(value[:100]))
        elif not isinstance(value, (dict, list)):
            yield Leaf(path, value)


def is_number(raw: object) -> bool | None:
    """Whether a value is a number as devices write it; None when it is a missing one."""
    try:
        value, _ = quantities.number_and_unit("", "", raw)
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
    for leaf in leaves(document):
        if isinstance(leaf.raw, bool) or is_number(leaf.raw) is False:
            continue
        names = [step if isinstance(step, str) else "" for step in leaf.path]
        start = _named_from(names)
        if start is None:
            if topic_name and len(leaf.path) <= 1 and (not names or words.is_value(names[-1])):
                meaning = words.meaning_of(topic_name)
                if meaning.quantity in {"temperature", "rh", "battery"}:
                    unit_path = _unit_field(document, leaf.path, str(meaning.quantity), True)
                    found.append(
                        Candidate(
                            leaf.path, str(meaning.quantity), (), (), meaning.unit, unit_path, leaf.raw, False
                        )
                    )
            continue
        meaning = words.meaning_of(names[start])
        quantity = str(meaning.quantity)
        if quantity == "battery" and not words.is_charge(names[start:]):
            continue
        unlike = next((m.unlike for m in map(words.meaning_of, names[start:]) if m.unlike), None)
        if unlike is None:
            unlike = next(filter(None, map(words.unlike_inside, names[:start])), None)
        if unlike is not None:
            if quantity != "battery" and len(left) < 20:
                left.append(f"{_shown(leaf.path)} was left: it {unlike}")
            continue
        short = all(
            words.meaning_of(n).short for n in names[start:] if words.meaning_of(n).quantity == quantity
        )
        short = short and words.meaning_of(topic_name).quantity != quantity
        unit = words.meaning_of(names[-1]).unit or meaning.unit
        is_value = start < len(names) - 1 and words.is_value(names[-1])
        unit_path = _unit_field(document, leaf.path, quantity, is_value)
        which = tuple(word for name in names[start:] for word in words.which_of(name))
        found.append(
            Candidate(leaf.path, quantity, leaf.path[:start], which, unit, unit_path, leaf.raw, short)
        )
    return found, left


def time_fields(document: Any) -> list[Path]:
    """Fields that may be the time of the measurement, the likelier first; how long ago it was, if none is."""
    found: list[Path] = []
    distances: list[Path] = []
    for leaf in leaves(document):
        if not leaf.path or not isinstance(leaf.path[-1], str) or isinstance(leaf.raw, bool):
            continue
        name = leaf.path[-1]
        unit = words.ago_unit(name)
        if unit is not None:
            fits = times.ago(leaf.raw, unit) is not None
        else:
            # "t" is a temperature, unless an instant stands there.
            fits = (words.meaning_of(name).quantity == "time" or name.lower() == "t") and _may_be_time(
                leaf.raw, name
            )
        if not fits or any(words.unlike_inside(step) for step in leaf.path[:-1] if isinstance(step, str)):
            continue
        (found if unit is None else distances).append(leaf.path)
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
    if quantity not in {"temperature", "rh", "battery"}:
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
        container = _inside(document, path[:depth])
        if not isinstance(container, dict):
            continue
        for key, raw in list(container.items())[:200]:
            if not isinstance(key, str) or not isinstance(raw, str) or not words.is_unit_key(key):
                continue
            own = words.meaning_of(key).quantity
            if not (own == quantity or (own is None and is_value and depth == len(path) - 1)):
                continue
            try:
                if read("", raw) is not None:
                    return (*path[:depth], key)
            except BadPayload:
                continue
    return None


def _inside(document: Any, path: Path) -> Any:
    for step in path:
        document = document[step]
    return document


def _shown(path: Path) -> str:
    return quantities.plain("/".join(str(step) for step in path), 80)
