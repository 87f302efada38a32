"""How an unknown topic that was made a sensor becomes an unknown topic again, and nothing that came is lost.

What accepting made is remembered for a week. Taken back, the messages that were kept are kept again and the
readings made of them go. A reading that came later has no message to go back to: then the sensor is set
aside, out of sight, and whoever accepts the topic again finds it with all it ever sent.
"""

import base64
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from model.records.hangings import undo_hanging
from model.records.places import remove_place
from model.records.rewind import mark_hours, note_change
from model.records.tables import Binding, HeardMessage, Place, Preference, Reading, Sensor
from model.records.trusted import take_turn
from model.records.types import from_epoch_ms, to_epoch_ms
from model.records.unchanged import forget_subject, refuse_if_used, use_of
from model.wood.errors import BadInput

ASIDE = "sensors set aside"
"""Name of the preference that lists the sensors that wait for their topic: topic, part, sensor."""
REMEMBERED = timedelta(days=7)
PREFIX = "acceptance "
QUANTITIES = {"temperature": "temperature_c", "rh": "rh_pct"}
NO_SYNC = {"synchronize_session": False}


@dataclass(frozen=True)
class TakenBack:
    """What taking an acceptance back came to.

    Attributes
    ----------
    topics : tuple of str
        Those that wait to be accepted again.
    sensors : tuple of str
        The names of the sensors that are no longer in use.
    place_stays : str
        Why the place that was made with them stays in the book; empty when none was or it went.
    place_gone : str
        The name of the place that went with them; empty when none did.
    """

    topics: tuple[str, ...]
    sensors: tuple[str, ...]
    place_stays: str = ""
    place_gone: str = ""


def remember_acceptance(
    session: Session,
    made: Collection[Sensor],
    bindings: Sequence[Binding],
    topics: Sequence[str],
    at: datetime,
) -> int:
    """Keep what is needed to take an acceptance back; before its kept messages are turned.

    Parameters
    ----------
    made : sensors
        Those that are new, or were set aside until now; not one that was in use already.
    bindings : sequence of Binding
        Those that are new, flushed.

    Returns
    -------
    int
        The number it is taken back by.
    """
    messages = session.scalars(
        select(HeardMessage).where(HeardMessage.topic.in_(topics)).order_by(HeardMessage.id)
    )
    value = {
        "at_ms": to_epoch_ms(at),
        "made": [sensor.id for sensor in made],
        "bindings": [binding.id for binding in bindings],
        "topics": list(topics),
        "messages": [
            [
                row.topic,
                base64.b64encode(row.payload).decode("ascii"),
                row.retained,
                to_epoch_ms(row.received_at),
            ]
            for row in messages
        ],
    }
    for old in session.scalars(select(Preference).where(Preference.name.startswith(PREFIX))).all():
        if from_epoch_ms(int(old.value["at_ms"])) < at - REMEMBERED:
            session.delete(old)
    number = bindings[0].id
    session.merge(Preference(name=f"{PREFIX}{number}", value=value))
    session.flush()
    return number


def remember_place(session: Session, number: int, place: Place) -> None:
    """The place that was made with an acceptance."""
    kept = session.get_one(Preference, f"{PREFIX}{number}")
    kept.value = {**kept.value, "place": place.id}


