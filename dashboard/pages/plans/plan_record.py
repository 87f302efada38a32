"""A plan recorded as built: the form of a new piece, filled with what was planned."""

from dash import html

from dashboard.forms import drafts
from dashboard.forms import fields as forms
from dashboard.pages.frame import sheet
from dashboard.pages.pieces import record
from dashboard.pages.plans import plan_asked
from dashboard.pages.plans.plan_asked import plan_of
from dashboard.shell.view import Route, View, address
from model.wood.errors import BadInput


def layout(view: View) -> html.Main:
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
    return record.form_page("Record it as built", None, view, drafts.draft_of(document, view.units))


ROUTES = [Route("/plan/record", layout, live=False)]
