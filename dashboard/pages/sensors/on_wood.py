"""Sensors on wood: what is asked when one is accepted, what each says, and its zero set anew."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.figures.air import doubted_among
from dashboard.figures.on_wood import on_wood_chart
from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.forms.fields import choice_field, text_field
from dashboard.pages.charted import charted, nearest
from dashboard.pages.frame import Child, aside, listed, noted, num, part, sheet, word
from dashboard.pages.sensors.trust import doubts_part
from dashboard.say.marks import verdict_mark
from dashboard.shell.spans import span_of
from dashboard.shell.view import Context, View, address
from model.records.acts import mounts
from model.records.acts.mounts import BindTo, Ties
from model.records.queries import mounted
from model.records.queries.mounted import MountNow
from model.records.queries.sensing import SensorNow
from model.records.schema.tables import Sensor
from model.wood.errors import BadInput
from model.wood.material.wood_sensor import USUAL_C
from model.words import display as say
from model.words import times
from model.words.display import Display
from model.words.reasons import in_sentences

SPANS = ("day", "week", "month", "season", "year")
GROWS = (("yes", "grows as it opens or widens"), ("no", "falls as it opens or widens"))
UNITS = {
    "weight": ("g", "kg", "lb", "oz"),
    "moisture": ("%",),
    "resistance": ("ohm", "kohm", "mohm", "gohm"),
    "length": ("mm", "cm", "in", "um"),
}
"""The units offered, by what is sent."""
SAID_UNITS = {"ohm": "Ω", "kohm": "kΩ", "mohm": "MΩ", "gohm": "GΩ", "um": "µm"}
TAKE_OFF = "take off"
NEAR = timedelta(hours=1)
ZERO = Form(
    "zero",
    "Set its zero anew",
    (
        Asked("mass", "The board weighs now", "number", "grams, on another scale", stored="mass_g", unit="g",
              what="its weight", needed=False),
        Asked("mc", "or it is at a moisture content of", "number", "%, by a meter", stored="mc_pct",
              what="moisture content", needed=False),
    ),
    whose="sensor",
)  # fmt: skip
ZERO_LENGTH = Form(
    "zero-length",
    "Set its zero anew",
    (Asked("at", "It measures now, by hand", "length", stored="at_mm", what="what it measures"),),
    whose="sensor",
)


# ---------------------------------------------------------------- accepting one


def fields_of(row: Any, reading: Any, choices: Sequence[tuple[str, str]], view: View) -> list[Any]:
    """What is asked of a scale, a probe or a gauge beside its name; `row` makes a field's id of its key."""
    quantity = str(reading.wood_quantity)
    asked: list[Any] = [choice_field("It is on", row("on"), choices, choices[0][0] if choices else "")]
    if reading.wood_unit is None and reading.wood_unit_at is None:
        units = [
            ("", "as its messages say"),
            *((unit, SAID_UNITS.get(unit, unit)) for unit in UNITS[quantity]),
        ]
        asked.append(choice_field("Its unit", row("unit"), units))
    match quantity:
        case "weight":
            asked.append(text_field("The board weighs oven-dry", row("dry"), "", "grams, if you know it"))
            hint = "%, by a meter; both may be left out where the stack's witness board was begun"
            asked.append(text_field("or its moisture content now", row("mc"), "", hint))
        case "length":
            hint = "by hand; as recorded if left out"
            asked.append(text_field("It measures there now", row("at"), "", hint))
            asked.append(choice_field("Its reading", row("grows"), GROWS, "yes"))
        case "moisture":
            hint = "another wood than this, if so"
            asked.append(text_field("The probe is set for", row("set_for"), "", hint, list="species-names"))
            asked.append(forms.species_names())
    if quantity in ("moisture", "resistance") and reading.temperature is None:
        hint = f"{view.display.temperature(USUAL_C)} if left out"
        asked.append(text_field("The wood's temperature", row("wood_c"), "", hint))
    return asked


