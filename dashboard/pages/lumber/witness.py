"""A stack's witness board: an offcut whose weight tells how moist the stack is."""

from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import folded, part
from dashboard.shell.view import Context, View
from model.records.acts import measured
from model.records.acts.mounts import board_name, board_of
from model.records.queries.overview import StackNow
from model.records.schema.tables import Preference, Stack
from model.wood.errors import BadInput
from model.wood.material.instruments import METER_UNCERTAINTY_PCT, OVEN_DOUBT_PCT, SCALE_G, WitnessBoard
from model.words import display as say

BEGIN = Form(
    "witness begin",
    "Begin with this board",
    (
        Asked("mass", "Weight of the board", "number", "grams", stored="mass_g", unit="g"),
        Asked("mc", "at a moisture content of", "number", "%", stored="mc_pct", what="moisture content"),
        Asked(
            "by", "known by", "choice", options=(("meter", "a meter"), ("oven", "an oven-dried end slice"))
        ),
    ),
    whose="stack",
)
WEIGH = Form(
    "witness weigh",
    "Record the weight",
    (Asked("mass", "It weighs now", "number", "grams", stored="mass_g", what="its weight", unit="g"),),
    whose="stack",
)


def witness_part(session: Session, stack: StackNow, view: View) -> html.Section:
    """The board and its weighing, or how to begin one."""
    board = board_of(session, stack.id)

    moisture = stack.moisture.mc_mean_pct if stack.moisture else stack.start_mc_pct
    begin = BEGIN.laid_out(view, stack.id, {"mc_pct": round(moisture, 1)})
    if board is None:
        told = "Keep an offcut, its ends sealed, on the stack. Once its moisture is known, a scale tells it."
        return part("Witness board", html.P(told, className="soft"), begin)
    return part(
        "Witness board",
        html.P(
            f"It weighed {board.mass_g:g} g at {say.mc(board.mc_pct)}: without water it would weigh "
            f"{board.oven_dry_g:.0f} g, so every {board.oven_dry_g / 100.0:.1f} g is one point."
        ),
        WEIGH.laid_out(view, stack.id),
        folded("Another board", begin),
    )


def register(app: Dash, context: Context) -> None:
    """The forms' answers."""
    for form, act in ((BEGIN, begin), (WEIGH, weigh)):
        form.answers(app, context, act)


def begin(stack_id: int, typed: dict[str, Any], view: View) -> Act:
    """Keep a board whose weight and moisture are both known."""
    values = BEGIN.read(typed, view)
    sure = OVEN_DOUBT_PCT if values["by"] == "oven" else METER_UNCERTAINTY_PCT
    board = WitnessBoard(values["mass_g"], values["mc_pct"], sure)
    value = {"mass_g": board.mass_g, "mc_pct": board.mc_pct, "mc_uncertainty_pct": sure}
    with doing(view, "change of the board") as (session, revision):
        session.get_one(Stack, stack_id)
        before = board_of(session, stack_id)
        session.merge(Preference(name=board_name(stack_id), value=value))
        back = "No board is kept with the stack."
        if before is not None:
            back = f"The board that weighed {before.mass_g:g} g is kept with the stack again."
        said = f"The board is kept: without water it would weigh {board.oven_dry_g:.0f} g."
        return done(revision, said, back)


def weigh(stack_id: int, typed: dict[str, Any], view: View) -> Act:
    """Record what the board weighs as what the stack's moisture is."""
    with doing(view, "weighing") as (session, revision):
        board = board_of(session, stack_id)
        if board is None:
            raise BadInput("", "board", "must be begun with first", "nothing")
        stack = session.get_one(Stack, stack_id)
        found = board.moisture(WEIGH.read(typed, view)["mass_g"], SCALE_G)
        at = max(view.now, stack.start_at)
        measured.record_measurement(
            session, stack, "mc_pct", found.mc_pct, at, found.uncertainty_pct, how="witness board"
        )
        said = f"The board is at {say.mc(found.mc_pct)}."
        return done(revision, said, "The weight counts for nothing now.")
