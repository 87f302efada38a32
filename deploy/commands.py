"""The command line: every command in its group, and one way of failing."""

import sys

import click
import typer
from rich.console import Console

from deploy import air_commands, book_commands, run_commands, wood_commands
from deploy.answer import BAD_INPUT, SERVICE_MISSING, ServiceMissing
from model.records.store import StoreUnavailable
from model.wood.errors import BadInput

app = typer.Typer(
    help="Follows the moisture inside solid-wood panels and warns a furniture maker in time.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
run_commands.register(app)
wood_commands.register(app)
air_commands.register(app)
book_commands.register(app)


def main(arguments: list[str] | None = None) -> None:
    """Run one command and exit: 0 answered, 1 answered 'no', 2 bad input, 3 a service is missing."""
    try:
        status = app(args=arguments, prog_name="paneltide", standalone_mode=False)
    except BadInput as error:
        _fail(str(error), BAD_INPUT)
    except (StoreUnavailable, ServiceMissing) as error:
        _fail(str(error), SERVICE_MISSING)
    except click.UsageError as error:
        command = error.ctx.command_path if error.ctx else "paneltide"
        _fail(f"{command}: {error.format_message().rstrip('.')}; see `{command} --help`", BAD_INPUT)
    except (click.Abort, KeyboardInterrupt):
        _fail("stopped", 130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    else:
        sys.exit(status if isinstance(status, int) else 0)


def _fail(sentence: str, status: int) -> None:
    one_line = " ".join(sentence.split())
    Console(stderr=True, soft_wrap=True, highlight=False).print(f"paneltide: {one_line}", markup=False)
    sys.exit(status)
