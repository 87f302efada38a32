"""Computed portions as rows, written in few short transactions."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS
from model.watch.air.climate import Climate
from model.watch.air.gap_fill import Air
from model.watch.air.places import air_then
from model.watch.run import watch_sql as ledger
from model.watch.run.bulk import Bulk
from model.watch.run.computing import moisture_then
from model.watch.run.rows import checkpoint_rows, margin_rows, verdict_row
from model.watch.run.tasks import Known, Tally, Task
from model.watch.run.watch_sql import Counts
from model.watch.state.margins import FitHours, Resumed
from model.watch.state.roster import Assembly
from model.watch.state.states import Run, States, widened_sd_pct
from model.watch.tell.fit_warnings import episodes_of, limits_now
from model.watch.tell.verdicts import AirThen, Judged, verdict_of, verdict_of_piece
from model.watch.tell.warnings import Changes, reconcile, write_changes

ROWS_OF = {"checkpoint": (ledger.CHECKPOINT, (1,)), "margin": (ledger.MARGIN, (2, 8))}
"""Columns of the tables that grow with time, and which of them are instants."""
ROWS_AT_ONCE = 40_000
"""Rows of one transaction: some tenths of a second in which nobody else can write."""


class ResultWriter:
    """Writes parts in as few transactions as stay short; each part is whole within one.

    Parameters
    ----------
    store : Store
    counts : Counts
        When what is written was computed.
    verdicts : mapping of (kind, id) to row
        Those on record, kept up while writing.
    """

    def __init__(self, store: Store, counts: Counts, verdicts: ledger.Verdicts) -> None:
        self._store, self._counts = store, counts
        self.verdicts = verdicts
        self._parts: list[Callable[[Bulk], None]] = []
        self._rows = 0

    def add(self, rows: int, part: Callable[[Bulk], None]) -> None:
        """Write a part of so many rows."""
        self._parts.append(part)
        self._rows += rows
        if self._rows > ROWS_AT_ONCE:
            self._flush()

    def finish(self) -> Counts:
        """Write what is left; returns the counters as they are now."""
        self._flush()
        return self._counts

    def _flush(self) -> None:
        if not self._parts:
            return
        with ledger.writing(self._store, self._counts) as bulk:
            for part in self._parts:
                part(bulk)
        self._counts = self._counts.after_writing()
        self._parts, self._rows = [], 0


def air_writer(
    place_id: int,
    air: Air,
    hours: np.ndarray[Any, np.dtype[np.int64]],
    rewinds: Sequence[tuple[Assembly, int | None]],
) -> Callable[[Bulk], None]:
    """Writes a place's changed air together with taking back what was computed from the air before.

    Should the program end right after, the next evaluation finds the states taken back and goes on.
    """

    def write(bulk: Bulk) -> None:
        ledger.write_air(bulk, place_id, air, hours.tolist())
        ledger.delete_from(bulk, rewinds)

    return write


def write_portion(
    store: Store,
    writer: "ResultWriter",
    tasks: Sequence[Task],
    computed: tuple[Run, list[list[FitHours]]],
    hour: int,
    climates: Mapping[int, Climate],
    stored: Mapping[int, list[Any]],
    known: dict[tuple[str, int], Known],
    tally: Tally,
) -> None:
    """Hand the rows of a computed portion to the writer; `known` takes where its owners now are."""
    airs_then: dict[tuple[int | None, int], AirThen] = {}
    done, fits = computed
    is_stack = [task.owner.kind == "stack" for task in tasks for _ in task.owner.bodies]
    checkpoints = checkpoint_rows(done, _kept_widths(store, tasks, done), is_stack)
    moved_from: dict[int, int] = {}  # body id to the hour whose row moves on to its last
    margins: list[tuple[Any, ...]] = []
    moved_margins: list[tuple[int, tuple[Any, ...]]] = []
    restated_margins: list[tuple[int, tuple[Any, ...]]] = []  # moved, and standing otherwise
    verdicts: list[tuple[Any, ...]] = []
    changes: list[Changes] = []
    row = 0
    for task, own in zip(tasks, fits, strict=True):
        owner = task.owner
        part = done.states.part(np.arange(row, row + len(owner.bodies)))
        row += len(owner.bodies)
        resumed = dict(task.known.resumed) if task.known else {}
        moving = task.moving_hour()
        if moving is not None:
            assert task.known is not None
            there = (task.known.states.hour == moving).tolist()
            moved_from |= {body.id: moving for body, is_ in zip(owner.bodies, there, strict=True) if is_}
        for fit in own:
            kept, ends = margin_rows(fit, owner.kept_hours)
            margins += kept
            if moving is not None and fit.before is not None:
                into = moved_margins if fit.moved_only else restated_margins
                into += [(moving * HOUR_MS, end_row) for end_row in ends]
            else:
                margins += ends
            episodes, replaced = episodes_of(fit, stored.get(fit.fit.id, []))
            if episodes or replaced:
                changes.append(reconcile(replaced, episodes))
            assert fit.standing is not None
            resumed[fit.fit.id] = Resumed(fit.fit.limit_names, fit.standing)
        verdicts += _verdicts(task, part, own, hour, climates, airs_then)
        known[owner.key] = Known(task.end, part, resumed, is_last=True, judged_hour=hour)
    last_ms_of = {body.id: task.end * HOUR_MS for task in tasks for body in task.owner.bodies}
    moved_checkpoints, new_checkpoints = [], []
    for checkpoint in checkpoints:
        since = moved_from.get(checkpoint[0])
        if since is not None and checkpoint[1] == last_ms_of[checkpoint[0]]:
            moved_checkpoints.append((since * HOUR_MS, checkpoint))
        else:
            new_checkpoints.append(checkpoint)
    rewinds = [(task.owner, task.rewind_hour()) for task in tasks]
    tally.add("checkpoints", len(checkpoints))
    tally.add("margins", len(margins) + len(moved_margins) + len(restated_margins))
    tally.add("opened", sum(len(change.added) for change in changes))
    tally.add("changed", sum(len(change.changed) for change in changes))
    tally.add("withdrawn", sum(len(change.removed) for change in changes))

    def write(bulk: Bulk) -> None:
        ledger.delete_from(bulk, rewinds)
        move_rows(bulk, "checkpoint", moved_checkpoints)
        move_rows(bulk, "margin", moved_margins, (*ledger.AS_BUILT, *ledger.STANDS))
        move_rows(bulk, "margin", restated_margins, ledger.AS_BUILT)
        ledger.insert(bulk, "checkpoint", ledger.CHECKPOINT, instants(bulk, new_checkpoints, 1))
        ledger.insert(bulk, "margin", ledger.MARGIN, instants(bulk, margins, 2, 8))
        write_changes(bulk, changes)
        put_verdicts(bulk, verdicts, writer.verdicts)

    rows_in_all = len(checkpoints) + len(margins) + len(moved_margins) + len(restated_margins) + len(verdicts)
    writer.add(rows_in_all, write)


def write_resting(
    writer: "ResultWriter",
    tasks: Sequence[Task],
    fits: Sequence[Sequence[FitHours]],
    hour: int,
    climates: Mapping[int, Climate],
    known: dict[tuple[str, int], Known],
) -> None:
    """Judge anew what rests where the air is not heard of: nothing but the verdicts is other than it was."""
    airs_then: dict[tuple[int | None, int], AirThen] = {}
    verdicts: list[tuple[Any, ...]] = []
    for task, own in zip(tasks, fits, strict=True):
        assert task.known is not None
        verdicts += _verdicts(task, task.known.states, own, hour, climates, airs_then)
        known[task.owner.key] = replace(task.known, judged_hour=hour)
    writer.add(len(verdicts), lambda bulk: put_verdicts(bulk, verdicts, writer.verdicts))
    rewinds = [(task.owner, task.rewind_hour()) for task in tasks]
    writer.add(0, lambda bulk: ledger.delete_from(bulk, rewinds))


def _verdicts(
    task: Task,
    states: States,
    fits: Sequence[FitHours],
    hour: int,
    climates: Mapping[int, Climate],
    airs_then: dict[tuple[int | None, int], AirThen],
) -> list[tuple[Any, ...]]:
    """The verdicts of an owner and its fits at an hour, by its states where it ends."""
    owner = task.owner
    if owner.until <= hour:
        return []
    stood = owner.place_at(max(hour - 1, owner.start_hour)), hour
    if stood not in airs_then:
        airs_then[stood] = air_then(owner, hour, climates)
    variances = states.variance_pct2.tolist()
    judged: dict[str, Judged] = {}
    rows = []
    for fit in fits:
        variance = max(variances[k] for k in owner.rows_of_fit[fit.fit.id])
        sd_pct = widened_sd_pct(variance, hour - task.end)
        judged[fit.fit.name] = verdict_of(limits_now(fit), airs_then[stood], sd_pct)
        rows.append(verdict_row("fit", fit.fit.id, judged[fit.fit.name], hour, task.end))
    if owner.kind == "piece":
        problem = "its members were measured later" if owner.fits and not judged else ""
        of_piece = verdict_of_piece(judged, hour, problem)
        rows.append(verdict_row("piece", owner.id, of_piece, hour, task.end))
    return rows


def put_verdicts(bulk: Bulk, rows: Sequence[tuple[Any, ...]], known: ledger.Verdicts) -> None:
    """Insert or replace verdicts that are not there as they are to be; their instants in milliseconds."""
    ledger.put_verdicts(bulk, instants(bulk, rows, 3, 4, 5), known)


def move_rows(
    bulk: Bulk, table: str, rows: Sequence[tuple[int, tuple[Any, ...]]], unchanged: Sequence[str] = ()
) -> None:
    """Move rows of checkpoint or margin on, each from an instant [ms]."""
    columns, of_time = ROWS_OF[table]
    there = instants(bulk, [row for _, row in rows], *of_time)
    ledger.move(bulk, table, columns, zip([since for since, _ in rows], there, strict=True), unchanged)


def _kept_widths(store: Store, tasks: Sequence[Task], done: Run) -> dict[int, list[tuple[int, float, float]]]:
    """Re-measured widths by row: hour, width and the moisture content they were measured at."""
    found: dict[int, list[tuple[int, float, float]]] = {}
    row = 0
    for task in tasks:
        if not any(body.widths for body in task.owner.bodies):
            row += len(task.owner.bodies)
            continue
        rows = {body.name: row + place for place, body in enumerate(task.owner.bodies)}
        then = moisture_then(store, task, done, rows)
        for body in task.owner.bodies:
            if body.widths:
                found[row] = [
                    (at, width, then(body.id, at))
                    for at, width in body.widths
                    if body.start_hour <= at < done.first + done.mc_pct.shape[1]
                ]
            row += 1
    return found


def instants(bulk: Bulk, rows: Sequence[tuple[Any, ...]], *columns: int) -> list[tuple[Any, ...]]:
    """Rows with the milliseconds of some columns as the database has instants."""
    if bulk.instant(0) == 0:
        return list(rows)
    return [
        tuple(bulk.instant(value) if k in columns else value for k, value in enumerate(row)) for row in rows
    ]
