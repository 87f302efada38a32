"""What a command prints with `--json` is on paper, and it keeps to it."""

import json
from typing import Any

from deploy.cli.commands import COMMANDS, _command
from deploy.cli.records import DOCUMENT, RECORDS, written


def taking_json() -> set[str]:
    """Every command that takes `--json`, as it is typed."""

    def found(name: str, command: Any) -> set[str]:
        own = {name} if any("--json" in option.opts for option in command.params) else set()
        inner = getattr(command, "commands", {})
        return own.union(*(found(f"{name} {word}", one) for word, one in inner.items()))

    return set().union(*(found(name, _command(name)) for name in COMMANDS))


def test_every_command_that_takes_json_says_what_it_prints() -> None:
    assert taking_json() == set(RECORDS)


def test_every_command_that_answers_or_records_takes_json() -> None:
    # These run until they are stopped.
    assert set(COMMANDS) - {name.partition(" ")[0] for name in RECORDS} == {
        "demo",
        "run",
        "ingest",
        "dashboard",
    }


def test_the_schema_in_the_documents_is_that_of_the_records() -> None:
    assert DOCUMENT.read_text("utf-8") == written(), "python -m deploy.cli.records writes it anew"
    parts = json.loads(DOCUMENT.read_text("utf-8"))["$defs"]
    assert parts["AirAnswerRecord"]["properties"]["emc_pct"]["type"] == "number"
    assert all(part["additionalProperties"] is False for name, part in parts.items() if name == "WidthRecord")
