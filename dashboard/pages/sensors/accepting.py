"""Topics that nobody is bound to: what they say, what they are taken for, and what becomes of each."""

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, ctx, html

from dashboard.forms import fields as forms
from dashboard.forms.acts import NOTHING, OUTPUTS, Act, answered, answers, doing, done, refused
from dashboard.forms.fields import choice_field, text_field
from dashboard.pages.frame import Child, folded, part
from dashboard.pages.sensors.on_wood import bound, fields_of
from dashboard.say import sentences
from dashboard.shell.ports import HungSensor, ReadByHand, TopicAccepted, UnboundTopic
from dashboard.shell.view import Context, View, address, view_of
from model.records.acts import dismissed
from model.records.queries import overview as queries
from model.records.queries.mounted import where_it_can_be
from model.wood.errors import BadInput
from model.words import display as say
from model.words import times

ACCEPT, DISMISS, BRING_BACK = "accept", "dismiss", "bring back"
SHOWN_BYTES = 400
SHOWN_TOPICS = 30
"""Topics shown at once: each is a form of its own."""
KINDS = [("shop", "the shop"), ("storage", "a storage room"), ("home", "a client's home")]
TEMPERATURE_UNITS = (("C", "°C"), ("F", "°F"), ("K", "K"))
RH_UNITS = [("%", "percent"), ("ratio", "a ratio, 0 to 1")]
BARE = "/"
"""The choice of a message that is a bare number: its pointer is empty, as it is where nothing is chosen."""


def waiting_part(heard: Sequence[UnboundTopic], places: tuple[queries.PlaceNow, ...], view: View) -> Child:
    """The topics that wait, those in which something is recognised first."""
    if not heard:
        return None
    known = [topic for topic in heard if _is_recognised(topic)]
    other = [topic for topic in heard if not _is_recognised(topic)]
    most = None if view.query.get("topics") == "all" else SHOWN_TOPICS
    shown, rest = known[:most], other[: None if most is None else max(most - len(known), 0)]
    blocks = [heard_block(index, topic, places, view) for index, topic in enumerate([*shown, *rest])]
    left = len(heard) - len(blocks)
    unread = f"{sentences.counted(len(other), 'topic')} with no air recognised"
    return part(
        "Not known yet",
        _full(len(heard), view),
        html.Datalist([html.Option(value=place.name) for place in places], id="place-names"),
        *blocks[: len(shown)],
        folded(say.sentence(unread), *blocks[len(shown) :], is_open=not known) if rest else None,
        html.P(html.A(f"Show the other {left}", href=address("sensors", topics="all"))) if left else None,
    )


def _is_recognised(topic: UnboundTopic) -> bool:
    return topic.proposal is not None and bool(topic.proposal.parts)


def _full(count: int, view: View) -> Child:
    room = view.context.sensors.room if view.context.sensors else 0
    if not room or count < room:
        return None
    return html.P(
        f"The list is full: {count} topics wait. Each new one is listed in place of the one that has been "
        "silent longest, one with no air recognised first. Dismiss what is no sensor of yours.",
        className="problem",
    )


def heard_block(
    index: int, topic: UnboundTopic, places: tuple[queries.PlaceNow, ...], view: View
) -> html.Article:
    """A topic nobody is bound to: what it says, what it is taken for, and its acceptance."""

    proposal, fields = topic.proposal, topic.fields
    lines: list[Any] = [
        html.H3(topic.topic, className="topic"),
        html.P(
            f"Heard {times.ago(topic.last_at, view.now)}, {sentences.counted(topic.kept, 'message')} kept."
        ),
        html.Pre(shown_payload(topic.last_payload)),
    ]
    parts: Sequence[Any] = proposal.parts if _is_recognised(topic) and proposal is not None else ()
    if parts:
        assert proposal is not None
        lines.append(html.Ul([html.Li(reason) for reason in proposal.reasons], className="small soft"))
    elif fields:
        lines.append(html.P("No air is recognised in it. If it is a sensor, say which field is what."))
    else:
        lines.append(
            html.P("No air is recognised in it, and it holds no number to choose.", className="soft")
        )
    if len(parts) > 1:
        # Each by itself: what shares a topic may hang in different places.
        for number, proposed in enumerate(parts):
            row = f"{index}-{number}"
            lines += [html.H4(proposed.name), *_acceptance(row, topic.topic, proposed, places, view)]
    elif parts or fields:
        row = f"{index}-0"
        if fields and not _is_on_wood(parts):
            lines.append(_by_hand(fields, row, is_open=not parts))
        lines += _acceptance(row, topic.topic, parts[0] if parts else None, places, view)
    lines.append(
        html.Div(html.Button("Dismiss it", id={"act": DISMISS, "topic": topic.topic}), className="buttons")
    )
    return html.Article(lines, className="heard")


