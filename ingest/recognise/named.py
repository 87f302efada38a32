"""Finds lists of single values, each with the name of its quantity beside it.

Such as ``[{"type": "temperature", "value": 21.4}, {"type": "humidity", "value": 45}]``.
"""

from collections.abc import Sequence
from typing import Any

from ingest.payload.pointer import pointer_of
from ingest.payload.quantities import RATIO, shown
from ingest.payload.shapes import PayloadReading
from ingest.recognise import words
from ingest.recognise.candidates import Path, is_in_list, is_number, nodes, time_fields
from ingest.recognise.judging import fixed_unit, judge
from ingest.recognise.parts import AIR, SPOKEN, Answer, SensorPart, nearest_time, time_of

MOST_ITEMS = 500
Items = list[dict[str, Any]]


def named_values(documents: Sequence[Any], name: str) -> Answer | None:
    """The sensor whose values are listed so; None where no message has such a list."""
    for document in reversed(documents):
        for where, items in _lists(document):
            keys = sorted({key for item in items for key in item if isinstance(key, str)})
            value_key = next((key for key in keys if words.is_value(key) and _has_numbers(items, key)), None)
            if value_key is None:
                continue
            by_kind = {key.lower(): key for key in keys if key != value_key}
            for name_key in (by_kind[kind] for kind in words.KIND_KEYS if kind in by_kind):
                found, left = _by_name(items, name_key, value_key)
                if not any(found[quantity] for quantity in AIR):
                    continue
                if any(len(found[quantity]) > 1 for quantity in AIR):
                    break  # which of them is meant is for a person to say
                answer = _answer(found, left, keys, name_key, value_key, where, document, name)
                if answer is None:
                    break
                return answer
    return None


def _lists(document: Any) -> list[tuple[Path, Items]]:
    """The lists of objects in a document."""
    lists = [node for node in nodes(document) if isinstance(node.raw, list) and not is_in_list(node.path)]
    return [
        (path, items[:MOST_ITEMS])
        for path, items in lists
        if items and all(isinstance(item, dict) for item in items)
    ]


def _has_numbers(items: Items, key: str) -> bool:
    return any(is_number(item.get(key)) for item in items)


def _by_name(items: Items, name_key: str, value_key: str) -> tuple[dict[str, dict[str, Any]], list[str]]:
    """By quantity, the items by the name they show; and a sentence for each look-alike that is left."""
    found: dict[str, dict[str, Any]] = {quantity: {} for quantity in words.MEASURED}
    left = []
    for item in items:
        told = item.get(name_key)
        if not isinstance(told, str):
            continue
        meaning = words.meaning_of(told)
        if meaning.unlike is not None and meaning.quantity in AIR:
            left.append(f"{shown(told)} is left out: it {meaning.unlike}")
        elif meaning.quantity in found and not meaning.short and is_number(item.get(value_key)) is not False:
            found[meaning.quantity].setdefault(told, item)
    return found, left


def _answer(
    found: dict[str, dict[str, Any]],
    left: list[str],
    keys: list[str],
    name_key: str,
    value_key: str,
    where: Path,
    document: Any,
    name: str,
) -> Answer | None:
    unit_key = next((key for key in keys if words.is_unit_key(key)), None)
    fixed: dict[str, Any] = {f"{quantity}_names": tuple(found[quantity]) for quantity in words.MEASURED}
    reasons, weight = [], 1.0
    kinds = tuple(quantity for quantity in AIR if found[quantity])
    for quantity in kinds:
        ((told, item),) = found[quantity].items()
        unit = item.get(unit_key) if unit_key is not None else None
        guess = judge(
            quantity,
            [item.get(value_key)],
            unit if isinstance(unit, str) else None,
            words.meaning_of(told).unit,
        )
        if guess is None:
            return None
        weight *= guess.weight
        if unit_key is None or guess.unit != RATIO:  # where it is written it is read there
            fixed |= fixed_unit(quantity, guess)
        reasons.append(f"the value named {shown(told)} is {SPOKEN[quantity]}: {guess.why}")
    times, depth = time_fields(document), len(where) + 1
    inside = [path[depth:] for path in times if path[: len(where)] == where and len(path) > depth]
    if inside:
        fixed |= time_of("time", inside[0])
    else:
        fixed |= time_of("shared_time", nearest_time(where, [path for path in times if not is_in_list(path)]))
    reading = PayloadReading(
        shape="json",
        each=pointer_of(where),
        name_at=pointer_of([name_key]),
        value_at=pointer_of([value_key]),
        unit_at=None if unit_key is None else pointer_of([unit_key]),
        **fixed,
    )
    base = 0.95 if len(kinds) == 2 else 0.85
    return (SensorPart("", name, reading, kinds),), round(base * weight, 2), (*reasons, *left)
