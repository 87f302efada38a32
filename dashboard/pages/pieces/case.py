"""Draw a case: choose one, type its sizes and its wood; parts, fits and drawing follow, then record it."""

from collections.abc import Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard.figures.case_drawing import case_drawing, part_anchor
from dashboard.figures.drawing import Drawing
from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.forms.fields import names_to_choose, species_names
from dashboard.pages.frame import fold, noted, num, part, prose, scrolling, sheet, table, under
from dashboard.pages.pieces.case_asked import (
    FORM,
    GOES,
    WOOD,
    CaseTyped,
    Made,
    case_form,
    held_asked,
    make_case,
    part_asked,
    sizes_asked,
    usual_case,
)
from dashboard.paper.cut_list import fit_dimensions, gaps_by_month, widths_that_work, wood_in_all
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.acts import book
from model.records.queries import overview as queries
from model.records.queries.clients import client_names
from model.wood.design.cut_list import CutRow, drawer_gaps
from model.wood.design.gap_table import MONTHS
from model.wood.design.patterns import CasePattern, pattern_named, patterns
from model.wood.errors import BadInput
from model.words import display as say

LIVE, HARM, CUT, SINGLE, NAMES = "case-live", "case-harm", "case-cut", "case-single", "case-names"
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
    typed = dict(view.query)
    homes = [(str(place.id), place.name) for place in places]
    options = {
        "stack": [("", "one board"), *((str(stack.id), stack.name) for stack in stacks)],
        "home": [("", "most heated homes"), *homes],
        "place": homes,
    }
    goes = GOES if homes else [one for one in GOES if one.key in ("home", "client")]

    def fields(asked: Sequence[Asked]) -> html.Div:
        given = {key: text for key, text in typed.items() if key != "since"}
        form = Form(FORM, "", tuple(asked))
        laid = form.laid(view, given, options=options, zone=view.context.zone)
        return html.Div(laid, className="fields")

    drawn = drawn_anew(pattern, typed, view)
    return sheet(
        f"Draw the {pattern.key}.",
        html.Div(
            [
                html.Div(
                    [
                        part("Its sizes", fields(sizes_asked(pattern, view))),
                        part("Its wood", fields(WOOD)),
                        html.Div(drawn[SINGLE], id=SINGLE),
                        part("Where it goes", fields(goes)),
                    ]
                ),
                html.Div(drawn[LIVE], id=LIVE, className="beside"),
                html.Div(
                    [
                        html.Div(drawn[HARM], id=HARM, role="status"),
                        html.Div(
                            [
                                html.Button(
                                    "Record it", id={"act": FORM, "pattern": pattern.key}, className="first"
                                ),
                                html.A("All cases", href="/case", className="button"),
                            ],
                            className="buttons",
                        ),
                        html.Div(drawn[CUT], id=CUT),
                    ]
                ),
            ],
            className="columns record case-form",
        ),
        species_names(),
        names_to_choose("client-names", clients),
        html.Div(pattern.key, id="case-pattern", hidden=True),
        html.Div(drawn[NAMES], id=NAMES, hidden=True),
        lead="Type what is yours; all else is as your shop usually builds it.",
    )


# ---------------------------------------------------------------- while typing


def drawn_anew(pattern: CasePattern, typed: CaseTyped, view: View) -> dict[str, Any]:
    """What follows from what is typed, by where it stands on the page; what can't be built is said there."""
    try:
        made = make_case(pattern, typed, view)
    except BadInput as error:
        return {LIVE: [forms.problem(error)], HARM: [], CUT: [], SINGLE: [], NAMES: ""}
    return {
        LIVE: [
            _drawing(pattern, made),
            *[html.P(prose(line), className="small") for line in made.notes],
            html.P(TIP, className="small caution") if pattern.is_tall else None,
            _fits(made, view),
        ],
        HARM: would_harm(made),
        CUT: [_parts(made, view), _set_out(made, view)],
        SINGLE: single_parts(made, typed, view),
        NAMES: "; ".join([*made.piece.members, *made.piece.fits]),
    }


def would_harm(made: Made) -> list[Any]:
    """What would come to harm, said where it is recorded: the worst, and how many more."""
    if not made.harmed:
        return []
    worst, *others = made.harmed
    told = [
        f"Built so, it comes to harm. {worst.called}: {worst.said}",
        f"So do {len(others)} more." if len(others) > 1 else "So does one more." if others else "",
        "Record it only if it is built so already.",
    ]
    return [html.P(prose(" ".join(filter(None, told))), className="problem")]


def _drawing(pattern: CasePattern, made: Made) -> Drawing:
    harmed = {part for fit in made.harmed for part in fit.parts}
    marked = set(made.fits[0].parts) if made.fits and made.fits[0].verdict != "clear" else set()
    drawing = case_drawing(
        made.case,
        with_side=True,
        name=say.sentence(pattern.key).rstrip("."),
        marked=marked,
        harmed=harmed,
        href=lambda part: f"#{part_anchor(part)}",
    )
    return Drawing(drawing, className="case-view")


