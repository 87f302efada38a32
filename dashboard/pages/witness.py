"""A stack's witness board: an offcut whose weight tells how moist the stack is."""

from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard import display as say
from dashboard import forms
from dashboard.acts import Act, answers
from dashboard.before import put_back, remembered
from dashboard.forms import choice_field, text_field
from dashboard.pages.frame import part
from dashboard.view import Context, View, address
from model.records import measured
from model.records.queries import StackNow
from model.records.tables import Measurement, Preference, Stack
from model.wood.errors import BadInput
from model.wood.instruments import METER_UNCERTAINTY_PCT, WitnessBoard

BEGIN, WEIGH = "witness begin", "witness weigh"
OVEN_UNCERTAINTY_PCT = 0.1
SCALE_G = 0.5
"""Of a kitchen scale that shows grams (common practice, no source)."""


def _name(stack_id: int) -> str:
    return f"witness board of stack {stack_id}"


def board_of(session: Session, stack_id: int) -> WitnessBoard | None:
    """The board that is kept with a stack; none before one was first weighed."""
    row = session.get(Preference, _name(stack_id))
    return None if row is None else WitnessBoard(**row.value)


def forget_board(session: Session, stack_id: int) -> None:
    """No board is kept with a stack that goes out of the book: its number may be given again."""
    row = session.get(Preference, _name(stack_id))
    if row is not None:
        session.delete(row)


def witness_part(session: Session, stack: StackNow) -> html.Section:
    """The board and its weighing, or how to begin one."""
    board = board_of(session, stack.id)

    def id(form: str, key: str) -> dict[str, str]:
        return {"form": form, "key": key}

    moisture = stack.moisture.mc_mean_pct if stack.moisture else stack.start_mc_pct
    begin = html.Div(
        [
            html.Div(
                [
                    text_field("Weight of the board", id(BEGIN, "mass"), hint="grams"),
                    text_field("at a moisture content of", id(BEGIN, "mc"), f"{moisture:.1f}", hint="%"),
                    choice_field(
                        "known by",
                        id(BEGIN, "by"),
                        [("meter", "a meter"), ("oven", "an oven-dried end slice")],
                        "meter",
                    ),
                ],
                className="fields",
            ),
            html.Button("Begin with this board", id={"act": BEGIN, "stack": stack.id}),
        ]
    )
    if board is None:
        told = "Keep an offcut, its ends sealed, on the stack. Once its moisture is known, a scale tells it."
        return part("Witness board", html.P(told, className="soft"), begin)
    return part(
        "Witness board",
        html.P(
            f"It weighed {board.mass_g:g} g at {say.mc(board.mc_pct)}: without water it would weigh "
            f"{board.oven_dry_g:.0f} g, so every {board.oven_dry_g / 100.0:.1f} g is one point."
        ),
        html.Div(text_field("It weighs now", id(WEIGH, "mass"), hint="grams"), className="fields"),
        html.Button("Record the weight", id={"act": WEIGH, "stack": stack.id}),
        html.Details([html.Summary("Another board"), begin]),
    )


def register(app: Dash, context: Context) -> None:
    """The forms' answers."""
    for form, act in ((BEGIN, begin), (WEIGH, weigh)):
        answers(app, context, form, act, which="stack", here=_page)


def _page(stack_id: int) -> str:
    return address("stack", stack_id)


def begin(stack_id: int, typed: dict[str, Any], view: View) -> Act:
    """Keep a board whose weight and moisture are both known."""
    sure = OVEN_UNCERTAINTY_PCT if typed.get("by") == "oven" else METER_UNCERTAINTY_PCT
    board = WitnessBoard(
        forms.number_typed(typed.get("mass"), "weight of the board", "g"),
        forms.number_typed(typed.get("mc"), "moisture content"),
        sure,
    )
    value = {"mass_g": board.mass_g, "mc_pct": board.mc_pct, "mc_uncertainty_pct": sure}
    with view.store.session() as session:
        session.get_one(Stack, stack_id)
        with remembered(session, _name(stack_id)):
            session.merge(Preference(name=_name(stack_id), value=value))
    said = f"The board is kept: without water it would weigh {board.oven_dry_g:.0f} g."
    return Act(said, undo=("witness board", stack_id))


def weigh(stack_id: int, typed: dict[str, Any], view: View) -> Act:
    """Record what the board weighs as what the stack's moisture is."""
    with view.store.session() as session:
        board = board_of(session, stack_id)
        if board is None:
            raise BadInput("", "board", "must be begun with first", "nothing")
        stack = session.get_one(Stack, stack_id)
        found = board.moisture(forms.number_typed(typed.get("mass"), "its weight", "g"), SCALE_G)
        at = max(view.now, stack.start_at)
        row = measured.record_measurement(
            session, stack, "mc_pct", found.mc_pct, at, found.uncertainty_pct, how="witness board"
        )
        return Act(f"The board is at {say.mc(found.mc_pct)}. {found.says}".strip(), undo=("witness", row.id))


def _undo(view: View, number: int) -> str:
    with view.store.session() as session:
        measured.undo_measurement(session, session.get_one(Measurement, number), view.now)
    return "The weight counts for nothing now."


def _undo_begin(view: View, stack_id: int) -> str:
    with view.store.session() as session:
        put_back(session, _name(stack_id), "this board")
        board = board_of(session, stack_id)
    if board is None:
        return "No board is kept with the stack."
    return f"The board that weighed {board.mass_g:g} g is kept with the stack again."


UNDO = {"witness": _undo, "witness board": _undo_begin}
