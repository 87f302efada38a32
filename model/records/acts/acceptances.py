"""How an unknown topic that was made a sensor becomes an unknown topic again, and nothing that came is lost.

Taken back, the messages that were kept are kept again and the readings made of them go: rows alone can't say
so, because messages became readings. A reading that came later has no message to go back to: then the sensor
is set aside, out of sight, and whoever accepts the topic again finds it with all it ever sent.
"""

import base64
from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from model.records.acts.built_on import refuse_if_built_on
from model.records.acts.invalidation import erase, mark_hours, note_change
from model.records.acts.mounts import forget_measured
from model.records.acts.places import use_of
from model.records.acts.recorded_rows import RowChange
from model.records.acts.revisions import restore, way_back
from model.records.acts.trusted import take_turn
from model.records.schema.tables import (
    HeardMessage,
    Place,
    Preference,
    Reading,
    Revision,
    Sensor,
    WoodReading,
)
from model.records.schema.types import from_epoch_ms, to_epoch_ms
from model.words.display import joined

ACCEPTANCE = "acceptance"
ASIDE = "sensors set aside"
"""Name of the preference that lists the sensors that wait for their topic: topic, part, sensor."""
QUANTITIES = {"temperature": "temperature_c", "rh": "rh_pct"}


def keep_messages(session: Session, revision: Revision, topics: Sequence[str]) -> None:
    """Keep an acceptance's messages with it, before they are turned into readings."""
    messages = session.scalars(
        select(HeardMessage).where(HeardMessage.topic.in_(topics)).order_by(HeardMessage.id)
    )
    kept = [
        [row.topic, base64.b64encode(row.payload).decode("ascii"), row.retained, to_epoch_ms(row.received_at)]
        for row in messages
    ]
    wait = f"{joined(topics)} {'waits' if len(topics) == 1 else 'wait'} to be accepted again"
    back = {"back": f"{wait}, with all that came.", "href": "/sensors"}
    revision.data = {**revision.data, **back, "topics": list(topics), "messages": kept}


@way_back(ACCEPTANCE)
def _taken_back(session: Session, revision: Revision, changes: Sequence[RowChange], at: datetime) -> str:
    """Make the topics of an acceptance unknown again; what became of the place that was made with it.

    Raises
    ------
    BadInput
        If a person did something with one of its sensors since: hung it elsewhere, checked it over salt,
        doubted it, swapped it, bound more to it.
    """
    # Other sensors may have been set aside since, so that list is not restored but written on.
    rows = [one for one in changes if one.table != "place" and (one.table, one.key) != ("preference", ASIDE)]
    refuse_if_built_on(session, rows, revision.act, but=("reading", "measurement"))
    take_turn(session)
    note_change(session)
    messages = revision.data["messages"]
    turned = [from_epoch_ms(at_ms) for at_ms in {int(message[3]) for message in messages}]
    sensors = [one for one in rows if one.table == "sensor"]
    made = [one.key for one in sensors if one.is_new]
    woken = [one.key for one in sensors if one.before is not None and one.before["retired_at"] is not None]
    for one in rows:
        if one.table == "binding" and one.after and one.after["sensor_id"] not in (*made, *woken):
            _take_from(session, one.after, turned)
    for number in (*made, *woken):
        forget_measured(session, number)
    stay = [*woken, *(number for number in made if _has_later(session, number, turned))]
    gone = [one for one in rows if one not in sensors or one.key not in stay]
    restore(session, gone, revision.act, at)
    for number in stay:
        _set_aside(session, session.get_one(Sensor, number), rows, at)
    for topic, payload, retained, received_ms in messages:
        received_at = from_epoch_ms(int(received_ms))
        content = base64.b64decode(payload)
        session.add(HeardMessage(topic=topic, payload=content, retained=retained, received_at=received_at))
        session.flush()  # one by one: their numbers keep the order they came in
    revision.data = {key: value for key, value in revision.data.items() if key != "messages"}
    return _place_too(session, revision, [one for one in changes if one.table == "place"], at)


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


def _has_later(session: Session, sensor_id: int, turned: Sequence[datetime]) -> bool:
    return any(
        session.scalar(
            select(kind.observed_at)
            .where(kind.sensor_id == sensor_id, kind.received_at.not_in(turned))
            .limit(1)
        )
        is not None
        for kind in (Reading, WoodReading)
    )


def _set_aside(session: Session, sensor: Sensor, rows: Sequence[RowChange], at: datetime) -> None:
    row = session.get(Preference, ASIDE)
    waiting = list(row.value["list"]) if row is not None else []
    bindings = [one.after for one in rows if one.table == "binding" and one.after is not None]
    waiting += [
        {"topic": binding["topic"], "part": binding["part"], "sensor": sensor.id}
        for binding in bindings
        if binding["sensor_id"] == sensor.id and binding["payload"].get("shape") != "presence"
    ]
    session.merge(Preference(name=ASIDE, value={"list": waiting}))
    sensor.retired_at = at
    sensor.name = f"{sensor.name} (set aside, {sensor.id})"
    session.flush()


def _take_from(session: Session, binding: dict[str, object], turned: Sequence[datetime]) -> None:
    """A sensor that was in use before keeps all but what came of the kept messages of this topic."""
    payload = binding["payload"]
    assert isinstance(payload, dict)
    sensor = session.get_one(Sensor, binding["sensor_id"])
    column = QUANTITIES.get(str(payload.get("quantity") or ""))
    if payload.get("shape") == "presence":
        sensor.presence = sensor.presence_at = None
        return
    ours = (Reading.sensor_id == sensor.id) & Reading.received_at.in_(turned)
    if column is not None:
        ours &= getattr(Reading, "rh_pct" if column == "temperature_c" else "temperature_c").is_(None)
    span = session.scalars(select(Reading.observed_at).where(ours).order_by(Reading.observed_at)).all()
    if span:
        mark_hours(session, [sensor.id], span[0], span[-1])
        erase(session, delete(Reading).where(ours))


def _place_too(session: Session, revision: Revision, rows: Sequence[RowChange], at: datetime) -> str:
    """Take out the place that was made with the sensor, if nothing needs it; what became of it."""
    place = session.get(Place, rows[0].key) if rows else None
    if place is None:
        return ""
    name, kept_by = place.name, use_of(session, place)
    if kept_by is not None:
        return f"{name} stays: {kept_by}."
    restore(session, rows, revision.act, at)
    return f"{name} is out of the book again."
