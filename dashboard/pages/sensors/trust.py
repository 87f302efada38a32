"""Trust in one sensor, on its page: a doubt raised, ended and undone, and the salt check."""

from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import Child, aside, folded, listed, part
from dashboard.shell.view import Context, View, address
from model.records.acts import trusted
from model.records.queries import sensing
from model.records.queries.sensing import SensorNow
from model.records.schema.tables import Doubt, Sensor
from model.wood.air.salts import SALTS
from model.words import display as say
from model.words import times
from model.words.reasons import clause

UNDO_DOUBT = "undo doubt"
SALT_NAMES = (("", "none"), *((name, name) for name in SALTS))
SHOWED = "% RH, settled 12 hours or more"
SALT = Form(
    "salt check",
    "Correct by this",
    (
        Asked("salt 1", "Salt 1", "choice", options=SALT_NAMES, usual="sodium chloride"),
        Asked("read 1", "The sensor showed", "number", SHOWED, needed=False),
        Asked("salt 2", "Salt 2", "choice", options=SALT_NAMES, usual="magnesium chloride"),
        Asked("read 2", "The sensor showed", "number", SHOWED, needed=False),
        Asked("temperature", "Temperature", "temperature", "{degrees}"),
        Asked("at", "From", "day"),
    ),
)
DOUBT = Form(
    "doubt",
    "Doubt it",
    (
        Asked("since", "From", "day"),
        Asked("until", "Up to", "day"),
        Asked("reason", "Why", placeholder="taken down while spraying"),
    ),
)


def trust_part(session: Session, sensor: SensorNow, view: View) -> html.Section:
    """What is or was not believed of a sensor, its corrections, and the forms."""
    rows = doubt_rows(session, sensor, view)
    for correction in sensing.corrections(session, sensor.id):
        since = times.day(correction.since_at, sensor.zone, view.units, view.now)
        words = f"true RH = {correction.intercept_pct:.1f} + {correction.slope:.3f} × reading, from {since}"
        undone = " (undone)" if correction.undone_at else ""
        rows.append(html.Li([html.B("salt check"), f", {words}{undone}"]))
    return part(
        "Trust",
        listed(rows, html.P("No readings excluded or corrected."), "rows small"),
        folded(
            "Salt check",
            aside(
                "Wet salt, no standing water, in a closed jar with the sensor, at a steady temperature. "
                "One salt shifts; two show a slope as well."
            ),
            SALT.laid_out(view, sensor.id, zone=sensor.zone),
        ),
        exclude_form(sensor, view),
    )


def doubts_part(session: Session, sensor: SensorNow, view: View) -> html.Section:
    """What is or was not believed of a sensor that no salt checks."""
    rows = listed(doubt_rows(session, sensor, view), html.P("No readings excluded."), "rows small")
    return part("Trust", rows, exclude_form(sensor, view))


def exclude_form(sensor: SensorNow, view: View) -> Child:
    """The form by which a person excludes readings."""
    return folded("Exclude some readings", DOUBT.laid_out(view, sensor.id, zone=sensor.zone))


def doubt_rows(session: Session, sensor: SensorNow, view: View) -> list[html.Li]:
    """A sensor's doubts, newest first."""
    return [_doubt_row(doubt, sensor, view) for doubt in sensing.doubts(session, sensor.id)]


def _doubt_row(doubt: sensing.DoubtNow, sensor: SensorNow, view: View) -> html.Li:
    since = times.moment(doubt.since_at, sensor.zone, view.units, view.now)
    until = times.moment(doubt.until_at, sensor.zone, view.units, view.now) if doubt.until_at else "now"
    line = f", {since} to {until}: {clause(doubt.reason, view.display)}"
    end: Child = "(undone: it counts again)"
    if doubt.undone_at is None:
        end = html.Button(
            "Believe it after all", id={"act": UNDO_DOUBT, "number": doubt.id}, className="plain"
        )
    return html.Li([html.B(say.said(doubt.kind)), line, " ", end])


def register(app: Dash, context: Context) -> None:
    """The forms' answers."""
    SALT.answers(app, context, salt)
    DOUBT.answers(app, context, doubt)
    answers(app, context, UNDO_DOUBT, believe)


def salt(sensor_id: int, typed: dict[str, Any], view: View) -> Act:
    """Correct a sensor by what it showed over salts."""
    with doing(view, SALT.name) as (session, revision):
        sensor = session.get_one(Sensor, sensor_id)
        values = SALT.read(typed, view, zone=sensor.zone)
        points = [
            trusted.SaltPoint(values[f"salt {number}"], values["temperature"], values[f"read {number}"])
            for number in (1, 2)
            if values[f"salt {number}"] and values[f"read {number}"] is not None
        ]
        row = trusted.salt_check(session, sensor, points, values["at"], view.now)
        said = say.sentence(str(row.evidence.get("says", "the sensor is corrected")))
        return done(revision, said, "The salt check counts for nothing now.", address("sensor", sensor_id))


def doubt(sensor_id: int, typed: dict[str, Any], view: View) -> Act:
    """Believe a sensor no more over a stretch of days, the last included."""
    with doing(view, DOUBT.name) as (session, revision):
        sensor = session.get_one(Sensor, sensor_id)
        values = DOUBT.read(typed, view, zone=sensor.zone)
        since_at, until_at = values["since"], min(values["until"] + forms.DAY, view.now)
        trusted.doubt_span(session, sensor, since_at, until_at, values["reason"], view.now)
        said = f"{sensor.name} counts for nothing then."
        return done(revision, said, "It counts again.", address("sensor", sensor_id))


def believe(doubt_id: int, _typed: dict[str, Any], view: View) -> Act:
    """Believe again what was doubted."""
    with doing(view, "change") as (session, revision):
        row = session.get_one(Doubt, doubt_id)
        trusted.undo_doubt(session, row, view.now)
        return done(revision, "It counts again.", "It is doubted again.", address("sensor", row.sensor_id))
