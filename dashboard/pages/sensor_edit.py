"""A sensor's record, corrected: what it is called, and how its messages are read where they don't say."""

from typing import Any

from dash import Dash, html

from dashboard.acts import Act, answers
from dashboard.forms import choice_field, text_field, zone_names
from dashboard.pages.frame import sheet
from dashboard.view import Context, Route, View, address
from model.records.sensor_record import change_sensor
from model.records.tables import Preference, Sensor
from model.wood.errors import BadInput

FORM = "sensor-edit"
UNITS = [("C", "°C"), ("F", "°F"), ("K", "K")]
ASKED = ("name", "temperature_unit", "zone")


def layout(view: View, sensor_id: int) -> html.Main | None:
    """The page; none when there is no such sensor."""
    with view.store.session() as session:
        sensor = session.get(Sensor, sensor_id)
        if sensor is None:
            return None
        row = {key: getattr(sensor, key) for key in ASKED}

    def id(key: str) -> dict[str, str]:
        return {"form": FORM, "key": key}

    fields = [
        text_field("Name", id("name"), row["name"]),
        choice_field(
            "Its temperatures are",
            id("temperature_unit"),
            UNITS,
            row["temperature_unit"],
            "where its messages name no unit",
        ),
        text_field(
            "Its clock shows the time of",
            id("zone"),
            row["zone"],
            hint="where its messages give no offset; as Europe/Vienna",
            list="zones",
        ),
    ]
    return sheet(
        f"Correct {row['name']}",
        html.Div(fields, className="fields"),
        zone_names(),
        html.Button("Correct the record", id={"act": FORM, "sensor": sensor_id}, className="first"),
        dateline=html.A(row["name"], href=address("sensor", sensor_id)),
        lead="Unit and time zone hold for what comes from now on; what was sent stays as it was read.",
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    answers(app, context, FORM, save, which="sensor")


def save(sensor_id: int, typed: dict[str, Any], view: View) -> Act:
    """Correct a sensor's record as typed."""
    with view.store.session() as session:
        sensor = session.get_one(Sensor, sensor_id)
        before = {key: getattr(sensor, key) for key in ASKED}
        change_sensor(session, sensor, **{key: str(typed.get(key) or "").strip() for key in ASKED})
        session.merge(Preference(name=_kept(sensor_id), value=before))
        here = address("sensor", sensor_id)
        return Act(f"{sensor.name} is corrected.", here, ("sensor correction", sensor_id))


def _undo(view: View, sensor_id: int) -> str:
    with view.store.session() as session:
        sensor = session.get_one(Sensor, sensor_id)
        kept = session.get(Preference, _kept(sensor_id))
        if kept is None:
            raise BadInput("", "this correction", "can't be taken back any more", "nothing")
        change_sensor(session, sensor, **kept.value)
        session.delete(kept)
        return f"{sensor.name} is as it was recorded before."


def _kept(sensor_id: int) -> str:
    return f"sensor {sensor_id} before"


UNDO = {"sensor correction": _undo}
ROUTES = [Route("/sensor/<sensor_id>/edit", layout, live=False)]
