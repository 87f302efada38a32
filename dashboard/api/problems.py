"""Why there is no answer under `/api`, as a problem document (RFC 9457)."""

from http import HTTPStatus

import flask

from model.answers.records import ProblemRecord

API = "/api"
MIMETYPE = "application/problem+json"


def is_api(path: str) -> bool:
    """Whether an address is one that programs ask."""
    return path == API or path.startswith(f"{API}/")


def problem(status: int, detail: str) -> flask.Response:
    """A problem document; `detail` is one sentence for people."""
    title = HTTPStatus(status).phrase
    record = ProblemRecord(type="about:blank", title=title, status=status, detail=detail)
    response = flask.Response(record.model_dump_json(), status, mimetype=MIMETYPE)
    response.headers["Cache-Control"] = "no-store"
    return response
