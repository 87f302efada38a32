"""The command line: every command by name, and one way of failing."""

import sys
from collections.abc import Iterator, Mapping
from functools import cache
from pkgutil import resolve_name
from typing import Annotated, Any

import typer
from typer.core import CompletionItem, TyperGroup  # type: ignore[attr-defined]

from deploy.cli import BAD_INPUT, INTERRUPTED, SERVICE_MISSING
from model.wood.errors import BadInput, ServiceMissing

COMMANDS = {
    "demo": "run_commands:demo",
    "run": "run_commands:run",
    "ingest": "run_commands:ingest",
    "watch": "run_commands:watch",
    "dashboard": "run_commands:dashboard",
    "migrate": "run_commands:migrate",
    "open-broker": "broker_command:open_broker",
    "secure-broker": "secure_broker:secure_broker",
    "air": "air_command:air",
    "species": "wood_commands:species",
    "width": "wood_commands:width",
    "check": "wood_commands:check",
    "cut": "wood_commands:cut",
    "gaps": "wood_commands:gaps",
    "rehearse": "rehearse_command:rehearse",
    "state": "book_commands:state",
    "import-readings": "readings_commands:import_readings",
    "rejected": "sensor_commands:rejected",
    "salt-check": "sensor_commands:salt_check",
    "backup": "safety_commands:backup",
    "restore": "safety_commands:restore",
    "move": "safety_commands:move",
    "plan": "paper_commands:plan",
    "deliver": "paper_commands:deliver",
    "sheet": "paper_commands:sheet",
    "foretold": "paper_commands:foretold",
    "contact": "paper_commands:contact",
    "cut-card": "wood_commands:cut_card",
    "glue-up": "question_commands:glue_up",
    "ready": "question_commands:ready",
    "outlook": "question_commands:outlook",
    "measure": "question_commands:measure",
    "status": "status_command:status",
    "doctor": "doctor_command:doctor",
    "fleet": "fleet_command:fleet",
    "place": "book_commands:places",
    "piece": "book_commands:pieces",
    "stack": "book_commands:stacks",
    "export": "export_commands:exports",
    "sensors": "sensor_commands:sensors_app",
    "token": "token_command:token_app",
}
"""Each command's file and function, or group of commands, in the order of --help."""


class _WhenAsked(Mapping[str, Any]):
    """The commands by name; a file is loaded when its command is asked for, with the science it takes."""

    def __getitem__(self, name: str) -> Any:
        return _command(name)

    def __iter__(self) -> Iterator[str]:
        return iter(COMMANDS)

    def __len__(self) -> int:
        return len(COMMANDS)


@cache
def _command(name: str) -> Any:
    found = resolve_name(f"deploy.cli.{COMMANDS[name]}")
    holder = typer.Typer(rich_markup_mode=None)
    if isinstance(found, typer.Typer):
        holder.add_typer(found, name=name)
    else:
        holder.command(name)(found)
        holder.callback()(lambda: None)
    return typer.main.get_group(holder).commands[name]


class _Group(TyperGroup):
    def __init__(self, **told: Any) -> None:
        super().__init__(**told | {"commands": {}})
        self.commands = _WhenAsked()  # type: ignore[assignment]

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def shell_complete(self, ctx: Any, incomplete: str) -> list[Any]:
        """Names of commands need no command loaded."""
        if incomplete.startswith("-"):
            return super().shell_complete(ctx, incomplete)
        return [CompletionItem(name) for name in COMMANDS if name.startswith(incomplete)]


app = typer.Typer(
    cls=_Group,
    help="Follows the moisture inside solid-wood panels and warns a furniture maker in time.",
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _say_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        # pyproject.toml is the one place that names it; the installed package carries it along.
        print(f"paneltide {version('paneltide')}")
        raise typer.Exit


@app.callback()
def _program(
    _version: Annotated[
        bool,
        typer.Option("--version", callback=_say_version, is_eager=True, help="Say which version this is."),
    ] = False,
) -> None: ...


def main(arguments: list[str] | None = None) -> None:
    """Run one command and exit: 0 answered, 1 answered 'no', 2 bad input, 3 a service is missing."""
    given = sys.argv[1:] if arguments is None else arguments
    try:
        status = app(args=given or ["--help"], prog_name="paneltide", standalone_mode=False)
    except BadInput as error:
        _fail(str(error), BAD_INPUT)
    except ServiceMissing as error:
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
    except Exception as error:
        sentence = _database_words(error)
        if sentence is None:
            raise
        _fail(sentence, SERVICE_MISSING)
    else:
        sys.exit(status if isinstance(status, int) else 0)


def _usage_words(error: typer.TyperException) -> str:
    format_message = getattr(error, "format_message", error.__str__)
    return str(format_message()).replace("Value error, ", "").rstrip(".")


def _database_words(error: Exception) -> str | None:
    """What is said when the database fails in the middle of a command; none of any other error."""
    known = sys.modules.get("sqlalchemy.exc")  # a command that never loaded it has no such error
    if known is None or not isinstance(error, (known.OperationalError, known.InternalError)):
        return None
    from model.records.store import cause_of, is_busy, is_unwritable

    if is_busy(error):
        return f"the book is busy with another program ({cause_of(error)}), nothing was stored: try again"
    if is_unwritable(error):
        what = "its disk is full or read-only: mend it, then try again"
        return f"the book can't be written ({cause_of(error)}), nothing was stored; {what}"
    return f"the database can't be used: {cause_of(error)}; `paneltide doctor` says more"


def _fail(sentence: str, status: int) -> None:
    one_line = " ".join(sentence.split())
    print(f"paneltide: {one_line}", file=sys.stderr)
    sys.exit(status)