def _field(row: str, key: str) -> dict[str, Any]:
    return {"form": ACCEPT, "block": row, "key": key}


def _is_on_wood(parts: Sequence[Any]) -> bool:
    return any(one.reading.wood_quantity is not None for one in parts)


def _acceptance(
    row: str, topic: str, proposed: Any, places: Sequence[queries.PlaceNow], view: View
) -> list[Any]:
    """What is asked of one sensor, and the button that accepts it; none is proposed of one read by hand."""
    name, hint = (proposed.name, "") if proposed else ("", "taken from its topic if left empty")
    if proposed and _is_on_wood([proposed]):
        with view.store.session() as session:
            choices = where_it_can_be(session, proposed.reading.wood_quantity)
        where = fields_of(partial(_field, row), proposed.reading, choices, view)
    else:
        where = [
            text_field(
                "Location",
                _field(row, "place"),
                "" if places else "Shop",
                hint="one of your places, or the name of a new one",
                list="place-names",
            ),
            choice_field("A new place is", _field(row, "kind"), KINDS, "home" if places else "shop"),
        ]
    return [
        html.Div([text_field("Its name", _field(row, "name"), name, hint), *where], className="fields"),
        html.Button(
            "Accept it",
            id={"act": ACCEPT, "block": row, "topic": topic, "part": proposed.part if proposed else ""},
            className="first",
        ),
    ]


def _by_hand(fields: Sequence[tuple[str, str]], row: str, is_open: bool) -> html.Details:
    """Which field is what, said by a person; what the last message comes to stands below."""
    choices = [
        ("", "not sent"),
        *((pointer or BARE, f"{pointer or 'message'} = {got}") for pointer, got in fields),
    ]
    return folded(
        "Say which field is what",
        html.Div(
            [
                choice_field("Temperature", _field(row, "temperature"), choices),
                choice_field("Temperature is in", _field(row, "temperature_unit"), TEMPERATURE_UNITS, "C"),
                choice_field("Humidity", _field(row, "rh"), choices),
                choice_field("Humidity is in", _field(row, "rh_unit"), RH_UNITS, "%"),
            ],
            className="fields",
        ),
        html.Div(id={"shown": ACCEPT, "block": row}),
        is_open=is_open,
    )


def shown_payload(payload: bytes) -> str:
    """A message as it came, as text where it is text, cut to what a screen can bear."""
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        text = payload.hex(" ")
    text = "".join(letter if letter.isprintable() or letter == "\n" else "\ufffd" for letter in text)
    return text if len(text) <= SHOWN_BYTES else f"{text[:SHOWN_BYTES]}…"


def dismissed_part(topics: Sequence[str]) -> Child:
    """The topics that were dismissed, each with the way back."""
    if not topics:
        return None
    rows = []
    for topic in topics:
        again = html.Button("List it again", id={"act": BRING_BACK, "topic": topic})
        rows.append(html.Li([html.Span(topic, className="topic"), " ", again]))
    told = say.sentence(f"{sentences.counted(len(topics), 'topic')} dismissed")
    return folded(told, html.Ul(rows), className="part")


# ---------------------------------------------------------------- acts


