"""Every page, found by looking into the folder `pages`: a new page is one new file there.

A page may define `ROUTES` (its addresses) and `register(app, context)` (its callbacks). No page imports this
module.
"""

import importlib
import pkgutil
from types import ModuleType

from dash import Dash

import dashboard.pages
from dashboard.forms import acts
from dashboard.shell.view import Context, Route


def modules() -> tuple[ModuleType, ...]:
    """The pages and the modules they share, by name."""
    names = sorted(
        info.name
        for info in pkgutil.walk_packages(dashboard.pages.__path__, "dashboard.pages.")
        if not info.ispkg
    )
    return tuple(importlib.import_module(name) for name in names)


def routes() -> list[Route]:
    """Every address and its page."""
    return [route for module in modules() for route in getattr(module, "ROUTES", [])]


def register(app: Dash, context: Context) -> None:
    """Give every page that answers more than its address its callbacks."""
    for module in modules():
        if hasattr(module, "register"):
            module.register(app, context)
    acts.register(app, context)
