"""The command line: every command in its group, and one way of failing."""

import sys
from importlib.metadata import version
from typing import Annotated

import typer
from rich.console import Console

from deploy import (
    air_commands,
    book_commands,
    broker_command,
    doctor_command,
    fleet_command,
    paper_commands,
    question_commands,
    readings_commands,
    run_commands,
    safety_commands,
    secure_broker,
    sensor_commands,
    wood_commands,
)
from deploy.answer import BAD_INPUT, SERVICE_MISSING, ServiceMissing, say
from model.records.store import StoreUnavailable
from model.wood.errors import BadInput

INTERRUPTED = 130

app = typer.Typer(
    help="Follows the moisture inside solid-wood panels and warns a furniture maker in time.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _say_version(asked: bool) -> None:
    if asked:
        # pyproject.toml is the one place that names it; the installed package carries it along.
        say(f"paneltide {version('paneltide')}")
        raise typer.Exit


@app.callback()
def _program(
    _version: Annotated[
        bool,
        typer.Option("--version", callback=_say_version, is_eager=True, help="Say which version this is."),
    ] = False,
) -> None: ...


for group in (
    run_commands,
    broker_command,
    wood_commands,
    air_commands,
    book_commands,
    readings_commands,
    sensor_commands,
    safety_commands,
    secure_broker,
    paper_commands,
    question_commands,
    doctor_command,
    fleet_command,
):
    group.register(app)


def main(arguments: list[str] | None = None) -> None:
    """Run one command and exit: 0 answered, 1 answered 'no', 2 bad input, 3 a service is missing."""
    given = sys.argv[1:] if arguments is None else arguments
    try:
        status = app(args=given or ["--help"], prog_name="paneltide", standalone_mode=False)
    except BadInput as error:
        _fail(str(error), BAD_INPUT)
    except (StoreUnavailable, ServiceMissing) as error:
        _fail(str(error), SERVICE_MISSING)
    except (typer.Abort, KeyboardInterrupt):
        _fail("stopped", INTERRUPTED)
    except typer.TyperException as error:
        context = getattr(error, "ctx", None)
        command = context.command_path if context else "paneltide"
        _fail(f"{_usage_words(error)}; see `{command} --help`", BAD_INPUT)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    else:
        sys.exit(status if isinstance(status, int) else 0)


def _usage_words(error: typer.TyperException) -> str:
    format_message = getattr(error, "format_message", error.__str__)
    return str(format_message()).rstrip(".")


def _fail(sentence: str, status: int) -> None:
    one_line = " ".join(sentence.split())
    Console(stderr=True, soft_wrap=True, highlight=False).print(f"paneltide: {one_line}", markup=False)
    sys.exit(status)
