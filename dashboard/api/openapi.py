"""The OpenAPI 3.1 document of `/api`, made of the table of answers and the records they are."""

from typing import Any

from dashboard.api.answers import ANSWERS, ApiAnswer
from dashboard.api.problems import API, MIMETYPE
from dashboard.api.readings import CSV, JSON_LINES
from model.answers.document import VERSION, schema_parts
from model.answers.records import OnlineRecord, ProblemRecord, ReadingRecord

OPENAPI = f"{API}/openapi.json"
READINGS = f"{API}/readings"
COMPONENTS = "#/components/schemas/"
ABOUT = (
    "What paneltide knows of places, stacks and pieces, read-only. Instants are RFC 3339 in UTC; the unit "
    "stands last in a name; what isn't known is null. The records of places, stacks and pieces are also what "
    "is published over MQTT and what `paneltide state --json` prints."
)
REFUSALS = {
    "400": "Something in the question can't be read.",
    "401": "A token is needed; `paneltide token give NAME` makes one.",
    "403": "Without a password only this computer is answered.",
    "404": "There is no such thing.",
    "405": "Nothing is written here.",
    "503": "The book can't be read at the moment.",
}


def openapi_document() -> dict[str, Any]:
    """The whole document."""
    used = [answer.record for answer in ANSWERS] + [ReadingRecord, OnlineRecord, ProblemRecord]
    paths = {answer.path: {"get": _of_answer(answer)} for answer in ANSWERS}
    paths[READINGS] = {"get": _of_readings()}
    content = {"application/json": {"schema": {"type": "object"}}}
    paths[OPENAPI] = {"get": _operation("openapi", "This document", content, "401", "403")}
    return {
        "openapi": "3.1.1",
        "info": {"title": "paneltide", "version": str(VERSION), "description": ABOUT},
        "security": [{}, {"token": []}],
        "paths": paths,
        "components": {
            "schemas": schema_parts(used, COMPONENTS),
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
    }


def _operation(name: str, says: str, content: dict[str, Any], *refused: str) -> dict[str, Any]:
    why = {MIMETYPE: {"schema": {"$ref": f"{COMPONENTS}{ProblemRecord.__name__}"}}}
    version = {"schema": {"type": "string", "const": str(VERSION)}, "required": True}
    return {
        "operationId": name,
        "summary": says,
        "responses": {
            "200": {"description": says, "headers": {"Api-Version": version}, "content": content},
            **{status: {"description": REFUSALS[status], "content": why} for status in refused},
        },
    }


def _of_answer(answer: ApiAnswer) -> dict[str, Any]:
    name = answer.path.removeprefix(f"{API}/").replace("/{id}", "-one")
    content = {"application/json": {"schema": {"$ref": f"{COMPONENTS}{answer.record.__name__}"}}}
    refused = ("400", "401", "403", *(("404",) if answer.is_of_one else ()), "503")
    operation = _operation(name, answer.says, content, *refused)
    if answer.is_of_one:
        number = {"type": "integer", "minimum": 0}
        operation["parameters"] = [{"name": "id", "in": "path", "required": True, "schema": number}]
    return operation


def _of_readings() -> dict[str, Any]:
    says = "Raw readings by sensor and time, written while they are read"
    content = {
        JSON_LINES: {"schema": {"$ref": f"{COMPONENTS}{ReadingRecord.__name__}"}},
        CSV: {"schema": {"type": "string"}},
    }
    operation = _operation("readings", says, content, "400", "401", "403", "404", "503")
    at = {"type": "string", "format": "date-time"}
    asked = {
        "from": ("From when on; a day before `until` when not given. A date, or an instant in UTC.", at),
        "until": ("Up to, and without, when; now when not given.", at),
        "place": (
            "Readings of the sensors that hung there while they did: a place's name.",
            {"type": "string"},
        ),
        "sensor": ("Of one sensor, by its name.", {"type": "string"}),
        "format": (
            "One JSON object a line, or CSV; JSON lines when not given.",
            {"type": "string", "enum": ["jsonl", "csv"]},
        ),
    }
    operation["parameters"] = [
        {"name": name, "in": "query", "required": False, "description": said, "schema": schema}
        for name, (said, schema) in asked.items()
    ]
    return operation
