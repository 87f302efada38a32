"""Your shop's figures: stiles, thicknesses, grooves and allowances that a drawn case is set out with."""

from typing import Any

from dash import Dash, html

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import sheet
from dashboard.shell.view import Context, Route, View
from model.records.acts.shop_figures import figures_of, keep_figures
from model.wood.design.patterns.shop_figures import FIGURES, ShopFigures
from model.words import display as say

FIRST = (
    "stile",
    "top_rail",
    "bottom_rail",
    "frame_thick",
    "slab_thick",
    "top_thick",
    "panel_thick",
    "groove",
)
"""The figures asked for first; the rest are folded."""


def _form(view: View) -> Form:
    usual = ShopFigures("inch" if view.units == "inch" else "metric")
    unit = "in" if view.units == "inch" else "mm"
    asked = []
    for name in (*FIRST, *(name for name in FIGURES if name not in FIRST)):
        label = say.sentence(FIGURES[name][0]).rstrip(".")
        hint = f"{unit}; usual {view.display.bare_length(usual[name], finest=64)}"
        asked.append(Asked(name, label, "length", hint, needed=False, folded=name not in FIRST))
    return Form("shop-figures", "Keep these figures", tuple(asked), is_first=True)


def layout(view: View) -> html.Main:
    """The figures there are, empty where they are as usual."""
    with view.store.session() as session:
        own = figures_of(session)
    return sheet(
        "How does your shop build?",
        _form(view).laid_out(view, record=own),
        html.P(html.A("Back to the cases", href="/case")),
        lead="What you leave empty is as most shops have it. What is recorded already stays as it was built.",
    )


def keep(_number: int, typed: dict[str, Any], view: View) -> Act:
    """Keep the figures as typed; a field left empty is as usual again."""
    own = {name: value for name, value in _form(view).read(typed, view).items() if value is not None}
    with doing(view, "change of your shop's figures") as (session, revision):
        keep_figures(session, own)
        said = f"Cases are drawn with {len(own)} of your own figures." if own else "Cases are drawn as usual."
        return done(revision, said, "Your shop's figures are as they were before.")


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    form = _form(View(context, say.Display(context.units), context.now()))
    form.answers(app, context, keep)


ROUTES = [Route("/case/figures", layout, live=False)]
