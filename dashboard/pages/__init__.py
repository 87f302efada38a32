"""The pages: one file each, with a layout that is built from the book and thin callbacks."""

from types import ModuleType

from dash import Dash

import dashboard.pages.today as today
from dashboard.view import Context, Route

MODULES: tuple[ModuleType, ...] = (today,)


def routes() -> list[Route]:
    """Every address and its page."""
    return [route for module in MODULES for route in module.ROUTES]


def register(app: Dash, context: Context) -> None:
    """Give every page that answers more than its address its callbacks."""
    for module in MODULES:
        if hasattr(module, "register"):
            module.register(app, context)
