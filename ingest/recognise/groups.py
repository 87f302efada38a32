"""Finds which fields of a JSON message belong to one sensor, and how the message is read for it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ingest.payload import quantities
from ingest.payload.pointer import MISSING, follow, pointer_of
from ingest.payload.shapes import PayloadReading
from ingest.recognise import words
from ingest.recognise.candidates import Candidate, Path, candidates, is_in_list, time_fields
from ingest.recognise.judging import UnitGuess, fixed_unit, judge
from ingest.recognise.named import named_values
from ingest.recognise.parts import (
    AIR,
    MOST_PARTS,
    NOTHING,
    SPOKEN,
    Answer,
    SensorPart,
    nearest_time,
    said,
    time_of,
)


@dataclass(frozen=True)
class Taken(Candidate):
    """A candidate whose values were judged."""

    guess: UnitGuess

    @property
    def is_air(self) -> bool:
        return self.quantity in AIR


@dataclass(frozen=True)
class Messages:
    """Decoded messages of one topic, where the last of them has times, and what to name its sensors after."""

    documents: Sequence[Any]
    times: list[Path]
    name: str

    def part(self, part: str, reading: PayloadReading, kinds: tuple[str, ...]) -> SensorPart:
        return SensorPart(part, f"{self.name} {part}".strip(), reading, kinds)


def json_parts(documents: Sequence[Any], name: str, topic_name: str) -> Answer:
    """The sensors in the messages of one topic.

    Parameters
    ----------
    documents : sequence
        Decoded messages, dict or list each.
    name : str
        To name sensors after.
    topic_name : str
        The topic's level that names a quantity, or "".
    """
    listed = named_values(documents, name)
    if listed is not None:
        return listed
    seen: dict[Path, Candidate] = {}
    raws: defaultdict[Path, list[object]] = defaultdict(list)
    left: dict[str, None] = {}
    for document in documents:
        found, sentences = candidates(document, topic_name)
        left.update(dict.fromkeys(sentences))
        for candidate in found:
            seen[candidate.path] = candidate
            raws[candidate.path].append(candidate.raw)
    taken = []
    for path, candidate in seen.items():
        units = (follow(document, candidate.unit_path or ("",)) for document in documents)
        written = (
            next((unit for unit in units if isinstance(unit, str)), None) if candidate.unit_path else None
        )
        guess = judge(candidate.quantity, raws[path], written, candidate.unit)
        if guess is not None:
            taken.append(Taken(**vars(candidate), guess=guess))
        elif candidate.quantity != "battery":
            left[f"{said(path)} is left out: a room can't have such {SPOKEN[candidate.quantity]}"] = None
    if not any(one.is_air for one in taken):
        return NOTHING
    messages = Messages(documents, time_fields(documents[-1]), name)
    parts, confidence, reasons = (
        _in_list(taken, messages) or _by_key(taken, messages) or _fixed(taken, messages)
    )
    if not parts:
        return NOTHING
    return parts, round(confidence, 2), (*dict.fromkeys(reasons), *list(left)[:8])


# ---------------------------------------------------------------- one sensor, or several at fixed places

Key = tuple[Path, tuple[str, ...]]
"""Home and telling words: what the fields of one sensor have in common."""


def _fixed(taken: list[Taken], messages: Messages) -> Answer:
    groups: defaultdict[Key, list[Taken]] = defaultdict(list)
    for one in taken:
        if not is_in_list(one.path) or len(taken) <= 3:
            groups[one.home, one.which].append(one)
    air = {key: ones for key, ones in groups.items() if any(one.is_air for one in ones)}
    reasons, factor = [], 1.0
    alone = {
        quantity: [key for key, ones in air.items() if {o.quantity for o in ones if o.is_air} == {quantity}]
        for quantity in AIR
    }
    if len(air) == 2 and len(alone["temperature"]) == len(alone["rh"]) == 1:
        first, second = alone["temperature"][0], alone["rh"][0]
        air = {first: air[first] + air[second]}
        reasons.append("the message has one temperature and one humidity: they are taken as one sensor's")
        factor = 0.9
    # A letter alone names nothing, unless the other quantity stands beside it.
    air = {key: ones for key, ones in air.items() if _believed(ones)}
    battery = [one for ones in groups.values() for one in ones if not one.is_air]
    times = [path for path in messages.times if not is_in_list(path)]
    parts, confidence = [], 1.0
    several = len(air) > 1
    homes = {home for home, _ in air}
    for (home, which), ones in list(air.items())[:MOST_PARTS]:
        telling = [str(home[-1])] if home and len(homes) > 1 else []
        part = quantities.plain(" ".join([*telling, *which]) or "main", 60) if several else ""
        own = [one for one in battery if one not in ones and (one.home == home or not several)]
        best, sentences = _best(ones + own)
        time = nearest_time(_air(best)[0].path, times)
        fields = _fields(best, 0) | time_of("time", time)
        parts.append(messages.part(part, PayloadReading(shape="json", part=part, **fields), _kinds(best)))
        confidence = min(confidence, _confidence(best))
        reasons = sentences + reasons
        if time is not None:
            what = "says how long ago it was measured" if "time_unit" in fields else "is the time"
            reasons.append(f"{said(time)} {what}")
    return tuple(parts), confidence * factor, tuple(reasons)


def _believed(ones: Sequence[Taken]) -> bool:
    air = [one for one in ones if one.is_air]
    return {one.quantity for one in air} == {*AIR} or any(not one.short for one in air)


def _best(ones: Sequence[Taken], depth: int = 0) -> tuple[dict[str, Taken], list[str]]:
    """One field for each quantity: °C before no unit before K before °F, full names before letters."""
    best: dict[str, Taken] = {}
    reasons = []
    order = {"C": 0, None: 1, "K": 2, "F": 3}

    def rank(one: Taken) -> tuple[int, bool, int]:
        unit = one.unit or (None if one.unit_path is None else "C")
        return order.get(unit, 1), one.short, len(one.path)

    for one in sorted(ones, key=rank):
        where = said(one.path[depth:])
        if one.quantity not in best:
            best[one.quantity] = one
            if one.is_air:
                reasons.append(f"{where} is {SPOKEN[one.quantity]}: {one.guess.why}")
        elif one.is_air:
            reasons.append(f"{where} is left out: it repeats {SPOKEN[one.quantity]}")
    return best, reasons


def _air(best: dict[str, Taken]) -> list[Taken]:
    return [best[quantity] for quantity in _kinds(best)]


def _kinds(best: dict[str, Taken]) -> tuple[str, ...]:
    return tuple(quantity for quantity in AIR if quantity in best)


def _fields(best: dict[str, Taken], depth: int) -> dict[str, Any]:
    """What a reading says of its quantities; pointers start `depth` steps down, in the item."""
    fields: dict[str, Any] = {}
    for quantity, one in best.items():
        fields[quantity] = pointer_of(one.path[depth:])
        fixed = fixed_unit(quantity, one.guess)
        where, item = one.unit_path, one.path[:depth]
        if where is not None and where[:depth] == item and (quantity == "rh" or not fixed):
            fields[f"{quantity}_unit_at"] = pointer_of(where[depth:])
        elif where is not None and quantity == "temperature" and not fixed:
            fields["shared_temperature_unit"] = pointer_of(where)
        else:
            fields |= fixed
    return fields


def _confidence(best: dict[str, Taken]) -> float:
    air = _air(best)
    base = 0.97 if len(air) == 2 else 0.87
    for one in air:
        base *= one.guess.weight * (0.85 if one.short else 1.0)
    return base


# ---------------------------------------------------------------- items: one sensor or instant each


def _in_list(taken: list[Taken], messages: Messages) -> Answer | None:
    """Sensors, or instants of one sensor, in a list of objects."""
    by_list: defaultdict[Path, list[Taken]] = defaultdict(list)
    for one in taken:
        at = next((i for i, step in enumerate(one.path) if isinstance(step, int)), None)
        if at is not None and at < len(one.path) - 1:
            by_list[one.path[:at]].append(one)
    lists = [path for path, ones in by_list.items() if any(one.is_air for one in ones)]
    if not lists or any(one.is_air and not is_in_list(one.path) for one in taken):
        return None
    where = lists[0]
    if len(lists) == 1:
        return _items(by_list[where], where, len(where) + 1, [], messages)
    # Lists side by side under keys: the key is the sensor, the items are its instants.
    if len({path[:-1] for path in lists}) > 1 or not all(lists):
        return None
    every = [one for path in lists for one in by_list[path]]
    return _items(every, where[:-1], len(where) + 1, lists, messages)


def _by_key(taken: list[Taken], messages: Messages) -> Answer | None:
    """Sensors in an object of objects, which differ in one key only and name their fields alike."""
    air = [one for one in taken if one.is_air]
    homes = list(dict.fromkeys(one.home for one in air))
    if len(homes) < 2 or len({len(home) for home in homes}) > 1 or any(one.which for one in air):
        return None
    differ = [i for i in range(len(homes[0])) if len({home[i] for home in homes}) > 1]
    if len(differ) != 1:
        return None
    depth = differ[0] + 1
    if any(len({one.path[depth:] for one in air if one.quantity == quantity}) > 1 for quantity in AIR):
        return None
    return _items(taken, homes[0][: depth - 1], depth, [home[:depth] for home in homes], messages)


def _items(
    taken: list[Taken], where: Path, depth: int, keys: list[Path], messages: Messages
) -> Answer | None:
    """A reading with `each`: its pointers start `depth` steps down the paths of the candidates.

    `keys` are the paths of the sensors where their keys name them; empty where a field of the items does.
    """
    alike: dict[Path, Taken] = {}
    for one in taken:
        alike.setdefault(one.path[depth:], one)
    best, reasons = _best([one for path, one in alike.items() if path], depth)
    air = _air(best)
    if not air or not _believed(air):
        return None
    item = air[0].path[:depth]
    own_time = nearest_time(
        air[0].path[depth:], [path[depth:] for path in messages.times if path[:depth] == item]
    )
    fields = _fields(best, depth) | {"each": pointer_of(where)}
    if own_time is not None:
        fields |= time_of("time", own_time)
    else:
        outside = [path for path in messages.times if path[: len(where) + 1] not in [*keys, item]]
        shared = nearest_time(where, [path for path in outside if not is_in_list(path)])
        fields |= time_of("shared_time", shared)
    tells: dict[str, set[str]] = {}
    if keys:
        for key in keys:
            tells[str(key[len(where)])] = {one.quantity for one in taken if one.path[: len(key)] == key}
        named, fields["part_at"] = list(tells), "key"
        reasons.append(f"each key of {said(where)} is one sensor")
    else:
        paths = [one.path[depth:] for one in air]
        named, name_key = _item_names(messages.documents, where, paths, own_time is not None)
        if name_key is not None:
            fields["part_at"] = pointer_of([name_key])
            reasons.append(f"each item of {said(where)} is one sensor, named by {said((name_key,))}")
        elif len(named) > 1 or named != [""]:
            fields["part_at"] = "key"
        elif own_time is not None:
            reasons.append(f"the items of {said(where)} are readings of one sensor at different times")
    reading = PayloadReading(shape="json", **fields)
    kinds = _kinds(best)
    parts = tuple(
        messages.part(part, reading, tuple(kind for kind in kinds if kind in tells.get(part, kinds)))
        for part in dict.fromkeys(named[:MOST_PARTS])
    )
    return parts, _confidence(best) * (0.95 if len(parts) > 1 else 1.0), tuple(reasons)


def _item_names(
    documents: Sequence[Any], where: Path, air: list[Path], have_times: bool
) -> tuple[list[str], str | None]:
    """The names of the sensors in a list, and the key they stand at.

    Without such a key the items are one sensor's, named "", or are told apart by their places in the list.
    """
    lists = [items for document in documents if isinstance(items := follow(document, where), list)]
    rows = [
        [
            item
            for item in items
            if isinstance(item, dict) and any(follow(item, path) is not MISSING for path in air)
        ]
        for items in lists
    ]
    rows = [row for row in rows if row]
    keys = {key for row in rows for item in row for key in item if isinstance(key, str)}
    for key in (real for known in words.NAME_KEYS for real in sorted(keys) if real.lower() == known):
        names = [[item.get(key) for item in row] for row in rows]
        if any(not isinstance(name, (str, int)) or isinstance(name, bool) for row in names for name in row):
            continue
        # Several items of one message under one name are its instants, if they have times.
        if have_times or all(len(set(row)) == len(row) for row in names):
            return [quantities.plain(str(name), 200) for row in names for name in row], key
    if have_times or all(len(row) == 1 for row in rows):
        return [""], None
    return [str(index) for row in rows for index in range(len(row))], None
