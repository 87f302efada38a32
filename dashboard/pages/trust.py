"""Trust in one sensor, on its page: a doubt raised, ended and undone, and the salt check."""

from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard import display as say
from dashboard import forms
from dashboard.acts import Act, answers
from dashboard.forms import choice_field, day_field, text_field
from dashboard.pages.frame import part
from dashboard.view import Context, View, address
from model.records import sensing, trusted
from model.records.sensing import SensorNow
from model.records.tables import Correction, Doubt, Sensor
from model.wood.salts import SALTS

SALT, DOUBT, UNDO_DOUBT = "salt check", "doubt", "undo doubt"


def trust_part(session: Session, sensor: SensorNow, view: View) -> html.Section:
    """What is or was not believed of a sensor, its corrections, and the forms."""
    rows = [_doubt_row(doubt, sensor, view) for doubt in sensing.doubts(session, sensor.id)]
    for correction in sensing.corrections(session, sensor.id):
        since = say.day(correction.since_at, sensor.zone, view.units, view.now)
        words = f"true RH = {correction.intercept_pct:.1f} + {correction.slope:.3f} × reading, from {since}"
        undone = " (undone)" if correction.undone_at else ""
        rows.append(html.Li([html.B("salt check"), f", {words}{undone}"]))
    return part(
        "Trust",
        html.Ul(rows, className="rows small") if rows else html.P("Nothing is doubted, nothing corrected."),
        html.Details([html.Summary("Salt check"), _salt_form(sensor, view)]),
        html.Details([html.Summary("Exclude some readings"), _doubt_form(sensor, view)]),
    )


def _doubt_row(doubt: sensing.DoubtNow, sensor: SensorNow, view: View) -> html.Li:
    since = say.moment(doubt.since_at, sensor.zone, view.units, view.now)
    until = say.moment(doubt.until_at, sensor.zone, view.units, view.now) if doubt.until_at else "now"
    line: list[Any] = [html.B(say.said(doubt.kind)), f", {since} to {until}: {doubt.reason}"]
    if doubt.undone_at is not None:
        line.append(" (undone: it counts again)")
    else:
        line += [
            " ",
            html.Button(
                "Believe it after all", id={"act": UNDO_DOUBT, "number": doubt.id}, className="plain"
            ),
        ]
    return html.Li(line)


def _id(form: str, key: str) -> dict[str, str]:
    return {"form": form, "key": key}


def _salt_form(sensor: SensorNow, view: View) -> html.Div:
    salts = [("", "none")] + [(name, name) for name in SALTS]
    fields: list[Any] = []
    for number, usual in ((1, "sodium chloride"), (2, "magnesium chloride")):
        fields += [
            choice_field(f"Salt {number}", _id(SALT, f"salt {number}"), salts, usual),
            text_field(
                "The sensor showed", _id(SALT, f"read {number}"), hint="% RH, settled 12 hours or more"
            ),
        ]
    degrees = view.display.temperature_unit
    fields.append(text_field("Temperature", _id(SALT, "temperature"), hint=degrees))
    fields.append(day_field("From", _id(SALT, "at"), view.now, sensor.zone))
    return html.Div(
        [
            html.P(
                "Wet salt, no standing water, in a closed jar with the sensor, at a steady temperature. "
                "One salt shifts; two show a slope as well.",
                className="small soft",
            ),
            html.Div(fields, className="fields"),
            html.Button("Correct by this", id={"act": SALT, "number": sensor.id}),
        ]
    )


def _doubt_form(sensor: SensorNow, view: View) -> html.Div:
    return html.Div(
        [
            html.Div(
                [
                    day_field("From", _id(DOUBT, "since"), view.now, sensor.zone),
                    day_field("Up to", _id(DOUBT, "until"), view.now, sensor.zone),
                    text_field("Why", _id(DOUBT, "reason"), placeholder="taken down while spraying"),
                ],
                className="fields",
            ),
            html.Button("Doubt it", id={"act": DOUBT, "number": sensor.id}),
        ]
    )


def register(app: Dash, context: Context) -> None:
    """The forms' answers."""

    for form, act in ((SALT, salt), (DOUBT, doubt), (UNDO_DOUBT, believe)):
        answers(app, context, form, act)


def salt(sensor_id: int, typed: dict[str, Any], view: View) -> Act:
    """Correct a sensor by what it showed over salts."""
    with view.store.session() as session:
        sensor = session.get_one(Sensor, sensor_id)
        temperature_c = forms.temperature_typed(typed.get("temperature"), view.units, "temperature")
        points = [
            trusted.SaltPoint(
                str(typed[f"salt {number}"]),
                temperature_c,
                forms.number_typed(
                    typed.get(f"read {number}"), f"what it showed over {typed[f'salt {number}']}"
                ),
            )
            for number in (1, 2)
            if typed.get(f"salt {number}") and str(typed.get(f"read {number}") or "").strip()
        ]
        at = forms.day_typed(typed.get("at"), sensor.zone, "from")
        row = trusted.salt_check(session, sensor, points, at, view.now)
        said = say.sentence(str(row.evidence.get("says", "the sensor is corrected")))
        return Act(said, address("sensor", sensor_id), ("salt check", row.id))


def doubt(sensor_id: int, typed: dict[str, Any], view: View) -> Act:
    """Believe a sensor no more over a stretch of days, the last included."""
    with view.store.session() as session:
        sensor = session.get_one(Sensor, sensor_id)
        since_at = forms.day_typed(typed.get("since"), sensor.zone, "from")
        until_at = min(forms.day_typed(typed.get("until"), sensor.zone, "up to") + forms.DAY, view.now)
        reason = str(typed.get("reason") or "").strip()
        row = trusted.doubt_span(session, sensor, since_at, until_at, reason, view.now)
        return Act(f"{sensor.name} counts for nothing then.", address("sensor", sensor_id), ("doubt", row.id))


def believe(doubt_id: int, _typed: dict[str, Any], view: View) -> Act:
    """Believe again what was doubted."""
    with view.store.session() as session:
        row = session.get_one(Doubt, doubt_id)
        trusted.undo_doubt(session, row, view.now)
        return Act("It counts again.", address("sensor", row.sensor_id), ("belief", doubt_id))


def _undo_salt(view: View, number: int) -> str:
    with view.store.session() as session:
        trusted.undo_correction(session, session.get_one(Correction, number), view.now)
        return "The salt check counts for nothing now."


def _undo_doubt(view: View, number: int) -> str:
    with view.store.session() as session:
        trusted.undo_doubt(session, session.get_one(Doubt, number), view.now)
        return "It counts again."


def _undo_belief(view: View, number: int) -> str:
    with view.store.session() as session:
        trusted.redo_doubt(session, session.get_one(Doubt, number))
        return "It is doubted again."


UNDO = {"salt check": _undo_salt, "doubt": _undo_doubt, "belief": _undo_belief}
