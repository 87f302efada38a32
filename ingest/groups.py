"""Which fields of a JSON message belong to one sensor, and how the message is read for it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from ingest import quantities, words
from ingest.candidates import Candidate, Path, candidates, time_fields
from ingest.judging import UnitGuess, judge_rh, judge_temperature
from ingest.named import named_values
from ingest.parts import (
    AIR,
    MOST_PARTS,
    NOTHING,
    SPOKEN,
    Answer,
    SensorPart,
    nearest_time,
    said,
    said_pointer,
    time_of,
)
from ingest.pointer import MISSING, follow, pointer_of
from ingest.quantities import BadPayload
from ingest.shapes import PayloadReading


@dataclass(frozen=True)
class Taken:
    """A candidate whose values were judged."""

    candidate: Candidate
    judged: UnitGuess


def json_parts(documents: Sequence[Any], name: str, topic_name: str) -> Answer:
    """The sensors in the messages of one topic, the confidence, and the reasons in sentences.

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
    raws: dict[Path, list[object]] = {}
    left: dict[str, None] = {}
    for document in documents:
        found, sentences = candidates(document, topic_name)
        left.update(dict.fromkeys(sentences))
        for candidate in found:
            seen[candidate.path] = candidate
            raws.setdefault(candidate.path, []).append(candidate.raw)
    taken = []
    for path, candidate in seen.items():
        judged = _judge(candidate, raws[path], documents)
        if judged is not None:
            taken.append(Taken(candidate, judged))
        elif candidate.quantity != "battery":
            left[f"{said(path)} was left: its values can't be {SPOKEN[candidate.quantity]} of a room"] = None
    if not any(one.candidate.quantity in AIR for one in taken):
        return NOTHING
    times = [path for document in documents[-1:] for path in time_fields(document)]
    answer = _in_list(taken, times, documents, name) or _by_key(taken, times, documents, name)
    answer = answer or _fixed(taken, times, name)
    parts, confidence, reasons = answer
    if not parts:
        return NOTHING
    return parts, round(confidence, 2), (*reasons, *list(left)[:8])


def _judge(candidate: Candidate, raws: list[object], documents: Sequence[Any]) -> UnitGuess | None:
    if candidate.quantity == "battery":
        # Up to 5 it is as likely volts, a flag or a ratio; a charge that low shows itself another day.
        charges = [charge for charge in map(quantities.battery_or_none, raws) if charge is not None]
        return (
            UnitGuess(None, 1.0, "") if charges and not any(0 < charge <= 5 for charge in charges) else None
        )
    values, behind = [], set()
    for raw in raws:
        try:
            value, unit = quantities.number_and_unit("", "", raw)
        except BadPayload:
            return None
        if value is not None:
            values.append(value)
            behind.add(unit)
    if not values:
        return UnitGuess(None, 0.5, "it had no value yet")
    written = next(iter(behind - {""}), None)
    if written is None and candidate.unit_path is not None:
        units = (follow(document, tuple(map(str, candidate.unit_path))) for document in documents)
        written = next((unit for unit in units if isinstance(unit, str)), None)
    if candidate.quantity == "rh":
        return judge_rh(values, written)
    return judge_temperature(values, written, candidate.unit)


# ---------------------------------------------------------------- one sensor, or several at fixed places


def _fixed(taken: list[Taken], times: list[Path], name: str) -> Answer:
    groups: dict[tuple[Path, tuple[str, ...]], list[Taken]] = {}
    for one in taken:
        if not any(isinstance(step, int) for step in one.candidate.path) or len(taken) <= 3:
            groups.setdefault((one.candidate.home, one.candidate.which), []).append(one)
    air = {key: ones for key, ones in groups.items() if any(one.candidate.quantity in AIR for one in ones)}
    reasons, factor = [], 1.0
    alone = {
        quantity: [
            key for key, ones in air.items() if {o.candidate.quantity for o in ones} & {*AIR} == {quantity}
        ]
        for quantity in AIR
    }
    if len(air) == 2 and len(alone["temperature"]) == len(alone["rh"]) == 1:
        first, second = alone["temperature"][0], alone["rh"][0]
        air = {first: air[first] + air[second]}
        reasons.append("the one temperature and the one humidity in the message are taken for one sensor's")
        factor = 0.9
    # A letter alone names nothing, unless the other quantity stands beside it.
    air = {key: ones for key, ones in air.items() if _believed(ones)}
    battery = [one for ones in groups.values() for one in ones if one.candidate.quantity == "battery"]
    parts, confidence = [], 1.0
    several = len(air) > 1
    for (home, which), ones in list(air.items())[:MOST_PARTS]:
        part = _part_name(home, which, air) if several else ""
        own = battery if not several else [b for b in battery if b.candidate.home == home]
        best, sentences = _best(ones + [b for b in own if b not in ones])
        reading = _reading(best, part, times, several)
        kinds = tuple(quantity for quantity in AIR if quantity in best)
        parts.append(SensorPart(part, f"{name} {part}".strip(), reading, kinds))
        confidence = min(confidence, _confidence(best))
        reasons = sentences + reasons
        if reading.time is not None:
            what = "is the time" if reading.time_unit == "auto" else "is how long ago it was measured"
            reasons.append(f"{said_pointer(reading.time)} {what}")
    return tuple(parts), confidence * factor, tuple(dict.fromkeys(reasons))


