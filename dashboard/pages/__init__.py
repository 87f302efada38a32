"""The pages: one file each, with a layout that is built from the book and thin callbacks."""

from types import ModuleType

from dash import Dash

from dashboard import acts
from dashboard.pages import accepting as accepting
from dashboard.pages import client as client
from dashboard.pages import contact as contact
from dashboard.pages import deliver as deliver
from dashboard.pages import foretold as foretold
from dashboard.pages import gap as gap
from dashboard.pages import glue as glue
from dashboard.pages import notices as notices
from dashboard.pages import piece as piece
from dashboard.pages import piece_acts as piece_acts
from dashboard.pages import pieces as pieces
from dashboard.pages import place as place
from dashboard.pages import place_edit as place_edit
from dashboard.pages import placement as placement
from dashboard.pages import plan as plan
from dashboard.pages import plan_record as plan_record
from dashboard.pages import readings_file as readings_file
from dashboard.pages import record as record
from dashboard.pages import rehearse as rehearse
from dashboard.pages import sensor_edit as sensor_edit
from dashboard.pages import sensors as sensors
from dashboard.pages import settings as settings
from dashboard.pages import sheets as sheets
from dashboard.pages import stack_acts as stack_acts
from dashboard.pages import stack_edit as stack_edit
from dashboard.pages import stock as stock
from dashboard.pages import swap as swap
from dashboard.pages import today as today
from dashboard.pages import trust as trust
from dashboard.pages import warnings as warnings
from dashboard.pages import witness as witness
from dashboard.view import Context, Route

MODULES: tuple[ModuleType, ...] = (
    today,
    accepting,
    client,
    contact,
    deliver,
    foretold,
    gap,
    glue,
    notices,
    piece,
    piece_acts,
    pieces,
    place,
    place_edit,
    placement,
    plan,
    plan_record,
    readings_file,
    record,
    rehearse,
    sensor_edit,
    sensors,
    settings,
    sheets,
    stack_acts,
    stack_edit,
    stock,
    swap,
    trust,
    warnings,
    witness,
)


def routes() -> list[Route]:
    """Every address and its page."""
    return [route for module in MODULES for route in getattr(module, "ROUTES", [])]


def register(app: Dash, context: Context) -> None:
    """Give every page that answers more than its address its callbacks."""
    for module in MODULES:
        if hasattr(module, "register"):
            module.register(app, context)
    acts.register(app, context, {name: undo for module in MODULES for name, undo in undoing(module).items()})


def undoing(module: ModuleType) -> dict[str, acts.Undo]:
    """How a page's acts are undone, by name."""
    return getattr(module, "UNDO", {})
