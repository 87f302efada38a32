"""Stock: every stack of lumber, how far it is from ready, and the record of a new one."""

from collections.abc import Callable
from typing import Any

from dash import ALL, Dash, Input, State, ctx, html

from dashboard import display as say
from dashboard import forms, sentences
from dashboard.acts import NOTHING, OUTPUTS, Act, answered, refused
from dashboard.display import Display
from dashboard.figures.moisture import moisture_chart
from dashboard.figures.profile import profile_drawing
from dashboard.forms import choice_field, day_field, text_field
from dashboard.marks import verdict_mark
from dashboard.pages.frame import charted, drawn, empty, num, part, prose, sheet, word
from dashboard.pages.witness import witness_part
from dashboard.spans import span_links, span_of
from dashboard.view import Context, Route, View, address, view_of
from model.records import book, measured, queries, series
from model.records.queries import PlaceNow, StackNow
from model.records.tables import Measurement, Place, Stack
from model.wood.errors import BadInput
from model.wood.species import all_species

NEW, NEW_GO = "new-stack", "new-stack-go"
METER, METER_GO = "meter", "meter-go"
MOVE, MOVE_GO = "stack-move", "stack-move-go"
RETIRE, RETIRE_GO = "stack-retire", "stack-retire-go"
SPANS = ("month", "season", "year", "all")
"""Spans a stack's moisture is drawn over."""


def layout(view: View) -> html.Main:
    """The page of all stacks."""
    with view.store.session() as session:
        stacks = queries.stacks(session, view.now)
        places = queries.places(session, view.now)
    ready = [stack for stack in stacks if stack.judgement.verdict == "easy"]
    if not stacks:
        title = "No stack is recorded yet."
    elif ready:
        title = f"{say.joined([stack.name for stack in ready])} {'is' if len(ready) == 1 else 'are'} ready."
    else:
        title = "No stack is ready yet."
    return sheet(
        title,
        html.Ul([stack_row(stack, view.display) for stack in stacks], className="rows") if stacks else None,
        part("Record a stack", new_form(places, view)),
    )


def stack_row(stack: StackNow, display: Display) -> html.Li:
    """One stack in a line or two."""
    moisture = stack.moisture
    standing = f", at {stack.place.name}" if stack.place else ""
    meant = f", meant for {stack.destination.name}" if stack.destination else ""
    told: list[Any] = []
    if moisture is not None:
        told = [num(say.mc(moisture.mc_mean_pct)), html.Span("mean MC", className="small")]
    return html.Li(
        [
            verdict_mark(stack.judgement.verdict, "stack"),
            html.Div(
                [
                    html.A(html.B(stack.name), href=address("stack", stack.id)),
                    html.Div(
                        prose(f"{sentences.stack_wood(stack, display)}{standing}{meant}"),
                        className="soft small",
                    ),
                    html.Div(
                        say.sentence(sentences.reason(stack.judgement, display)), className="soft small"
                    ),
                ]
            ),
            html.Div(told, className="right"),
        ],
        className="row",
    )


# ---------------------------------------------------------------- one stack


def stack_layout(view: View, stack_id: int) -> html.Main | None:
    """The page of one stack; none when there is no such stack."""
    with view.store.session() as session:
        found = queries.stacks(session, view.now, only=stack_id)
        if not found:
            return None
        stack = found[0]
        first_at = series.first_checkpoint_at(session, stack_id) or stack.start_at
        span = span_of(view, "season", first_at)
        tide = series.tide(session, stack_id, span.since_at, span.until_at)
        metered = queries.measurements(session, stack_id)
        places = queries.places(session, view.now)
        witness = witness_part(session, stack)
    zone = stack.place.zone if stack.place else "UTC"
    target = stack.judgement.detail.get("target_pct")
    charts = [
        moisture_chart(
            tide,
            view.display,
            zone,
            span.since_at,
            span.until_at,
            target_pct=target if isinstance(target, int | float) else None,
            measured=[event for event in metered if event.kind == "mc_pct"],
            width=width,
            name=stack.name,
        )
        for width in (960, 360)
    ]
    here = address("stack", stack.id)
    moisture = stack.moisture
    return sheet(
        stack.name,
        html.P(
            [
                verdict_mark(stack.judgement.verdict, "stack"),
                " ",
                word(stack.judgement.verdict, "stack"),
                ". ",
                say.sentence(sentences.reason(stack.judgement, view.display)),
            ],
            className="lead",
        ),
        html.P(facts(stack, view)),
        html.Div(
            [
                part(
                    "Moisture through time",
                    span_links(here, span, SPANS),
                    charted(charts[0], charts[1], here),
                    html.P(
                        "Solid: mean. Dashed: core. Thin: face. Crosses: metered.", className="small soft"
                    ),
                ),
                part(
                    "Through the thickness now",
                    drawn(
                        *(
                            profile_drawing(
                                moisture.mc_face_pct, moisture.mc_core_pct, moisture.mc_back_pct, width
                            )
                            for width in (520, 340)
                        )
                    )
                    if moisture
                    else empty("Not worked out yet."),
                    html.P(
                        "A shallow meter reads the shell. Where it and the core are a point apart, wait.",
                        className="small soft",
                    ),
                ),
            ],
            className="columns",
        ),
        part("Metered", metered_list(stack, metered, view), meter_form(stack, zone, view)),
        witness,
        part("Move it", move_form(stack, places, zone, view)),
        dateline=[html.A("Stock", href="/stock"), f" · {sentences.stack_wood(stack, view.display)}"],
    )


