"""Plan: a part built three ways for a home, side by side; and for the one chosen, what to cut today."""

from collections.abc import Mapping, Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard import display as say
from dashboard import forms
from dashboard.drawing import Drawing
from dashboard.figures.plan import Front, front_drawing
from dashboard.figures.section import section_drawing
from dashboard.forms import choice_field, text_field
from dashboard.marks import mark
from dashboard.pages import plan_asked
from dashboard.pages.frame import ADDRESS, aria, drawn, num, part, prose, sheet, under
from dashboard.pages.plan_asked import Plan, plan_of
from dashboard.pages.stock import species_names
from dashboard.paper.cards import card_figures, plain_sentence
from dashboard.sized import in_units
from dashboard.view import Context, Route, View, address, view_of
from model.records import queries
from model.records.queries import PlaceNow, StackNow
from model.wood.construction import Choice
from model.wood.errors import BadInput
from model.wood.finish import finish_names
from model.wood.ring_angle import RING_ANGLE_OF_CUT
from model.wood.wanted import ROLES

GO, FIELD = "plan-go", "plan"
MARKS = {"suits": "easy", "with care": "near", "does not suit": "past"}
IN_WORDS = {"slab": "as a solid slab", "framed": "as a frame and panel", "sheet": "of sheet goods"}
ROLE_WORDS = {
    "side": "side of a case",
    "door": "door",
    "top": "top",
    "back": "back",
    "bottom": "drawer bottom",
}
KG_PER_POUND = 0.45359237


def layout(view: View) -> html.Main:
    """The page, of what its address asks."""
    asked = plan_asked.asked_of(view.query)
    with view.store.session() as session:
        places = queries.places(session, view.now)
        stacks = queries.stacks(session, view.now, known=places)
    if not asked:
        return sheet(
            "How should it be built?",
            form_part(asked, places, stacks, view, True),
            lead="Say the part, its wood and its home. A solid slab, a framed panel and sheet goods come "
            "side by side, each with what it does there over a year.",
        )
    try:
        plan = plan_of(asked, view, view.query.get("choose", ""))
    except BadInput as error:
        return sheet(
            "How should it be built?", forms.problem(error), form_part(asked, places, stacks, view, True)
        )
    return page(plan, asked, form_part(asked, places, stacks, view, False), view)


def page(plan: Plan, asked: Mapping[str, str], form: Any, view: View) -> html.Main:
    """The three side by side, and the one chosen in full."""
    comparison = plan.comparison
    advised = comparison.choice(comparison.advised)
    return sheet(
        f"Build it {IN_WORDS[advised.kind]}.",
        html.P(prose(in_units(advised.reasons[0], view.display)), className="lead"),
        html.P(home_says(plan), className="soft"),
        form,
        side_by_side(plan, asked, view),
        chosen_part(plan, asked, view),
        dateline=plan_asked.part_says(comparison.part, view),
    )


def home_says(plan: Plan) -> str:
    """What the home does to the wood, and what that is known from."""
    home = plan.comparison.home
    low_rh, high_rh = home.rh_range_pct
    where = f"At {home.name} the" if home.name else "The"
    return (
        f"{where} wood comes to {say.mc(home.mc_low_pct)} at the driest and {say.mc(home.mc_high_pct)} "
        f"at the dampest, as in air held at {say.rh(low_rh)} and {say.rh(high_rh)}: {plan.says}."
    )


# ---------------------------------------------------------------- what is asked


def form_part(
    asked: Mapping[str, str],
    places: Sequence[PlaceNow],
    stacks: Sequence[StackNow],
    view: View,
    is_open: bool,
) -> html.Details:
    """The fields, open until there is an answer."""

    def line(label: str, key: str, **more: Any) -> html.Div:
        return text_field(label, _id(key), asked.get(key, ""), **more)

    def choice(label: str, key: str, options: list[tuple[str, str]], hint: str = "") -> html.Div:
        return choice_field(label, _id(key), options, asked.get(key) or options[0][0], hint)

    unit = "in, as 14-1/2" if view.units == "inch" else "mm"
    homes = [(str(place.id), place.name) for place in places if place.kind == "home"]
    homes += [(str(place.id), place.name) for place in places if place.kind != "home"]
    homes += [(plan_asked.USUAL, "most heated homes"), (plan_asked.GIVEN, "humidities typed in")]
    piles = [("", "one board"), *((str(stack.id), stack.name) for stack in stacks)]
    films = [(name, "bare" if name == "none" else name) for name in finish_names()]
    fields = [
        choice("Part", "role", [(role, ROLE_WORDS[role]) for role in ROLES]),
        line("Width across the grain", "width", hint=unit),
        line("Length along the grain", "length", hint=unit),
        line("Thickness", "thickness", hint=unit),
        choice("Cut from", "stack", piles, "a stack brings its wood and its moisture"),
        line("Wood", "species", list="species-names"),
        choice("Cut", "cut", [(cut, cut) for cut in RING_ANGLE_OF_CUT]),
        line("Moisture of the stock today", "mc", hint="%, metered"),
        choice("Home", "home", homes),
        line("Driest humidity there", "low", hint="%, where humidities are typed in"),
        line("Dampest humidity there", "high", hint="%"),
        choice("Finish, both faces", "face", films),
        line("Coats", "coats"),
        line("Thickness of a panel, if framed", "panel", hint=f"{unit}; usual {_usual(9.525, view)}"),
        line("Width of a stile, if framed", "stile", hint=f"{unit}; usual {_usual(57.15, view)}"),
        line("Boards at hand are wide", "board", hint=f"{unit}; usual {_usual(152.4, view)}"),
    ]
    return html.Details(
        [
            html.Summary("What is planned"),
            html.Div(fields, className="fields"),
            html.Button("Compare", id=GO, className="first"),
            species_names(),
        ],
        open=is_open,
        className="no-print",
    )


