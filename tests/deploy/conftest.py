"""Shared by the tests of the command line."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from deploy.cli.commands import main
from deploy.cli.records import DOCUMENT, RECORDS
from tests.ran import Ran


def keeps_to_its_schema(arguments: list[str], printed: str) -> None:
    """Hold what a command printed to the record that stands for it in the documents."""
    names = (" ".join(arguments[:count]) for count in (2, 1))
    command = next((name for name in names if name in RECORDS), None)
    assert command is not None, f"nothing says what {arguments[0]} prints"
    whole = json.loads(DOCUMENT.read_text("utf-8"))
    schema = {"$schema": whole["$schema"], **whole["commands"][command], "$defs": whole["$defs"]}
    Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(
        json.loads(printed)
    )


@pytest.fixture
def paneltide(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Ran]:
    """Run one command in an installation of its own, in the folder `data`."""
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "data"))

    def run(*arguments: object) -> Ran:
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        printed = capsys.readouterr()
        if printed.out and "--json" in arguments:
            keeps_to_its_schema([str(argument) for argument in arguments], printed.out)
        return int(str(ended.value.code)), printed.out, printed.err

    return run
