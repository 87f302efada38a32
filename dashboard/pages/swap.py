"""Another device in a sensor's place: the old one keeps its record, the new one goes on from here."""

from typing import Any

from dash import Dash, html

from dashboard import forms
from dashboard.acts import Act, answers
from dashboard.forms import choice_field, day_field, text_field
from dashboard.view import Context, View, address
from model.records import swaps
from model.records.sensing import SensorNow
from model.records.tables import Sensor
from model.wood.errors import BadInput

SWAP = "swap"


def swap_form(sensor: SensorNow, view: View) -> html.Details:
    """The form: the new one's name, whether it sends where the old one sent, and since when."""

    def id(key: str) -> dict[str, str]:
        return {"form": SWAP, "key": key}

    topics = [
        ("yes", "on the same topics"),
        ("no", "on topics of its own, to be accepted"),
    ]
    return html.Details(
        [
            html.Summary("Replace this sensor"),
            html.Div(
                [
                    html.P(
                        "What the old one sent stays its own, with its doubts and its salt checks.",
                        className="small soft",
                    ),
                    html.Div(
                        [
                            text_field("Name of the new one", id("name"), f"{sensor.name}, second"),
                            choice_field("It sends", id("topics"), topics, "yes"),
                            day_field("Since", id("at"), view.now, sensor.zone),
                        ],
                        className="fields",
                    ),
                    html.Button("Put it in its place", id={"act": SWAP, "number": sensor.id}),
                ]
            ),
        ]
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""

    answers(app, context, SWAP, swap)


def swap(number: int, typed: dict[str, Any], view: View) -> Act:
    """Put another device in a sensor's place, as typed; today means from now on."""
    name = str(typed.get("name") or "").strip()
    if not name:
        raise BadInput("", "name of the new one", "must be given", "nothing")
    with view.store.session() as session:
        old = session.get_one(Sensor, number)
        at = forms.day_typed(typed.get("at"), old.zone, "since")
        if at + forms.DAY > view.now:
            at = view.now
        new = swaps.swap_sensor(session, old, name, at, takes_topics=typed.get("topics") != "no")
        said = f"{new.name} hangs in the place of {old.name}."
        return Act(said, address("sensor", new.id), ("swap", new.id))


def _undo(view: View, number: int) -> Act:
    with view.store.session() as session:
        old = swaps.undo_swap(session, session.get_one(Sensor, number))
        return Act(f"{old.name} hangs there again, with all that was sent since.", address("sensor", old.id))


UNDO = {"swap": _undo}