def _believed(ones: list[Taken]) -> bool:
    kinds = {one.candidate.quantity for one in ones}
    return kinds.issuperset(AIR) or any(
        not one.candidate.short for one in ones if one.candidate.quantity in AIR
    )


def _part_name(
    home: Path, which: tuple[str, ...], air: dict[tuple[Path, tuple[str, ...]], list[Taken]]
) -> str:
    homes = {key[0] for key in air}
    words_ = [str(home[-1])] if home and len(homes) > 1 else []
    return quantities.plain(" ".join([*words_, *which]) or "main", 60)


def _best(ones: list[Taken]) -> tuple[dict[str, Taken], list[str]]:
    """One field for each quantity: °C before no unit before K before °F, full names before letters."""
    best: dict[str, Taken] = {}
    reasons = []
    order = {"C": 0, None: 1, "K": 2, "F": 3}

    def rank(one: Taken) -> tuple[int, bool, int]:
        unit = one.candidate.unit or (None if one.candidate.unit_path is None else "C")
        return order.get(unit, 1), one.candidate.short, len(one.candidate.path)

    for one in sorted(ones, key=rank):
        quantity = one.candidate.quantity
        if quantity not in best:
            best[quantity] = one
            if quantity in AIR:
                reasons.append(f"{said(one.candidate.path)} is {SPOKEN[quantity]}: {one.judged.why}")
        elif quantity in AIR:
            reasons.append(f"{said(one.candidate.path)} was left: it says the same again")
    return best, reasons


def _reading(best: dict[str, Taken], part: str, times: list[Path], several: bool) -> PayloadReading:
    first = next(best[quantity] for quantity in AIR if quantity in best).candidate
    time = nearest_time(
        first.path, [path for path in times if not any(isinstance(step, int) for step in path)]
    )
    fields: dict[str, Any] = {"part": part}
    for quantity, one in best.items():
        fields[quantity] = pointer_of(one.candidate.path)
        _add_unit(fields, quantity, one, ())
    if time is not None:
        fields.update(time_of("time", time))
    return PayloadReading(shape="json", **fields)


def _add_unit(fields: dict[str, Any], quantity: str, one: Taken, item: Path) -> None:
    """What a reading says of a quantity's unit; `item` is the path of the item that pointers start from."""
    unit_path = one.candidate.unit_path
    if quantity == "temperature":
        if one.judged.unit is not None:
            fields["temperature_unit"] = one.judged.unit
        elif unit_path is not None and unit_path[: len(item)] == item:
            fields["temperature_unit_at"] = pointer_of(unit_path[len(item) :])
        elif unit_path is not None:
            fields["shared_temperature_unit"] = pointer_of(unit_path)
    elif quantity == "rh":
        if unit_path is not None and unit_path[: len(item)] == item:
            fields["rh_unit_at"] = pointer_of(unit_path[len(item) :])
        elif one.judged.unit == quantities.RATIO:
            fields["rh_unit"] = "ratio"


def _confidence(best: dict[str, Taken]) -> float:
    air = [best[quantity] for quantity in AIR if quantity in best]
    base = 0.97 if len(air) == 2 else 0.87
    for one in air:
        base *= one.judged.weight * (0.85 if one.candidate.short else 1.0)
    return base


# ---------------------------------------------------------------- items: one sensor or instant each


def _in_list(taken: list[Taken], times: list[Path], documents: Sequence[Any], name: str) -> Answer | None:
    """Sensors, or instants of one sensor, in a list of objects."""
    by_list: dict[Path, list[Taken]] = {}
    for one in taken:
        at = next((i for i, step in enumerate(one.candidate.path) if isinstance(step, int)), None)
        if at is not None and at < len(one.candidate.path) - 1:
            by_list.setdefault(one.candidate.path[:at], []).append(one)
    by_list = {path: ones for path, ones in by_list.items() if any(o.candidate.quantity in AIR for o in ones)}
    outside = [o for o in taken if not any(isinstance(step, int) for step in o.candidate.path)]
    if not by_list or any(o.candidate.quantity in AIR for o in outside):
        return None
    lists = list(by_list)
    where = lists[0]
    if len(lists) > 1:
        # Lists side by side under keys: the key is the sensor, the items are its instants.
        if len({path[:-1] for path in lists}) > 1 or not lists[0]:
            return None
        every = [one for ones in by_list.values() for one in ones]
        return _items(every, where[:-1], len(where) + 1, times, documents, name, part_at="key", keys=lists)
    return _items(by_list[where], where, len(where) + 1, times, documents, name, part_at=None, keys=[])


