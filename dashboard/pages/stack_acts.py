"""What a maker does to a stack: records it, meters it, moves it, uses it up; and how each is undone."""

from collections.abc import Mapping
from typing import Any

from dash import Dash, html

from dashboard import display as say
from dashboard import forms
from dashboard.acts import Act, answers
from dashboard.forms import choice_field, day_field, species_names, text_field
from dashboard.pages.frame import empty
from dashboard.pages.witness import forget_board
from dashboard.view import Context, View, address
from model.records import book, measured
from model.records.queries import PlaceNow, StackNow
from model.records.tables import Measurement, Place, Stack
from model.wood.species import named_here

NEW, METER, MOVE, RETIRE = "new-stack", "meter", "stack-move", "stack-retire"


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
            html.Button("Record the stack", id={"act": NEW, "number": 0}, className="first"),
        ]
    )


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
            html.Button("Record the reading", id={"act": METER, "stack": stack.id}),
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
                    html.Button("Move the stack", id={"act": MOVE, "stack": stack.id}),
                    html.Button("It is used up", id={"act": RETIRE, "stack": stack.id}),
                    html.A("Correct the record", href=address("stack", stack.id, "edit"), className="button"),
                ],
                className="buttons",
            ),
        ]
    )


def register(app: Dash, context: Context) -> None:
    """The answers of this page's forms."""

    answers(app, context, NEW, lambda _none, typed, view: add(typed, view))
    for form, act in ((METER, meter), (MOVE, move), (RETIRE, retire)):
        answers(app, context, form, act, which="stack", here=lambda stack_id: address("stack", stack_id))


def typed_lumber(values: Mapping[str, Any], view: View) -> dict[str, Any]:
    """The keys of a stack's document that a form asks, as typed."""
    return {
        "species": named_here(str(values.get("species") or "").strip(), view.context.region),
        "thickness_mm": forms.length_typed(values.get("thickness"), view.units, "thickness"),
        "mc_pct": forms.number_typed(values.get("mc"), "moisture content"),
        "stickered": values.get("stickered") != "no",
    }


def add(values: dict[str, Any], view: View) -> Act:
    """Record a stack as typed."""
    with view.store.session() as session:
        place = forms.chosen_place(session, values.get("place"), "where it stands")
        destination = session.get(Place, int(values["destination"])) if values.get("destination") else None
        stack = book.add_stack(
            session,
            str(values.get("name") or ""),
            typed_lumber(values, view),
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


def _undo_add(view: View, stack_id: int) -> Act:
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        name = stack.name
        forget_board(session, stack_id)
        book.remove(session, stack)
        return Act(f"{name} is out of the book again.", "/stock")


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
