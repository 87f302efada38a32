"""The commands `export`: readings, the whole book, and a piece's record of fact, each into a file."""

import json
from pathlib import Path
from typing import Annotated

import typer

from deploy.cli.answer import AsJson, UnitsText, display_of, file_or_output, give_done, is_output, write_file
from deploy.cli.book_commands import instant_of
from deploy.wiring import open_book
from model.records.clock import machine_now
from model.wood.errors import BadInput

exports = typer.Typer(help="Write what is stored into a file.")


@exports.command("readings")
def export_readings(
    out: Annotated[
        Path, typer.Option("--out", help="A .csv, .csv.gz or .parquet file; - for CSV on standard output.")
    ],
    sensor: Annotated[str | None, typer.Option("--sensor", help="Only this sensor's.")] = None,
    since: Annotated[str | None, typer.Option("--since", help="From this date or instant on.")] = None,
    until: Annotated[str | None, typer.Option("--until", help="Before this date or instant.")] = None,
    as_json: AsJson = False,
) -> None:
    """Write readings as timestamp_utc, sensor, topic, temperature_c, rh_pct."""
    from ingest.files.export import export_readings as write_out

    store, now = open_book()
    with file_or_output(out, ".csv", as_json) as path:
        count = write_out(
            store,
            path,
            sensor=sensor,
            since_at=instant_of(since, "UTC", now) if since else None,
            until_at=instant_of(until, "UTC", now) if until else None,
        )
    if not is_output(out):
        give_done(as_json, "file", str(out), f"{count} readings written to {out}.")


@exports.command("pieces")
def export_pieces(
    out: Annotated[Path, typer.Option("--out", help="A .csv file; - for standard output.")],
    as_json: AsJson = False,
) -> None:
    """Write every piece with its fits, a limit a row: how it stands, and when the year may pass it."""
    from dashboard.paper.piece_table import pieces_csv

    store, now = open_book()
    with store.session() as session:
        table = pieces_csv(session, now)
    write_file(out, table.encode(), ".csv", is_private=True, as_json=as_json)


@exports.command("book")
def export_book(
    out: Annotated[Path, typer.Option("--out", help="A .zip file; - for standard output.")],
    as_json: AsJson = False,
) -> None:
    """Write the whole book as one archive: a Parquet file a table, and a manifest."""
    from model.records.archives.archive import write_archive

    if not is_output(out) and out.suffix != ".zip":
        raise BadInput("paneltide export book", "--out", "must name a .zip file", str(out))
    with file_or_output(out, ".zip", as_json) as path:
        counts = write_archive(open_book()[0], path, machine_now())
    if not is_output(out):
        give_done(as_json, "file", str(out), f"{sum(counts.values())} rows written to {out}.")


@exports.command("record")
def export_record(
    piece: Annotated[str, typer.Argument(help="A recorded piece's name.")],
    out: Annotated[
        Path, typer.Option("--out", help="A .json or a .txt file; - for text on standard output.")
    ],
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """Write a piece's record of fact: as built, the air it stood in, what was foretold, measured and said."""
    from dashboard.paper.sheet import piece_row
    from model.answers.record_of_fact import record_of_fact
    from model.words.record_text import record_text

    (store, now), display = open_book(), display_of(units)
    with store.session() as session:
        record = record_of_fact(session, piece_row(session, piece).id, now, display)
    text = record_text(record, display)
    if out.suffix.lower() == ".json":
        text = json.dumps(record, indent=2, ensure_ascii=False) + "\n"
    write_file(out, text.encode(), ".json", ".txt", is_private=True, as_json=as_json)
