"""Where a sensor hangs and hung, what belongs nowhere, and another device in its place."""

from datetime import datetime, timedelta
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import Child, aside, folded, listed, part
from dashboard.shell.view import Context, View, address
from model.records.acts import hangings, swaps
from model.records.queries import overview as queries
from model.records.queries import sensing
from model.records.queries.sensing import SensorNow
from model.records.schema.tables import Place, Revision, Sensor
from model.wood.errors import BadInput
from model.words import times

HANG = Form(
    "hang",
    "Hang it there",
    (
        Asked("place", "Hang it at", "place", what="where it hangs"),
        Asked("at", "From", "day"),
    ),
    whose="sensor",
)
HUNG_SINCE = Form(
    "hung since",
    "Correct the day",
    (
        Asked("place", "It hung at", "place", what="where it hung"),
        Asked("at", "Since", "day"),
    ),
    whose="sensor",
)
DATE_BACK = "date back"
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
CORRECTION = "correction"


def hanging_part(
    session: Session, sensor: SensorNow, places: tuple[queries.PlaceNow, ...], view: View
) -> html.Section:
    """Where it hung, and the form to hang it elsewhere."""
    rows = []
    for hanging in sensing.hangings_of(session, sensor.id):
        since = times.day(hanging.since_at, hanging.zone, view.units, view.now)
        until = times.day(hanging.until_at, hanging.zone, view.units, view.now) if hanging.until_at else "now"
        link = html.A(hanging.place, href=address("place", hanging.place_id))
        rows.append(html.Li([link, f", {since} to {until}"]))
    others = [(str(place.id), place.name) for place in places if place.id != sensor.place_id]
    return part(
        "Where it hangs",
        listed(rows, html.P("It hangs nowhere."), "rows small"),
        _since_form(session, sensor, view),
        HANG.laid_out(view, sensor.id, options={"place": others}, zone=sensor.zone) if others else None,
        swap_form(sensor, view) if sensor.place_id is not None and sensor.retired_at is None else None,
    )


def _since_form(session: Session, sensor: SensorNow, view: View) -> Child:
    """The form that corrects since when it hung at one of the places where it hung."""
    known = sensing.hangings_of(session, sensor.id)
    if not known:
        return None
    names = {str(hanging.place_id): hanging.place for hanging in known}
    latest = known[0]
    return folded(
        "It was moved here on another day",
        HUNG_SINCE.laid_out(
            view,
            sensor.id,
            {"place": latest.place_id, "at": latest.since_at},
            options={"place": list(names.items())},
            zone=latest.zone,
        ),
    )


def nowhere_part(session: Session, sensor_id: int, view: View) -> Child:
    """How many readings belong to no place, and the act that mends it."""
    row = session.get_one(Sensor, sensor_id)
    left = hangings.readings_nowhere(session, row)
    if not left.count or left.first_at is None:
        return None
    belong = "reading belongs" if left.count == 1 else "readings belong"
    told = f"{left.count:,} {belong} to no place: "
    if left.place is None:
        return html.P(
            [told, html.A(row.name, href=address("sensor", sensor_id)), " hangs nowhere yet. Hang it below."],
            className="problem",
        )
    zone = left.place.zone
    since = times.day(left.since_at, zone, view.units, view.now)
    first = times.day(left.first_at, zone, view.units, view.now)
    return html.Div(
        [
            html.P(f"{told}{row.name} hangs at {left.place.name} only since {since}."),
            html.Button(
                f"It hung there since {first}", id={"act": DATE_BACK, "sensor": sensor_id}, className="first"
            ),
        ],
        className="problem",
    )


def swap_form(sensor: SensorNow, view: View) -> html.Details:
    """The form: the new one's name, whether it sends where the old one sent, and since when."""
    return folded(
        "Replace this sensor",
        aside("What the old one sent stays its own, with its doubts and its salt checks."),
        SWAP.laid_out(view, sensor.id, {"name": f"{sensor.name}, second"}, zone=sensor.zone),
    )


# ---------------------------------------------------------------- acts


def register(app: Dash, context: Context) -> None:
    """The forms' answers."""
    HANG.answers(app, context, hung)
    SWAP.answers(app, context, swap)
    HUNG_SINCE.answers(app, context, hung_since)
    answers(app, context, DATE_BACK, dated_back, which="sensor")


def hung(number: int, typed: dict[str, Any], view: View) -> Act:
    """Hang a sensor at another place, as typed."""
    with doing(view, "hanging") as (session, revision):
        row = session.get_one(Sensor, number)
        values = HANG.read(typed, view, session)
        place, at = values["place"], values["at"]
        last = max(row.hangings, key=lambda hanging: hanging.since_at, default=None)
        if last is not None and at <= last.since_at:
            at = last.since_at + timedelta(minutes=1)
        where = f"at {last.place.name} again" if last is not None and last.until_at is None else "nowhere"
        hangings.hang_sensor(session, row, place, at)
        return done(revision, f"{row.name} hangs at {place.name}.", f"{row.name} hangs {where}.")


def hung_since(number: int, typed: dict[str, Any], view: View) -> Act:
    """Correct since when a sensor hung at a place, as typed."""
    with doing(view, CORRECTION) as (session, revision):
        sensor = session.get_one(Sensor, number)
        values = HUNG_SINCE.read(typed, view, session)
        return _hung_since(session, revision, sensor, values["place"], values["at"], view)


def dated_back(number: int, _typed: dict[str, Any], view: View) -> Act:
    """A sensor hung where it was hung first since its first reading."""
    with doing(view, CORRECTION) as (session, revision):
        sensor = session.get_one(Sensor, number)
        left = hangings.readings_nowhere(session, sensor)
        if left.place is None or left.first_at is None:
            raise BadInput("", sensor.name, "has no reading that belongs to no place", "nothing")
        return _hung_since(session, revision, sensor, left.place, left.first_at, view)


def _hung_since(
    session: Session, revision: Revision, sensor: Sensor, place: Place, at: datetime, view: View
) -> Act:
    hangings.hang_since(session, sensor, place, at)
    since = times.moment(at, place.zone, view.units, view.now)
    said = f"{sensor.name} hangs at {place.name} since {since}."
    return done(revision, said, f"{sensor.name} hangs as it was recorded before.")


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
