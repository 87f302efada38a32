"""Makes sensors of an unknown topic, and readings of the messages kept of it."""

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from ingest.mqtt.batch import WriteBatch
from ingest.mqtt.intake import unbound_batch
from ingest.mqtt.registry import Registry
from ingest.payload.quantities import plain
from ingest.payload.shapes import PayloadReading
from ingest.recognise.listing import below, only, recognised, sharing, unknown_topic
from ingest.recognise.naming import readable_name, unique_name
from ingest.recognise.on_wood_accepted import for_wood, refuse_mixed
from ingest.recognise.parts import SensorPart
from ingest.recognise.proposal import Proposal, propose
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.acts.acceptances import ACCEPTANCE, keep_messages, set_aside
from model.records.acts.dismissed import waiting
from model.records.acts.hangings import hang_sensor
from model.records.acts.mounts import BindTo, bound_to, mount_sensor
from model.records.acts.places import add_place
from model.records.acts.revisions import recorded, take_back
from model.records.clock import Now
from model.records.schema.tables import Binding, HeardMessage, Place, Reading, Sensor, WoodReading
from model.records.store import Store
from model.wood.errors import BadInput

LOCK_PATIENCE_S = 30.0


@dataclass(frozen=True)
class HungAt:
    """Where a sensor hangs since when; `place` is none where it hangs nowhere."""

    sensor: str
    place: str | None = None
    since_at: datetime | None = None
    zone: str = "UTC"
    is_new: bool = False  # whether the place was made with it
    joined: bool = False  # whether the sensor had a topic before
    wood: str | None = None  # what it is bound to in place of a place


@dataclass(frozen=True)
class Accepted:
    """What accepting came to; `number` is that by which it is taken back, `hung` one entry a sensor."""

    sensors: tuple[str, ...]
    topics: tuple[str, ...]
    readings: int
    rejected: int
    number: int
    hung: tuple[HungAt, ...] = ()


