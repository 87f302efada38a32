"""Three ways to build a part side by side: drawn, judged, line for line; and its grain in the case."""

from collections.abc import Mapping, Sequence
from typing import Literal

from dash import html

from dashboard.figures.drawing import Drawing
from dashboard.figures.plan import Front, front_drawing
from dashboard.pages.frame import Child, aria, listed, marked, num, part, prose, table
from dashboard.pages.plans.plan_asked import Plan
from dashboard.say.marks import mark
from dashboard.shell.view import View, address
from model.wood.design.case_grain import CaseSide, grain_round_case
from model.wood.design.comfort import comfort_of
from model.wood.design.construction import PatternChoice
from model.words import display as say
from model.words.limits import comfort_range, comfort_reason
from model.words.reasons import in_sentences

MARKS = {"suits": "clear", "with care": "near", "does not suit": "past"}


def side_by_side(plan: Plan, asked: Mapping[str, str], view: View) -> Child:
    """The three as drawings and as a table, with their verdicts and reasons."""
    choices = plan.comparison.choices
    return part(
        "Three ways to build it",
        html.Div([_column(choice, plan, asked, view) for choice in choices], className="three"),
        compared(plan, view),
    )


def _column(choice: PatternChoice, plan: Plan, asked: Mapping[str, str], view: View) -> html.Article:
    most_mm = max(
        max(one.outside_movement_mm, one.panel_movement_mm or 0.0) for one in plan.comparison.choices
    )
    found = plan.comparison.part
    front = Front(
        choice.kind,
        choice.title,
        found.width_mm,
        found.length_mm,
        found.stile_mm,
        choice.layout.panels,
        choice.outside_movement_mm,
        choice.panel_movement_mm,
    )
    chosen = choice.kind == plan.chosen
    link = html.A(
        f"Cut it {'so' if chosen else 'like this'}",
        href=address("plan", **asked, choose=choice.kind),
        className="button first" if chosen else "button",
        **aria(current="true" if chosen else "false"),
    )
    drawing = (
        Drawing(front_drawing(front, most_mm, view.display, uid=f"front-{choice.kind}"))
        if choice.layout.piece is not None or choice.kind == "sheet"
        else None
    )
    return html.Article(
        [
            html.H3([verdict_of(choice.verdict), " ", choice.title]),
            html.P(html.B(say.sentence(choice.verdict))),
            drawing,
            *[
                html.P(prose(in_sentences(reason, view.display)), className="small")
                for reason in choice.reasons
            ],
            html.P(link, className="no-print"),
        ],
        className="choice",
    )


def verdict_of(verdict: str) -> Drawing:
    """A plan's verdict by the shape that a piece's verdict has, under its own name."""
    tree = mark(MARKS[verdict])
    tree[1]["aria-label"] = verdict
    return Drawing(tree, className="mark-holder")


def compared(plan: Plan, view: View) -> html.Div:
    """The three compared, one line for each thing that matters."""
    choices = plan.comparison.choices
    rows = [
        (name, *(num(cell) if short else prose(cell) for cell in cells))
        for name, short, cells in table_rows(choices, view)
        if any(cell != say.NOTHING for cell in cells)
    ]
    heads = ("Question", *(choice.title for choice in choices))
    return table("Three ways compared", heads, rows, className="limits ways")


