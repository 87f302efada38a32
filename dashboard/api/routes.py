"""Answers `/api`: read-only, each answer a typed record, each refusal a problem document."""

import functools
import logging
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import flask
from sqlalchemy.exc import SQLAlchemyError
from werkzeug.exceptions import HTTPException

from dashboard.api.answers import ANSWERS, ID, ApiAnswer
from dashboard.api.openapi import OPENAPI, READINGS, openapi_document
from dashboard.api.problems import API, is_api, problem
from dashboard.api.readings import CSV, JSON_LINES, as_csv, as_json_lines
from dashboard.shell.view import Context, number_in
from model.answers.document import VERSION
from model.records.queries.readings import sensor_spans
from model.watch.questions.standings import Standings
from model.wood.errors import BadInput
from model.words.display import Display

log = logging.getLogger("paneltide.api")

FORMATS = {"jsonl": JSON_LINES, "csv": CSV}
ASKED_OF_READINGS = ("from", "until", "place", "sensor", "format")
USUALLY = timedelta(days=1)

Answered = Callable[..., flask.Response]


def register(server: flask.Flask, context: Context) -> None:
    """Answer every address under `/api`; who may ask is decided before this is reached."""
    for answer in ANSWERS:
        rule = answer.path.replace(ID, number_in("number"))
        server.add_url_rule(rule, f"api {answer.path}", _guarded(functools.partial(_answer, context, answer)))
    server.add_url_rule(READINGS, "api readings", _guarded(functools.partial(_readings, context)))
    server.add_url_rule(OPENAPI, "api document", _guarded(_document))
    for rule in (API, f"{API}/<path:_rest>"):
        server.add_url_rule(rule, f"api missing {rule}", _missing)

    @server.errorhandler(HTTPException)
    def refused(error: HTTPException) -> flask.Response | HTTPException:
        """What Flask itself refuses, as a method that nothing here has."""
        if not is_api(flask.request.path) or error.code is None or error.code < 400:
            return error
        response = problem(error.code, error.description or error.name)
        response.headers.extend([one for one in error.get_headers() if one[0] == "Allow"])
        return response


def _guarded(answer: Answered) -> Answered:
    def guarded(**given: int) -> flask.Response:
        try:
            response = answer(**given)
        except BadInput as error:
            return problem(400, str(error))
        except SQLAlchemyError:
            log.exception("the book can't be read for %s", flask.request.path)
            return problem(503, "The book can't be read at the moment.")
        except Exception:
            log.exception("no answer to %s", flask.request.path)
            return problem(500, "Something went wrong here; the log says what.")
        response.headers["Api-Version"] = str(VERSION)
        response.headers["Cache-Control"] = "no-store"
        return response

    return guarded


def _answer(context: Context, answer: ApiAnswer, number: int = 0) -> flask.Response:
    _only(())
    now = context.now().astimezone(UTC)
    with context.store.session() as session:
        found = answer.make(Standings(session, now, Display(context.units)), number)
        if found is None:
            return problem(404, f"There is nothing at {flask.request.path}.")
        return flask.Response(found.model_dump_json(), mimetype="application/json")


def _readings(context: Context) -> flask.Response:
    _only(ASKED_OF_READINGS)
    asked = flask.request.args
    until_at = _instant("until", asked.get("until")) or context.now().astimezone(UTC)
    since_at = _instant("from", asked.get("from")) or until_at - USUALLY
    if since_at >= until_at:
        raise BadInput("", "from", "must be before until", since_at.isoformat())
    form = asked.get("format", "jsonl")
    if form not in FORMATS:
        raise BadInput("", "format", f"must be one of {', '.join(FORMATS)}", form)
    sensor, place = asked.get("sensor"), asked.get("place")
    try:
        spans = sensor_spans(context.store, sensor=sensor, place=place, since_at=since_at, until_at=until_at)
    except BadInput as error:
        return problem(404, str(error))
    write = as_csv if form == "csv" else as_json_lines
    return flask.Response(write(context.store, spans), mimetype=FORMATS[form])


def _document() -> flask.Response:
    _only(())
    return flask.jsonify(openapi_document())


def _missing(_rest: str = "") -> flask.Response:
    return problem(404, f"There is nothing at {flask.request.path}; {OPENAPI} lists what there is.")


def _only(known: tuple[str, ...]) -> None:
    """Refuse a question that asks for what nobody knows, or can't be written down."""
    for name, value in flask.request.args.items(multi=True):
        if name not in known:
            raise BadInput(
                "", name, f"must be one of {', '.join(known)}" if known else "is not asked here", value
            )
        if not value.isprintable():
            raise BadInput("", name, "must be printable", value)


def _instant(name: str, text: str | None) -> datetime | None:
    """An aware UTC instant, from a date or an instant; without an offset it is UTC."""
    if text is None:
        return None
    try:
        # A plus sign that wasn't quoted has come as a blank.
        at = datetime.fromisoformat(text.replace(" ", "+") if "T" in text else text)
        return (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(UTC)
    except (ValueError, OverflowError):
        raise BadInput("", name, "must be a date or an instant, as 2026-01-31T12:00:00Z", text) from None
