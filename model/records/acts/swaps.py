"""Another device in a sensor's place, and the way back when it was not so."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from model.records.acts.built_on import refuse_if_built_on
from model.records.acts.hangings import hang_sensor, take_down_sensor
from model.records.acts.invalidation import aware, erase, mark_hours, note_change
from model.records.acts.recorded_rows import RowChange
from model.records.acts.revisions import restore, way_back
from model.records.acts.trusted import take_turn
from model.records.schema.tables import Reading, Revision, Sensor
from model.records.schema.types import from_epoch_ms
from model.wood.errors import BadInput


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
    place = last.place
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
    session.flush()
    if takes_topics:
        for binding in list(old.bindings):
            binding.sensor = new
        _pass_over(session, old.id, new.id, at)
    session.flush()
    return new


@way_back("swap")
def _taken_back(session: Session, revision: Revision, changes: Sequence[RowChange], at: datetime) -> None:
    """What the new device sent since on the topics it took over is the old one's: rows alone can't say so.

    Raises
    ------
    BadInput
        If something was built on the new one since: it was hung elsewhere, checked over salt, doubted by
        hand, or it has topics or readings of its own; or if it was on record before.
    """
    refuse_if_built_on(session, changes, revision.act, but=("reading",))
    made = next((one for one in changes if one.table == "sensor" and one.is_new), None)
    gone = next((one for one in changes if one.table == "sensor" and not one.is_new), None)
    if made is None or gone is None or gone.after is None:
        raise BadInput("", "this swap", "can't be taken back: the new one was on record before", "nothing")
    new, old = session.get_one(Sensor, made.key), session.get_one(Sensor, gone.key)
    since_at = from_epoch_ms(gone.after["retired_at"])
    took_topics = not old.bindings
    # With topics handed over, readings before the swap can only be its own; without, all of them are.
    own = select(Reading.observed_at).where(Reading.sensor_id == new.id).limit(1)
    if session.scalar(own.where(Reading.observed_at < since_at) if took_topics else own) is not None:
        raise BadInput("", new.name, "has readings of its own, so this swap can't be taken back", "nothing")
    take_turn(session)
    note_change(session)
    if took_topics:
        _pass_over(session, new.id, old.id, since_at)
        old.battery_pct = new.battery_pct if new.battery_pct is not None else old.battery_pct
        if new.presence is not None:
            old.presence, old.presence_at = new.presence, new.presence_at
    restore(session, changes, revision.act, at)


def _pass_over(session: Session, giver: int, taker: int, at: datetime) -> None:
    """Give the readings since an instant from one sensor to another."""
    mark_hours(session, [giver], at)
    both = select(Reading.observed_at).where(Reading.sensor_id == taker, Reading.observed_at >= at)
    theirs = (Reading.sensor_id == giver) & (Reading.observed_at >= at) & Reading.observed_at.not_in(both)
    erase(session, update(Reading).where(theirs).values(sensor_id=taker))
    mark_hours(session, [taker], at)
