"""A stack's record, corrected: its name and wood, its first moisture, how it is piled, whose it will be."""

from dataclasses import replace
from typing import Any

from dash import Dash, html

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Form
from dashboard.pages.frame import sheet
from dashboard.pages.lumber.stack_acts import LUMBER, MEANT_FOR, NAME, homes, lumber_of
from dashboard.shell.view import Context, Route, View, address
from model.records.acts import book
from model.records.queries import overview as queries
from model.records.schema.tables import Stack

FIRST_MC = "%, when it was recorded"
FORM = Form(
    "stack-edit",
    "Correct the record",
    (
        NAME,
        *(replace(one, hint=FIRST_MC) if one.key == "mc" else one for one in LUMBER),
        MEANT_FOR,
    ),
    whose="stack",
    is_first=True,
)


def layout(view: View, stack_id: int) -> html.Main | None:
    """The page; none when there is no such stack."""
    with view.store.session() as session:
        stack = session.get(Stack, stack_id)
        if stack is None:
            return None
        record = {
            "stickered": True,
            **stack.document,
            "name": stack.name,
            "destination": stack.destination_id,
        }
        options = {MEANT_FOR.key: homes(queries.places(session, view.now))}
    return sheet(
        f"Correct {record['name']}",
        FORM.laid_out(view, stack_id, record, options=options),
        dateline=html.A(record["name"], href=address("stack", stack_id)),
        lead="Everything since it was recorded is worked out again from the corrected record.",
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    FORM.answers(app, context, save)


def save(stack_id: int, typed: dict[str, Any], view: View) -> Act:
    """Correct a stack's record as typed; what the form doesn't ask stays."""
    with doing(view, "correction") as (session, revision):
        stack = session.get_one(Stack, stack_id)
        back = f"{stack.name} is as it was recorded before."
        values = FORM.read(typed, view, session)
        document = {**stack.document, **lumber_of(values, view)}
        book.replace_stack(session, stack, document, values["destination"], name=values["name"])
        said = f"{stack.name} is corrected; everything since it was recorded is worked out again."
        return done(revision, said, back, address("stack", stack_id))


ROUTES = [Route("/stack/<stack_id>/edit", layout, live=False)]