def table_rows(choices: Sequence[PatternChoice], view: View) -> list[tuple[str, bool, list[str]]]:
    """Each line of the table: what it tells, whether it is a number, and a cell for each choice."""
    display = view.display

    def length(value: float | None) -> str:
        return say.NOTHING if value is None else display.length(value, finest=64)

    def comfort(choice: PatternChoice) -> str:
        if choice.piece is None or choice.design is None:
            return "25–60 %"
        found = comfort_of(choice.piece, choice.design)
        return comfort_range(found) or comfort_reason(found)

    def span(choice: PatternChoice) -> str:
        if choice.design is None:
            return "any humidity"
        return say.humidity_range(choice.design.span.rh_low_pct, choice.design.span.rh_high_pct)

    def gives_out(choice: PatternChoice, end: str) -> str:
        found = choice.design and getattr(choice.design.span, end)
        return say.said(found.fit) if found else "nothing"

    def wood(choice: PatternChoice) -> str:
        stock = choice.layout.stock
        if stock.net_m3 <= 0.0:
            return "none"
        return f"{display.lumber(stock.net_board_feet)}, buy {display.lumber(stock.buy_board_feet)}"

    def sheets(choice: PatternChoice) -> str:
        area = choice.layout.stock.sheet_m2
        if not area:
            return say.NOTHING
        return (
            f"{area / 0.09290304:.1f}{say.NBSP}sq ft" if view.units == "inch" else f"{area:.2f}{say.NBSP}m²"
        )

    def moves(choice: PatternChoice) -> str:
        return display.with_doubt(choice.outside_movement_mm, choice.movement_doubt_mm, finest=64)

    def leaves(choice: PatternChoice) -> str:
        stock = choice.layout.stock
        if not stock.leaves_from_a_board or stock.board_thickness_mm is None:
            return say.NOTHING
        return (
            f"{stock.leaves_from_a_board} leaves a board, {stock.boards_to_resaw} boards; "
            f"two book-matched need {display.length(stock.leaf_width_needed_mm, 'up')} each"
        )

    def held(choice: PatternChoice) -> str:
        if choice.if_held is None:
            return say.NOTHING
        return {"none": "nothing: it only swells"}.get(choice.if_held.likelihood, choice.if_held.likelihood)

    return [
        ("Moves across, over the year", True, [moves(choice) for choice in choices]),
        ("Its panel, in the grooves", True, [length(choice.panel_movement_mm) for choice in choices]),
        ("Comfortable at", False, [comfort(choice) for choice in choices]),
        ("Design range", True, [span(choice) for choice in choices]),
        ("Gives out first, dry", False, [gives_out(choice, "low") for choice in choices]),
        ("Gives out first, damp", False, [gives_out(choice, "high") for choice in choices]),
        ("Grooves deep", True, [length(choice.layout.groove_depth_mm) for choice in choices]),
        ("Slots long", True, [length(choice.layout.slot_length_mm) for choice in choices]),
        ("A split, if held fast all across", False, [held(choice) for choice in choices]),
        (
            "May be fixed across it",
            False,
            [in_sentences(choice.fixed_across, display) or say.NOTHING for choice in choices],
        ),
        ("Weighs", True, [display.weight(choice.layout.weight_kg) for choice in choices]),
        ("Solid wood in it", True, [wood(choice) for choice in choices]),
        ("Sheet", True, [sheets(choice) for choice in choices]),
        ("Resawn", False, [leaves(choice) for choice in choices]),
    ]


def grain_part(plan: Plan, view: View) -> Child:
    """What grain direction does to the case that the part belongs to; none of a part that stands alone."""
    wanted = plan.comparison.part
    if wanted.role not in ("side", "top"):
        return None
    other = "top" if wanted.role == "side" else "side"

    def side(name: str, way: Literal["round", "across"] = "round") -> CaseSide:
        return CaseSide(name, wanted.species, wanted.ring_angle_deg, wanted.width_mm, way)

    mine = side(wanted.role)
    lines = [
        (f"Its {other} with the grain the same way round: ", [mine, side(other)]),
        (f"Its {other} with the grain across, along the case's depth: ", [mine, side(other, "across")]),
    ]
    rows = []
    for lead, sides in lines:
        found = grain_round_case(sides, plan.comparison.home, wanted.mc_pct)
        verdict = "does not suit" if found.needs_frame else "suits"
        told = prose(in_sentences(found.reasons, view.display))
        rows.append(marked(verdict_of(verdict), html.B(lead), *told))
    return part("Grain round the case, as a slab", listed(rows, className="note"))
