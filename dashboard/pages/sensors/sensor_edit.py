"""A sensor's record, corrected: what it is called, and how its messages are read where they don't say."""

from typing import Any

from dash import Dash, html

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import sheet
from dashboard.shell.view import Context, Route, View, address
from model.records.acts.sensor_record import change_sensor
from model.records.schema.tables import Sensor

UNITS = (("C", "°C"), ("F", "°F"), ("K", "K"))
FORM = Form(
    "sensor-edit",
    "Correct the record",
    (
        Asked("name", "Name"),
        Asked(
            "temperature_unit",
            "Its temperatures are",
            "choice",
            hint="where its messages name no unit",
            options=UNITS,
        ),
        Asked(
            "zone",
            "Its clock shows the time of",
            hint="where its messages give no offset; as Europe/Vienna",
            list="zones",
        ),
    ),
    whose="sensor",
    is_first=True,
)


def layout(view: View, sensor_id: int) -> html.Main | None:
    """The page; none when there is no such sensor."""
    with view.store.session() as session:
        sensor = session.get(Sensor, sensor_id)
        if sensor is None:
            return None
        record = {one.into: getattr(sensor, one.into) for one in FORM.fields}
    return sheet(
        f"Correct {record['name']}",
        FORM.laid_out(view, sensor_id, record),
        dateline=html.A(record["name"], href=address("sensor", sensor_id)),
        lead="Unit and time zone hold for what comes from now on; what was sent stays as it was read.",
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    FORM.answers(app, context, save)


def save(sensor_id: int, typed: dict[str, Any], view: View) -> Act:
    """Correct a sensor's record as typed."""
    with doing(view, "correction") as (session, revision):
        sensor = session.get_one(Sensor, sensor_id)
        back = f"{sensor.name} is as it was recorded before."
        change_sensor(session, sensor, **FORM.read(typed, view))
        return done(revision, f"{sensor.name} is corrected.", back, address("sensor", sensor_id))


ROUTES = [Route("/sensor/<sensor_id>/edit", layout, live=False)]
