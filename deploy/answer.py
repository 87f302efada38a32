"""Prints a command's answer: one JSON document, or lines for people."""

import json
import math
from datetime import datetime
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]

console = Console(highlight=False, soft_wrap=True)

NO = 1  # exit status of an answered 'no'
BAD_INPUT = 2
SERVICE_MISSING = 3


class ServiceMissing(RuntimeError):
    """Something the command needs is not there; the message says what and what to do."""


def give_json(document: Any) -> None:
    """Print one JSON document; what can't be computed is null."""
    print(json.dumps(_plain(document), indent=2, ensure_ascii=False, allow_nan=False))


def give_table(columns: list[str], rows: list[list[str]], title: str | None = None) -> None:
    """Print a table for people; every cell is shown as text, whatever it holds."""
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, overflow="fold")
    for row in rows:
        table.add_row(*[_as_text(cell) for cell in row])
    console.print(table)


def say(line: str) -> None:
    """Print one line for people, as text."""
    console.print(line, markup=False)


def _as_text(cell: str) -> Any:
    return Text("".join(c if c.isprintable() else "�" for c in cell))


def instant(at: datetime) -> str:
    """An instant as RFC 3339 in UTC, to the second."""
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, datetime):
        return instant(value)
    if hasattr(value, "item") and not isinstance(value, (str, bytes)):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
