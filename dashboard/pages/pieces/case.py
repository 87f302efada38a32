"""Draw a case: choose one, type its sizes and its wood; parts, fits and drawing follow, then record it."""

from collections.abc import Mapping
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard.figures.case_drawing import case_drawing, part_anchor
from dashboard.figures.drawing import Drawing
from dashboard.forms import fields as forms
from dashboard.forms.acts import NOTHING, OUTPUTS, Act, answered, doing, done
from dashboard.forms.fields import Line, choice_field, field, names_to_choose, species_names, text_field
from dashboard.pages.frame import fold, noted, num, part, prose, scrolling, sheet, under
from dashboard.pages.pieces.case_asked import CaseTyped, Made, make_case, usual_case
from dashboard.paper.cut_list import widths_that_work, wood_in_all
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.acts import book
from model.records.queries import overview as queries
from model.records.queries.clients import client_names
from model.wood.design.patterns import CasePattern, CaseSize, pattern_named, patterns
from model.wood.design.patterns.shop_figures import ShopFigures
from model.wood.errors import BadInput
from model.wood.material.finish import finish_names
from model.wood.material.ring_angle import RING_ANGLE_OF_CUT
from model.words import display as say

FIELD, LIVE, GO, SINGLE, NAMES = "case", "case-live", "case-go", "case-single", "case-names"
TIP = (
    "It is tall enough to tip: anchor it to the wall, as local rules and the wall's makers say, before the "
    "first drawer is filled."
)


def layout(view: View) -> html.Main:
    """The cases to choose from; or the one chosen, drawn as it is typed."""
    wanted = view.query.get("pattern")
    if not wanted:
        return _choose(view)
    try:
        pattern = pattern_named(wanted)
    except BadInput as error:
        return sheet("Which piece?", forms.problem(error), html.P(html.A("All cases", href="/case")))
    return _form(pattern, view)


def _choose(view: View) -> html.Main:
    rows = []
    for key, pattern in sorted(patterns().items()):
        case = usual_case(pattern, view)
        rows.append(
            html.A(
                [
                    Drawing(case_drawing(case, name=say.sentence(key).rstrip(".")), className="case-thumb"),
                    html.Strong(say.sentence(key).rstrip(".")),
                    html.Span(pattern.what, className="small"),
                ],
                href=address("case", pattern=key),
                className="case-choice",
            )
        )
    return sheet(
        "Which piece?",
        html.Div(rows, className="case-choices"),
        html.P(
            [
                "None of these? ",
                html.A("Record it part by part", href="/record"),
                ". Stiles, thicknesses and grooves are ",
                html.A("your shop's figures", href="/case/figures"),
                ".",
            ]
        ),
        lead="Choose a case. Its parts and fits follow from a few sizes, as your shop builds it.",
    )


def _form(pattern: CasePattern, view: View) -> html.Main:
    with view.store.session() as session:
        places = queries.places(session, view.now)
        stacks = queries.stacks(session, view.now, known=places)
        clients = client_names(session)
    asked = view.query
    shop = ShopFigures("inch" if view.units == "inch" else "metric")
    films = [(name, "bare" if name == "none" else name) for name in finish_names()]
    homes = [(str(place.id), place.name) for place in places]
    piles = [("", "one board"), *((str(stack.id), stack.name) for stack in stacks)]
    cuts = [(cut, cut) for cut in RING_ANGLE_OF_CUT]
    first = [
        _line("Name", "name", asked, placeholder=f"Valley {pattern.key}"),
        *[_size(size, shop, asked, view) for size in pattern.sizes],
        *[
            choice_field(
                say.sentence(choice.meaning).rstrip("."),
                _id(choice.key),
                [(option, option) for option in choice.options],
                asked.get(choice.key, choice.options[0]),
            )
            for choice in pattern.choices
        ],
    ]
    wood = [
        choice_field("Cut from", _id("stack"), piles, asked.get("stack", ""), "a stack brings its wood"),
        _line("Wood", "species", asked, list="species-names"),
        choice_field("Cut", _id("cut"), cuts, asked.get("cut", cuts[0][0])),
        _line("Wood inside", "inside_species", asked, list="species-names", hint="backs and drawer bottoms"),
        choice_field("Cut inside", _id("inside_cut"), cuts, asked.get("inside_cut", cuts[0][0])),
        _line("Moisture today", "mc_pct", asked, hint="%, metered; left out, as is usual in this month"),
        choice_field("Finish, both faces", _id("face"), films, asked.get("face", films[0][0])),
        _line("Coats", "coats", asked, mode="numeric"),
    ]
    goes = [
        choice_field("Its home", _id("home"), [("", "most heated homes"), *homes], asked.get("home", "")),
        choice_field("It stands now at", _id("place"), homes, asked.get("place") or homes[0][0])
        if homes
        else None,
        field("Since", Line(_id("since"), forms.day_value(view.now, view.context.zone), kind="date"))
        if homes
        else None,
        _line("Client", "client", asked, list="client-names"),
    ]
    return sheet(
        f"Draw the {pattern.key}.",
        html.Div(
            [
                html.Div(
                    [
                        part("Its sizes", html.Div(first, className="fields")),
                        part("Its wood", html.Div(wood, className="fields")),
                        html.Div(single_parts(pattern, dict(asked), view), id=SINGLE),
                        part("Where it goes", html.Div([one for one in goes if one], className="fields")),
                        html.Div(
                            [
                                html.Button("Record it", id=GO, className="first"),
                                html.A("All cases", href="/case", className="button"),
                            ],
                            className="buttons",
                        ),
                    ]
                ),
                html.Div(live(pattern, dict(asked), view), id=LIVE, role="status", className="beside"),
            ],
            className="columns record",
        ),
        species_names(),
        names_to_choose("client-names", clients),
        html.Div(pattern.key, id="case-pattern", hidden=True),
        html.Div(names_of(pattern, dict(asked), view), id=NAMES, hidden=True),
        lead="Type what is yours; all else is as your shop usually builds it.",
    )


