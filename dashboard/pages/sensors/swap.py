"""Another device in a sensor's place: the old one keeps its record, the new one goes on from here."""

from typing import Any

from dash import Dash, html

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import aside, folded
from dashboard.shell.view import Context, View, address
from model.records.acts import swaps
from model.records.queries.sensing import SensorNow
from model.records.schema.tables import Sensor
from model.wood.errors import BadInput

TOPICS = (("yes", "on the same topics"), ("no", "on topics of its own, to be accepted"))
SWAP = Form(
    "swap",
    "Put it in its place",
    (
        Asked("name", "Name of the new one"),
        Asked("topics", "It sends", "flag", stored="takes_topics", options=TOPICS, usual=True),
        Asked("at", "Since", "day"),
    ),
)


def swap_form(sensor: SensorNow, view: View) -> html.Details:
    """The form: the new one's name, whether it sends where the old one sent, and since when."""
    return folded(
        "Replace this sensor",
        aside("What the old one sent stays its own, with its doubts and its salt checks."),
        SWAP.laid_out(view, sensor.id, {"name": f"{sensor.name}, second"}, zone=sensor.zone),
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    SWAP.answers(app, context, swap)


def swap(number: int, typed: dict[str, Any], view: View) -> Act:
    """Put another device in a sensor's place, as typed; today means from now on."""
    if not str(typed.get("name") or "").strip():
        raise BadInput("", "name of the new one", "must be given", "nothing")
    with doing(view, "swap") as (session, revision):
        old = session.get_one(Sensor, number)
        values = SWAP.read(typed, view, zone=old.zone)
        at = view.now if values["at"] + forms.DAY > view.now else values["at"]
        new = swaps.swap_sensor(session, old, values["name"], at, takes_topics=values["takes_topics"])
        said = f"{new.name} hangs in the place of {old.name}."
        back = f"{old.name} hangs there again, with all that was sent since."
        return done(revision, said, back, address("sensor", new.id), address("sensor", old.id))