def _usual(length_mm: float, view: View) -> str:
    return view.display.length(length_mm)


def _id(key: str) -> dict[str, str]:
    return {"form": FIELD, "key": key}


# ---------------------------------------------------------------- side by side


def side_by_side(plan: Plan, asked: Mapping[str, str], view: View) -> html.Section:
    """The three as drawings and as a table, with their verdicts and reasons."""
    choices = plan.comparison.choices
    return part(
        "Three ways to build it",
        html.Div([_column(choice, plan, asked, view) for choice in choices], className="three"),
        table(plan, view),
    )


def _column(choice: Choice, plan: Plan, asked: Mapping[str, str], view: View) -> html.Article:
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
            *[html.P(prose(in_units(reason, view.display)), className="small") for reason in choice.reasons],
            html.P(link, className="no-print"),
        ],
        className="choice",
    )


def verdict_of(verdict: str) -> Drawing:
    """A plan's verdict by the shape that a piece's verdict has, under its own name."""
    tree = mark(MARKS[verdict])
    tree[1]["aria-label"] = verdict
    return Drawing(tree, className="mark-holder")


def table(plan: Plan, view: View) -> html.Div:
    """The three compared, one line for each thing that matters."""
    choices = plan.comparison.choices
    head = html.Tr([html.Th("", scope="col"), *[html.Th(choice.title, scope="col") for choice in choices]])
    rows = [
        html.Tr(
            [
                html.Th(name, scope="row"),
                *[
                    html.Td(num(cell), **under(choice.title))
                    if short
                    else html.Td(prose(cell), **under(choice.title))
                    for choice, cell in zip(choices, cells, strict=True)
                ],
            ]
        )
        for name, short, cells in table_rows(choices, view)
        if any(cell != say.NOTHING for cell in cells)
    ]
    return html.Div(
        html.Table([html.Thead(head), html.Tbody(rows)], className="limits ways"), className="scroll"
    )


def table_rows(choices: Sequence[Choice], view: View) -> list[tuple[str, bool, list[str]]]:
    """Each line of the table: what it tells, whether it is a number, and a cell for each choice."""
    display = view.display

    def length(value: float | None) -> str:
        return say.NOTHING if value is None else display.length(value, finest=64)

    def span(choice: Choice) -> str:
        if choice.design is None:
            return "any humidity"
        return say.humidity_range(choice.design.span.rh_low_pct, choice.design.span.rh_high_pct)

    def gives_out(choice: Choice, end: str) -> str:
        found = choice.design and getattr(choice.design.span, end)
        return say.said(found.fit) if found else "nothing"

    def wood(choice: Choice) -> str:
        stock = choice.layout.stock
        if stock.net_m3 <= 0.0:
            return "none"
        if view.units == "inch":
            return f"{stock.net_board_feet:.1f} bd ft, buy {stock.buy_board_feet:.1f}"
        buy = stock.net_m3 * stock.buy_board_feet / stock.net_board_feet
        return f"{stock.net_m3 * 1000.0:.1f}{say.NBSP}dm³, buy {buy * 1000.0:.1f}"

    def sheets(choice: Choice) -> str:
        area = choice.layout.stock.sheet_m2
        if not area:
            return say.NOTHING
        return (
            f"{area / 0.09290304:.1f}{say.NBSP}sq ft" if view.units == "inch" else f"{area:.2f}{say.NBSP}m²"
        )

    def leaves(choice: Choice) -> str:
        stock = choice.layout.stock
        if not stock.leaves_from_a_board or stock.board_thickness_mm is None:
            return say.NOTHING
        return (
            f"{stock.leaves_from_a_board} leaves a board, {stock.boards_to_resaw} boards; "
            f"two book-matched need {display.length(stock.leaf_width_needed_mm, 'up')} each"
        )

    def held(choice: Choice) -> str:
        if choice.if_held is None:
            return say.NOTHING
        return {"none": "nothing: it only swells"}.get(choice.if_held.likelihood, choice.if_held.likelihood)

    return [
        ("Moves across, over the year", True, [length(choice.outside_movement_mm) for choice in choices]),
        ("Its panel, in the grooves", True, [length(choice.panel_movement_mm) for choice in choices]),
        ("Easy at", True, [span(choice) for choice in choices]),
        ("Gives out first, dry", False, [gives_out(choice, "low") for choice in choices]),
        ("Gives out first, damp", False, [gives_out(choice, "high") for choice in choices]),
        ("Grooves deep", True, [length(choice.layout.groove_depth_mm) for choice in choices]),
        ("Slots long", True, [length(choice.layout.slot_length_mm) for choice in choices]),
        ("A split, if held fast all across", False, [held(choice) for choice in choices]),
        (
            "May be fixed across it",
            False,
            [in_units(" ".join(choice.fixed_across), display) or say.NOTHING for choice in choices],
        ),
        ("Weighs", True, [weight(choice.layout.weight_kg, view) for choice in choices]),
        ("Solid wood in it", True, [wood(choice) for choice in choices]),
        ("Sheet", True, [sheets(choice) for choice in choices]),
        ("Resawn", False, [leaves(choice) for choice in choices]),
    ]


