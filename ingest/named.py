"""Messages that list single values, each with the name of its quantity beside it."""

from collections.abc import Sequence
from typing import Any

from ingest import quantities, words
from ingest.candidates import Path, is_number, time_fields
from ingest.judging import UnitGuess, judge_rh, judge_temperature
from ingest.parts import AIR, SPOKEN, Answer, SensorPart, nearest_time, time_of
from ingest.pointer import pointer_of
from ingest.shapes import PayloadReading


def named_values(documents: Sequence[Any], name: str) -> Answer | None:
    """A list of single values, each with the name of its quantity beside it."""
    for document in reversed(documents):
        for where, items in _lists(document):
            answer = _one_named_list(items, where, document, name)
            if answer is not None:
                return answer
    return None


def _one_named_list(items: list[dict[str, Any]], where: Path, document: Any, name: str) -> Answer | None:
    keys = {key for item in items for key in item if isinstance(key, str)}
    value_key = next((key for key in sorted(keys) if words.is_value(key) and _numbers(items, key)), None)
    if value_key is None:
        return None
    lower = {key.lower(): key for key in sorted(keys)}
    for kind in words.KIND_KEYS:
        key = lower.get(kind)
        if key is None or key == value_key:
            continue
        names: dict[str, list[str]] = {"temperature": [], "rh": [], "battery": []}
        left, values = [], {}
        for item in items:
            said = item.get(key)
            if not isinstance(said, str):
                continue
            meaning = words.meaning_of(said)
            if meaning.unlike is not None and meaning.quantity in AIR:
                left.append(f"{quantities.shown(said)} was left: it {meaning.unlike}")
            elif meaning.quantity in names and not meaning.short and said not in values:
                if is_number(item.get(value_key)) is False:
                    continue
                names[str(meaning.quantity)].append(said)
                values[said] = item
        if not names["temperature"] and not names["rh"]:
            continue
        if len(names["temperature"]) > 1 or len(names["rh"]) > 1:
            return None  # which of them is meant is for a person to say
        unit_key = next((k for k in sorted(keys) if words.is_unit_key(k)), None)
        fixed: dict[str, Any] = {}
        reasons, weight = [], 1.0
        for quantity in AIR:
            for said in names[quantity]:
                judged = _judge_named(quantity, said, values[said], value_key, unit_key)
                if judged is None:
                    return None
                weight *= judged.weight
                if quantity == "temperature" and judged.unit:
                    fixed["temperature_unit"] = judged.unit
                if quantity == "rh" and judged.unit == quantities.RATIO and unit_key is None:
                    fixed["rh_unit"] = "ratio"
                reasons.append(
                    f"the value named {quantities.shown(said)} is {SPOKEN[quantity]}: {judged.why}"
                )
        times = time_fields(document)
        depth = len(where) + 1
        inside = [path[depth:] for path in times if path[: len(where)] == where and len(path) > depth]
        outside = [path for path in times if not any(isinstance(step, int) for step in path)]
        if inside:
            fixed.update(time_of("time", inside[0]))
        elif outside:
            fixed.update(time_of("shared_time", nearest_time(where, outside) or ()))
        reading = PayloadReading(
            shape="json",
            each=pointer_of(where),
            name_at=pointer_of([key]),
            value_at=pointer_of([value_key]),
            unit_at=None if unit_key is None else pointer_of([unit_key]),
            temperature_names=tuple(names["temperature"]),
            rh_names=tuple(names["rh"]),
            battery_names=tuple(names["battery"]),
            **fixed,
        )
        kinds = tuple(quantity for quantity in AIR if names[quantity])
        base = 0.95 if len(kinds) == 2 else 0.85
        return (SensorPart("", name, reading, kinds),), round(base * weight, 2), (*reasons, *left)
    return None


def _judge_named(
    quantity: str, said: str, item: dict[str, Any], value_key: str, unit_key: str | None
) -> UnitGuess | None:
    value, behind = quantities.number_and_unit("", "", item.get(value_key))
    unit = item.get(unit_key) if unit_key is not None else None
    written = behind or (unit if isinstance(unit, str) else None)
    if value is None:
        return UnitGuess(None, 0.5, "it had no value yet")
    if quantity == "rh":
        return judge_rh([value], written)
    return judge_temperature([value], written, words.meaning_of(said).unit)


def _lists(document: Any) -> list[tuple[Path, list[dict[str, Any]]]]:
    """The lists of objects in a document, breadth first, within bounds."""
    out: list[tuple[Path, list[dict[str, Any]]]] = []
    queue: list[tuple[Path, Any]] = [((), document)]
    at = 0
    while at < len(queue) and at < 1_000:
        path, value = queue[at]
        at += 1
        if isinstance(value, dict) and len(path) < 8:
            queue.extend(
                ((*path, key), inner) for key, inner in list(value.items())[:200] if isinstance(key, str)
            )
        elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
            out.append((path, value[:500]))
    return out


def _numbers(items: list[dict[str, Any]], key: str) -> bool:
    return any(is_number(item.get(key)) for item in items if not isinstance(item.get(key), bool))
