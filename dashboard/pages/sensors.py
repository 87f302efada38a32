"""Sensors: what is heard, what is not believed, and what speaks but is not known yet."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from dash import ALL, Dash, Input, State, ctx, html

from dashboard import display as say
from dashboard import forms, sentences
from dashboard.acts import NOTHING, OUTPUTS, Act, answered, answers, refused
from dashboard.doors import HeardTopic
from dashboard.forms import choice_field, text_field
from dashboard.marks import verdict_mark
from dashboard.pages import broker_address, sensor
from dashboard.pages.frame import empty, num, part, sheet
from dashboard.view import Context, Route, View, address, view_of
from model.records import acceptances, hangings, queries, sensing
from model.records.sensing import SensorNow
from model.records.tables import Sensor
from model.wood.errors import BadInput

ACCEPT, HANG = "accept", "hang"
NEW_PLACE = "new"
SHOWN_BYTES = 400
KINDS = [("shop", "the shop"), ("storage", "a storage room"), ("home", "a client's home")]


def layout(view: View) -> html.Main:
    """The page of all sensors, known and not yet known."""
    with view.store.session() as session:
        sensors = sensing.sensors(session, view.now)
        places = queries.places(session, view.now)
        refused_ones = sensing.rejected(session, limit=20)
        counts = sensing.tallies(session)
    heard = list(view.context.sensors.heard()) if view.context.sensors else []
    return sheet(
        headline(sensors, heard),
        part(
            "Not known yet",
            *[_heard_block(index, topic, places, view) for index, topic in enumerate(heard)],
        )
        if heard
        else None,
        part("Known", html.Ul([_row(one, view) for one in sensors], className="rows"))
        if sensors
        else None
        if heard
        else empty(
            html.H2("No sensor is known yet."),
            html.P("Let one publish to the broker; it is listed here as soon as it speaks."),
        ),
        broker_address.block(view, opened=not sensors and not heard),
        _refused_part(refused_ones, counts, view),
    )


def headline(sensors: tuple[SensorNow, ...], heard: list[HeardTopic]) -> str:
    """The page's answer in one sentence."""
    silent = [one for one in sensors if one.judgement.verdict == "unknown"]
    doubted = [one for one in sensors if one.judgement.verdict == "near"]
    told = []
    if silent:
        told.append(
            f"{sentences.counted(len(silent), 'sensor')} {'is' if len(silent) == 1 else 'are'} silent"
        )
    if doubted:
        told.append(
            f"{sentences.counted(len(doubted), 'sensor')} {'is' if len(doubted) == 1 else 'are'} doubted"
        )
    if heard:
        verb = "waits" if len(heard) == 1 else "wait"
        told.append(f"{sentences.counted(len(heard), 'topic')} {verb} to be accepted")
    if told:
        return say.sentence(say.joined(told))
    return "Every sensor is heard." if sensors else "No sensor is heard."


def _row(one: SensorNow, view: View) -> html.Li:
    where = f", at {one.place}" if one.place else ", hung nowhere"
    air = []
    if one.rh_pct is not None:
        air.append(say.rh(one.rh_pct))
    if one.temperature_c is not None:
        air.append(view.display.temperature(one.temperature_c))
    facts = [say.sentence(one.judgement.reason)]
    facts.append(f"Last heard {say.ago(one.last_at, view.now)}.")
    if one.battery_pct is not None:
        facts.append(f"Battery {one.battery_pct:.0f}{say.NBSP}%.")
    return html.Li(
        [
            verdict_mark(one.judgement.verdict, "sensor"),
            html.Div(
                [
                    html.A(html.B(one.name), href=address("sensor", one.id)),
                    where,
                    html.Div(" ".join(facts), className="soft small"),
                    html.Div(", ".join(one.topics), className="soft small topic"),
                ]
            ),
            html.Div([num(", ".join(air))] if air else [], className="right"),
        ],
        className="row",
    )


def _heard_block(
    index: int, topic: HeardTopic, places: tuple[queries.PlaceNow, ...], view: View
) -> html.Article:
    """A topic nobody is bound to: what it says, what it is taken for, and its acceptance."""
    proposal = topic.proposal
    named = [(place.name, place.name) for place in places]
    payload = shown_payload(topic.last_payload)
    lines: list[Any] = [
        html.H3(topic.topic, className="topic"),
        html.P(f"Heard {say.ago(topic.last_at, view.now)}, {sentences.counted(topic.kept, 'message')} kept."),
        html.Pre(payload),
    ]
    if proposal is None or not proposal.parts:
        lines.append(html.P("Nothing in it is recognised as the air of a place.", className="soft"))
        return html.Article(lines, className="heard")
    lines.append(html.Ul([html.Li(reason) for reason in proposal.reasons], className="small soft"))

    def id(key: str) -> dict[str, Any]:
        return {"form": ACCEPT, "row": index, "key": key}

    lines.append(
        html.Div(
            [
                name_field(proposal.parts, id("name")),
                choice_field(
                    "It hangs at",
                    id("place"),
                    [*named, (NEW_PLACE, "a new place …")],
                    named[0][0] if named else NEW_PLACE,
                ),
                text_field("Name of a new place", id("new"), "" if named else "shop"),
                choice_field("which is", id("kind"), KINDS, "home" if named else "shop"),
            ],
            className="fields",
        )
    )
    lines.append(
        html.Button(
            "Accept it" if len(proposal.parts) == 1 else "Accept them",
            id={"act": ACCEPT, "row": index, "topic": topic.topic},
            className="first",
        )
    )
    return html.Article(lines, className="heard")