def facts(stack: StackNow, view: View) -> list[Any]:
    """Where it stands, whose it will be, how it is piled."""
    told: list[Any] = []
    if stack.place is not None:
        told += ["Stands at ", html.A(stack.place.name, href=address("place", stack.place.id)), ". "]
    if stack.destination is not None:
        link = html.A(stack.destination.name, href=address("place", stack.destination.id))
        told += ["Meant for ", link, ". "]
    told.append(
        "Stickered. " if stack.document.get("stickered", True) else "Dead-piled: air reaches two faces. "
    )
    since = say.day(stack.start_at, stack.place.zone if stack.place else "UTC", view.units, view.now)
    told.append(f"Recorded at {say.mc(stack.start_mc_pct)} on {since}.")
    return told


def metered_list(stack: StackNow, metered: tuple[queries.Event, ...], view: View) -> html.Ul | html.P:
    """What the meter said, and when."""
    if not metered:
        return html.P("Nothing was metered since it was recorded.", className="soft")
    zone = stack.place.zone if stack.place else "UTC"
    return html.Ul(
        [
            html.Li(
                [
                    num(say.mc(event.value)),
                    f" on {say.day(event.at, zone, view.units, view.now)}, {event.says}",
                ]
            )
            for event in metered
        ]
    )


# ---------------------------------------------------------------- forms


def ids(form: str, key: str) -> dict[str, str]:
    return {"form": form, "key": key}


def new_form(places: tuple[PlaceNow, ...], view: View) -> html.Div:
    """The record of a new stack."""
    if not places:
        return empty(
            "First a place: ", html.A("accept a sensor", href="/sensors"), " and say where it hangs."
        )
    named = [(str(place.id), place.name) for place in places]
    zone = places[0].zone
    return html.Div(
        [
            html.Div(
                [
                    text_field("Name", ids(NEW, "name"), placeholder="Ash, spring batch"),
                    text_field("Wood", ids(NEW, "species"), hint="trade name", list="species-names"),
                    text_field("Thickness", ids(NEW, "thickness"), hint=unit_hint(view), placeholder="1"),
                    text_field("Moisture content", ids(NEW, "mc"), hint="%, mean of several boards"),
                    choice_field("Where it stands", ids(NEW, "place"), named, named[0][0]),
                    choice_field("Meant for", ids(NEW, "destination"), [("", "no home yet"), *named]),
                    choice_field(
                        "Piled", ids(NEW, "stickered"), [("yes", "stickered"), ("no", "dead-piled")], "yes"
                    ),
                    day_field("Metered on", ids(NEW, "since"), view.now, zone),
                ],
                className="fields",
            ),
            species_names(),
            html.Button("Record the stack", id=NEW_GO, className="first"),
        ]
    )


def species_names() -> html.Datalist:
    """The woods that are known, to choose from while typing."""
    return html.Datalist([html.Option(value=wood.name) for wood in all_species()], id="species-names")


def unit_hint(view: View) -> str:
    return "inches: 1-3/16, 5/8" if view.units == "inch" else "mm"


def meter_form(stack: StackNow, zone: str, view: View) -> html.Div:
    """A metered reading."""
    return html.Div(
        [
            html.Div(
                [
                    text_field("Moisture content", ids(METER, "mc"), hint="%, corrected for temperature"),
                    choice_field(
                        "How",
                        ids(METER, "how"),
                        [(how, how) for how in ("pin meter", "pinless meter", "oven", "witness board")],
                        "pin meter",
                    ),
                    day_field("On", ids(METER, "at"), view.now, zone),
                ],
                className="fields",
            ),
            html.Button("Record the reading", id={"go": METER_GO, "stack": stack.id}),
        ]
    )


def move_form(stack: StackNow, places: tuple[PlaceNow, ...], zone: str, view: View) -> html.Div | html.P:
    """Where it goes next."""
    others = [
        (str(place.id), place.name) for place in places if stack.place is None or place.id != stack.place.id
    ]
    if not others:
        return html.P("There is no other place.", className="soft")
    return html.Div(
        [
            html.Div(
                [
                    choice_field("To", ids(MOVE, "place"), others, others[0][0]),
                    day_field("From", ids(MOVE, "at"), view.now, zone),
                ],
                className="fields",
            ),
            html.Div(
                [
                    html.Button("Move the stack", id={"go": MOVE_GO, "stack": stack.id}),
                    html.Button("It is used up", id={"go": RETIRE_GO, "stack": stack.id}),
                ],
                className="buttons",
            ),
        ]
    )


