"""Plan: a part built three ways for a home, side by side; and for the one chosen, what to cut today."""

from collections.abc import Mapping, Sequence
from typing import Any

from dash import Dash, html

from dashboard.figures.section import section_drawing
from dashboard.forms import fields as forms
from dashboard.forms import recorded_draft
from dashboard.forms.asking import asked_part, leads, with_usual
from dashboard.pages.frame import Child, drawn, num, part, prose, sheet
from dashboard.pages.pieces import record
from dashboard.pages.plans import plan_asked
from dashboard.pages.plans.plan_asked import Plan, plan_of
from dashboard.pages.plans.plan_compared import grain_part, side_by_side
from dashboard.paper.cards import card_figures
from dashboard.shell.view import Context, Route, View, address
from model.records.queries import overview as queries
from model.records.queries.overview import PlaceNow, StackNow
from model.wood.design.cautions import cautions
from model.wood.design.construction import PatternChoice
from model.wood.errors import BadInput
from model.wood.material.species import region_reason
from model.words import display as say
from model.words.limits import cut_said
from model.words.reasons import in_sentences

IN_WORDS = {"slab": "as a solid slab", "framed": "as a frame and panel", "sheet": "of sheet goods"}


def layout(view: View) -> html.Main:
    """The page, of what its address asks."""
    asked = plan_asked.asked_of(view.query)
    with view.store.session() as session:
        places = queries.places(session, view.now)
        stacks = queries.stacks(session, view.now, known=places)
    if not asked:
        return sheet(
            "How should it be built?",
            form_part(places, stacks, view, True),
            lead="Say the part, its wood and its home. A solid slab, a framed panel and sheet goods come "
            "side by side, each with what it does there over a year.",
        )
    try:
        plan = plan_of(asked, view, view.query.get("choose", ""))
    except BadInput as error:
        return sheet(
            "How should it be built?",
            forms.problem(error),
            form_part(places, stacks, view, True, error),
        )
    return page(plan, asked, form_part(places, stacks, view, False), view)


def page(plan: Plan, asked: Mapping[str, str], form: Any, view: View) -> html.Main:
    """The three side by side, and the one chosen in full."""
    comparison = plan.comparison
    advised = comparison.choice(comparison.advised)
    return sheet(
        f"Build it {IN_WORDS[advised.kind]}.",
        html.P(prose(in_sentences(advised.reasons[0], view.display)), className="lead"),
        html.P(home_says(plan), className="soft"),
        *[html.P(prose(line)) for line in wood_says(plan, asked, view)],
        form,
        side_by_side(plan, asked, view),
        grain_part(plan, view),
        chosen_part(plan, asked, view),
        dateline=plan_asked.part_says(comparison.part, view),
    )


def wood_says(plan: Plan, asked: Mapping[str, str], view: View) -> list[str]:
    """How its wood's name was read where that is open, and how the figures of wood and finish are known."""
    part = plan.comparison.part
    member = part.member(part.role, part.width_mm)
    read = region_reason(asked.get("species", ""), view.context.region)
    return [in_sentences(line, view.display) for line in (read, *cautions([member])) if line]


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
    places: Sequence[PlaceNow],
    stacks: Sequence[StackNow],
    view: View,
    is_open: bool,
    error: BadInput | None = None,
) -> html.Details:
    """The fields, open until there is an answer."""
    homes = [(str(place.id), place.name) for place in sorted(places, key=lambda place: place.kind != "home")]
    homes += [(plan_asked.USUAL, "most heated homes"), (plan_asked.GIVEN, "another: type its humidity")]
    piles = [("", "one board"), *((str(stack.id), stack.name) for stack in stacks)]
    form = with_usual(plan_asked.FORM, plan_asked.USUAL_MM, view)
    options = {"home": homes, "stack": piles}
    return asked_part("What is planned", form, view, options=options, is_open=is_open, error=error)


# ---------------------------------------------------------------- the one chosen


def chosen_part(plan: Plan, asked: Mapping[str, str], view: View) -> Child:
    """What to cut today for the choice taken, drawn, with its card and what comes next."""
    choice = plan.comparison.choice(plan.chosen)
    title = f"Cut it today {IN_WORDS[choice.kind]}"
    piece = choice.piece
    if piece is None:
        return part(title, *[html.P(in_sentences(note, view.display)) for note in choice.layout.notes])
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


def card_part(
    document: dict[str, Any], choice: PatternChoice, here: Mapping[str, str], view: View
) -> html.Article:
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
                    *[html.P(prose(told), className="small") for told in cut_said(document, view.display)],
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


def _section(choice: PatternChoice, fit_name: str, view: View) -> html.Div:
    piece = choice.piece
    assert piece is not None
    section, uid = piece.fits[fit_name].section(piece.references()), f"plan-{choice.kind}-{fit_name}"
    return html.Div(
        drawn(*(section_drawing(section, view.display, width, f"{uid}-{width}") for width in (620, 360)))
    )


def record_layout(view: View) -> html.Main:
    """The form with the plan's document in it: what is left is to measure and to name."""
    asked = plan_asked.asked_of(view.query)
    back = html.A("Back to the plan", href=address("plan", **asked, choose=view.query.get("choose")))
    try:
        choice_of = plan_of(asked, view, view.query.get("choose", ""))
    except BadInput as error:
        return sheet("There is no plan at this address.", forms.problem(error), html.P(back))
    document = choice_of.comparison.choice(choice_of.chosen).document
    if document is None:
        return sheet(
            "Nothing of it moves, so there is nothing to record.",
            html.P("A part of sheet goods without solid edging stays as wide as it was cut."),
            html.P(back),
        )
    return record.form_page("Record it as built", None, view, recorded_draft.draft_of(document, view.units))


def register(app: Dash, context: Context) -> None:
    """What was typed becomes the page's address."""
    leads(app, context, plan_asked.FORM)


ROUTES = [Route("/plan", layout, live=False), Route("/plan/record", record_layout, live=False)]