def _by_key(taken: list[Taken], times: list[Path], documents: Sequence[Any], name: str) -> Answer | None:
    """Sensors in an object of objects, which differ in one key only and name their fields alike."""
    air = [one for one in taken if one.candidate.quantity in AIR]
    homes = list(dict.fromkeys(one.candidate.home for one in air))
    if len(homes) < 2 or len({len(home) for home in homes}) > 1 or any(one.candidate.which for one in air):
        return None
    differ = [i for i in range(len(homes[0])) if len({home[i] for home in homes}) > 1]
    if len(differ) != 1:
        return None
    at = differ[0]
    rests = {quantity: {one.candidate.path[at + 1 :] for one in air if one.candidate.quantity == quantity}
             for quantity in AIR}  # fmt: skip
    if any(len(paths) > 1 for paths in rests.values()):
        return None
    keys = [home[: at + 1] for home in homes]
    return _items(taken, homes[0][:at], at + 1, times, documents, name, part_at="key", keys=keys)


def _items(
    taken: list[Taken],
    where: Path,
    depth: int,
    times: list[Path],
    documents: Sequence[Any],
    name: str,
    part_at: str | None,
    keys: list[Path],
) -> Answer | None:
    """A reading with `each`: pointers start `depth` steps down the paths of the candidates."""
    alike = {one.candidate.path[depth:]: _relative(one, depth) for one in reversed(taken)}
    best, reasons = _best([one for path, one in reversed(alike.items()) if path])
    air = [one for one in best.values() if one.candidate.quantity in AIR]
    if not air or not _believed(air):
        return None
    fields: dict[str, Any] = {"each": pointer_of(where), "part_at": part_at}
    original = {
        quantity: next(o for o in taken if o.candidate.path[depth:] == one.candidate.path)
        for quantity, one in best.items()
    }
    for quantity, one in best.items():
        fields[quantity] = pointer_of(one.candidate.path)
        whole = original[quantity]
        _add_unit(fields, quantity, whole, whole.candidate.path[:depth])
    prefix = original[air[0].candidate.quantity].candidate.path[:depth]
    inside = [path[depth:] for path in times if path[:depth] == prefix]
    own_time = nearest_time(air[0].candidate.path, inside)
    if own_time is not None:
        fields.update(time_of("time", own_time))
    items = [*keys, prefix]
    outside = [
        path
        for path in times
        if not any(isinstance(step, int) for step in path) and path[: len(where) + 1] not in items
    ]
    shared = nearest_time(where, outside)
    if shared is not None and own_time is None:
        fields.update(time_of("shared_time", shared))
    if part_at == "key":
        named = [str(key[len(where)]) for key in keys]
        reasons.append(f"each key of {said(where)} is one sensor")
    else:
        named, at = _item_names(documents, where, best, own_time is not None)
        fields["part_at"] = at
        if at not in {None, "key"}:
            reasons.append(f"each item of {said(where)} is one sensor, named by {said_pointer(str(at))}")
        elif own_time is not None:
            reasons.append(f"the items of {said(where)} are instants of one sensor")
    reading = PayloadReading(shape="json", **fields)
    both = tuple(quantity for quantity in AIR if quantity in best)
    tells: dict[str, set[str]] = {}
    for key in keys:
        tells[str(key[len(where)])] = {
            o.candidate.quantity for o in taken if o.candidate.path[: len(key)] == key
        }
    parts = tuple(
        SensorPart(
            part, f"{name} {part}".strip(), reading, tuple(q for q in both if q in tells.get(part, both))
        )
        for part in dict.fromkeys(named[:MOST_PARTS])
    )
    return parts, _confidence(best) * (0.95 if len(parts) > 1 else 1.0), tuple(dict.fromkeys(reasons))


def _relative(one: Taken, depth: int) -> Taken:
    candidate = one.candidate
    short = replace(candidate, path=candidate.path[depth:], home=candidate.home[depth:])
    return Taken(short, one.judged)


def _item_names(
    documents: Sequence[Any], where: Path, best: dict[str, Taken], have_times: bool
) -> tuple[list[str], str | None]:
    """The names of the sensors in a list, and the pointer they stand at (None: all items are one sensor)."""
    lists = [follow(document, tuple(map(str, where))) for document in documents]
    air = [tuple(map(str, one.candidate.path)) for one in best.values() if one.candidate.quantity in AIR]
    rows = [
        [
            item
            for item in items
            if isinstance(item, dict) and any(follow(item, p) is not MISSING for p in air)
        ]
        for items in lists
        if isinstance(items, list)
    ]
    rows = [row for row in rows if row]
    for key in words.NAME_KEYS:
        for real in {
            k for row in rows for item in row for k in item if isinstance(k, str) and k.lower() == key
        }:
            values = [[item.get(real) for item in row] for row in rows]
            flat = [value for row in values for value in row]
            if not all(isinstance(value, (str, int)) and not isinstance(value, bool) for value in flat):
                continue
            # Several items of one message under one name are its instants, if they have times.
            if all(len(set(row)) == len(row) for row in values) or (have_times and len(set(flat)) >= 1):
                return [quantities.plain(str(value), 200) for value in flat], pointer_of([real])
    if have_times or all(len(row) == 1 for row in rows):
        return [""], None
    return [str(index) for row in rows for index in range(len(row))], "key"
