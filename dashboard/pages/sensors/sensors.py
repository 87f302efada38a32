"""Sensors: what is heard, what is not believed, and what speaks but is not known yet."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, answers, doing, done
from dashboard.pages.frame import empty, folded, listed, noted, num, part, sheet
from dashboard.pages.sensors import broker_address, sensor
from dashboard.pages.sensors.accepting import dismissed_part, shown_payload, waiting_part
from dashboard.pages.sensors.sensor import DATE_BACK, HANG, HUNG_SINCE, two_rooms_part
from dashboard.say import sentences
from dashboard.shell.ports import UnboundTopic
from dashboard.shell.view import Context, Route, View, address
from model.records.acts import hangings
from model.records.acts.dismissed import dismissed_topics
from model.records.queries import overview as queries
from model.records.queries import sensing
from model.records.queries.sensing import SensorNow
from model.records.queries.two_rooms import TwoRooms, by_sensor, two_rooms
from model.records.schema.tables import Place, Revision, Sensor
from model.wood.errors import BadInput
from model.words import display as say

CORRECTION = "correction"


def layout(view: View) -> html.Main:
    """The page of all sensors, known and not yet known."""
    with view.store.session() as session:
        sensors = sensing.sensors(session, view.now)
        places = queries.places(session, view.now)
        refused_ones = sensing.rejected(session, limit=20)
        counts = sensing.tallies(session)
        pairs = two_rooms(session, view.now)
        gone = dismissed_topics(session)
    heard = list(view.context.sensors.heard()) if view.context.sensors else []
    return sheet(
        headline(sensors, heard, pairs),
        two_rooms_part(pairs),
        waiting_part(heard, places, view),
        part("Known", listed([_row(one, by_sensor(pairs), view) for one in sensors])),
        None
        if sensors or heard
        else empty(
            html.H2("No sensor is known yet."),
            html.P("Let one publish to the broker; it is listed here as soon as it speaks."),
        ),
        dismissed_part(gone),
        broker_address.block(view, opened=not sensors and not heard),
        _refused_part(refused_ones, counts, view),
    )


def headline(
    sensors: tuple[SensorNow, ...], heard: list[UnboundTopic], pairs: tuple[TwoRooms, ...] = ()
) -> str:
    """The page's answer in one sentence."""
    silent = sum(
        one.judgement.verdict == "unknown" and (one.judgement.evaluated_at is not None or one.last_at is None)
        for one in sensors
    )
    doubted = sum(one.judgement.verdict == "near" for one in sensors)
    told = []
    if silent:
        told.append(sentences.so_many(silent, "sensor", "is silent", "are silent"))
    if doubted:
        told.append(sentences.so_many(doubted, "sensor", "is doubted", "are doubted"))
    for place in dict.fromkeys(pair.place for pair in pairs):
        told.append(f"the sensors at {place} may hang in two rooms")
    if heard:
        told.append(sentences.so_many(len(heard), "topic", "waits to be accepted", "wait to be accepted"))
    if told:
        return say.sentence(say.joined(told))
    if any(one.judgement.evaluated_at is None for one in sensors):
        return "A new sensor is heard; no verdict on it yet."
    return "Every sensor is heard." if sensors else "No sensor is heard."


def _row(one: SensorNow, apart: Mapping[int, TwoRooms], view: View) -> html.Li:
    where = f", at {one.place}" if one.place else ", hung nowhere"
    verdict = "near" if one.id in apart and one.judgement.verdict == "clear" else one.judgement.verdict
    air = []
    if one.rh_pct is not None:
        air.append(say.rh(one.rh_pct))
    if one.temperature_c is not None:
        air.append(view.display.temperature(one.temperature_c))
    facts = [sentences.reason(one.judgement, view.display)]
    if one.id in apart:
        pair = apart[one.id]
        other = pair.dry if one.id == pair.damp_id else pair.damp
        facts.append(f"Two rooms? It differs from {other} by {pair.apart_pct:.0f} points of humidity.")
    facts.append(f"Last heard {say.ago(one.last_at, view.now)}.")
    if one.battery_pct is not None:
        facts.append(f"Battery {one.battery_pct:.0f}{say.NBSP}%.")
    return noted(
        verdict,
        html.A(html.B(one.name), href=address("sensor", one.id)),
        where,
        html.Div(" ".join(facts), className="soft small"),
        html.Div(", ".join(one.topics), className="soft small topic"),
        kind="sensor",
        right=num(", ".join(air)) if air else None,
    )


def _refused_part(
    rows: tuple[sensing.Refused, ...], counts: dict[str, int], view: View
) -> html.Details | None:
    """Messages that could not become a reading, with their reasons."""
    if not rows:
        return None
    total = counts.get("rejected", len(rows))
    lines = [
        html.Li(
            [
                html.Span(row.topic, className="topic"),
                f", {say.ago(row.received_at, view.now)}: {row.reason}",
                html.Pre(shown_payload(row.payload)),
            ]
        )
        for row in rows
    ]
    told = f"{sentences.counted(total, 'message').capitalize()} could not be read"
    return folded(told, listed(lines, className="rows small"), className="part")


# ---------------------------------------------------------------- one sensor


def sensor_layout(view: View, sensor_id: int) -> html.Main | None:
    """The page of one sensor; none when there is no such sensor."""
    with view.store.session() as session:
        found = sensing.sensors(session, view.now, only=sensor_id)
        if not found:
            return None
        return sensor.page(session, found[0], view)


# ---------------------------------------------------------------- acts


def register(app: Dash, context: Context) -> None:
    """Hanging a sensor, and correcting since when it hung."""
    HANG.answers(app, context, hung, here=_page)
    HUNG_SINCE.answers(app, context, hung_since, here=_page)
    answers(app, context, DATE_BACK, dated_back, which="sensor")


def _page(sensor_id: int) -> str:
    return address("sensor", sensor_id)


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
    since = say.moment(at, place.zone, view.units, view.now)
    said = f"{sensor.name} hangs at {place.name} since {since}."
    return done(revision, said, f"{sensor.name} hangs as it was recorded before.")


ROUTES = [
    Route("/sensors", layout, live=False),
    Route("/sensor/<sensor_id>", sensor_layout, live=False),
]