def bound(typed: dict[str, Any], view: View) -> BindTo:
    """What was typed of one."""
    what, _, name = str(typed.get("on") or "").partition(":")
    if not name:
        raise BadInput("", "what it is on", "must be a stack, a part or a fit: record one first", "nothing")

    def number(key: str, said: str, unit: str) -> float | None:
        text = str(typed.get(key) or "").strip()
        return forms.number_typed(text, said, unit) if text else None

    at, warm = str(typed.get("at") or "").strip(), str(typed.get("wood_c") or "").strip()
    ties = Ties(
        dry_g=number("dry", "its oven-dry weight", "g"),
        mc_pct=number("mc", "moisture content", "%"),
        at_mm=forms.length_typed(at, view.units, "what it measures") if at else None,
        grows=typed.get("grows") != "no",
        set_for=str(typed.get("set_for") or "").strip(),
        wood_c=forms.temperature_typed(warm, view.units, "the wood's temperature") if warm else None,
    )
    return BindTo(ties=ties, unit=str(typed.get("unit") or ""), **{what: name})


# ---------------------------------------------------------------- what one says


def said_of(one: MountNow, display: Display) -> str:
    """What a sensor's last reading comes to."""
    if one.said is None:
        return say.NOTHING
    return _with_doubt(one.measures, one.said, display)


def raw_of(one: MountNow) -> str:
    """A sensor's last reading as it came."""
    if one.value is None:
        return "nothing yet"
    match one.quantity:
        case "weight":
            return f"{one.value:,.1f}{say.NBSP}g"
        case "resistance":
            return f"{one.value / 1e6:,.0f}{say.NBSP}MΩ"
        case "moisture":
            return say.mc(one.value)
    return f"{one.value:.2f}{say.NBSP}mm"


def mounted_part(session: Session, bodies: Sequence[int], view: View) -> Child:
    """The sensors on a stack, or on a piece's parts and fits; nothing where there is none."""
    found = mounted.mounted(session, view.now, bodies)
    if not found:
        return None
    return part("Sensors on it", listed([row_of(one, view) for one in found]))


def row_of(one: MountNow, view: View) -> html.Li:
    """One sensor in a line or two."""
    told = f"Sent {raw_of(one)}, {times.ago(one.last_at, view.now)}. "
    return noted(
        one.judgement.verdict,
        html.A(html.B(one.sensor), href=address("sensor", one.sensor_id)),
        f", on {one.wood}",
        html.Div(told + in_sentences(one.judgement.reason, view.display), className="soft small"),
        kind="sensor",
        right=num(said_of(one, view.display)) if one.judgement.verdict != "near" else "doubted",
    )


def wood_page(session: Session, sensor: SensorNow, one: MountNow, view: View) -> html.Main:
    """The page of a sensor on wood."""
    span = span_of(view, "month", mounted.first_sent_at(session, sensor.id), zone=sensor.zone)
    sent = mounted.sent_on_wood(session, sensor.id, span.since_at, span.until_at)
    chart = on_wood_chart(sent, one.measures, view.display, span.stretch(view), sensor.name)
    then = _sent_then(session, sensor, one, span.asked_at, view) if span.asked_at else ""
    lead: list[Any] = [verdict_mark(one.judgement.verdict, "sensor"), " "]
    lead += [word(one.judgement.verdict, "sensor"), ". ", in_sentences(one.judgement.reason, view.display)]
    counts = one.judgement.verdict != "near"
    says = f"says {said_of(one, view.display)} ({raw_of(one)})" if counts else f"sends {raw_of(one)}"
    lead.append(f" It {says}, {times.ago(one.last_at, view.now)}.")
    rows = [
        html.Li(
            [
                num(_with_doubt(row.quantity, row, view.display)),
                f" on {times.moment(row.at, sensor.zone, view.units, view.now)}",
            ]
        )
        for row in mounted.measured_by(session, sensor.id)
    ]
    return sheet(
        sensor.name,
        html.P(lead, className="lead"),
        part(
            "What it sent",
            *charted(
                view, span, SPANS, chart, f"What {sensor.name} sent", address("sensor", sensor.id),
                ("sensor", sensor.id),
                then,
            ),
            aside("As it came, without corrections. Dotted: doubted, and nothing is measured by it."),
        ),
        html.Div(
            [
                part(
                    "Measured by it",
                    listed(rows, html.P("Nothing yet: an hour counts when it is over."), "rows small"),
                    aside("The first hour of each day, and each that differs by more than its ±."),
                ),
                html.Div(
                    [
                        part("Where it is", _where(one, sensor.zone, view), _zero(one, sensor, view)),
                        doubts_part(session, sensor, view),
                    ]
                ),
            ],
            className="columns even",
        ),
        html.A("Correct the record", href=address("sensor", sensor.id, "edit"), className="button no-print"),
        dateline=[html.A("Sensors", href="/sensors"), f" · {', '.join(sensor.topics)}"],
    )  # fmt: skip