def weight(weight_kg: float, view: View) -> str:
    """A weight in pounds where inches are read."""
    if view.units == "inch":
        return f"{weight_kg / KG_PER_POUND:.1f}{say.NBSP}lb"
    return f"{weight_kg:.1f}{say.NBSP}kg"


# ---------------------------------------------------------------- the one chosen


def chosen_part(plan: Plan, asked: Mapping[str, str], view: View) -> html.Section:
    """What to cut today for the choice taken, drawn, with its card and what comes next."""
    choice = plan.comparison.choice(plan.chosen)
    title = f"Cut it today {IN_WORDS[choice.kind]}"
    piece = choice.piece
    if piece is None:
        return part(title, *[html.P(in_units(note, view.display)) for note in choice.layout.notes])
    here = {**asked, "choose": choice.kind}
    cards: list[Any] = [card_part(document, choice, here, view) for document in choice.layout.cuts]
    if not cards:
        cards = [html.P("The sheet is cut to size; only its edging is solid wood, and moves.")]
    air = asked.get("home", "")
    onward = [
        html.A("Record it as built", href=address("plan", "record", **here), className="button first"),
        html.A(
            "Rehearse it in a year of air",
            href=address("rehearse", first=f"plan-{choice.kind}", air=air or None, **asked),
            className="button",
        ),
    ]
    return part(title, *cards, html.Div(onward, className="buttons no-print"))


def card_part(document: dict[str, Any], choice: Choice, here: Mapping[str, str], view: View) -> html.Article:
    """One cut card: the sizes large, the reasons small, and the section they make."""
    figures = [
        html.Div([html.Span(num(value), className="large"), html.Span(label, className="hint")])
        for label, value in card_figures(document, view.display)
    ]
    return html.Article(
        [
            html.Div(
                [
                    html.H3(say.sentence(say.said(document["fit"])).rstrip(".")),
                    html.Div(figures, className="figures"),
                    *[
                        html.P(prose(in_units(plain_sentence(words), view.display)), className="small")
                        for words in document["sentences"]
                    ],
                    html.P(
                        html.A(
                            "Cut card to print",
                            href=address("plan", "card.pdf", **here, fit=document["fit"], units=view.units),
                            className="button",
                            target="_blank",
                        ),
                        className="no-print",
                    ),
                ]
            ),
            _section(choice, document["fit"], view),
        ],
        className="fit",
    )


def _section(choice: Choice, fit_name: str, view: View) -> html.Div:
    piece = choice.piece
    assert piece is not None
    section = piece.fits[fit_name].section(piece.references())
    return html.Div(
        drawn(
            *(
                section_drawing(section, view.display, width, uid=f"plan-{choice.kind}-{fit_name}-{width}")
                for width in (620, 360)
            )
        )
    )


# ---------------------------------------------------------------- callbacks


def register(app: Dash, context: Context) -> None:
    """What was typed becomes the page's address."""

    @app.callback(
        Output(ADDRESS, "href", allow_duplicate=True),
        Input(GO, "n_clicks"),
        State({"form": FIELD, "key": ALL}, "value"),
        prevent_initial_call=True,
    )
    def compare_typed(clicks: int | None, _values: list[Any]) -> Any:
        if not clicks:
            return no_update
        typed = {item["id"]["key"]: item.get("value") for item in ctx.states_list[0]}
        return address("plan", **plan_asked.with_units(typed, view_of(context).units))


ROUTES = [Route("/plan", layout, live=False)]
