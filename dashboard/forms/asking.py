"""A form whose answer is an address: what was typed stands in its query, and can be sent to somebody."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard.forms.declared import Asked, Form, Options
from dashboard.forms.fields import with_unit
from dashboard.pages.frame import ADDRESS, folded
from dashboard.shell.view import Context, View, address, view_of
from model.wood.errors import BadInput

Onward = Callable[[View, str, dict[str, str]], str]


def asked_of(form: Form, query: Mapping[str, str]) -> dict[str, str]:
    """What an address asks of a form's page; empty fields are left out."""
    return {one.key: query[one.key].strip() for one in form.fields if query.get(one.key, "").strip()}


def asked_in_units(form: Form, typed: Mapping[str, Any], units: str) -> dict[str, str]:
    """What was typed as an address holds it: sizes with their unit, and without the empty fields."""
    found = {one.key: str(typed.get(one.key) or "").strip() for one in form.fields}
    for one in form.fields:
        text = found[one.key]
        if one.kind == "length":
            found[one.key] = str(with_unit(text, units))
        elif one.kind == "temperature" and text and not any(letter.isalpha() for letter in text):
            found[one.key] = f"{text} {'F' if units == 'inch' else 'C'}"
    return {key: text for key, text in found.items() if text}


def with_usual(form: Form, usual: Mapping[str, float], view: View) -> Form:
    """The same form that says what is taken of a length or temperature left empty, in the viewer's units."""

    def told(one: Asked) -> Asked:
        if one.key not in usual:
            return one
        display, value = view.display, usual[one.key]
        if one.kind == "temperature":
            return replace(one, hint=f"{display.temperature_unit}; usual {display.temperature(value)}")
        return replace(one, hint=f"{display.length_unit}; usual {display.length(value)}")

    return replace(form, fields=tuple(map(told, form.fields)))


def asked_part(
    summary: str,
    form: Form,
    view: View,
    *more: Any,
    options: Mapping[str, Options] | None = None,
    is_open: bool = True,
    error: BadInput | None = None,
) -> html.Details:
    """The form with what the address asks in it, and what is wrong with it, under a summary that folds it."""
    fields = form.laid_out(view, record=view.query, options=options, error=error)
    return folded(summary, fields, *more, is_open=is_open, className="no-print")


def leads(app: Dash, context: Context, form: Form, onward: Onward | None = None) -> None:
    """Let a form's button, or Enter in one of its lines, lead to the address that asks what was typed.

    Parameters
    ----------
    onward : callable, optional
        ``onward(view, path, asked)`` gives the address; without it that is the page's own path.
    """

    def typed_onward(view: View, path: str, typed: dict[str, str], _whose: Any) -> str:
        asked = asked_in_units(form, typed, view.units)
        return onward(view, path, asked) if onward else address(*path.strip("/").split("/"), **asked)

    leads_typed(app, context, form.name, typed_onward, which=form.whose)


def leads_typed(
    app: Dash,
    context: Context,
    form: str,
    onward: Callable[[View, str, dict[str, str], Any], str],
    which: str = "number",
) -> None:
    """The same for a form by its name: ``onward(view, path, typed, whose)``, its button's `which`."""

    @app.callback(
        Output(ADDRESS, "href", allow_duplicate=True),
        Input({"act": form, which: ALL}, "n_clicks"),
        Input({"form": form, "key": ALL}, "entered"),
        State({"form": form, "key": ALL}, "value"),
        State(ADDRESS, "href"),
        prevent_initial_call=True,
    )
    def lead(_clicks: Any, _entered: Any, _values: Any, href: str | None) -> Any:
        if not any(one["value"] for one in ctx.triggered):
            return no_update
        typed = {item["id"]["key"]: item.get("value") for item in ctx.states_list[0]}
        whose = ctx.inputs_list[0][0]["id"][which]
        return onward(view_of(context, href or ""), urlsplit(href or "/").path, typed, whose)