def register(app: Dash, context: Context) -> None:
    """The answers of this page's forms."""

    @app.callback(
        *OUTPUTS,
        Input(NEW_GO, "n_clicks"),
        State({"form": NEW, "key": ALL}, "value"),
        prevent_initial_call=True,
    )
    def record_stack(clicks: int | None, _values: list[Any]) -> Any:
        if not clicks:
            return NOTHING
        try:
            return answered(add(typed(), view_of(context)))
        except BadInput as error:
            return refused(error)

    def answers(go: str, form: str, act: Callable[[int, dict[str, Any], View], Act]) -> None:
        @app.callback(
            *OUTPUTS,
            Input({"go": go, "stack": ALL}, "n_clicks"),
            State({"form": form, "key": ALL}, "value"),
            prevent_initial_call=True,
        )
        def answer(clicks: list[int | None], _values: list[Any]) -> Any:
            if not any(clicks):
                return NOTHING
            stack_id = int(ctx.triggered_id["stack"])
            try:
                return answered(act(stack_id, typed(), view_of(context)), address("stack", stack_id))
            except BadInput as error:
                return refused(error)

    answers(METER_GO, METER, meter)
    answers(MOVE_GO, MOVE, move)
    answers(RETIRE_GO, RETIRE, retire)


def typed() -> dict[str, Any]:
    """What stands in a form's fields, by key."""
    return {item["id"]["key"]: item.get("value") for item in ctx.states_list[0]}


def add(values: dict[str, Any], view: View) -> Act:
    """Record a stack as typed."""
    with view.store.session() as session:
        place = forms.chosen_place(session, values.get("place"), "where it stands")
        destination = session.get(Place, int(values["destination"])) if values.get("destination") else None
        document = {
            "species": str(values.get("species") or "").strip(),
            "thickness_mm": forms.length_typed(values.get("thickness"), view.units, "thickness"),
            "mc_pct": forms.number_typed(values.get("mc"), "moisture content"),
            "stickered": values.get("stickered") != "no",
        }
        stack = book.add_stack(
            session,
            str(values.get("name") or ""),
            document,
            place,
            forms.day_typed(values.get("since"), place.zone, "metered on"),
            destination=destination,
        )
        said = f"{stack.name} is recorded; its moisture is worked out within a minute."
        return Act(said, address("stack", stack.id), ("stack", stack.id))


def meter(stack_id: int, values: dict[str, Any], view: View) -> Act:
    """Record a metered reading of a stack as typed."""
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        mc_pct = forms.number_typed(values.get("mc"), "moisture content")
        at = forms.day_typed(values.get("at"), zone_of_stack(stack), "on")
        at = max(at, stack.start_at)
        how = str(values.get("how") or "")
        row = measured.record_measurement(session, stack, "mc_pct", mc_pct, at, how=how)
        return Act(f"{say.mc(mc_pct)} by {how} is recorded.", undo=("measurement", row.id))


def move(stack_id: int, values: dict[str, Any], view: View) -> Act:
    """Move a stack as typed."""
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        place = forms.chosen_place(session, values.get("place"), "to")
        book.move_stack(session, stack, place, forms.day_typed(values.get("at"), place.zone, "from"))
        return Act(f"{stack.name} stands at {place.name}.", undo=("stack move", stack_id))


def retire(stack_id: int, _values: dict[str, Any], view: View) -> Act:
    """A stack is used up."""
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        book.retire(session, stack, view.now)
        return Act(f"{stack.name} is used up and no longer followed.", "/stock", ("stack used up", stack_id))


def _undo_add(view: View, stack_id: int) -> str:
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        book.remove(session, stack)
        return f"{stack.name} is out of the book again."


def _undo_move(view: View, stack_id: int) -> str:
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        return f"{stack.name} stands at {book.undo_move(session, stack).name} again."


def _undo_retire(view: View, stack_id: int) -> str:
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        book.restore(session, stack)
        return f"{stack.name} is followed again."


def _undo_measurement(view: View, measurement_id: int) -> str:
    with view.store.session() as session:
        measured.undo_measurement(session, session.get_one(Measurement, measurement_id), view.now)
        return "The reading counts for nothing now."


UNDO = {
    "stack": _undo_add,
    "stack move": _undo_move,
    "stack used up": _undo_retire,
    "measurement": _undo_measurement,
}


def zone_of_stack(stack: Stack) -> str:
    last = max(stack.stays, key=lambda stay: stay.since_at, default=None)
    return last.place.zone if last else "UTC"


ROUTES = [Route("/stock", layout, live=False), Route("/stack/<stack_id>", stack_layout, live=False)]
