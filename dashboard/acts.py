"""Acts: what a form did, said in one line at the head of the page, and how it is undone.

Every form answers through `OUTPUTS`, so that the page behind it is drawn again at once and the line with
its undo outlives the redrawing.
"""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard import forms
from dashboard.pages.frame import ACTED, ADDRESS, SAID
from dashboard.view import Context, View, view_of
from model.wood.errors import BadInput

OUTPUTS = (
    Output(SAID, "children", allow_duplicate=True),
    Output(ACTED, "data", allow_duplicate=True),
    Output(ADDRESS, "href", allow_duplicate=True),
)
NOTHING = (no_update, no_update, no_update)


@dataclass(frozen=True)
class Act:
    """What was done: a sentence, where to go next, and the name and id by which it is undone."""

    says: str
    href: str = ""
    undo: tuple[str, int] | None = None


Undo = Callable[[View, int], str | Act]
"""Takes an act back by the id of what it made or changed; says what is so again, and where to go when the
page it was done on is gone."""


def answered(act: Act, here: str = "") -> tuple[Any, Any, Any]:
    """An act as the values of `OUTPUTS`."""
    path = (act.href or here).split("?")[0]
    line: list[Any] = [act.says]
    if act.undo is not None:
        what, number = act.undo
        line += [" ", html.Button("Undo", id={"undo": what, "number": number})]
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
    here: Callable[[Any], str] | None = None,
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
    here : callable, optional
        From `whose` to the page's address, for an act that leads nowhere else.
    """

    @app.callback(
        *OUTPUTS,
        Input({"act": form, which: ALL}, "n_clicks"),
        State({"form": fields_of or form, field: ALL}, "value"),
        prevent_initial_call=True,
    )
    def answer(clicks: list[int | None], _values: list[Any]) -> tuple[Any, Any, Any]:
        if not any(clicks) or not ctx.triggered_id:
            return NOTHING
        whose = ctx.triggered_id[which]
        typed = {item["id"][field]: item.get("value") for item in ctx.states_list[0]}
        return answered(act(whose, typed, view_of(context)), here(whose) if here is not None else "")


def register(app: Dash, context: Context, undoing: dict[str, Undo]) -> None:
    """The undo of every act, from each page's `UNDO`."""

    @app.callback(*OUTPUTS, Input({"undo": ALL, "number": ALL}, "n_clicks"), prevent_initial_call=True)
    def undo(clicks: list[int | None]) -> tuple[Any, Any, Any]:
        if not any(clicks) or not ctx.triggered_id:
            return NOTHING
        take_back = undoing.get(str(ctx.triggered_id["undo"]))
        if take_back is None:
            return NOTHING
        told = take_back(view_of(context), ctx.triggered_id["number"])
        return answered(told if isinstance(told, Act) else Act(told))
