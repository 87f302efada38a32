"""What a page is made of can be drawn by the browser: a list within a list of children breaks the page."""

from collections.abc import Iterator
from typing import Any

import flask
import pytest
from dash import html

from dashboard.pages.frame import aside
from dashboard.shell import page_registry
from dashboard.shell.app import build_app
from dashboard.shell.view import Context, View
from model.words.display import Display
from tests.dashboard.test_plan import DOOR

QUERIES: dict[str, dict[str, str]] = {
    "/plan": {**DOOR, "choose": "framed"},
    "/case": {"pattern": "chest of drawers", "species": "black walnut", "mc_pct": "8"},
}


def lists_in_lists(element: Any, path: str = "") -> Iterator[str]:
    """Where a list stands among children."""
    children = getattr(element, "children", None)
    for child in children if isinstance(children, list | tuple) else [children]:
        if isinstance(child, list | tuple):
            yield f"{path}/{type(element).__name__}: {str(child)[:120]}"
        elif hasattr(child, "to_plotly_json"):
            yield from lists_in_lists(child, f"{path}/{type(element).__name__}")


def test_a_list_within_a_list_is_found() -> None:
    assert list(lists_in_lists(html.Div([aside(["one", "two"])])))
    assert not list(lists_in_lists(html.Div([aside("one", "two")])))


@pytest.mark.parametrize("route", page_registry.routes(), ids=lambda route: route.template)
def test_no_page_holds_a_list_within_a_list(book, now, route) -> None:
    app = build_app(book.store, now=lambda: now)
    view = View(Context(book.store, lambda: now), Display("inch"), now, QUERIES.get(route.template, {}))
    names = [word.strip("<>") for word in route.template.split("/") if word.startswith("<")]
    numbers = range(1, 5) if names else [0]
    with app.server.test_request_context("/"):
        assert flask.has_request_context()
        found = [
            where
            for number in numbers
            if (page := route.build(view, **dict.fromkeys(names, number))) is not None
            for where in lists_in_lists(page, route.template)
        ]
    assert not found