def _id(key: str) -> dict[str, str]:
    return {"form": FIELD, "key": key}


def _line(label: str, key: str, asked: Mapping[str, str], **more: Any) -> html.Div:
    return text_field(label, _id(key), asked.get(key, ""), **more)


def _size(size: CaseSize, shop: ShopFigures, asked: Mapping[str, str], view: View) -> html.Div:
    usual, least, most = size.bounds(shop)
    label = say.sentence(size.meaning).rstrip(".")
    if size.is_count:
        options = [(str(n), str(n)) for n in range(int(least), int(most) + 1)]
        return choice_field(label, _id(size.key), options, asked.get(size.key, str(int(usual))))
    bare = view.display.bare_length
    unit = "in" if view.units == "inch" else "mm"
    hint = f"{unit}; usual {bare(usual)}, {bare(least)} to {bare(most)}"
    return text_field(label, _id(size.key), asked.get(size.key, ""), hint=hint)


# ---------------------------------------------------------------- while typing


def live(pattern: CasePattern, typed: CaseTyped, view: View) -> list[Any]:
    """The drawing, what each fit stands to, and what can't be built."""
    try:
        made = make_case(pattern, typed, view)
    except BadInput as error:
        return [forms.problem(error)]
    return [
        *_drawings(pattern, made),
        *[html.P(prose(line), className="small") for line in made.notes],
        html.P(TIP, className="small caution") if pattern.is_tall else None,
        _fits(made, view),
        _parts(made, view),
    ]


def _drawings(pattern: CasePattern, made: Made) -> list[Any]:
    name = say.sentence(pattern.key).rstrip(".")
    harmed = {part for fit in made.fits if fit.verdict == "past" for part in fit.parts}
    marked = set(made.fits[0].parts) if made.fits and made.fits[0].verdict != "clear" else set()
    drawing = case_drawing(
        made.case,
        with_side=True,
        name=name,
        marked=marked,
        harmed=harmed,
        href=lambda part: f"#{part_anchor(part)}",
    )
    return [Drawing(drawing, className="case-view")]


def _fits(made: Made, view: View) -> html.Section:
    """Each fit with how it stands at both ends of the home's year, the worst first."""
    rows = []
    for fit in made.fits:
        held = []
        if fit.can_be_glued:
            held = [
                choice_field(
                    "Held",
                    _id(f"held.{fit.name}"),
                    [("free", "free to move"), ("glued", "glued across")],
                    "glued" if fit.is_glued else "free",
                )
            ]
        rows.append(noted(fit.verdict, html.Strong(fit.called), html.Span(prose(f" {fit.said}")), *held))
    low, high = made.home_mc_pct
    told = f"{made.home_says} It comes to {say.mc(low)} at the driest and {say.mc(high)} at the dampest."
    return part("How it will stand there", html.P(told, className="small"), html.Ul(rows, className="note"))


