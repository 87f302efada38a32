"""Lists the unknown topics with what is recognised in them, and reads one as a person says."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

import msgspec
from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from ingest.payload.bodies import document_of, text_of
from ingest.payload.decode import read
from ingest.payload.pointer import follow, pointer_of, tokens
from ingest.payload.quantities import BadPayload, plain, shown
from ingest.payload.shapes import Observed, PayloadReading
from ingest.recognise.candidates import is_number, leaves, time_fields
from ingest.recognise.naming import unique_name
from ingest.recognise.parts import nearest_time
from ingest.recognise.proposal import MOST_LOOKED_AT, Proposal, propose
from model.records.acts.dismissed import waiting
from model.records.schema.tables import Binding, HeardMessage, Sensor
from model.records.store import Store
from model.wood.errors import BadInput

MOST_FIELDS = 200


@dataclass(frozen=True)
class ListedTopic:
    """A topic nobody is bound to: its last message, and what it is taken for."""

    topic: str
    kept: int
    last_at: datetime
    last_payload: bytes
    proposal: Proposal | None

    @property
    def fields(self) -> tuple[tuple[str, str], ...]:
        """Where each number of the last message stands (JSON Pointer), and the number as it is written."""
        return fields_of(self.topic, self.last_payload)


@dataclass(frozen=True)
class ByHand:
    """How a person says that a topic is read, and what its last message comes to."""

    reading: PayloadReading
    seen: tuple[Observed, ...]


def only(proposals: Mapping[str, Proposal], topic: str, part: str | None) -> Mapping[str, Proposal]:
    """The same proposals with one sensor of a topic alone, where one is asked for."""
    whole = proposals.get(topic)
    if part is None or whole is None:
        return proposals
    asked = tuple(each for each in whole.parts if each.part == part)
    if not asked:
        known = ", ".join(plain(each.part) for each in whole.parts)
        raise BadInput(plain(topic), "part", f"must be one of {known}", plain(part))
    return {**proposals, topic: msgspec.structs.replace(whole, parts=asked)}


def sharing(proposals: Mapping[str, Proposal], sibling: str) -> list[Proposal]:
    """The proposals that are one sensor, its presence included."""
    sensors = [one for one in proposals.values() if one.sibling == sibling and one.parts]
    return sensors + [one for one in proposals.values() if one.presence and below(sibling, one.sibling)]


def below(topic: str, parent: str) -> bool:
    """Whether a topic is another, or stands under it."""
    return topic == parent or topic.startswith(f"{parent}/")


def recognised(session: Session) -> dict[str, Proposal]:
    """What is recognised in the unknown topics, by topic."""
    taken = _taken(session)
    found = (
        (topic, _left(_proposed(topic, bodies), taken[topic]))
        for topic, bodies in sorted(_last_bodies(session).items())
    )
    return {topic: proposal for topic, proposal in found if proposal is not None}


def unbound_topics(store: Store) -> list[ListedTopic]:
    """The unknown topics that are not dismissed, the last heard first."""
    with store.session() as session:
        names = dict.fromkeys(session.scalars(select(Sensor.name)), "")
        bodies, taken = _last_bodies(session), _taken(session)
        newest = (
            select(HeardMessage.topic, func.count().label("kept"), func.max(HeardMessage.id).label("last_id"))
            .where(waiting())
            .group_by(HeardMessage.topic)
            .subquery()
        )
        rows = session.execute(
            select(newest.c.topic, newest.c.kept, HeardMessage.received_at, HeardMessage.payload)
            .join(HeardMessage, HeardMessage.id == newest.c.last_id)
            .order_by(newest.c.topic)
        ).all()
    heard = [
        ListedTopic(
            topic,
            kept,
            at,
            payload,
            _named_apart(_left(_proposed(topic, bodies[topic]), taken[topic]), names),
        )
        for topic, kept, at, payload in rows
    ]
    return sorted(heard, key=lambda topic: topic.last_at, reverse=True)


def _last_bodies(session: Session) -> dict[str, tuple[bytes, ...]]:
    """The last messages of each unknown topic, as many as are looked at, in the order they came."""
    place = func.row_number().over(partition_by=HeardMessage.topic, order_by=HeardMessage.id.desc())
    ranked = select(HeardMessage.id, place.label("place")).where(waiting()).subquery()
    wanted: ColumnElement[bool] = ranked.c.place <= MOST_LOOKED_AT
    bodies: defaultdict[str, list[bytes]] = defaultdict(list)
    for topic, payload in session.execute(
        select(HeardMessage.topic, HeardMessage.payload)
        .join(ranked, ranked.c.id == HeardMessage.id)
        .where(wanted)
        .order_by(HeardMessage.id)
    ):
        bodies[topic].append(payload)
    return {topic: tuple(found) for topic, found in bodies.items()}


@lru_cache(maxsize=1_024)
def _proposed(topic: str, bodies: tuple[bytes, ...]) -> Proposal | None:
    """What is recognised in these messages; known again for a topic that has not spoken since."""
    return propose(topic, bodies)


@dataclass
class _Taken:
    """What is accepted already of a topic that several sensors share: their parts, and whether by name."""

    parts: set[str] = field(default_factory=set)
    by_name: bool = False


def _taken(session: Session) -> defaultdict[str, _Taken]:
    """By waiting topic: one that several sensors share waits for those nobody accepted yet."""
    taken: defaultdict[str, _Taken] = defaultdict(_Taken)
    heard = select(HeardMessage.topic).where(waiting())
    for binding in session.scalars(select(Binding).where(Binding.topic.in_(heard))):
        if binding.payload.get("shape") != "presence":
            taken[binding.topic].parts.add(binding.part)
            taken[binding.topic].by_name |= "part_at" in binding.payload
    return taken


def _left(proposal: Proposal | None, taken: _Taken) -> Proposal | None:
    """A proposal without the sensors that are accepted already."""
    if proposal is None or not taken.parts:
        return proposal
    # A reading that asks for no name would take every device's messages for its own.
    parts = tuple(
        part
        for part in proposal.parts
        if part.part not in taken.parts and (part.reading.part_at is not None or not taken.by_name)
    )
    return msgspec.structs.replace(proposal, parts=parts) if parts else None


def _named_apart(proposal: Proposal | None, names: dict[str, str]) -> Proposal | None:
    """A proposal whose names are no sensor's and no other proposal's; topics of one sensor share theirs.

    `names` tells whose each name is: the part and the sibling it was proposed for, "" for a known sensor.
    """
    if proposal is None:
        return None
    parts = []
    for part in proposal.parts:
        whose = f"{part.part} {proposal.sibling}"
        name = part.name
        if names.get(name, whose) != whose:
            name = unique_name(name, {name for name, other in names.items() if other != whose})
        names[name] = whose
        parts.append(msgspec.structs.replace(part, name=name))
    return msgspec.structs.replace(proposal, parts=tuple(parts))


# ---------------------------------------------------------------- by hand


def fields_of(topic: str, payload: bytes) -> tuple[tuple[str, str], ...]:
    """The numbers in a message, each by its JSON Pointer; a bare one's is empty. None where it holds none."""
    try:
        document = document_of(payload)
    except BadPayload:
        try:
            document = text_of(payload)
        except BadPayload:
            return ()
    numbers = [leaf for leaf in leaves(document) if not isinstance(leaf.raw, bool) and is_number(leaf.raw)]
    return tuple((pointer_of(leaf.path), shown(leaf.raw)) for leaf in numbers[:MOST_FIELDS])


