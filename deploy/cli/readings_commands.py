"""The command `import-readings`, and the sentence on readings that belong to no place."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from deploy.cli.answer import AsJson, give_json, say
from deploy.cli.book_commands import PlaceKind
from deploy.cli.progress import progress
from deploy.wiring import open_book
from model.wood.errors import BadInput

SHOWN_LINES = 20


def nowhere_line(sensor: str, count: int, place: str | None, since_at: datetime | None) -> str:
    """What is said of readings that belong to no place, with the command that mends it."""
    belong = "reading belongs" if count == 1 else "readings belong"
    hangs = f"hangs at {place} only since {since_at:%Y-%m-%d}" if place is not None else "hangs nowhere"
    return (
        f"{count} {belong} to no place: {sensor} {hangs}. Say where it hung then: "
        f'paneltide sensors hang "{sensor}" --place "{place or "PLACE"}" --since DATE'
    )


def import_readings(
    file: Annotated[Path, typer.Argument(help="CSV, plain or gzipped.")],
    sensor: Annotated[
        str | None, typer.Option("--sensor", help="Whose, if the file has no sensor column.")
    ] = None,
    zone: Annotated[str, typer.Option("--zone", help="Time zone of times without an offset.")] = "UTC",
    place: Annotated[
        str | None,
        typer.Option(
            "--place", help="Where they hung, since their first reading; sensors not known yet are made."
        ),
    ] = None,
    kind: PlaceKind = None,
    from_line: Annotated[
        int, typer.Option("--from-line", min=1, help="First line, for a file that grew.")
    ] = 1,
    dry: Annotated[
        bool, typer.Option("--show-columns", help="Only say what each column is taken for.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Read readings in from a file; repeating an import changes nothing."""
    from ingest.files.columns import guess_columns
    from ingest.files.import_file import import_readings as read_in

    guess = guess_columns(file)
    if dry:
        if as_json:
            give_json({"file": str(file), "reasons": list(guess.reasons)})
        else:
            for reason in guess.reasons:
                say(reason)
        return
    store, now = open_book(create=True)
    with progress(file.name) as advance:
        report = read_in(
            store,
            file,
            lambda: now,
            sensor=sensor,
            zone=zone,
            create=place,
            place_kind=kind,
            columns=guess,
            from_line=from_line,
            progress=advance,
        )
    if as_json:
        give_json(
            {
                "accepted": report.accepted,
                "duplicate": report.duplicate,
                "rejected": report.rejected_count,
                "rejected_lines": [{"line": line, "reason": reason} for line, reason in report.rejected],
                "lines": report.lines,
                "sensors": dict(report.sensors),
                "created": report.created,
                "columns": list(guess.reasons),
                "notes": report.notes,
                "hung": [
                    {"sensor": name, "place": where, "since_at": since_at}
                    for name, (where, since_at) in report.hung.items()
                ],
                "belong_to_no_place": [
                    {"sensor": name, "readings": count, "place": where, "since_at": since_at}
                    for name, (count, where, since_at) in report.nowhere.items()
                ],
            }
        )
    else:
        for reason in guess.reasons:
            say(f"  {reason}")
        say(
            f"{report.accepted} readings accepted, {report.duplicate} known already, "
            f"{report.rejected_count} lines rejected."
        )
        for line, reason in report.rejected[:SHOWN_LINES]:
            say(f"  line {line}: {reason}")
        for note in report.notes:
            say(note)
        for name, (where, since_at) in report.hung.items():
            say(f"{name} hangs at {where} since {since_at:%Y-%m-%d}.")
        for name, (count, first_place, first_at) in report.nowhere.items():
            say(nowhere_line(name, count, first_place, first_at))
    if report.rejected_count and not report.accepted + report.duplicate:
        raise BadInput(
            str(file),
            "file",
            "must hold a reading of a known sensor (give --place to make the file's sensors)",
            f"{report.rejected_count} rejected lines",
        )