def _sent_then(session: Session, sensor: SensorNow, one: MountNow, at: datetime, view: View) -> str:
    """What it sent about a moment, in a sentence."""
    sent = mounted.sent_on_wood(session, sensor.id, at - NEAR, at + NEAR)
    index = nearest(sent.at, at, NEAR)
    when = times.moment(at, sensor.zone, view.units, view.now)
    if index is None or np.isnan(sent.value[index]):
        return f"{sensor.name} sent nothing about {when}"
    value = float(sent.value[index])
    told = say.mc(value) if one.measures == "mc_pct" else view.display.length(value, finest=64)
    doubted = ", doubted" if doubted_among(sent.at, sent.doubts)[index] else ""
    return f"{sensor.name}, {when}: {told}{doubted}"


def _with_doubt(measures: str, found: Any, display: Display) -> str:
    if measures == "mc_pct":
        return say.mc_with_doubt(found.value, found.uncertainty)
    return display.with_doubt(found.value, found.uncertainty, "nearest", 64)


def _where(one: MountNow, zone: str, view: View) -> html.P:
    link = html.A(one.wood, href=address(one.kind, one.owner_id))
    return html.P(["On ", link, f", since {times.day(one.since_at, zone, view.units, view.now)}."])


def _zero(one: MountNow, sensor: SensorNow, view: View) -> html.Div:
    off = html.Button("Take it off", id={"act": TAKE_OFF, "number": sensor.id})
    if one.quantity == "length":
        form = ZERO_LENGTH.laid_out(view, sensor.id, more=[off])
        return html.Div([aside("After a knock, or when it was set again."), form])
    if one.quantity == "weight":
        told = "After the board was lifted, or the scale moved. Leave both empty if only the zero moved."
        return html.Div([aside(told), ZERO.laid_out(view, sensor.id, more=[off])])
    again = html.Button("Begin anew", id={"act": "begin anew", "number": sensor.id})
    told = "After its pins were set again: what it says counts again from now on."
    return html.Div([aside(told), html.Div([again, off], className="buttons")])


# ---------------------------------------------------------------- acts


def register(app: Dash, context: Context) -> None:
    """The forms' answers."""
    for form in (ZERO, ZERO_LENGTH):
        form.answers(app, context, _zero_act(form))
    answers(app, context, "begin anew", lambda number, _typed, view: begin_anew(number, {}, view))
    answers(app, context, TAKE_OFF, take_off)


def _zero_act(form: Form) -> Any:
    return lambda number, typed, view: begin_anew(number, form.read(typed, view), view)


def begin_anew(sensor_id: int, values: dict[str, Any], view: View) -> Act:
    """Set a sensor's zero as it is now."""
    with doing(view, "new zero") as (session, revision):
        sensor = session.get_one(Sensor, sensor_id)
        mounts.set_zero(session, sensor, view.now, Ties(**values))
        said = f"{sensor.name} begins anew: what it says from now on counts."
        return done(revision, said, "Its zero is the one before.", address("sensor", sensor_id))


def take_off(sensor_id: int, _typed: dict[str, Any], view: View) -> Act:
    """A sensor is on no wood from now on."""
    with doing(view, "change") as (session, revision):
        sensor = session.get_one(Sensor, sensor_id)
        mounts.unmount_sensor(session, sensor, view.now)
        said = f"{sensor.name} is off; what it measured stays."
        return done(revision, said, "It is on its wood again.", address("sensor", sensor_id))
