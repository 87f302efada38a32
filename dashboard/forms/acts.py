"""Acts: what a form did, said in one line at the head of the page, with the button that takes it back.

Every form answers through `OUTPUTS`, so that the page behind it is drawn again at once and the line with
its undo outlives the redrawing.
"""

import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update
from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.pages.frame import ACTED, ADDRESS, SAID
from dashboard.shell.view import Context, View, view_of
from model.records.acts import revisions
from model.records.schema.tables import Revision
from model.wood.errors import BadInput

OUTPUTS = (
    Output(SAID, "children", allow_duplicate=True),
    Output(ACTED, "data", allow_duplicate=True),
    Output(ADDRESS, "href", allow_duplicate=True),
)
NOTHING = (no_update, no_update, no_update)


@dataclass(frozen=True)
class Act:
    """What was done: a sentence, where to go next, and the number of the revision that takes it back."""

    says: str
    href: str = ""
    undo: int | None = None


@contextmanager
def doing(view: View, act: str) -> Iterator[tuple[Session, Revision]]:
    """A unit of work that is kept as one act, named by a noun: "this move can't be taken back"."""
    with view.store.session() as session, revisions.recorded(session, act, view.now) as revision:
        yield session, revision


def done(revision: Revision, says: str, back: str, href: str = "", back_href: str = "") -> Act:
    """What was done, and what taking it back will say and lead to."""
    revision.says = says
    revision.data = {**revision.data, "back": back, "href": back_href}
    return Act(says, href, revision.id)


def take_back(view: View, number: int) -> Act:
    """Take an act back by the number of its revision; BadInput says what stands against it."""
    with view.store.session() as session:
        back = revisions.take_back(session, number, view.now)
    return Act(back.says, back.href)


def answered(act: Act, here: str = "") -> tuple[Any, Any, Any]:
    """An act as the values of `OUTPUTS`."""
    path = (act.href or here).split("?")[0]
    line: list[Any] = [act.says]
    if act.undo is not None:
        line += [" ", html.Button("Undo", id={"undo": act.undo})]
    return forms.done(*line), {"nonce": secrets.token_hex(4), "path": path}, act.href or no_update


def refused(error: BadInput) -> tuple[Any, Any, Any]:
    """A refusal at the head of the page, which is left as it was typed."""
    return forms.problem(error), no_update, no_update


def answers(
    app: Dash,
    context: Context,
    form: str,
    act: Callable[[Any, dict[Any, Any], View], Act],
    which: str = "number",
    field: str = "key",
    fields_of: str = "",
) -> None:
    """Let a form's button do an act, and answer with what it did or what is wrong.

    The button is ``{"act": form, which: ...}``; the fields that are read with it are ``{"form": form, field:
    ...}``.

    Parameters
    ----------
    act : callable
        ``act(whose, typed, view)``: `whose` is the button's `which`, `typed` what stands in the fields by
        their `field`; raises BadInput.
    fields_of : str, optional
        The form whose fields are read, where it is another's.
    """

    @app.callback(
        *OUTPUTS,
        Input({"act": form, which: ALL}, "n_clicks"),
        State({"form": fields_of or form, field: ALL}, "value"),
        State(ADDRESS, "pathname"),
        prevent_initial_call=True,
    )
    def answer(clicks: list[int | None], _values: list[Any], here: str | None) -> tuple[Any, Any, Any]:
        if not any(clicks) or not ctx.triggered_id:
            return NOTHING
        whose = ctx.triggered_id[which]
        typed = {item["id"][field]: item.get("value") for item in ctx.states_list[0]}
        return answered(act(whose, typed, view_of(context)), here or "")


def register(app: Dash, context: Context) -> None:
    """The undo of every act."""

    @app.callback(*OUTPUTS, Input({"undo": ALL}, "n_clicks"), prevent_initial_call=True)
    def undo(clicks: list[int | None]) -> tuple[Any, Any, Any]:
        if not any(clicks) or not ctx.triggered_id:
            return NOTHING
        return answered(take_back(view_of(context), int(ctx.triggered_id["undo"])))
