"""The typed record that each command's `--json` prints, and its JSON Schema."""

from pkgutil import resolve_name
from typing import Any

from model.answers.document import JsonDocument, schema_of

RECORDS: dict[str, str] = {
    "state": "model.answers.records:StateRecord",
    "ready": "model.answers.records:StackReadyRecord",
    "token give": "model.answers.records:NewTokenRecord",
    "token list": "model.answers.records:TokensRecord",
    "token take-back": "model.answers.records:TokensRecord",
}
"""Each command, as it is typed, and its record's module and class; more than one are separated by blanks."""


def records_of(command: str) -> list[type[JsonDocument]]:
    """What a command may print: one record, or one of several."""
    return [resolve_name(name) for name in RECORDS[command].split()]


def schema_of_command(command: str) -> dict[str, Any]:
    """The JSON Schema of what a command prints."""
    found = [schema_of(record) for record in records_of(command)]
    return found[0] if len(found) == 1 else {"anyOf": found}
