"""The pages: one file each, with a layout that is built from the book and thin callbacks.

A file here is a page by its `ROUTES`; what it answers besides is in its `register`, and how its acts are
taken back in its `UNDO`. Nothing else names it.
"""

import importlib
import pkgutil
from types import ModuleType

from dash import Dash

from dashboard import acts
from dashboard.view import Context, Route


def modules() -> list[ModuleType]:
    """Every file of this folder, by name."""
    return [
        importlib.import_module(f"{__name__}.{name}")
        for name in sorted(info.name for info in pkgutil.iter_modules(__path__))
    ]


def routes() -> list[Route]:
    """Every address and its page."""
    return [route for module in modules() for route in getattr(module, "ROUTES", [])]


def register(app: Dash, context: Context) -> None:
    """Give every page that answers more than its address its callbacks."""
    for module in modules():
        if hasattr(module, "register"):
            module.register(app, context)
    acts.register(
        app, context, {name: undo for module in modules() for name, undo in undoing(module).items()}
    )


def undoing(module: ModuleType) -> dict[str, acts.Undo]:
    """How a page's acts are undone, by name."""
    return getattr(module, "UNDO", {})
