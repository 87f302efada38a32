"""Computes states and margins of a portion of the book; reads tables and writes none."""

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from model.records.store import Store
from model.watch.air.climate import Climate
from model.watch.air.gap_fill import HourlyAir
from model.watch.run import watch_sql as ledger
from model.watch.run.rows import Row, checkpoint_rows
from model.watch.run.tasks import Tally, Task
from model.watch.state import read_back as resume
from model.watch.state.learn import with_steps
from model.watch.state.margins import FitHours, MoistureThen, fits_through, settle
from model.watch.state.states import Run, States, run


@dataclass(frozen=True)
class Computed:
    """A task's owner where it ends: its states, its fits on the way, and the rows of `checkpoint` to add."""

    task: Task
    states: States
    fits: Sequence[FitHours]
    checkpoints: Sequence[Row] = ()


def compute(
    store: Store,
    tasks: Sequence[Task],
    airs: Mapping[int, HourlyAir],
    climates: Mapping[int, Climate],
    tally: Tally,
    beat: Callable[[], object],
) -> list[Computed]:
    """Take the owners of some tasks to where they end, and their fits with them; all rest, or none does.

    `beat` is called every few seconds or more often.
    """
    clock = time.perf_counter()
    heard = {place: air for place, air in airs.items() if len(air)}
    tasks = [_learned(task, heard) for task in tasks]
    clock = tally.took("learned", clock)
    if tasks[0].rests:
        return [_resting(store, task, climates) for task in tasks]
    owners = [task.owner for task in tasks]
    states = States.joined(
        [task.known.states if task.known else States.blank(len(task.owner.bodies)) for task in tasks]
    )
    ends = [task.end for task in tasks]
    done = run(owners, states, heard, max(ends), ends, beat=beat)
    clock = tally.took("states", clock)
    tally.add("bodies", len(done.bodies))
    tally.add("body_hours", int(np.isfinite(done.mc_pct).sum()))
    found, widths = [], {}
    row = 0
    for task in tasks:
        rows = {body.name: row + place for place, body in enumerate(task.owner.bodies)}
        then = _moisture_then(store, task, done, rows)
        fits = fits_through(
            task.owner, done, rows, task.hour, task.known.resumed if task.known else {}, task.end, climates,
            then,
        )  # fmt: skip
        found.append((task, np.arange(row, row + len(rows)), fits))
        beat()
        row += len(rows)
        for body in task.owner.bodies:
            if body.widths:  # re-measured, each at the moisture content it had then
                widths[rows[body.name]] = [
                    (at, width, then(body.id, at))
                    for at, width in body.widths
                    if body.start_hour <= at < done.first + done.mc_pct.shape[1]
                ]
    settle([fit for _, _, fits in found for fit in fits])
    beat()
    is_stack = [task.owner.kind == "stack" for task in tasks for _ in task.owner.bodies]
    checkpoints: dict[int, list[Row]] = {body.id: [] for body in done.bodies}
    for one in checkpoint_rows(done, widths, is_stack):
        checkpoints[one[0]].append(one)
    tally.took("margins", clock)
    return [
        Computed(
            task,
            done.states.part(own),
            fits,
            [one for body in task.owner.bodies for one in checkpoints[body.id]],
        )
        for task, own, fits in found
    ]


def _learned(task: Task, airs: Mapping[int, HourlyAir]) -> Task:
    """A task whose owner carries what was learned of it on the way."""
    known = task.known.learned if task.known else {}
    return replace(task, owner=with_steps(task.owner, known, task.hour, task.end, airs))


def _resting(store: Store, task: Task, climates: Mapping[int, Climate]) -> Computed:
    """An owner whose air has not been heard of since, as it stood at the hour it rests at."""
    known = task.known
    assert known is not None
    done = Run(task.owner.bodies, known.hour, known.states.outline[:, :1], known.states)
    rows = {body.name: row for row, body in enumerate(task.owner.bodies)}
    fits = fits_through(
        task.owner, done, rows, known.hour - 1, known.resumed, known.hour, climates,
        _moisture_then(store, task, done, rows),
    )  # fmt: skip
    settle([fit for fit in fits if not fit.rest()])
    return Computed(task, known.states, fits)


def _moisture_then(store: Store, task: Task, done: Run, rows: Mapping[str, int]) -> MoistureThen:
    """Mean moisture content of one of the owner's bodies at a kept hour, computed now or before."""
    row_of = {body.id: rows[body.name] for body in task.owner.bodies}
    stored: dict[tuple[int, int], float] = {}

    def then(body_id: int, hour: int) -> float:
        if hour >= done.first:
            value = float(done.mc_pct[row_of[body_id], hour - done.first])
            if not math.isnan(value):
                return value
        if not stored:
            with ledger.reading(store) as bulk:
                ids = [body.id for body in task.owner.bodies]
                found = resume.read_states(bulk, dict.fromkeys(task.owner.kept_hours, ids))
            stored.update({key: values[3] for key, values in found.items()})
        return stored[body_id, hour]

    return then
