"""Reads a list of stacks or pieces from a spreadsheet: shows how it is read, and records it when told to."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from deploy.cli.answer import UnitsText, display_of, give_json, give_table, say
from deploy.settings import load_settings
from deploy.wiring import open_book
from model.wood.errors import BadInput

if TYPE_CHECKING:
    from dashboard.forms.lists import ListKind

ListFile = Annotated[Path, typer.Argument(help="A CSV file, columns named in its first line.")]
Keep = Annotated[bool, typer.Option("--keep", help="Record it; without this it is only shown.")]


def take_list(kind: "ListKind", file: Path, keep: bool, units: UnitsText, as_json: bool) -> None:
    """Show how a file is read, and record all of it if `keep` and nothing in it is wrong.

    Raises
    ------
    BadInput
        If it can't be read, or a line of it has a fault; nothing of it is recorded then.
    """
    from dashboard.forms.lists import read_list
    from dashboard.shell.view import Context, View

    try:
        content = file.read_bytes()
    except OSError as error:
        raise BadInput(str(file), "file", "must be one that can be read", error.strerror) from error
    store, now = open_book()
    settings, display = load_settings(), display_of(units)
    context = Context(store, lambda: now, display.units, region=settings.wood_region, zone=settings.zone)
    try:
        found = read_list(kind, content, View(context, display, now), keep)
    except BadInput as error:
        where = f"{file.name}, {error.where}" if error.where else file.name
        raise BadInput(where, error.what, error.rule, error.got) from error
    if as_json:
        give_json(
            {
                "kept": found.act is not None,
                "rows": [
                    {"line": line, "cells": dict(zip(kind.heads, row, strict=True))}
                    for line, row in found.rows
                ],
                "faults": [vars(fault) for fault in found.faults],
            }
        )
    else:
        _told(kind, found, keep)
    if found.faults:
        fault, *others = found.faults
        more = f" (and {len(others)} more)" if others else ""
        raise BadInput(
            file.name, f"line {fault.line}, {fault.column}:", f"{fault.rule}{more}", fault.got or None
        )


def _told(kind: "ListKind", found: Any, keep: bool) -> None:
    if found.rows:
        give_table(["line", *kind.heads], [[str(line), *row] for line, row in found.rows])
    for fault in found.faults:
        say(str(fault))
    if found.act is not None:
        say(found.act.says)
    elif not found.faults:
        say("Nothing is recorded yet: add --keep.")
