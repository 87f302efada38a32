"""A sensor's record, corrected: what it is called, and how its messages are read where they don't say."""

from dashboard.forms.correcting import RecordPage
from dashboard.forms.declared import Asked, Form
from dashboard.pages.sensors.accepting import TEMPERATURE_UNITS
from model.records.acts.sensor_record import change_sensor
from model.records.schema.tables import Sensor

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
            options=TEMPERATURE_UNITS,
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
EDIT = RecordPage(
    Sensor,
    FORM,
    lambda sensor: {one.into: getattr(sensor, one.into) for one in FORM.fields},
    lambda session, sensor, values, _view: change_sensor(session, sensor, **values),
    lead="Unit and time zone hold for what comes from now on; what was sent stays as it was read.",
)
register = EDIT.register
ROUTES = EDIT.routes
