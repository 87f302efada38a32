"""One sensor: what it sent, what of it is not believed, and where it hung."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from dash import html
from sqlalchemy.orm import Session

from dashboard.figures.air import air_chart, doubted_in, said_of
from dashboard.pages.charted import charted, nearest
from dashboard.pages.frame import Child, aside, part, sheet, word
from dashboard.pages.sensors.hanging import hanging_part, nowhere_part
from dashboard.pages.sensors.on_wood import wood_page
from dashboard.pages.sensors.trust import trust_part
from dashboard.say.marks import verdict_mark
from dashboard.shell.spans import span_of
from dashboard.shell.view import Route, View, address
from model.records.queries import overview as queries
from model.records.queries import sensing, traces
from model.records.queries.mounted import mounted
from model.records.queries.sensing import SensorNow
from model.records.queries.series import AirSeries
from model.records.queries.traces import Trace
from model.records.queries.two_rooms import TwoRooms, two_rooms
from model.words import times
from model.words.reasons import in_sentences

HOUR_MS = 3_600_000
NEAR = timedelta(hours=1)
SPANS = ("day", "week", "month", "season", "year")


def layout(view: View, sensor_id: int) -> html.Main | None:
    """The page of one sensor; none when there is no such sensor."""
    with view.store.session() as session:
        found = sensing.sensors(session, view.now, only=sensor_id)
        if not found:
            return None
        on_wood = mounted(session, view.now, sensor_id=sensor_id)
        return wood_page(session, found[0], on_wood[0], view) if on_wood else page(session, found[0], view)


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
    lead.append(f" Last heard {times.ago(sensor.last_at, view.now)}.")
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
        return f"{sensor.name} sent nothing about {times.moment(at, sensor.zone, view.units, view.now)}"
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


ROUTES = [Route("/sensor/<sensor_id>", layout, live=False)]
