"""Proposes how an unknown topic is read, with reasons in sentences.

Recognition goes by structure, names, units and ranges, never by a list of products. A person accepts a
proposal; until then no reading comes of it, so here, and only here, a range may speak for a unit.
"""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import msgspec

from ingest.payload import quantities, senml
from ingest.payload.bodies import document_of, text_of
from ingest.payload.pointer import follow, pointer_of
from ingest.payload.quantities import BadPayload
from ingest.payload.shapes import PayloadReading
from ingest.recognise import naming, words
from ingest.recognise.candidates import is_number
from ingest.recognise.devices import device_name, device_path
from ingest.recognise.groups import json_parts
from ingest.recognise.judging import fixed_unit, judge
from ingest.recognise.on_wood import wood_number, wood_part
from ingest.recognise.parts import MOST_PARTS, SPOKEN, Answer, SensorPart, said

MOST_LOOKED_AT = 10
_ANY_TIME = datetime(2024, 1, 1, tzinfo=UTC)  # for resolving packs whose times are of no interest here


class Proposal(msgspec.Struct, frozen=True):
    """How to read a topic, for a person to accept or not.

    Parameters
    ----------
    topic : str
    parts : tuple of SensorPart
        One for each sensor in the messages; each becomes one sensor with one binding. Empty for presence.
    presence : PayloadReading or None
        How an availability topic is read; it belongs to the sensors below `sibling`.
    sibling : str
        What the topics of one sensor share when it sends one quantity a topic, or tells its presence apart:
        proposals with the same `sibling` are one sensor. The topic itself when it sends everything together.
    confidence : float
        0 to 1. Above 0.8 names, ranges and units all agree.
    reasons : tuple of str
        Sentences: what was taken for what and why, and what was left.
    """

    topic: str
    parts: tuple[SensorPart, ...]
    presence: PayloadReading | None
    sibling: str
    confidence: float
    reasons: tuple[str, ...]


def propose(topic: str, payloads: Sequence[bytes]) -> Proposal | None:
    """A proposal for an unknown topic, or None when nothing in it is the air of a place.

    Parameters
    ----------
    topic : str
    payloads : sequence of bytes
        Its last messages, retained ones too; the last ten are looked at.

    Returns
    -------
    Proposal or None
        Never raises, whatever the bytes.
    """
    if words.is_command(topic) or topic.startswith("$"):
        return None
    bodies = [body for body in payloads[-MOST_LOOKED_AT:] if body]
    for look in (_presence, _number, _senml_cbor, _json):
        proposal = look(topic, bodies)
        if proposal is not None:
            return proposal
    return None


def _levels(topic: str) -> list[str]:
    return topic.split("/")


def _naming_level(topic: str) -> int | None:
    """Which level of a topic names a quantity, looking from the end past levels that only say 'value'."""
    levels = _levels(topic)
    for at in range(len(levels) - 1, max(len(levels) - 4, -1), -1):
        meaning = words.meaning_of(levels[at])
        if meaning.unlike is not None:
            return None
        if meaning.quantity in words.MEASURED:
            return at
        if not (words.is_value(levels[at]) or levels[at].isdigit() or levels[at] in {"", "sensor"}):
            return None
    return None


def _sibling(topic: str) -> str:
    """The topic without what names the quantity: the same for both quantities of one sensor."""
    at = _naming_level(topic)
    if at is None:
        return topic
    levels = _levels(topic)
    stem = words.stem_of(levels[at])
    kept = levels[:at] + ([stem] if stem and stem != levels[at] else [])
    return "/".join(kept) or topic


def _presence(topic: str, bodies: Sequence[bytes]) -> Proposal | None:
    last = _levels(topic)[-1].lower().lstrip("$")
    if not bodies or last not in words.PRESENCE_LEVELS or _naming_level(topic) is not None:
        return None
    said = []
    at = None
    for body in bodies:
        try:
            word: object = text_of(body)
            if str(word).startswith("{"):
                document = document_of(body)
                word = document.get("state") if isinstance(document, dict) else None
                at = "/state"
        except BadPayload:
            return None
        if not isinstance(word, str) or word.lower() not in words.ONLINE | words.OFFLINE:
            return None
        # "1", "on" and their like are as often a switch: only a telling topic makes them presence.
        if word.lower() in words.SWITCH_WORDS and last in {"state", "status"}:
            return None
        said.append(word)
    return Proposal(
        topic,
        (),
        PayloadReading(shape="presence", state_at=at),
        "/".join(_levels(topic)[:-1]) or topic,
        0.9,
        (f"says whether the device is connected ({', '.join(sorted(set(said)))}); it brings no readings",),
    )


def _number(topic: str, bodies: Sequence[bytes]) -> Proposal | None:
    at = _naming_level(topic)
    if not bodies:
        return None
    if at is None:
        return _number_on_wood(topic, bodies)
    level = _levels(topic)[at]
    meaning = words.meaning_of(level)
    quantity = str(meaning.quantity)
    try:
        texts = [text_of(body, 256) for body in bodies]
    except BadPayload:
        return None
    guess = judge(quantity, texts, None, meaning.unit)
    if guess is None or not any(map(is_number, texts)):
        return None
    fields = {"shape": "number", "quantity": quantity} | fixed_unit(quantity, guess)
    sibling = _sibling(topic)
    reading = PayloadReading.from_document(fields)
    part = SensorPart("", naming.readable_name(sibling), reading, (quantity,))
    named = f"the topic says {quantities.shown(level)}, and each message is one number: {SPOKEN[quantity]}"
    confidence = (0.55 if meaning.short else 0.85) * guess.weight
    return Proposal(topic, (part,), None, sibling, round(confidence, 2), (named, guess.why))


