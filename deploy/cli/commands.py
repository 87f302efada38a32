"""The command line: every command in its group, and one way of failing."""

import sys
from collections.abc import Callable
from importlib.metadata import version
from typing import Annotated

import typer
from rich.console import Console

from deploy.cli import (
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
from deploy.cli.answer import BAD_INPUT, SERVICE_MISSING, ServiceMissing, say
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


for group, name in (
    (book_commands.places, "place"),
    (book_commands.pieces, "piece"),
    (book_commands.stacks, "stack"),
    (readings_commands.exports, "export"),
    (sensor_commands.sensors_app, "sensors"),
):
    app.add_typer(group, name=name)

COMMANDS: tuple[Callable[..., object], ...] = (
    run_commands.demo,
    run_commands.run,
    run_commands.ingest,
    run_commands.watch,
    run_commands.dashboard,
    run_commands.migrate,
    broker_command.open_broker,
    secure_broker.secure_broker,
    wood_commands.air,
    wood_commands.species,
    wood_commands.width,
    wood_commands.check,
    wood_commands.cut,
    wood_commands.gaps,
    air_commands.rehearse,
    book_commands.state,
    readings_commands.import_readings,
    sensor_commands.rejected,
    sensor_commands.salt_check,
    safety_commands.backup,
    safety_commands.restore,
    safety_commands.move,
    paper_commands.plan,
    paper_commands.deliver,
    paper_commands.sheet,
    paper_commands.foretold,
    paper_commands.contact,
    paper_commands.cut_card,
    question_commands.glue_up,
    question_commands.ready,
    question_commands.outlook,
    doctor_command.doctor,
    fleet_command.fleet,
)
"""In the order of --help. A command is called as its function, with dashes."""
for command in COMMANDS:
    app.command()(command)


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
    return str(format_message()).replace("Value error, ", "").rstrip(".")


def _fail(sentence: str, status: int) -> None:
    one_line = " ".join(sentence.split())
    Console(stderr=True, soft_wrap=True, highlight=False).print(f"paneltide: {one_line}", markup=False)
    sys.exit(status)
