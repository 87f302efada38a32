"""Sensors known and not yet known, and the one action that makes an unknown topic a sensor."""

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import msgspec
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from ingest.batch import Batch
from ingest.books import BookAway
from ingest.kept import kept_batch
from ingest.naming import readable_name, unique_name
from ingest.payload import PayloadReading
from ingest.quantities import plain
from ingest.recognise import Proposal, propose
from ingest.registry import Registry
from ingest.settings import Limits
from ingest.writer import Writer
from model.records.acceptances import remember_acceptance, remember_place, set_aside
from model.records.clock import Now
from model.records.hangings import hang_sensor
from model.records.places import add_place
from model.records.store import Store
from model.records.tables import Binding, Doubt, HeardMessage, Place, Reading, Sensor
from model.wood.errors import BadInput

LOCK_PATIENCE_S = 30.0


@dataclass(frozen=True)
class KnownSensor:
    """A sensor in use, with what was last heard of it."""

    name: str
    place: str | None
    topics: tuple[str, ...]
    last_observed_at: datetime | None
    temperature_c: float | None
    rh_pct: float | None
    presence: str | None
    battery_pct: float | None
    doubts: tuple[str, ...]  # the reasons of those that stand now


@dataclass(frozen=True)
class HeardTopic:
    """A topic nobody is bound to: its last message, and what it is taken for."""

    topic: str
    kept: int
    last_at: datetime
    last_payload: bytes
    proposal: Proposal | None


@dataclass(frozen=True)
class Accepted:
    """What accepting came to; `number` is that by which it is taken back."""

    sensors: tuple[str, ...]
    topics: tuple[str, ...]
    readings: int
    rejected: int
    number: int


@dataclass
class _Heard:
    """The unknown topics, recognised."""

    proposals: dict[str, Proposal] = field(default_factory=dict)

    def only(self, topic: str, part: str | None) -> "_Heard":
        """The same with one sensor of a topic alone, where one is asked for."""
        whole = self.proposals.get(topic)
        if part is None or whole is None:
            return self
        asked = tuple(each for each in whole.parts if each.part == part)
        if not asked:
            known = ", ".join(plain(each.part) for each in whole.parts)
            raise BadInput(plain(topic), "part", f"must be one of {known}", plain(part))
        return _Heard(self.proposals | {topic: msgspec.structs.replace(whole, parts=asked)})

    def sharing(self, sibling: str) -> list[Proposal]:
        """The proposals that are one sensor, its presence included."""
        return [p for p in self.proposals.values() if p.sibling == sibling and p.parts] + [
            p for p in self.proposals.values() if p.presence and _below(sibling, p.sibling)
        ]


def known_and_heard(store: Store) -> tuple[list[KnownSensor], list[HeardTopic]]:
    """The sensors in use by name, and the unknown topics, the last heard first."""
    with store.session() as session:
        known = [_known(session, sensor) for sensor in _in_use(session)]
        heard = []
        names = dict.fromkeys(session.scalars(select(Sensor.name)), "")
        rows = session.execute(
            select(HeardMessage.topic, func.count(), func.max(HeardMessage.id))
            .group_by(HeardMessage.topic)
            .order_by(HeardMessage.topic)
        ).all()
        for topic, kept, last_id in rows:
            last = session.get_one(HeardMessage, last_id)
            proposal = _named_apart(_proposed(session, topic), names)
            heard.append(HeardTopic(topic, kept, last.received_at, last.payload, proposal))
    return known, sorted(heard, key=lambda topic: topic.last_at, reverse=True)


def _named_apart(proposal: Proposal | None, names: dict[str, str]) -> Proposal | None:
    """A proposal whose names are no sensor's and no other proposal's; topics of one sensor share theirs.

    `names` tells whose each name is: the part and the sibling it was proposed for, "" for a known sensor.
    """
    if proposal is None:
        return None
    parts = []
    for part in proposal.parts:
        whose = f"{part.part} {proposal.sibling}"
        name = unique_name(part.name, {name for name, other in names.items() if other != whose})
        names[name] = whose
        parts.append(msgspec.structs.replace(part, name=name))
    return msgspec.structs.replace(proposal, parts=tuple(parts))


