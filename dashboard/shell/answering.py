"""How a request that can't be answered is answered: in a sentence, whatever was asked."""

import json
import logging
from collections.abc import Callable
from typing import Any

import flask
from dash import Dash, html, set_props
from dash.exceptions import DashException, PreventUpdate
from sqlalchemy.exc import NoResultFound, SQLAlchemyError
from werkzeug.exceptions import NotFound

from dashboard.forms import fields as forms
from dashboard.forms.drafts import is_draft
from dashboard.pages.frame import SAID, missing, sheet
from dashboard.pages.pieces.record import DRAFT, WHICH
from dashboard.shell.still_page import paper
from dashboard.shell.view import HIGHEST_NUMBER
from model.records.store import is_busy, is_unwritable
from model.wood.errors import BadInput

log = logging.getLogger("paneltide.dashboard")

CALLBACKS = "/_dash-update-component"
GONE = "That is not in the book any more: it was taken out meanwhile. Open the page again."
BUSY = (
    "Not saved: the book is busy with another program, such as an import. "
    "What you typed is still here; press again in a minute."
)
UNWRITABLE = (
    "Not saved: the disk of the book takes nothing, it is full or read-only. "
    "What you typed is still here; mend the disk, then press again."
)
AWAY = "The book did not answer, so this may not be saved. Look before you press again."
STRANGE = "Not saved: something went wrong that should not. The program's log says what."
NOT_UNDERSTOOD = (
    ArithmeticError,
    AttributeError,
    DashException,
    LookupError,
    RecursionError,
    TypeError,
    ValueError,
)
MALFORMED = "that is no message of these pages"


def sentence_of(error: Exception) -> tuple[str, int] | None:
    """What is said of an error, and its HTTP status; none for one that nobody foresaw."""
    if isinstance(error, BadInput):
        return forms.in_words(error), 400
    if isinstance(error, NoResultFound):
        return GONE, 404
    if isinstance(error, SQLAlchemyError):
        return (BUSY if is_busy(error) else UNWRITABLE if is_unwritable(error) else AWAY), 503
    return None


def tell(error: Exception) -> None:
    """Say at the head of the page what a press came to; the page stays as it was typed."""
    told = sentence_of(error)
    if told is None:
        log.error("a page failed", exc_info=error)
    elif told[1] == 503:
        log.warning("not saved: %s", error.__class__.__name__)
    set_props(SAID, {"children": forms.problem(told[0] if told else STRANGE)})


def register(app: Dash) -> None:
    """Answer malformed messages with 400, and errors of whole documents in a sentence."""
    dispatch = app.server.view_functions[CALLBACKS]

    def answer() -> Any:
        try:
            message = flask.request.get_json(force=True)
            if well_formed(message, app.callback_map):
                return dispatch()
        except PreventUpdate:
            raise
        except NOT_UNDERSTOOD as error:
            # What our own callbacks raise is told by `tell`; this is Dash not knowing what it was sent.
            log.warning("refused a malformed message: %s", type(error).__name__)
        return flask.Response(MALFORMED, 400, mimetype="text/plain")

    app.server.view_functions[CALLBACKS] = answer

    def document(error: Exception) -> flask.Response:
        told, status = sentence_of(error) or (STRANGE, 500)
        if status == 503:
            log.warning("not answered: %s", error.__class__.__name__)
        page = sheet(told, html.P(html.A("Back to today", href="/")))
        return flask.Response(paper("paneltide", page), status, mimetype="text/html")

    for kind in (BadInput, NoResultFound, SQLAlchemyError):
        app.server.register_error_handler(kind, document)

    def nothing_here(_error: Exception) -> flask.Response:
        page = missing("There is no page at this address")
        return flask.Response(paper("paneltide", page), 404, mimetype="text/html")

    for absent in (NotFound, DashException):
        app.server.register_error_handler(absent, nothing_here)


# ---------------------------------------------------------------- what the pages' script sends


def well_formed(message: Any, known: Any) -> bool:
    """Whether a message has the shape that Dash's script sends for one of our callbacks."""
    if not isinstance(message, dict) or not isinstance(message.get("output"), str):
        return False
    callback = known.get(message["output"])
    changed = message.get("changedPropIds", [])
    if callback is None or not (isinstance(changed, list) and all(_is_changed(one) for one in changed)):
        return False
    return all(_all_as_declared(message.get(group, []), callback[kind]) for group, kind in GROUPS)


NUMBERS = ("number", "piece", "client", "place", "stack", "sensor", "row", "warning", "undo")
"""The parts of our identities that are the number of a row; the others are words."""
GROUPS = (("inputs", "inputs"), ("state", "state"))


def _all_as_declared(given: Any, declared: list[dict[str, Any]]) -> bool:
    if not isinstance(given, list) or len(given) != len(declared):
        return False
    return all(
        all(_one_as_declared(each, wanted["property"]) for each in (one if isinstance(one, list) else [one]))
        for one, wanted in zip(given, declared, strict=True)
    )


def _one_as_declared(given: Any, wanted: str) -> bool:
    return (
        isinstance(given, dict)
        and given.get("property") == wanted
        and _is_id(given.get("id"))
        and _kind_of(given["id"], wanted)(given.get("value"))
    )


def _is_changed(given: Any) -> bool:
    """Whether this names a property as Dash does: ``id.property``, with an id of several parts as JSON."""
    if not isinstance(given, str):
        return False
    name = given.rpartition(".")[0]
    return _is_id(json.loads(name) if name.startswith("{") else name)


def _is_id(id: Any) -> bool:
    if not isinstance(id, dict):
        return isinstance(id, str)
    return all(_is_number(part) if name in NUMBERS else isinstance(part, str) for name, part in id.items())


def _is_number(part: Any) -> bool:
    return isinstance(part, int) and 0 <= part <= HIGHEST_NUMBER


def _kind_of(id: Any, wanted: str) -> Callable[[Any], bool]:
    by_name = KINDS.get(f"{id}.{wanted}") if isinstance(id, str) else None
    return by_name or KINDS.get(wanted) or (lambda _value: True)


def _of(*kinds: type) -> Callable[[Any], bool]:
    return lambda value: value is None or (isinstance(value, kinds) and not isinstance(value, bool))


KINDS: dict[str, Callable[[Any], bool]] = {
    "n_clicks": _of(int),
    "n_intervals": _of(int),
    "value": _of(str, int, float),
    "href": _of(str),
    "pathname": _of(str),
    "data": _of(dict),
    f"{WHICH}.data": _of(int),
    f"{DRAFT}.data": lambda value: value is None or is_draft(value),
}
