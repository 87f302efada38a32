"""A stack's record, corrected: its name and wood, its first moisture, how it is piled, whose it will be."""

from typing import Any

from dash import Dash, html
from sqlalchemy import select

from dashboard import forms
from dashboard.acts import Act, answers
from dashboard.drafts import length_text, plain_number
from dashboard.forms import choice_field, species_names, text_field
from dashboard.pages.frame import sheet
from dashboard.pages.stack_acts import typed_lumber, unit_hint
from dashboard.view import Context, Route, View, address
from model.records import book
from model.records.tables import Place, Preference, Stack
from model.wood.errors import BadInput

FORM = "stack-edit"
PILED = [("yes", "stickered"), ("no", "dead-piled")]


def layout(view: View, stack_id: int) -> html.Main | None:
    """The page; none when there is no such stack."""
    with view.store.session() as session:
        stack = session.get(Stack, stack_id)
        if stack is None:
            return None
        name, document = stack.name, dict(stack.document)
        destination = str(stack.destination_id or "")
        places = [(str(one.id), one.name) for one in session.scalars(select(Place).order_by(Place.name))]

    def id(key: str) -> dict[str, str]:
        return {"form": FORM, "key": key}

    fields = [
        text_field("Name", id("name"), name),
        text_field("Wood", id("species"), str(document["species"]), list="species-names"),
        text_field(
            "Thickness",
            id("thickness"),
            length_text(document["thickness_mm"], view.display),
            hint=unit_hint(view),
        ),
        text_field(
            "Moisture content", id("mc"), plain_number(document["mc_pct"]), hint="%, when it was recorded"
        ),
        choice_field("Meant for", id("destination"), [("", "no home yet"), *places], destination),
        choice_field("Piled", id("stickered"), PILED, "yes" if document.get("stickered", True) else "no"),
    ]
    return sheet(
        f"Correct {name}",
        html.Div(fields, className="fields"),
        species_names(),
        html.Button("Correct the record", id={"act": FORM, "stack": stack_id}, className="first"),
        dateline=html.A(name, href=address("stack", stack_id)),
        lead="Everything since it was recorded is worked out again from the corrected record.",
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    answers(app, context, FORM, save, which="stack")


def save(stack_id: int, typed: dict[str, Any], view: View) -> Act:
    """Correct a stack's record as typed; what the form doesn't ask stays."""
    chosen = str(typed.get("destination") or "")
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        destination = forms.chosen_place(session, chosen, "meant for") if chosen else None
        before = {
            "name": stack.name,
            "document": dict(stack.document),
            "destination": stack.destination_id,
        }
        document = {**stack.document, **typed_lumber(typed, view)}
        book.replace_stack(session, stack, document, destination, name=str(typed.get("name") or ""))
        session.merge(Preference(name=_kept(stack_id), value=before))
        said = f"{stack.name} is corrected; everything since it was recorded is worked out again."
        return Act(said, address("stack", stack_id), ("stack correction", stack_id))


def _undo(view: View, stack_id: int) -> str:
    with view.store.session() as session:
        stack = session.get_one(Stack, stack_id)
        kept = session.get(Preference, _kept(stack_id))
        if kept is None:
            raise BadInput("", "this correction", "can't be taken back any more", "nothing")
        was = kept.value
        destination = None if was["destination"] is None else session.get(Place, int(was["destination"]))
        book.replace_stack(session, stack, was["document"], destination, name=was["name"])
        session.delete(kept)
        return f"{stack.name} is as it was recorded before."


def _kept(stack_id: int) -> str:
    return f"stack {stack_id} before"


UNDO = {"stack correction": _undo}
ROUTES = [Route("/stack/<stack_id>/edit", layout, live=False)]