def accept(
    store: Store,
    topic: str,
    *,
    now: Now,
    part: str | None = None,
    name: str | None = None,
    place: str | None = None,
    place_kind: str = "home",
    temperature_unit: str = "C",
    zone: str = "UTC",
    reading: PayloadReading | None = None,
    limits: Limits | None = None,
) -> Accepted:
    """Make a sensor (several, if the messages speak of several) of an unknown topic.

    Topics that share the sensor, one quantity each or its presence, are bound with it. The messages kept of
    them become readings.

    Parameters
    ----------
    part : str, optional
        Of several sensors in the messages only this one; the others stay listed.
    name : str, optional
        The sensor's, and of several what stands before each one's own; by default the one proposed. A sensor
        on record that has no topic yet, such as one that was hung in another's place, may be named.
    place : str, optional
        Where it hangs, since its first kept reading; a place not known yet is made, of `place_kind`. Without
        one the readings are stored and belong to no place until the sensor is hung.
    temperature_unit, zone : str
        Used when the payload names none.
    reading : PayloadReading, optional
        How to read the payload, in place of what is recognised.

    Raises
    ------
    BadInput
        If the topic is not among the unknown ones, nothing is recognised in it, or the name is taken.
    """
    limits = limits or Limits()
    with store.session() as session:
        heard = _recognise(session)
        if not session.scalar(select(HeardMessage.id).where(HeardMessage.topic == topic).limit(1)):
            raise BadInput(
                "sensors", "topic", "must be one of the unknown topics that were heard", plain(topic)
            )
        before = {sensor.id for sensor in _in_use(session)}
        if reading is not None:
            bound = _bind_by_hand(session, topic, reading, name, temperature_unit, zone, now())
        else:
            bound = _bind(session, heard.only(topic, part), topic, name, temperature_unit, zone, now())
        names = tuple(sensor.name for sensor in bound.sensors)
        numbers = [sensor.id for sensor in bound.sensors]
        made = [sensor for sensor in bound.sensors if sensor.id not in before]
        number = remember_acceptance(session, made, bound.bindings, bound.topics, now())
    batch, changed = _turn_kept(store, bound.topics, limits, now)
    if place is not None:
        with store.session() as session:
            known = session.scalar(select(Place.id).where(Place.name == place))
            hung_at = place_named(session, place, place_kind, zone)
            if known is None:
                remember_place(session, number, hung_at)
            for sensor_id in numbers:
                sensor = session.get_one(Sensor, sensor_id)
                first = session.scalar(
                    select(func.min(Reading.observed_at)).where(Reading.sensor_id == sensor_id)
                )
                if not sensor.hangings:
                    hang_sensor(session, sensor, hung_at, first or now())
    return Accepted(names, tuple(bound.topics), changed, len(batch.refused), number)


def accept_all(
    store: Store,
    *,
    now: Now,
    place: str | None = None,
    place_kind: str = "home",
    limits: Limits | None = None,
) -> list[Accepted]:
    """Accept every unknown topic in which something is recognised; what is not stays listed."""
    done: list[Accepted] = []
    bound: set[str] = set()
    with store.session() as session:
        topics = [proposal.topic for proposal in _recognise(session).proposals.values() if proposal.parts]
    for topic in topics:
        if topic not in bound:
            accepted = accept(store, topic, now=now, place=place, place_kind=place_kind, limits=limits)
            bound.update(accepted.topics)
            done.append(accepted)
    return done


# ---------------------------------------------------------------- binding


def _recognise(session: Session) -> _Heard:
    topics = session.scalars(select(HeardMessage.topic).distinct().order_by(HeardMessage.topic))
    found = ((topic, _proposed(session, topic)) for topic in topics)
    return _Heard({topic: proposal for topic, proposal in found if proposal is not None})


def _proposed(session: Session, topic: str) -> Proposal | None:
    """What an unknown topic is taken for; of one that sensors share, those that nobody accepted yet."""
    proposal = propose(topic, _payloads(session, topic))
    bound = [
        binding
        for binding in session.scalars(select(Binding).where(Binding.topic == topic))
        if binding.payload.get("shape") != "presence"
    ]
    if proposal is None or not bound:
        return proposal
    known = {binding.part for binding in bound}
    named = any("part_at" in binding.payload for binding in bound)
    # A reading that asks for no name would take every device's messages for its own.
    parts = tuple(
        part
        for part in proposal.parts
        if part.part not in known and (part.reading.part_at is not None or not named)
    )
    return msgspec.structs.replace(proposal, parts=parts) if parts else None


def _payloads(session: Session, topic: str) -> Sequence[bytes]:
    return session.scalars(
        select(HeardMessage.payload).where(HeardMessage.topic == topic).order_by(HeardMessage.id)
    ).all()


@dataclass
class _Bound:
    """The sensors of an acceptance, with the bindings that are new and the topics of these."""

    sensors: list[Sensor] = field(default_factory=list)
    bindings: list[Binding] = field(default_factory=list)
    topics: list[str] = field(default_factory=list)

    def bind(self, sensor: Sensor, topic: str, reading: PayloadReading, part: str = "") -> None:
        binding = Binding(topic=topic, part=part, payload=reading.to_document())
        sensor.bindings.append(binding)
        self.bindings.append(binding)
        if sensor not in self.sensors:
            self.sensors.append(sensor)
        if topic not in self.topics:
            self.topics.append(topic)


def _bind(
    session: Session, heard: _Heard, topic: str, name: str | None, unit: str, zone: str, at: datetime
) -> _Bound:
    chosen = heard.proposals.get(topic)
    if chosen is None:
        raise BadInput(plain(topic), "messages", "hold nothing that is recognised as a place's air", "none")
    if not chosen.parts:
        return _bind_presence(session, chosen)
    bound = _Bound()
    sensors: dict[str, Sensor] = {}
    alone = len(chosen.parts) == 1
    before = _sensor_of_siblings(session, chosen) if alone else None
    for proposal in heard.sharing(chosen.sibling):
        for part in proposal.parts:
            key = "" if alone else part.part
            if key not in sensors:
                wanted = name if alone or name is None else f"{name} {part.part}"
                waiting = set_aside(session, proposal.topic, part.part) if before is None else None
                sensors[key] = before or _sensor_named(session, wanted, part.name, unit, zone, at, waiting)
            bound.bind(sensors[key], proposal.topic, part.reading, part.part)
        if proposal.presence is not None:
            for sensor in sensors.values():
                bound.bind(sensor, proposal.topic, proposal.presence)
    session.flush()
    return bound