def register(app: Dash, context: Context) -> None:
    """Accepting, dismissing, and what a message comes to as a person reads it."""

    @app.callback(
        *OUTPUTS,
        Input({"act": ACCEPT, "block": ALL, "topic": ALL, "part": ALL}, "n_clicks"),
        State({"form": ACCEPT, "block": ALL, "key": ALL}, "value"),
        prevent_initial_call=True,
    )
    def accept(clicks: list[int | None], _values: list[Any]) -> Any:
        if not any(clicks) or context.sensors is None:
            return NOTHING
        row, topic, which = (str(ctx.triggered_id[key]) for key in ("block", "topic", "part"))
        typed = {
            item["id"]["key"]: item.get("value") for item in ctx.states_list[0] if item["id"]["block"] == row
        }
        try:
            return answered(accepted(topic, typed, view_of(context), which or None), "/sensors")
        except BadInput as error:
            return refused(error)

    @app.callback(
        Output({"shown": ACCEPT, "block": MATCH}, "children"),
        Input({"form": ACCEPT, "block": MATCH, "key": ALL}, "value"),
        State({"act": ACCEPT, "block": MATCH, "topic": ALL, "part": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def show(_values: list[Any], _clicks: list[Any]) -> Any:
        typed = {item["id"]["key"]: item.get("value") for item in ctx.inputs_list[0]}
        view = view_of(context)
        try:
            found = read_by_hand(str(ctx.states_list[0][0]["id"]["topic"]), typed, view)
        except BadInput as error:
            return forms.problem(error)
        return None if found is None else html.P(spoken(found, view))

    answers(app, context, DISMISS, dismiss, which="topic")
    answers(app, context, BRING_BACK, bring_back, which="topic")


def read_by_hand(topic: str, typed: dict[str, Any], view: View) -> ReadByHand | None:
    """How a topic is read where a person chose a field; None where none is chosen."""
    chosen = {key: str(typed.get(key) or "") for key in ("temperature", "rh")}
    if not any(chosen.values()) or view.context.sensors is None:
        return None
    units = {key: str(typed[key]) for key in ("temperature_unit", "rh_unit") if typed.get(key)}
    return view.context.sensors.by_hand(topic, **chosen, **units, zone=_zone(view))


def spoken(found: ReadByHand, view: View) -> str:
    """What the last message comes to, in one sentence."""
    told = []
    for one in found.seen:
        air = [] if one.temperature_c is None else [view.display.temperature(one.temperature_c)]
        air += [] if one.rh_pct is None else [say.rh(one.rh_pct)]
        told.append(f"{', '.join(air)} at {times.moment(one.observed_at, _zone(view), view.units, view.now)}")
    return f"Its last message reads: {'; '.join(told)}."


def _zone(view: View) -> str:
    with view.store.session() as session:
        places = queries.places(session, view.now)
    return places[0].zone if places else view.context.zone


def accepted(topic: str, typed: dict[str, Any], view: View, which: str | None = None) -> Act:
    """Make a sensor of a topic, or of one part of its messages, as typed."""
    assert view.context.sensors is not None
    if "on" in typed:
        made = view.context.sensors.accept(
            topic,
            part=which,
            name=str(typed.get("name") or "").strip() or None,
            zone=_zone(view),
            on=bound(typed, view),
        )
        return Act(said_of(made, view), undo=made.number)
    place = str(typed.get("place") or "").strip()
    if not place:
        raise BadInput("", "where it hangs", "must be given: one of your places, or a new one", "nothing")
    by_hand = read_by_hand(topic, typed, view)
    made = view.context.sensors.accept(
        topic,
        part=which if by_hand is None else None,
        name=str(typed.get("name") or "").strip() or None,
        place=place,
        place_kind=str(typed.get("kind") or "home"),
        zone=_zone(view),
        **({} if by_hand is None else {"reading": by_hand.reading}),
    )
    return Act(said_of(made, view), undo=made.number)


def said_of(made: TopicAccepted, view: View) -> str:
    """What accepting came to: where each sensor hangs, since when, and what was read."""
    told = sentences.counted(made.readings, "kept message").capitalize()
    verb = "became a reading" if made.readings == 1 else "became readings"
    spans: dict[tuple[str | None, datetime | None, bool, bool], list[HungSensor]] = {}
    if any(one.wood for one in made.hung):
        [one] = made.hung
        return f"{one.sensor} is accepted, on {one.wood}. {told} {verb}."
    for one in made.hung:
        spans.setdefault((one.place, one.since_at, one.is_new, one.joined), []).append(one)
    lines = []
    for (place, since_at, is_new, joined), hung in spans.items():
        names = say.joined([one.sensor for one in hung])
        are, hang = ("is", "hangs") if len(hung) == 1 else ("are", "hang")
        where = f"{hang} nowhere"
        if place is not None:
            since = times.moment(since_at, hung[0].zone, view.units, view.now)
            where = f"{hang} at {place}{', a new place,' if is_new else ''} since {since}"
        if joined:
            lines.append(f"{say.joined(list(made.topics))} joins {names} as its new topic; it {where}.")
        else:
            lines.append(f"{names} {are} accepted and {where}.")
    return " ".join([*lines, f"{told} {verb}."])


def dismiss(topic: str, _typed: dict[str, Any], view: View) -> Act:
    """List a topic no longer."""
    with doing(view, "dismissal") as (session, revision):
        dismissed.dismiss_topic(session, topic, view.now)
        back = f"{topic} waits to be accepted again."
        return done(revision, f"{topic} is dismissed, and listed no more.", back)


def bring_back(topic: str, _typed: dict[str, Any], view: View) -> Act:
    """List a dismissed topic again."""
    with view.store.session() as session:
        dismissed.bring_back_topic(session, topic)
    return Act(f"{topic} waits to be accepted again.")