def _parts(made: Made, view: View) -> html.Section:
    """What to cut: each part once, alike ones with their number."""
    words = ("part", "wide", "will work", "long", "thick", "of")
    length = view.display.length
    rows = [
        html.Tr(
            [
                html.Td(f"{row.role}{f' × {row.alike}' if row.alike > 1 else ''}"),
                html.Td(num(length(row.width_mm, "nearest", 64)), **under("wide")),
                html.Td(prose(widths_that_work(row, view.display)), **under("will work")),
                html.Td(num(length(row.length_mm)), **under("long")),
                html.Td(num(length(row.thickness_mm)), **under("thick")),
                html.Td(row.species, **under("of")),
            ],
            id=part_anchor(row.name),
        )
        for row in made.cuts
    ]
    table = html.Table(
        [html.Thead(html.Tr([html.Th(word, scope="col") for word in words])), html.Tbody(rows)],
        className="stacking",
    )
    return part(
        "What to cut",
        scrolling(table, "What to cut"),
        html.P(wood_in_all(made.cuts, view.display), className="small"),
    )


# ---------------------------------------------------------------- callbacks


def names_of(pattern: CasePattern, typed: CaseTyped, view: View) -> str:
    """The parts and fits of the case as typed so far; none where it can't be built."""
    try:
        made = make_case(pattern, typed, view)
    except BadInput:
        return ""
    return "; ".join([*made.piece.members, *made.piece.fits])


def single_parts(pattern: CasePattern, typed: CaseTyped, view: View) -> list[Any]:
    """Fields for single parts: a wood, a cut or a measured width of their own; a gap of their own."""
    try:
        made = make_case(pattern, typed, view)
    except BadInput:
        return []
    unit = "in" if view.units == "inch" else "mm"
    cuts = [("", "as the rest"), *((cut, cut) for cut in RING_ANGLE_OF_CUT)]
    rows = []
    for name in made.piece.members:
        key = f"part.{name}"
        fields = [
            _line("Wood", f"{key}.species", typed, list="species-names"),
            choice_field("Cut", _id(f"{key}.cut"), cuts, typed.get(f"{key}.cut", "")),
            _line("Measured width", f"{key}.width", typed, hint=unit),
        ]
        fit = made.piece.fits.get(name)
        if fit is not None and fit.gap_attribute == "gap_mm":
            fields.append(_line("Gap as built", f"fit.{name}.gap", typed, hint=unit))
        called = say.sentence(say.said(name)).rstrip(".")
        rows.append(html.Div([html.H3(called), html.Div(fields, className="fields")]))
    return [html.Details([html.Summary("Single parts that differ"), *rows], **fold("single parts"))]


def _typed() -> CaseTyped:
    items = [
        item for group in (*ctx.inputs_list, *ctx.states_list) if isinstance(group, list) for item in group
    ]
    return {item["id"]["key"]: str(item.get("value") or "") for item in items if isinstance(item["id"], dict)}


def register(app: Dash, context: Context) -> None:
    """Drawn anew while typing; written when told to."""

    @app.callback(
        Output(LIVE, "children"),
        Output(SINGLE, "children"),
        Output(NAMES, "children"),
        Input({"form": FIELD, "key": ALL}, "value"),
        State("case-pattern", "children"),
        State(NAMES, "children"),
        prevent_initial_call=True,
    )
    def draw(_values: list[Any], pattern: str | None, known: str | None) -> Any:
        if not pattern:
            return no_update, no_update, no_update
        chosen, typed, view = pattern_named(pattern), _typed(), view_of(context)
        drawn = live(chosen, typed, view)
        names = names_of(chosen, typed, view)
        # Fields that somebody types in are left alone while the parts are the same.
        if not names or names == known:
            return drawn, no_update, no_update
        return drawn, single_parts(chosen, typed, view), names

    @app.callback(
        *OUTPUTS,
        Input(GO, "n_clicks"),
        State({"form": FIELD, "key": ALL}, "value"),
        State("case-pattern", "children"),
        prevent_initial_call=True,
    )
    def record(clicks: int | None, _values: list[Any], pattern: str | None) -> Any:
        if not clicks or not pattern:
            return NOTHING
        return answered(save(pattern_named(pattern), _typed(), view_of(context)))


def save(pattern: CasePattern, typed: CaseTyped, view: View) -> Act:
    """Record the case as drawn; BadInput names what is still wrong."""
    name = typed.get("name", "").strip()
    if not name:
        raise BadInput("", "name", "must be given (what the piece is called)", "nothing")
    if not typed.get("species", "").strip() and not typed.get("stack"):
        raise BadInput("", "wood", "must be given", "nothing")
    made = make_case(pattern, typed, view)
    with doing(view, "entry") as (session, revision):
        place = forms.chosen_place(session, typed.get("place"), "where it stands")
        since_at = forms.day_typed(typed.get("since"), place.zone, "since")
        row = book.add_piece(session, made.piece, place, since_at, view.now)
        said = f"{row.name} is recorded; how it stands is worked out within a minute."
        back = f"{row.name} is out of the book again."
        return done(revision, said, back, address("piece", row.id), "/pieces")


ROUTES = [Route("/case", layout, live=False)]