def read_by_hand(
    store: Store,
    topic: str,
    *,
    temperature: str = "",
    rh: str = "",
    temperature_unit: str = "C",
    rh_unit: str = "%",
    zone: str = "UTC",
) -> ByHand:
    """How an unknown topic is read where a person says which field is what. Nothing is stored.

    Parameters
    ----------
    temperature, rh : str
        JSON Pointer (RFC 6901) of the field; empty for a quantity that is not sent. A message that is a bare
        number has one field, and `/` stands for it.
    temperature_unit : str
        C, F or K.
    rh_unit : str
        ``%`` or ``ratio``.

    Raises
    ------
    BadInput
        If no field is named, the topic is not waiting, or its last message can't be read so.
    """
    with store.session() as session:
        last = session.execute(
            select(HeardMessage.payload, HeardMessage.received_at, HeardMessage.retained)
            .where(HeardMessage.topic == topic, waiting())
            .order_by(HeardMessage.id.desc())
            .limit(1)
        ).first()
    if last is None:
        raise unknown_topic(topic)
    if not temperature and not rh:
        raise BadInput(plain(topic), "temperature or humidity", "must be one of its fields", "nothing")
    is_bare = [pointer for pointer, _ in fields_of(topic, last.payload)] == [""]
    units = {"temperature_unit": temperature_unit, "rh_unit": rh_unit}
    try:
        if is_bare:
            if temperature and rh:
                raise BadInput(plain(topic), "its one number", "must be temperature or humidity", "both")
            quantity = "temperature" if temperature else "rh"
            reading = PayloadReading.from_document({"shape": "number", "quantity": quantity, **units})
        else:
            document = document_of(last.payload)
            told = {"temperature": temperature, "rh": rh}
            named = {key: pointer for key, pointer in told.items() if pointer}
            time = nearest_time(tokens(next(iter(named.values()))), time_fields(document))
            if time is not None:
                named["time"] = pointer_of(time)
            reading = PayloadReading.from_document({"shape": "json", **named, **units})
            for pointer in (temperature, rh):
                if pointer and not is_number(follow(document, tokens(pointer))):
                    rule = "must lead to a number of its last message"
                    raise BadInput(plain(topic), plain(pointer), rule, "none")
        seen = read(topic, last.payload, reading, last.received_at, zone=zone, retained=last.retained)
    except BadPayload as error:
        raise BadInput(plain(topic), plain(error.field), error.problem, shown(error.got)) from None
    except ValueError as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput(plain(topic), "its reading", "can't be used", plain(str(error))) from None
    return ByHand(reading, tuple(seen))


def unknown_topic(topic: str) -> BadInput:
    """The refusal of a topic that is not waiting to be accepted."""
    return BadInput("sensors", "topic", "must be one of the unknown topics that were heard", plain(topic))
