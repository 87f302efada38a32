"""Correcting what was recorded of a sensor: its name, and how its messages are read where they don't say."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.invalidation import note_change
from model.records.acts.places import check_zone
from model.records.schema.tables import Sensor
from model.wood.errors import BadInput

TEMPERATURE_UNITS = ("C", "F", "K")


def change_sensor(session: Session, sensor: Sensor, name: str, temperature_unit: str, zone: str) -> None:
    """Correct a sensor's record; readings that came already stay as they were read.

    Parameters
    ----------
    name : str
        Not yet the name of another sensor.
    temperature_unit : str
        C, F or K: of messages that name none.
    zone : str
        IANA time zone, of device times without an offset.

    Raises
    ------
    BadInput
        In one sentence, with what is wrong.
    """
    where, name = f"sensor {sensor.name}", name.strip()
    if not name:
        raise BadInput(where, "name", "must be given", "nothing")
    if session.scalar(select(Sensor.id).where(Sensor.name == name, Sensor.id != sensor.id)) is not None:
        raise BadInput(where, "name", "must not be another sensor's", name)
    if temperature_unit not in TEMPERATURE_UNITS:
        rule = f"must be one of {', '.join(TEMPERATURE_UNITS)}"
        raise BadInput(where, "temperature_unit", rule, temperature_unit)
    check_zone(zone, where)
    note_change(session)
    sensor.name, sensor.temperature_unit, sensor.zone = name, temperature_unit, zone
    session.flush()