def accept(
    store: Store,
    topic: str,
    *,
    now: Now,
    part: str | None = None,
    name: str | None = None,
    place: str | None = None,
    place_kind: str | None = None,
    temperature_unit: str = "C",
    zone: str = "UTC",
    reading: PayloadReading | None = None,
    on: BindTo | None = None,
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
        on record that has no topic yet, or that fell silent before this topic began, may be named.
    place : str, optional
        Where it hangs, since its first kept reading; a place not known yet is made, of `place_kind`, which
        then must be given. Without one the readings belong to no place until the sensor is hung.
    temperature_unit, zone : str
        Used when the payload names none.
    reading : PayloadReading, optional
        How to read the payload, in place of what is recognised.
    on : BindTo, optional
        What a scale, a probe or a gauge is bound to, in place of a place, since its first kept reading.

    Raises
    ------
    BadInput
        If the topic is not among the unknown ones, nothing is recognised in it, or the name is taken; if a
        sensor on wood isn't bound to any, or one of air is.
    """
    with store.session() as session, recorded(session, ACCEPTANCE, now()) as revision:
        if not session.scalar(select(HeardMessage.id).where(HeardMessage.topic == topic, waiting()).limit(1)):
            raise unknown_topic(topic)
        proposals: Mapping[str, Proposal]
        if reading is not None:
            by_hand = SensorPart(reading.part, readable_name(topic), reading, ())
            proposals = {topic: Proposal(topic, (by_hand,), None, topic, 1.0, ())}
        else:
            proposals = only(recognised(session), topic, part)
        proposals = for_wood(proposals, topic, on)
        bound = _bind(session, proposals, topic, name, temperature_unit, zone, now())
        names = tuple(sensor.name for sensor in bound.sensors)
        numbers = [sensor.id for sensor in bound.sensors]
        is_new = place is not None and find_place(session, place) is None
        where = None if place is None else place_named(session, place, place_kind, zone).id
        joined = {one.id for one in bound.sensors if any(b not in bound.bindings for b in one.bindings)}
        refuse_mixed(bound.sensors, joined, is_wood=on is not None)
        keep_messages(session, revision, bound.topics)
        number = revision.id
    batch, changed = _turn_kept(store, bound.topics, now)
    try:
        with store.session() as session, recorded(session, ACCEPTANCE, now(), of=number):
            sensors = [session.get_one(Sensor, sensor_id) for sensor_id in numbers]
            for sensor in sensors:
                kind = Reading if on is None else WoodReading
                wanted = select(func.min(kind.observed_at)).where(kind.sensor_id == sensor.id)
                first = session.scalar(wanted) or now()
                if on is not None:
                    mount_sensor(session, sensor, on.wood(session), on.quantity, first, on.ties)
                elif where is not None and not sensor.hangings:
                    hang_sensor(session, sensor, session.get_one(Place, where), first)
            hung = tuple(_hung(sensor, is_new, sensor.id in joined) for sensor in sensors)
    except BadInput:
        with store.session() as session:
            take_back(session, number, now())  # it can't be tied so: the topic waits as before
        raise
    return Accepted(names, tuple(bound.topics), changed, len(batch.refused), number, hung)


def _hung(sensor: Sensor, is_new: bool, joined: bool) -> HungAt:
    mount = next((mount for mount in sensor.mounts if mount.until_at is None), None)
    if mount is not None:
        wood = bound_to(mount).said
        return HungAt(sensor.name, None, mount.since_at, wood=wood, joined=joined)
    last = max(sensor.hangings, key=lambda hanging: hanging.since_at, default=None)
    if last is None or last.until_at is not None:
        return HungAt(sensor.name, joined=joined)
    return HungAt(sensor.name, last.place.name, last.since_at, last.place.zone, is_new, joined)


def accept_all(
    store: Store,
    *,
    now: Now,
    place: str | None = None,
    place_kind: str | None = None,
) -> list[Accepted]:
    """Accept every unknown topic in which something is recognised; what is not stays listed."""
    done: list[Accepted] = []
    bound: set[str] = set()
    with store.session() as session:
        # What a sensor on wood is bound to, only a person can say.
        topics = [
            proposal.topic
            for proposal in recognised(session).values()
            if proposal.parts and all(part.reading.wood_quantity is None for part in proposal.parts)
        ]
    for topic in topics:
        if topic not in bound:
            accepted = accept(store, topic, now=now, place=place, place_kind=place_kind)
            bound.update(accepted.topics)
            done.append(accepted)
    return done


# ---------------------------------------------------------------- binding


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
    session: Session,
    proposals: Mapping[str, Proposal],
    topic: str,
    name: str | None,
    unit: str,
    zone: str,
    at: datetime,
) -> _Bound:
    chosen = proposals.get(topic)
    if chosen is None:
        raise BadInput(plain(topic), "messages", "hold nothing that is recognised as a place's air", "none")
    if not chosen.parts:
        return _bind_presence(session, chosen)
    bound = _Bound()
    sensors: dict[str, Sensor] = {}
    alone = len(chosen.parts) == 1
    before = _sensor_of_siblings(session, chosen) if alone else None
    for proposal in sharing(proposals, chosen.sibling):
        for part in proposal.parts:
            key = "" if alone else part.part
            if key not in sensors:
                wanted = name if alone or name is None else f"{name} {part.part}"
                waiting = set_aside(session, proposal.topic, part.part) if before is None else None
                sensors[key] = before or _sensor_named(
                    session, wanted, part.name, unit, zone, at, proposal.topic, waiting
                )
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
        if any(below(binding.topic, chosen.sibling) for binding in sensor.bindings)
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
    topic: str,
    waiting: Sensor | None = None,
) -> Sensor:
    """The sensor for a topic: the one that waits for it, else that name's that is silent, else a new one."""
    others = {row.name: row for row in session.scalars(select(Sensor)) if row is not waiting}
    known = others.get(wanted) if wanted is not None else None
    if known is not None and waiting is None and known.retired_at is None and not known.bindings:
        known.temperature_unit, known.zone = unit, zone
        return known
    if known is not None and waiting is None and known.retired_at is None:
        if not _fell_silent_before(session, known, topic, at):
            rule = "must not be another sensor's, unless that one has been silent for an hour"
            raise BadInput("sensors", "name", rule, wanted)
        return known
    if known is not None:
        raise BadInput("sensors", "name", "must not be another sensor's", wanted)
    sensor = waiting if waiting is not None else Sensor()
    sensor.name = wanted if wanted is not None else unique_name(proposed, others)
    sensor.temperature_unit, sensor.zone, sensor.accepted_at = unit, zone, at
    session.add(sensor)
    session.flush()
    return sensor


def _fell_silent_before(session: Session, sensor: Sensor, topic: str, at: datetime) -> bool:
    """Whether a sensor was last heard before a topic began, and is silent since: it may be its new topic."""
    began = session.scalar(select(func.min(HeardMessage.received_at)).where(HeardMessage.topic == topic))
    last = session.scalar(select(func.max(Reading.received_at)).where(Reading.sensor_id == sensor.id))
    return began is not None and (last is None or last < min(began, at - SILENT))


SILENT = timedelta(hours=1)


def place_named(session: Session, name: str, kind: str | None, zone: str = "UTC") -> Place:
    """The place of that name, however it is capitalised; made, of that kind, when there is none."""
    return require_kind(session, name, kind) or add_place(session, name, str(kind), zone=zone)


def require_kind(session: Session, name: str, kind: str | None) -> Place | None:
    """The place of that name, if there is one; a new one must say its kind: each is judged differently."""
    found = find_place(session, name)
    if found is None and kind is None:
        rule = "must be given for a place not recorded yet: shop, storage or home (--kind)"
        raise BadInput(f"place {plain(name)}", "kind", rule, "none")
    return found


def find_place(session: Session, name: str) -> Place | None:
    """The place of that name, however it is capitalised."""
    places = session.scalars(select(Place)).all()
    exact = next((place for place in places if place.name == name), None)
    return exact or next((place for place in places if place.name.casefold() == name.casefold()), None)


# ---------------------------------------------------------------- the rest


def _turn_kept(store: Store, topics: list[str], now: Now) -> tuple[WriteBatch, int]:
    limits = Limits()
    writer, registry = Writer(store, limits), Registry()
    try:
        deadline = time.monotonic() + LOCK_PATIENCE_S
        while True:
            try:
                registry.refresh(writer.bulk)
                batch = unbound_batch(writer.bulk, registry, limits, now, topics)
                return batch, writer.write(batch)
            except DBAPIError:
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.05)
    finally:
        writer.drop()


def _in_use(session: Session) -> list[Sensor]:
    return list(session.scalars(select(Sensor).where(Sensor.retired_at.is_(None)).order_by(Sensor.name)))
