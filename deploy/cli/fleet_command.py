"""The command `fleet`: computes every piece and stack anew and compares it with the record."""

import time
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
import typer
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from deploy import wiring
from deploy.cli import NO
from deploy.cli.answer import AsJson, UnitsText, display_of, give_json, give_table, say
from deploy.cli.progress import progress
from deploy.settings import load_settings
from model.records.schema.tables import Checkpoint, FitRow, PieceRow, Stack
from model.records.schema.types import from_epoch_ms, to_epoch_ms
from model.wood.errors import BadInput

if TYPE_CHECKING:
    from model.watch.run.fleet import FleetCourse
    from model.words.display import Display

HOUR_MS = 3_600_000
SHOWN = 20
"""Pieces listed for people: those that came nearest to a limit."""


def fleet(
    workers: Annotated[
        int, typer.Option("--workers", min=0, help="Processes on this machine; 0 does it in this one.")
    ] = 0,
    scheduler: Annotated[
        str,
        typer.Option("--scheduler", help="Address of a Dask scheduler whose workers do it, tcp://host:port."),
    ] = "",
    units: UnitsText = None,
    as_json: AsJson = False,
) -> None:
    """Compute every piece and stack anew, from its first day to the last hour on record, and compare.

    For a book of many homes, or after a change of the figures that wood is computed with. Nothing is written;
    the answer is 'no' when something comes out otherwise than it is on record.
    """
    settings = load_settings()
    wiring.prepare_logging("WARNING", settings.log_format)
    store = wiring.open_store(settings, migrate=False)
    with store.session() as session:
        last_at = session.scalar(select(func.max(Checkpoint.at)))
        bodies = sum(
            session.scalar(select(func.count()).select_from(kind)) or 0 for kind in (PieceRow, Stack)
        )
    if last_at is None:
        rule = "must have been followed for an hour at least: run `paneltide watch --once`"
        raise BadInput("", "the book", rule, "nothing computed")
    from model.watch.run.fleet import recompute
    from model.watch.run.workers import connected

    began = time.perf_counter()
    courses = []
    with connected(scheduler, workers) as client, progress("Computing anew") as advance:
        for course in recompute(store, to_epoch_ms(last_at) // HOUR_MS, client):
            courses.append(course)
            advance(len(courses), bodies)
    took_s = time.perf_counter() - began
    with store.session() as session:
        names = _names(session)
        rows = [_row(course, names, _recorded(session, course)) for course in courses]
    store.close()
    rows.sort(key=lambda row: (row["least_mm"] is None, row["least_mm"] or 0.0, row["name"]))
    differ = [row for row in rows if row["differs_pct"]]
    document = {
        "until": last_at,
        "pieces": sum(row["kind"] == "piece" for row in rows),
        "stacks": sum(row["kind"] == "stack" for row in rows),
        "member_hours": int(sum(row["member_hours"] for row in rows)),
        "seconds": round(took_s, 2),
        "differ": len(differ),
        "rows": rows,
    }
    if as_json:
        give_json(document)
    else:
        _say(document, rows, differ, display_of(units))
    if differ:
        raise typer.Exit(NO)


def _names(session: Session) -> dict[tuple[str, int], str]:
    names = {("piece", id_): name for id_, name in session.execute(select(PieceRow.id, PieceRow.name))}
    names |= {("stack", id_): name for id_, name in session.execute(select(Stack.id, Stack.name))}
    return names | {("fit", id_): name for id_, name in session.execute(select(FitRow.id, FitRow.name))}


def _recorded(session: Session, course: "FleetCourse") -> dict[int, float]:
    """The mean moisture content on record of each body at a course's end."""
    at = from_epoch_ms(int(course.hours[-1]) * HOUR_MS)
    rows = select(Checkpoint.body_id, Checkpoint.mc_mean_pct)
    rows = rows.where(Checkpoint.body_id.in_(course.body_ids), Checkpoint.at == at)
    found: dict[int, float] = dict(session.execute(rows).all())
    return found


def _row(
    course: "FleetCourse", names: Mapping[tuple[str, int], str], recorded: Mapping[int, float]
) -> dict[str, Any]:
    mc_pct = dict(zip(course.body_ids, course.mc_mean_pct[:, -1].tolist(), strict=True))
    off = [abs(mc_pct[body] - mean) for body, mean in recorded.items()]
    least = min(course.closest.items(), key=lambda one: one[1].margin_mm, default=None)
    hours = course.hours[-1] - course.hours[0]
    return {
        "kind": course.kind,
        "name": names[course.kind, course.id],
        "mc_low_pct": float(np.nanmin(list(mc_pct.values()))),
        "mc_high_pct": float(np.nanmax(list(mc_pct.values()))),
        "fit": None if least is None else names["fit", least[0][0]],
        "limit": None if least is None else least[0][1],
        "least_mm": None if least is None else least[1].margin_mm,
        "least_at": None if least is None else from_epoch_ms(least[1].hour * HOUR_MS),
        "member_hours": int(hours) * len(course.body_ids),
        "differs_pct": max(off, default=0.0),
    }


def _say(
    document: Mapping[str, Any],
    rows: Sequence[Mapping[str, Any]],
    differ: Sequence[Mapping[str, Any]],
    display: "Display",
) -> None:
    say(
        f"{_count(document['pieces'], 'piece')} and {_count(document['stacks'], 'stack')} computed anew to "
        f"{document['until']:%Y-%m-%d %H:%M} UTC in {document['seconds']:g} s."
    )
    shown = [row for row in rows if row["least_mm"] is not None][:SHOWN]
    if shown:
        give_table(
            ["piece", "moisture now", "nearest limit", "left before it", "when"],
            [
                [
                    row["name"],
                    f"{row['mc_low_pct']:.1f} to {row['mc_high_pct']:.1f} %",
                    f"{row['fit']}: {row['limit']}",
                    display.margin(row["least_mm"]),
                    f"{row['least_at']:%Y-%m-%d}",
                ]
                for row in shown
            ],
        )
    if not differ:
        say("All of it is as it stands on record.")
        return
    worst = max(differ, key=lambda row: float(row["differs_pct"]))
    say(
        f"Otherwise than on record: {len(differ)}, {worst['name']} the most, "
        f"by {worst['differs_pct']:.3g} points of moisture."
    )


def _count(number: int, of: str) -> str:
    return f"{number} {of}" if number == 1 else f"{number} {of}s"
