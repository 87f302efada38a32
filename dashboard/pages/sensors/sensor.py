"""One sensor: what it sent, what of it is not believed, and where it hung."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from dash import html
from sqlalchemy.orm import Session

from dashboard.figures.air import air_chart, doubted_in, said_of
from dashboard.forms.declared import Asked, Form
from dashboard.pages.charted import charted, nearest
from dashboard.pages.frame import Child, aside, folded, listed, part, sheet, word
from dashboard.pages.sensors.swap import swap_form
from dashboard.pages.sensors.trust import trust_part
from dashboard.say.marks import verdict_mark
from dashboard.shell.spans import span_of
from dashboard.shell.view import View, address
from model.records.acts import hangings
from model.records.queries import overview as queries
from model.records.queries import sensing, traces
from model.records.queries.sensing import SensorNow
from model.records.queries.series import AirSeries
from model.records.queries.traces import Trace
from model.records.queries.two_rooms import TwoRooms, two_rooms
from model.records.schema.tables import Sensor
from model.words import display as say
from model.words.reasons import in_sentences

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
HOUR_MS = 3_600_000
NEAR = timedelta(hours=1)
SPANS = ("day", "week", "month", "season", "year")


def page(session: Session, sensor: SensorNow, view: View) -> html.Main:
    """The page, from the book."""
    first_at = traces.first_reading_at(session, sensor.id)
    span = span_of(view, "week", first_at, zone=sensor.zone)
    trace = traces.sensor_trace(session, sensor.id, span.since_at, span.until_at)
    places = queries.places(session, view.now)
    air = as_air(trace)
    # Humidity that came without its temperature has no place on the line; where there is any, all is drawn.
    alone = [trace] if len(air.at) < len(trace.at) else []
    chart = air_chart(air, alone, view.display, span.stretch(view), sensor.name, "doubted")
    then = sent_then(session, sensor, span.asked_at, view) if span.asked_at else ""
    pairs = two_rooms(session, view.now, sensor.place_id) if sensor.place_id is not None else ()
    own = [pair for pair in pairs if sensor.id in (pair.damp_id, pair.dry_id)]
    verdict = sensor.judgement.verdict
    lead: list[Any] = [verdict_mark(verdict, "sensor"), " ", word(verdict, "sensor"), ". "]
    lead.append(in_sentences(sensor.judgement.reason, view.display))
    lead.append(f" Last heard {say.ago(sensor.last_at, view.now)}.")
    return sheet(
        sensor.name,
        html.P(lead, className="lead"),
        two_rooms_part(own),
        nowhere_part(session, sensor.id, view),
        part(
            "What it sent",
            *charted(
                view,
                span,
                SPANS,
                chart,
                f"What {sensor.name} sent",
                address("sensor", sensor.id),
                ("sensor", sensor.id),
                then,
                tall=True,
            ),
            aside("As it came, before any correction. Dotted: doubted, and left out of the place's air."),
        ),
        html.Div(
            [trust_part(session, sensor, view), hanging_part(session, sensor, places, view)],
            className="columns even",
        ),
        html.Div(
            [
                html.A("Readings from a file", href=address("sensor", sensor.id, "file"), className="button"),
                html.A("Correct the record", href=address("sensor", sensor.id, "edit"), className="button"),
            ],
            className="buttons no-print",
        ),
        dateline=[html.A("Sensors", href="/sensors"), f" · {', '.join(sensor.topics)}"],
    )


def sent_then(session: Session, sensor: SensorNow, at: datetime, view: View) -> str:
    """The reading nearest to a moment, in a sentence."""
    air = as_air(traces.sensor_trace(session, sensor.id, at - NEAR, at + NEAR))
    index = nearest(air.at, at, NEAR)
    if index is None:
        return f"{sensor.name} sent nothing about {say.moment(at, sensor.zone, view.units, view.now)}"
    return f"{sensor.name}, {said_of(air, index, view.display, sensor.zone, 'doubted')}"


def as_air(trace: Trace) -> AirSeries:
    """What a sensor sent as the air of its own hours, for the same drawing; what is doubted is drawn dotted.

    A quantity that came without the other leaves a gap.
    """
    both = ~(np.isnan(trace.temperature_c) | np.isnan(trace.rh_pct))
    return AirSeries(
        trace.at[both],
        trace.temperature_c[both],
        trace.rh_pct[both],
        doubted_in(trace)[both],
        max(trace.step_ms, HOUR_MS),
    )


def two_rooms_part(pairs: Sequence[TwoRooms]) -> Child:
    """The caution of sensors of one place that seem to hang in two rooms."""
    if not pairs:
        return None
    return html.Div(
        [html.P([verdict_mark("near", "sensor"), " ", in_sentences(pair.reason)]) for pair in pairs]
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
    since = say.day(left.since_at, zone, view.units, view.now)
    first = say.day(left.first_at, zone, view.units, view.now)
    return html.Div(
        [
            html.P(f"{told}{row.name} hangs at {left.place.name} only since {since}."),
            html.Button(
                f"It hung there since {first}", id={"act": DATE_BACK, "sensor": sensor_id}, className="first"
            ),
        ],
        className="problem",
    )


def hanging_part(
    session: Session, sensor: SensorNow, places: tuple[queries.PlaceNow, ...], view: View
) -> html.Section:
    """Where it hung, and the form to hang it elsewhere."""
    rows = []
    for hanging in sensing.hangings_of(session, sensor.id):
        since = say.day(hanging.since_at, hanging.zone, view.units, view.now)
        until = say.day(hanging.until_at, hanging.zone, view.units, view.now) if hanging.until_at else "now"
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
