"""The typed record that each command's `--json` prints, and the JSON Schema of all of them.

``python -m deploy.cli.records`` writes the schema into `deploy/docs/schemas.json`.
"""

import json
from pathlib import Path
from pkgutil import resolve_name
from typing import Any

from model.answers.document import DIALECT, JsonDocument, schema_parts

DOCUMENT = Path(__file__).parents[1] / "docs" / "schemas.json"
PARTS = "#/$defs/"
OF_ANSWERS, OF_WOOD, OF_SENSORS, OF_BOOK = (
    "model.answers.records:",
    "deploy.cli.wood_records:",
    "deploy.cli.sensor_records:",
    "deploy.cli.book_records:",
)
DONE = f"{OF_BOOK}DoneRecord"

RECORDS: dict[str, str] = {
    "air": f"{OF_WOOD}AirAnswerRecord",
    "species": f"{OF_WOOD}SpeciesRecord {OF_WOOD}SpeciesRecord[]",
    "width": f"{OF_WOOD}WidthRecord",
    "check": f"{OF_WOOD}CheckRecord",
    "cut": f"{OF_WOOD}CutRecord",
    "cut-card": DONE,
    "gaps": f"{OF_WOOD}GapsRecord",
    "rehearse": f"{OF_WOOD}RehearsalRecord",
    "plan": f"{OF_WOOD}PartPlanRecord {OF_WOOD}PiecePlanRecord",
    "state": f"{OF_ANSWERS}StateRecord",
    "ready": f"{OF_ANSWERS}StackReadyRecord",
    "glue-up": f"{OF_BOOK}GlueUpRecord",
    "outlook": f"{OF_BOOK}OutlookRecord",
    "measure": f"{OF_ANSWERS}MeasuresRecord",
    "deliver": f"{OF_BOOK}DeliverRecord",
    "foretold": f"{OF_BOOK}ForetoldRecord",
    "sheet": DONE,
    "contact": DONE,
    "place add": DONE,
    "piece add": DONE,
    "piece move": DONE,
    "piece import": f"{OF_BOOK}ListRecord",
    "stack add": DONE,
    "stack import": f"{OF_BOOK}ListRecord",
    "sensors": f"{OF_SENSORS}SensorsRecord",
    "sensors accept": f"{OF_SENSORS}AcceptedRecord[] {OF_SENSORS}MessageReadRecord",
    "sensors dismiss": DONE,
    "sensors bring-back": DONE,
    "sensors hang": DONE,
    "sensors zero": DONE,
    "sensors take-off": DONE,
    "import-readings": f"{OF_SENSORS}ImportRecord {OF_SENSORS}ColumnsRecord",
    "rejected": f"{OF_SENSORS}RejectedMessagesRecord",
    "salt-check": f"{OF_SENSORS}SaltCheckRecord",
    "export readings": DONE,
    "export pieces": DONE,
    "export book": DONE,
    "export record": DONE,
    "backup": f"{OF_BOOK}BackupRecord",
    "restore": f"{OF_BOOK}RestoreRecord",
    "move": f"{OF_BOOK}MoveRecord",
    "migrate": DONE,
    "watch": f"{OF_BOOK}WatchRecord",
    "fleet": f"{OF_BOOK}FleetRecord",
    "doctor": f"{OF_BOOK}DoctorRecord",
    "status": f"{OF_BOOK}StatusRecord",
    "open-broker": f"{OF_BOOK}OpenBrokerRecord",
    "secure-broker": f"{OF_BOOK}SecureBrokerRecord",
    "token give": f"{OF_BOOK}NewTokenRecord",
    "token list": f"{OF_BOOK}TokensRecord",
    "token take-back": f"{OF_BOOK}TokensRecord",
}
"""Each command, as it is typed, and its record's module and class; several are separated by blanks, and one
with brackets after it is a list of such."""


def _record(name: str) -> type[JsonDocument]:
    found: type[JsonDocument] = resolve_name(name.removesuffix("[]"))
    return found


def schemas() -> dict[str, Any]:
    """The JSON Schema of what every command prints, and of all the records within."""
    names = {name for told in RECORDS.values() for name in told.split()}
    parts = schema_parts(sorted({_record(name) for name in names}, key=lambda one: one.__name__), PARTS)
    return {
        "$schema": DIALECT,
        "description": "What each command prints with --json.",
        "commands": {command: _schema(told.split()) for command, told in RECORDS.items()},
        "$defs": {name: parts[name] for name in sorted(parts)},
    }


def _schema(names: list[str]) -> dict[str, Any]:
    found = []
    for name in names:
        one: dict[str, Any] = {"$ref": f"{PARTS}{_record(name).__name__}"}
        found.append({"type": "array", "items": one} if name.endswith("[]") else one)
    return found[0] if len(found) == 1 else {"anyOf": found}


def written() -> str:
    """The schema as its document has it, a command or a record a line."""

    def line(name: str, value: Any) -> str:
        return f"{json.dumps(name)}: {json.dumps(value, ensure_ascii=False)}"

    def lines(name: str, found: dict[str, Any]) -> str:
        return f"{json.dumps(name)}: {{\n" + ",\n".join(line(*one) for one in found.items()) + "\n}"

    document = schemas()
    heads = [line(name, document[name]) for name in ("$schema", "description")]
    tables = [lines(name, document[name]) for name in ("commands", "$defs")]
    return "{\n" + ",\n".join([*heads, *tables]) + "\n}\n"


if __name__ == "__main__":
    DOCUMENT.write_text(written(), "utf-8")