def _number_on_wood(topic: str, bodies: Sequence[bytes]) -> Proposal | None:
    try:
        texts = [text_of(body, 256) for body in bodies]
    except BadPayload:
        return None
    answer = wood_number(topic, texts, naming.readable_name(topic))
    return None if answer is None else Proposal(topic, answer[0], None, topic, *answer[1:])


def _senml_cbor(topic: str, bodies: Sequence[bytes]) -> Proposal | None:
    if not bodies or not all(0x80 <= body[0] <= 0x9F or body[0] == 0xD9 for body in bodies):
        return None  # a CBOR array, perhaps tagged as CBOR
    try:
        packs = [senml.pack_from_cbor(body) for body in bodies if len(body) <= 65_536]
    except BadPayload:
        return None
    return _senml(topic, packs, PayloadReading(shape="senml-cbor"))


def _senml(topic: str, packs: Sequence[object], reading: PayloadReading) -> Proposal | None:
    found: dict[str, set[str]] = {}
    bare = False
    for pack in packs:
        try:
            records = senml.resolve(pack, _ANY_TIME)
        except BadPayload:
            return None
        for record in records[:500]:
            quantity = senml.quantity_of(record)
            if quantity is not None:
                found.setdefault(senml.sensor_of(record), set()).add(quantity)
                bare = bare or (quantity == "temperature" and not record.unit)
    name = naming.readable_name(topic)
    parts = tuple(
        SensorPart(
            part, f"{name} {naming.readable_name(part)}" if part else name, reading, tuple(sorted(quantity))
        )
        for part, quantity in found.items()
        if quantity & {"temperature", "rh"}
    )
    if not parts:
        return None
    reasons = ["the messages are SenML (RFC 8428), which gives names, units and times"]
    if bare:
        reasons.append("a temperature comes without a unit, so the sensor's setting counts")
    return Proposal(topic, parts, None, topic, 0.8 if bare else 0.95, tuple(reasons))


def _json(topic: str, bodies: Sequence[bytes]) -> Proposal | None:
    documents = []
    for body in bodies:
        try:
            document = document_of(body)
        except BadPayload:
            continue
        if isinstance(document, (dict, list)):
            documents.append(document)
    if not documents:
        return None
    if all(isinstance(doc, list) and doc and _looks_senml(doc) for doc in documents):
        proposal = _senml(topic, documents, PayloadReading(shape="senml-json"))
        if proposal is not None:
            return proposal
    at = _naming_level(topic)
    topic_name = _levels(topic)[at] if at is not None else ""
    parts, confidence, reasons = _of_devices(topic, documents, topic_name)
    if not any("rh" in part.quantities for part in parts):
        on_wood = wood_part(documents, topic, naming.readable_name(topic, documents))
        if on_wood is not None:
            return Proposal(topic, on_wood[0], None, topic, *on_wood[1:])
    if not parts:
        return None
    sibling = topic
    spoken = Counter(quantity for part in parts for quantity in part.quantities)
    if topic_name and len(parts) == 1 and len(spoken) == 1:
        sibling = _sibling(topic)
        parts = (msgspec.structs.replace(parts[0], name=naming.readable_name(sibling, documents)),)
    return Proposal(topic, parts, None, sibling, confidence, reasons)


def _of_devices(topic: str, documents: Sequence[Any], topic_name: str) -> Answer:
    """The sensors in the messages, those of each device by themselves where they name their device."""
    together = json_parts(documents, naming.readable_name(topic, documents), topic_name)
    at = device_path(documents)
    if at is None or any(part.reading.each is not None for part in together[0]):
        return together
    by_device: dict[str, list[Any]] = {}
    for document in documents:
        by_device.setdefault(device_name(follow(document, at)), []).append(document)
    names = {device: naming.readable_name(topic, own) for device, own in by_device.items()}
    parts: list[SensorPart] = []
    confidence, reasons = 1.0, []
    if len(by_device) > 1:
        reasons.append(f"{len(by_device)} devices send here, told apart by {said(at)}: each becomes a sensor")
    for device, own in list(by_device.items())[:MOST_PARTS]:
        name = names[device]
        if list(names.values()).count(name) > 1:
            name = f"{name} {quantities.plain(device, 60)}"
        found, sure, why = json_parts(own, name, topic_name)
        for part in found:
            reading = msgspec.structs.replace(part.reading, part_at=pointer_of(at))
            parts.append(msgspec.structs.replace(part, part=f"{device} {part.part}".strip(), reading=reading))
        if found:
            confidence = min(confidence, sure)
            reasons += why
    return tuple(parts), confidence, tuple(dict.fromkeys(reasons))


def _looks_senml(pack: list[object]) -> bool:
    records = [record for record in pack if isinstance(record, dict)]
    return (
        len(records) == len(pack)
        and any(r.keys() & {"n", "bn"} for r in records)
        and any("v" in r for r in records)
    )
