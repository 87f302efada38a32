"""Another device in a sensor's place, and the way back when it was not so."""

from datetime import datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from model.records.hangings import hang_sensor, take_back_air, take_down_sensor
from model.records.rewind import aware, mark_hours, note_change
from model.records.tables import Binding, Preference, Reading, Sensor
from model.records.trusted import take_turn
from model.records.types import from_epoch_ms, to_epoch_ms
from model.records.unchanged import forget_subject, refuse_if_used
from model.wood.errors import BadInput

NO_SYNC = {"synchronize_session": False}


def swap_sensor(
    session: Session, old: Sensor, new: Sensor | str, at: datetime, takes_topics: bool = False
) -> Sensor:
    """Another device hangs where this one hung, from an instant on; each keeps its own record.

    Parameters
    ----------
    new : Sensor or str
        A sensor on record, or the name for a new one, which takes over unit and zone settings.
    takes_topics : bool
        The new device sends on the old one's topics: its bindings pass over, and readings that came since
        `at` under the old name are the new one's. Their values and instants stay as they came.

    Returns
    -------
    Sensor
        The new one. The old is taken down and retired.

    Raises
    ------
    BadInput
        If the old one hangs nowhere then, the name is taken, or both are one.
    """
    where = f"sensor {old.name}"
    at = aware(at, where, "at")
    last = max(old.hangings, key=lambda hanging: hanging.since_at, default=None)
    if last is None or at <= last.since_at or (last.until_at is not None and last.until_at <= at):
        raise BadInput(where, "at", "must come while it hangs somewhere", at.isoformat())
    place, until_at = last.place, last.until_at
    is_made = isinstance(new, str)
    if isinstance(new, str):
        if session.scalar(select(Sensor.id).where(Sensor.name == new)) is not None:
            raise BadInput(where, "the new name", "must not be a sensor's already", new)
        new = Sensor(name=new, temperature_unit=old.temperature_unit, zone=old.zone, accepted_at=at)
        session.add(new)
        session.flush()
    if new.id == old.id:
        raise BadInput(where, "the new sensor", "must be another one", new.name)
    take_down_sensor(session, old, at)
    hang_sensor(session, new, place, at)
    old.retired_at = at
    topics: list[int] = []
    if takes_topics:
        topics = list(session.scalars(select(Binding.id).where(Binding.sensor_id == old.id)))
        _pass_over(session, old, new, at, topics)
    if is_made:
        kept = {
            "old": old.id,
            "at_ms": to_epoch_ms(at),
            "until_ms": None if until_at is None else to_epoch_ms(until_at),
            "took_topics": takes_topics,
            "topics": topics,
        }
        session.merge(Preference(name=_name(new.id), value=kept))
    session.flush()
    return new


def undo_swap(session: Session, new: Sensor) -> Sensor:
    """Take back that a new device was put in a sensor's place; what it sent since on its topics is the old's.

    Returns
    -------
    Sensor
        The old one, which hangs and is heard as if it had never been taken down. The new one is out of the
        book.

    Raises
    ------
    BadInput
        If it can't be told any more what it took the place of, or something was built on the new one since:
        it was hung elsewhere, checked over salt, doubted by hand, or it has topics or readings of its own.
    """
    kept = session.get(Preference, _name(new.id))
    old = session.get(Sensor, int(kept.value["old"])) if kept is not None else None
    if kept is None or old is None:
        raise BadInput("", "this swap", "can't be taken back any more", "nothing")
    at = from_epoch_ms(int(kept.value["at_ms"]))
    took_topics, topics = bool(kept.value["took_topics"]), [int(id_) for id_ in kept.value["topics"]]
    if old.retired_at is None or to_epoch_ms(old.retired_at) != to_epoch_ms(at):
        raise BadInput("", old.name, "is in use again, so this swap can't be taken back", "nothing")
    refuse_if_used(session, new, topics, "this swap")
    # With topics handed over, readings before the swap can only be its own; without, all of them are.
    own = select(Reading.observed_at).where(Reading.sensor_id == new.id).limit(1)
    if session.scalar(own.where(Reading.observed_at < at) if took_topics else own) is not None:
        raise BadInput("", new.name, "has readings of its own, so this swap can't be taken back", "nothing")
    take_turn(session)
    note_change(session)
    hanging = new.hangings[0]
    take_back_air(session, hanging.place_id, at, None)
    if took_topics:
        _pass_over(session, new, old, at, topics)
    last = max(old.hangings, key=lambda one: one.since_at)
    until_ms = kept.value["until_ms"]
    last.until_at = None if until_ms is None else from_epoch_ms(int(until_ms))
    old.retired_at = None
    old.battery_pct = new.battery_pct if took_topics and new.battery_pct is not None else old.battery_pct
    if took_topics and new.presence is not None:
        old.presence, old.presence_at = new.presence, new.presence_at
    session.delete(kept)
    forget_subject(session, "sensor", new.id)
    session.delete(new)
    session.flush()
    mark_hours(session, [old.id], at)
    return old


def _pass_over(session: Session, giver: Sensor, taker: Sensor, at: datetime, topics: list[int]) -> None:
    """Give bindings, and the readings since an instant, from one sensor to another."""
    session.flush()
    mark_hours(session, [giver.id], at)
    moved = (Reading.sensor_id == giver.id) & (Reading.observed_at >= at)
    both = select(Reading.observed_at).where(Reading.sensor_id == taker.id, Reading.observed_at >= at)
    session.execute(
        update(Reading).where(moved, Reading.observed_at.not_in(both)).values(sensor_id=taker.id),
        execution_options=NO_SYNC,
    )
    session.execute(
        update(Binding).where(Binding.id.in_(topics)).values(sensor_id=taker.id), execution_options=NO_SYNC
    )
    session.expire(giver, ["bindings"])
    session.expire(taker, ["bindings"])
    mark_hours(session, [taker.id], at)


def _name(sensor_id: int) -> str:
    return f"swap to sensor {sensor_id}"