def take_back_acceptance(session: Session, number: int, at: datetime) -> TakenBack:
    """Make the topics of an acceptance unknown again, with the messages that were kept of them.

    Raises
    ------
    BadInput
        If it is forgotten, or a person did something with one of its sensors since: hung it elsewhere,
        checked it over salt, doubted it, swapped it, bound more to it.
    """
    kept = session.get(Preference, f"{PREFIX}{number}")
    if kept is None:
        raise BadInput("", "this acceptance", "can't be taken back any more", "nothing")
    value = kept.value
    bindings = [binding for id_ in value["bindings"] if (binding := session.get(Binding, id_)) is not None]
    made = [sensor for id_ in value["made"] if (sensor := session.get(Sensor, id_)) is not None]
    if len(bindings) < len(value["bindings"]) or len(made) < len(value["made"]):
        raise BadInput("", "this acceptance", "can't be taken back any more", "nothing")
    for sensor in made:
        own = [binding.id for binding in bindings if binding.sensor_id == sensor.id]
        refuse_if_used(session, sensor, own, "this acceptance")
    take_turn(session)
    note_change(session)
    turned_ms = {int(message[3]) for message in value["messages"]}
    for binding in bindings:
        if binding.sensor not in made:
            _take_from(session, binding, turned_ms)
    names = tuple(sensor.name for sensor in made)
    for sensor in made:
        _take_away(session, sensor, turned_ms, at)
    for binding in bindings:
        if binding in session:
            session.expire(binding.sensor, ["bindings"])
            session.delete(binding)
    for topic, payload, retained, received_ms in value["messages"]:
        session.add(
            HeardMessage(
                topic=topic,
                payload=base64.b64decode(payload),
                retained=retained,
                received_at=from_epoch_ms(int(received_ms)),
            )
        )
        session.flush()  # one by one: their numbers keep the order they came in
    stays, gone = _place_too(session, value.get("place"))
    session.delete(kept)
    session.flush()
    return TakenBack(tuple(value["topics"]), names, stays, gone)


def set_aside(session: Session, topic: str, part: str) -> Sensor | None:
    """The sensor that waits for a topic to be accepted again; it is set aside no longer."""
    row = session.get(Preference, ASIDE)
    waiting = list(row.value["list"]) if row is not None else []
    for entry in waiting:
        if (entry["topic"], entry["part"]) == (topic, part):
            sensor = session.get(Sensor, int(entry["sensor"]))
            assert row is not None
            row.value = {"list": [other for other in waiting if other["sensor"] != entry["sensor"]]}
            if sensor is not None and sensor.retired_at is not None:
                sensor.retired_at = None
                return sensor
    return None


# ---------------------------------------------------------------- steps


def _take_away(session: Session, sensor: Sensor, turned_ms: set[int], at: datetime) -> None:
    """A sensor goes, with the readings whose messages are kept again; with others it is set aside."""
    while sensor.hangings:
        undo_hanging(session, sensor)
    later = select(Reading.observed_at).where(
        Reading.sensor_id == sensor.id,
        Reading.received_at.not_in([from_epoch_ms(at_ms) for at_ms in turned_ms]),
    )
    forget_subject(session, "sensor", sensor.id)
    if session.scalar(later.limit(1)) is None:
        session.delete(sensor)
        session.flush()
        return
    row = session.get(Preference, ASIDE)
    waiting = list(row.value["list"]) if row is not None else []
    waiting += [
        {"topic": binding.topic, "part": binding.part, "sensor": sensor.id}
        for binding in sensor.bindings
        if binding.payload.get("shape") != "presence"
    ]
    session.merge(Preference(name=ASIDE, value={"list": waiting}))
    sensor.retired_at = at
    sensor.name = f"{sensor.name} (set aside, {sensor.id})"
    session.flush()


def _take_from(session: Session, binding: Binding, turned_ms: set[int]) -> None:
    """A sensor that was in use before keeps all but what came of the kept messages of this topic."""
    column = QUANTITIES.get(str(binding.payload.get("quantity") or ""))
    if binding.payload.get("shape") == "presence":
        binding.sensor.presence = binding.sensor.presence_at = None
    if column is None:
        return
    other = "rh_pct" if column == "temperature_c" else "temperature_c"
    ours = (
        (Reading.sensor_id == binding.sensor_id)
        & Reading.received_at.in_([from_epoch_ms(at_ms) for at_ms in turned_ms])
        & getattr(Reading, other).is_(None)
    )
    span = session.scalars(select(Reading.observed_at).where(ours).order_by(Reading.observed_at)).all()
    if span:
        mark_hours(session, [binding.sensor_id], span[0], span[-1])
        session.execute(delete(Reading).where(ours), execution_options=NO_SYNC)


def _place_too(session: Session, place_id: int | None) -> tuple[str, str]:
    """Take out the place that was made with the sensor, if nothing needs it: why it stays, or its name."""
    place = None if place_id is None else session.get(Place, place_id)
    if place is None:
        return "", ""
    kept_by = use_of(session, place)
    if kept_by is not None:
        return f"{place.name} stays: {kept_by}", ""
    name = place.name
    remove_place(session, place)
    return "", name
