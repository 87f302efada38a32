"""A stack's record, corrected: its name and wood, its first moisture, how it is piled, whose it will be."""

from dataclasses import replace
from typing import Any

from sqlalchemy.orm import Session

from dashboard.forms.correcting import RecordPage
from dashboard.forms.declared import Form
from dashboard.pages.lumber.stack_acts import LUMBER, MEANT_FOR, NAME, homes, lumber_of
from dashboard.shell.view import View
from model.records.acts import book
from model.records.queries import overview as queries
from model.records.schema.tables import Stack

FIRST_MC = "%, when it was recorded"


def _record(stack: Stack) -> dict[str, Any]:
    own = {"name": stack.name, "destination": stack.destination_id}
    read = {"readings_pct": [stack.start_mc_pct]}
    return {"stickered": True, **read, **stack.document, **own}


def _change(session: Session, stack: Stack, values: dict[str, Any], view: View) -> None:
    asked = {*(one.into for one in LUMBER), "mc_pct"}
    kept = {key: value for key, value in stack.document.items() if key not in asked}
    document = {**kept, **lumber_of(values, view)}
    book.replace_stack(session, stack, document, values["destination"], name=values["name"])


EDIT = RecordPage(
    Stack,
    Form(
        "stack-edit",
        "Correct the record",
        (
            NAME,
            *(replace(one, hint=FIRST_MC) if one.key == "mc" else one for one in LUMBER),
            MEANT_FOR,
        ),
        whose="stack",
        is_first=True,
    ),
    _record,
    _change,
    lead="Everything since it was recorded is worked out again from the corrected record.",
    said="is corrected; everything since it was recorded is worked out again.",
    more=lambda session, view: {"options": {MEANT_FOR.key: homes(queries.places(session, view.now))}},
)
register = EDIT.register
ROUTES = EDIT.routes