def _bind_presence(session: Session, chosen: Proposal) -> _Bound:
    assert chosen.presence is not None
    sensors = [
        sensor
        for sensor in _in_use(session)
        if any(_below(binding.topic, chosen.sibling) for binding in sensor.bindings)
    ]
    if not sensors:
        raise BadInput(
            plain(chosen.topic), "presence", "needs its sensor to be accepted first", "no sensor yet"
        )
    bound = _Bound()
    for sensor in sensors:
        bound.bind(sensor, chosen.topic, chosen.presence)
    session.flush()
    return bound


def _bind_by_hand(
    session: Session,
    topic: str,
    reading: PayloadReading,
    name: str | None,
    unit: str,
    zone: str,
    at: datetime,
) -> _Bound:
    waiting = set_aside(session, topic, reading.part)
    bound = _Bound()
    sensor = _sensor_named(session, name, readable_name(topic), unit, zone, at, waiting)
    bound.bind(sensor, topic, reading, reading.part)
    session.flush()
    return bound


def _sensor_of_siblings(session: Session, chosen: Proposal) -> Sensor | None:
    """The sensor that already has another topic of the same family, when its quantities come apart."""
    if chosen.parts[0].reading.shape != "number":
        return None
    for sensor in _in_use(session):
        for binding in sensor.bindings:
            # Any plausible number will do: what a bare number's topic belongs to is told by the topic alone.
            known = propose(binding.topic, [b"20"]) if binding.payload.get("shape") == "number" else None
            if known is not None and known.sibling == chosen.sibling:
                return sensor
    return None


def _sensor_named(
    session: Session,
    wanted: str | None,
    proposed: str,
    unit: str,
    zone: str,
    at: datetime,
    waiting: Sensor | None = None,
) -> Sensor:
    """The sensor for a topic: the one that waits for it, else that name's without a topic, else a new one."""
    others = {row.name: row for row in session.scalars(select(Sensor)) if row is not waiting}
    known = others.get(wanted) if wanted is not None else None
    if known is not None and waiting is None and known.retired_at is None and not known.bindings:
        known.temperature_unit, known.zone = unit, zone
        return known
    if known is not None:
        raise BadInput("sensors", "name", "must not be another sensor's", wanted)
    sensor = waiting if waiting is not None else Sensor()
    sensor.name = wanted if wanted is not None else unique_name(proposed, others)
    sensor.temperature_unit, sensor.zone, sensor.accepted_at = unit, zone, at
    session.add(sensor)
    session.flush()
    return sensor


def place_named(session: Session, name: str, kind: str = "home", zone: str = "UTC") -> Place:
    """The place of that name; made, of that kind, when there is none."""
    place = session.scalars(select(Place).where(Place.name == name)).one_or_none()
    return place if place is not None else add_place(session, name, kind, zone=zone)


def _below(topic: str, parent: str) -> bool:
    return topic == parent or topic.startswith(f"{parent}/")


# ---------------------------------------------------------------- the rest


def _turn_kept(store: Store, topics: list[str], limits: Limits, now: Now) -> tuple[Batch, int]:
    writer, registry = Writer(store, limits), Registry()
    try:
        deadline = time.monotonic() + LOCK_PATIENCE_S
        while True:
            try:
                registry.refresh(writer.book)
                batch = kept_batch(writer.book, registry, limits, now, topics)
                return batch, writer.write(batch)
            except BookAway:
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.05)
    finally:
        writer.drop()


def _in_use(session: Session) -> list[Sensor]:
    return list(session.scalars(select(Sensor).where(Sensor.retired_at.is_(None)).order_by(Sensor.name)))


def _known(session: Session, sensor: Sensor) -> KnownSensor:
    last = session.scalars(
        select(Reading)
        .where(Reading.sensor_id == sensor.id)
        .order_by(Reading.observed_at.desc(), *Reading.smaller_first())
        .limit(1)
    ).one_or_none()
    hung = next((hanging.place_id for hanging in sensor.hangings if hanging.until_at is None), None)
    doubts = session.scalars(
        select(Doubt.reason).where(
            Doubt.sensor_id == sensor.id, Doubt.undone_at.is_(None), Doubt.until_at.is_(None)
        )
    )
    return KnownSensor(
        name=sensor.name,
        place=None if hung is None else session.get_one(Place, hung).name,
        topics=tuple(sorted({binding.topic for binding in sensor.bindings})),
        last_observed_at=last.observed_at if last else None,
        temperature_c=last.temperature_c if last else None,
        rh_pct=last.rh_pct if last else None,
        presence=sensor.presence,
        battery_pct=sensor.battery_pct,
        doubts=tuple(doubts),
    )
