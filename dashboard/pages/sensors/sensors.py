"""Sensors: what is heard, what is not believed, and what speaks but is not known yet."""

from collections.abc import Mapping
from typing import Any

from dash import html

from dashboard.pages.frame import empty, facts_list, folded, listed, noted, num, part, sheet
from dashboard.pages.sensors.accepting import dismissed_part, shown_payload, waiting_part
from dashboard.pages.sensors.on_wood import row_of
from dashboard.pages.sensors.sensor import two_rooms_part
from dashboard.say import sentences
from dashboard.shell.ports import UnboundTopic
from dashboard.shell.view import Route, View, address
from model.records.acts.dismissed import dismissed_topics
from model.records.queries import overview as queries
from model.records.queries import sensing
from model.records.queries.mounted import mounted
from model.records.queries.sensing import SensorNow
from model.records.queries.two_rooms import TwoRooms, by_sensor, two_rooms
from model.words import display as say
from model.words import times


def layout(view: View) -> html.Main:
    """The page of all sensors, known and not yet known."""
    with view.store.session() as session:
        sensors = sensing.sensors(session, view.now)
        places = queries.places(session, view.now)
        refused_ones = sensing.rejected(session, limit=20)
        counts = sensing.tallies(session)
        pairs = two_rooms(session, view.now)
        gone = dismissed_topics(session)
        on_wood = {one.sensor_id: one for one in mounted(session, view.now)}
    apart = by_sensor(pairs)
    heard = list(view.context.sensors.heard()) if view.context.sensors else []
    return sheet(
        headline(sensors, heard, pairs),
        two_rooms_part(pairs),
        waiting_part(heard, places, view),
        part(
            "Known",
            listed(
                [
                    row_of(on_wood[one.id], view) if one.id in on_wood else _row(one, apart, view)
                    for one in sorted(sensors, key=lambda one: _need(one, apart))
                ]
            ),
        ),
        None
        if sensors or heard
        else empty(
            html.H2("No sensor is known yet."),
            html.P("Let one publish to the broker; it is listed here as soon as it speaks."),
        ),
        dismissed_part(gone),
        broker_part(view, opened=not sensors and not heard),
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


def _verdict(one: SensorNow, apart: Mapping[int, TwoRooms]) -> str:
    """How a sensor stands; one that may hang in another room than its like is doubted."""
    return "near" if one.id in apart and one.judgement.verdict == "clear" else one.judgement.verdict


def _need(one: SensorNow, apart: Mapping[int, TwoRooms]) -> tuple[bool, int]:
    """What asks for a look first: a silent sensor, then a doubted one."""
    verdict = _verdict(one, apart)
    return verdict != "unknown", say.need(verdict)


def _row(one: SensorNow, apart: Mapping[int, TwoRooms], view: View) -> html.Li:
    where = f", at {one.place}" if one.place else ", hung nowhere"
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
    facts.append(f"Last heard {times.ago(one.last_at, view.now)}.")
    if one.battery_pct is not None:
        facts.append(f"Battery {one.battery_pct:.0f}{say.NBSP}%.")
    return noted(
        _verdict(one, apart),
        html.A(html.B(one.name), href=address("sensor", one.id)),
        where,
        html.Div(" ".join(facts), className="soft small"),
        html.Div(", ".join(one.topics), className="soft small topic"),
        kind="sensor",
        right=num(", ".join(air)) if air else None,
    )


def broker_part(view: View, *, opened: bool) -> html.Details | None:
    """The broker's address as a sensor on the network would type it; the password behind a press.

    `opened` shows it at once, where no sensor has been heard yet. None where the broker isn't known.
    """
    if view.context.sensors is None or view.context.sensors.broker is None:
        return None
    address = view.context.sensors.broker()
    facts: list[tuple[str, Any]] = []
    if address.hosts:
        first, *others = address.hosts
        facts.append(("broker", [html.B(first), f" or {', '.join(others)}" if others else ""]))
        facts.append(("port", html.B(str(address.port))))
    if address.hosts and address.user:
        facts.append(("user", html.B(address.user)))
        facts.append(("password", folded("Show it", html.B(address.password))))
    first_said = _with_commands(address.said[0])
    return folded(
        "Let a sensor talk",
        html.P(["Type this into each sensor. ", *first_said]) if facts else html.P(first_said),
        facts_list(facts) if facts else None,
        html.P(address.heard) if address.heard else None,
        *[html.P(_with_commands(sentence), className="soft small") for sentence in address.said[1:]],
        is_open=opened,
        className="part",
    )


def _with_commands(sentence: str) -> list[Any]:
    """A sentence with what is to be typed, between back-ticks, set as such."""
    return [html.Code(part) if odd % 2 else part for odd, part in enumerate(sentence.split("`"))]


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
                f", {times.ago(row.received_at, view.now)}: {row.reason}",
                html.Pre(shown_payload(row.payload)),
            ]
        )
        for row in rows
    ]
    told = f"{sentences.counted(total, 'message').capitalize()} could not be read"
    return folded(told, listed(lines, className="rows small"), className="part")


ROUTES = [Route("/sensors", layout, live=False)]