def name_field(parts: Sequence[Any], id: dict[str, Any]) -> html.Div:
    """Where the proposed name can be changed: the sensor's, or what several of one message share."""
    first = parts[0]
    if len(parts) == 1:
        return text_field("Its name", id, first.name)
    own = say.joined([part.part for part in parts])
    common = str(first.name).removesuffix(str(first.part)).strip() or first.name
    return text_field("Their name", id, common, hint=f"each one's own comes after it: {own}")


def shown_payload(payload: bytes) -> str:
    """A message as it came, as text where it is text, cut to what a screen can bear."""
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        text = payload.hex(" ")
    text = "".join(letter if letter.isprintable() or letter == "\n" else "\ufffd" for letter in text)
    return text if len(text) <= SHOWN_BYTES else f"{text[:SHOWN_BYTES]}…"


def _refused_part(
    rows: tuple[sensing.Refused, ...], counts: dict[str, int], view: View
) -> html.Details | None:
    """Messages that could not become a reading, with their reasons."""
    if not rows:
        return None
    total = counts.get("rejected", len(rows))
    return html.Details(
        [
            html.Summary(f"{sentences.counted(total, 'message').capitalize()} could not be read"),
            html.Ul(
                [
                    html.Li(
                        [
                            html.Span(row.topic, className="topic"),
                            f", {say.ago(row.received_at, view.now)}: {row.reason}",
                            html.Pre(shown_payload(row.payload)),
                        ]
                    )
                    for row in rows
                ],
                className="rows small",
            ),
        ],
        className="part",
    )


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
    """Accepting, hanging and taking down."""

    @app.callback(
        *OUTPUTS,
        Input({"act": ACCEPT, "row": ALL, "topic": ALL}, "n_clicks"),
        State({"form": ACCEPT, "row": ALL, "key": ALL}, "value"),
        prevent_initial_call=True,
    )
    def accept(clicks: list[int | None], _values: list[Any]) -> Any:
        if not any(clicks) or context.sensors is None:
            return NOTHING
        row, topic = ctx.triggered_id["row"], str(ctx.triggered_id["topic"])
        typed = {
            item["id"]["key"]: item.get("value") for item in ctx.states_list[0] if item["id"]["row"] == row
        }
        try:
            return answered(accepted(topic, typed, view_of(context)), "/sensors")
        except BadInput as error:
            return refused(error)

    answers(app, context, HANG, hung, which="sensor", here=_page)


def _page(sensor_id: int) -> str:
    return address("sensor", sensor_id)


def accepted(topic: str, typed: dict[str, Any], view: View) -> Act:
    """Make a sensor of a topic, as typed."""
    assert view.context.sensors is not None
    chosen = str(typed.get("place") or NEW_PLACE)
    name = str(typed.get("new") or "").strip() if chosen == NEW_PLACE else chosen
    if not name:
        raise BadInput("", "name of the new place", "must be given", "nothing")
    with view.store.session() as session:
        places = queries.places(session, view.now)
    zone = places[0].zone if places else view.context.zone
    done = view.context.sensors.accept(
        topic,
        name=str(typed.get("name") or "").strip() or None,
        place=name,
        place_kind=str(typed.get("kind") or "home"),
        zone=zone,
    )
    told = sentences.counted(done.readings, "kept message")
    verb = "became a reading" if done.readings == 1 else "became readings"
    are = "is" if len(done.sensors) == 1 else "are"
    said = f"{say.joined(list(done.sensors))} {are} accepted at {name}; {told} {verb}."
    return Act(said, undo=("acceptance", done.number))


def hung(number: int, typed: dict[str, Any], view: View) -> Act:
    """Hang a sensor at another place, as typed."""
    with view.store.session() as session:
        row = session.get_one(Sensor, number)
        place = forms.chosen_place(session, typed.get("place"), "where it hangs")
        at = forms.day_typed(typed.get("at"), place.zone, "from")
        last = max((hanging.since_at for hanging in row.hangings), default=None)
        if last is not None and at <= last:
            at = last + timedelta(minutes=1)
        hangings.hang_sensor(session, row, place, at)
        return Act(f"{row.name} hangs at {place.name}.", undo=("hanging", number))


def _undo_hanging(view: View, number: int) -> str:
    with view.store.session() as session:
        row = session.get_one(Sensor, number)
        place = hangings.undo_hanging(session, row)
        return f"{row.name} hangs {f'at {place.name} again' if place else 'nowhere'}."


def _undo_acceptance(view: View, number: int) -> Act:
    with view.store.session() as session:
        back = acceptances.take_back_acceptance(session, number, view.now)
    waits = "waits" if len(back.topics) == 1 else "wait"
    said = f"{say.joined(list(back.topics))} {waits} to be accepted again, with all that came."
    if back.place_gone:
        said += f" {back.place_gone} is out of the book again."
    elif back.place_stays:
        said += f" {say.sentence(back.place_stays)}"
    return Act(said, "/sensors")


UNDO = {"hanging": _undo_hanging, "acceptance": _undo_acceptance}


ROUTES = [
    Route("/sensors", layout, live=False),
    Route("/sensor/<sensor_id>", sensor_layout, live=False),
]
