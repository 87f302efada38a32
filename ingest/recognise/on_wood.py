"""Finds what a scale, a probe or a gauge on wood says, by the names of fields and topics.

A message that tells a place's air is left to `groups`; one that tells a temperature beside a moisture, a
resistance or a weight tells the wood's.
"""

from collections.abc import Sequence
from typing import Any

from ingest.payload import quantities
from ingest.payload.pointer import follow, pointer_of
from ingest.payload.quantities import BadPayload
from ingest.payload.shapes import PayloadReading
from ingest.payload.wood import unit_of
from ingest.recognise import words
from ingest.recognise.candidates import Path, candidates, is_in_list, is_number, leaves, time_fields
from ingest.recognise.parts import SPOKEN, Answer, SensorPart, nearest_time, said, time_of

ASK_UNIT = "no unit is given, so it is asked for when you accept it"
SURE, UNSURE = 0.85, 0.6


def wood_part(documents: Sequence[Any], topic: str, name: str) -> Answer | None:
    """The sensor on wood in JSON messages; None where no field is named so."""
    document = documents[-1]
    for path, raw in leaves(document):
        if is_in_list(path) or isinstance(raw, bool) or not is_number(raw):
            continue
        names = [str(step) for step in path]
        if any(words.unlike_inside(step) for step in names[:-1]):
            continue
        called = words.wood_named(names[-1]) if names else None
        if called is None and (not names or words.is_value(names[-1])):
            called = words.wood_named(topic.rsplit("/", 1)[-1])
        if called is None:
            continue
        quantity, unit = called
        fields: dict[str, Any] = {"wood_quantity": quantity, "wood": pointer_of(path)}
        why = _unit(fields, quantity, unit, raw, _unit_beside(document, path))
        reasons = [f"{said(path)} is {SPOKEN[quantity]}: {why}"]
        warm = [one for one in candidates(document)[0] if one.quantity == "temperature"]
        if warm:
            fields["temperature"] = pointer_of(warm[0].path)
            fields |= {} if warm[0].unit is None else {"temperature_unit": warm[0].unit}
            reasons.append(f"{said(warm[0].path)} is taken for the wood's temperature")
        charge = [one for one in candidates(document)[0] if one.quantity == "battery"]
        fields |= {"battery": pointer_of(charge[0].path)} if charge else {}
        fields |= time_of("time", nearest_time(path, time_fields(document)))
        reading = PayloadReading(shape="json", **fields)
        return (SensorPart("", name, reading, (quantity,)),), _sure(why), tuple(reasons)
    return None


def wood_number(topic: str, texts: Sequence[str], name: str) -> Answer | None:
    """The sensor on wood whose messages are bare numbers, by its topic's last level."""
    called = words.wood_named(topic.rsplit("/", 1)[-1])
    if called is None or not texts or not all(is_number(text) for text in texts):
        return None
    quantity, unit = called
    fields: dict[str, Any] = {"wood_quantity": quantity}
    why = _unit(fields, quantity, unit, texts[-1], None)
    reading = PayloadReading(shape="number", **fields)
    named = f"the topic says {quantities.shown(topic.rsplit('/', 1)[-1])}: {SPOKEN[quantity]}, {why}"
    return (SensorPart("", name, reading, (quantity,)),), _sure(why), (named,)


def _sure(why: str) -> float:
    return UNSURE if why == ASK_UNIT else SURE


def _unit(fields: dict[str, Any], quantity: str, named: str | None, raw: object, beside: Path | None) -> str:
    """Note where the unit of a value comes from; said in a sentence."""
    try:
        behind = unit_of(quantity, quantities.number_and_unit(raw)[1])
    except BadPayload:
        behind = None
    if behind is not None:
        return f"the message gives the unit {behind}"
    if beside is not None:
        fields["wood_unit_at"] = pointer_of(beside)
        return f"{said(beside)} gives its unit"
    if named is not None or quantity == "moisture":
        fields["wood_unit"] = named or "%"
        return "in %" if quantity == "moisture" else f"the name says {named}"
    return ASK_UNIT


def _unit_beside(document: Any, path: Path) -> Path | None:
    """The field beside a value that says its unit."""
    home = follow(document, path[:-1])
    keys = [key for key in home if isinstance(key, str)] if isinstance(home, dict) else []
    found = [key for key in keys if words.is_unit_key(key) and isinstance(home[key], str)]
    return (*path[:-1], found[0]) if len(found) == 1 else None
