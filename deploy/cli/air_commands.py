"""The command `rehearse`: runs a piece through recorded air from a file."""

import re
from pathlib import Path
from typing import Annotated

import typer

from deploy.cli.answer import AsJson, UnitsText, display_of, give_json, give_table, say
from deploy.cli.wood_commands import read_piece_file
from model.wood.design.cautions import cautions, provenance
from model.wood.errors import BadInput
from model.words.reasons import in_sentences


def every_hours(text: str) -> int:
    """Whole hours from a span such as 1h, 12h, 1d or 1w."""
    match = re.fullmatch(r"\s*(\d+)\s*(h|d|w)\s*", text)
    if not match or int(match[1]) == 0:
        raise BadInput("paneltide rehearse", "--every", "must be a span such as 1h, 1d or 1w", text)
    return int(match[1]) * {"h": 1, "d": 24, "w": 168}[match[2]]


def rehearse(
    piece_file: Annotated[Path, typer.Argument(help="A piece file (TOML).")],
    air_file: Annotated[Path, typer.Argument(help="Air: CSV with timestamp_utc, temperature_c, rh_pct.")],
    start_mc: Annotated[
        float | None, typer.Option("--start-mc", help="MC of every part at the first instant [%].")
    ] = None,
    every: Annotated[str, typer.Option("--every", help="Spacing of the rows, as 1h or 1d.")] = "1h",
    sensor: Annotated[
        str | None, typer.Option("--sensor", help="Which sensor, where the file holds several.")
    ] = None,
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """Run a piece through recorded air: how wide each member was, and how little was ever left."""
    # The solver and pandas take half a second to load, which only this command should cost.
    from deploy.rehearsals import read_air_file, rehearsal_document
    from model.wood.design.rehearsal import rehearse as run_rehearsal

    piece = read_piece_file(piece_file)
    run = run_rehearsal(piece, read_air_file(air_file, sensor), start_mc, every_hours(every))
    document = rehearsal_document(piece, run) | {"provenance": provenance(piece.members.values())}
    if as_json:
        give_json(document)
        return
    display = display_of(units)
    first, last = run.at[0], run.at[-1]
    say(f"{piece.name}, {first:%d %b %Y} to {last:%d %b %Y}, {run.filled_hours} hours filled")
    rows = [
        [
            name,
            f"{table['mc_mean_pct'].min():.1f}–{table['mc_mean_pct'].max():.1f} %",
            f"{display.bare_length(table['width_mm'].min(), finest=64)} to "
            f"{display.length(table['width_mm'].max(), finest=64)}",
        ]
        for name, table in run.members.items()
    ]
    give_table(["part", "moisture content", "width"], rows)
    for caution in cautions(piece.members.values()):
        say(in_sentences(caution, display))
    give_table(
        ["fit", "limit", "", "least left", "when"],
        [
            [name, limit["name"], limit["severity"], display.margin(limit["margin_mm_min"]), limit["at"][:10]]
            for name, fit in document["fits"].items()
            for limit in fit["limits"]
        ],
    )