def _fits(made: Made, view: View) -> html.Section:
    """Each fit with how it stands at both ends of the home's year, the worst first."""
    rows = []
    for fit in made.fits:
        how = {f"held.{fit.name}": "glued" if fit.is_glued else "free"}
        held = held_asked(fit.name).laid(view, how) if fit.can_be_glued else []
        rows.append(
            noted(fit.verdict, html.Strong(f"{fit.called}:"), html.Span(prose(f" {fit.said}")), *held)
        )
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
                html.Th(f"{row.role}{f' × {row.alike}' if row.alike > 1 else ''}", scope="row"),
                html.Td(num(length(row.width_mm, "nearest", 64)), **under("wide")),
                _works(row, view),
                html.Td(num(length(row.length_mm)), **under("long")),
                html.Td(num(length(row.thickness_mm)), **under("thick")),
                html.Td(row.species, **under("of")),
            ],
            id=part_anchor(row.name),
        )
        for row in made.cuts
    ]
    parts = html.Table(
        [html.Thead(html.Tr([html.Th(word, scope="col") for word in words])), html.Tbody(rows)],
        className="limits",
    )
    return part(
        "What to cut",
        scrolling(parts, "What to cut"),
        html.P(wood_in_all(made.cuts, view.display), className="small"),
    )


def _set_out(made: Made, view: View) -> html.Section:
    """Grooves, slots and gaps of each fit; the gap above drawer fronts by the month they are fitted."""
    rows = [
        (say.said(name), prose(fit_dimensions(fit, view.display))) for name, fit in made.piece.fits.items()
    ]
    gaps = [
        [*map(num, gaps_by_month(row, view.display))]
        for row in drawer_gaps(made.piece, made.home_mc_pct, made.case.shop.steps)
    ]
    by_month = "Gap above each front, by the month it is fitted"
    return part(
        "Grooves, slots and gaps",
        table("Grooves, slots and gaps", ("fit", "as drawn"), rows),
        *((html.H3(by_month), table(by_month, ("opening", *MONTHS), gaps)) if gaps else ()),
    )


def _works(row: CutRow, view: View) -> html.Td:
    told = widths_that_work(row, view.display)
    return html.Td(prose(told), **under("will work")) if told else html.Td()


# ---------------------------------------------------------------- callbacks


def single_parts(made: Made, typed: CaseTyped, view: View) -> list[Any]:
    """Fields for single parts: a wood, a cut or a measured width of their own; a gap of their own."""
    rows = []
    for name in made.piece.members:
        fields = html.Div(part_asked(made.piece, name).laid(view, typed), className="fields")
        rows.append(html.Div([html.H3(say.sentence(say.said(name)).rstrip(".")), fields]))
    return [html.Details([html.Summary("Single parts that differ"), *rows], **fold("single parts"))]


def register(app: Dash, context: Context) -> None:
    """Drawn anew while typing; written when told to."""

    @app.callback(
        *(Output(place, "children") for place in (LIVE, HARM, CUT, SINGLE, NAMES)),
        Input({"form": FORM, "key": ALL}, "value"),
        State("case-pattern", "children"),
        State(NAMES, "children"),
        prevent_initial_call=True,
    )
    def draw(_values: list[Any], pattern: str | None, known: str | None) -> Any:
        if not pattern:
            return [no_update] * 5
        typed = {one["id"]["key"]: one.get("value") for one in ctx.inputs_list[0]}
        drawn = drawn_anew(pattern_named(pattern), typed, view_of(context))
        # Fields that somebody types in are left alone while the parts are the same.
        if drawn[NAMES] in ("", known):
            drawn |= {SINGLE: no_update, NAMES: no_update}
        return [drawn[place] for place in (LIVE, HARM, CUT, SINGLE, NAMES)]

    def record(key: str, typed: CaseTyped, view: View) -> Act:
        pattern = pattern_named(key)
        try:
            return save(pattern, typed, view)
        except BadInput as error:
            case_form(pattern, view).mark(error)
            raise

    answers(app, context, FORM, record, which="pattern")


def save(pattern: CasePattern, typed: CaseTyped, view: View) -> Act:
    """Record the case as drawn; BadInput names what is still wrong."""
    if not str(typed.get("name") or "").strip():
        raise BadInput("", "name", "must be given (what the piece is called)", "nothing")
    if not str(typed.get("species") or "").strip() and not typed.get("stack"):
        raise BadInput("", "wood", "must be given", "nothing")
    made = make_case(pattern, typed, view)
    with doing(view, "entry") as (session, revision):
        goes = Form(FORM, "", GOES).read(typed, view, session, view.context.zone)
        row = book.add_piece(session, made.piece, goes["place"], goes["since"], view.now)
        said = f"{row.name} is recorded; how it stands is worked out within a minute."
        back = f"{row.name} is out of the book again."
        return done(revision, said, back, address("piece", row.id), "/pieces")


ROUTES = [Route("/case", layout, live=False)]
