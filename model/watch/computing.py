"""States and margins of a portion of the book: what takes time, and touches no table but to read."""

import math
import time
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from model.records.store import Store
from model.watch import ledger, resume
from model.watch.bridge import NO_AIR, Air
from model.watch.climate import Climate
from model.watch.foreseeing import OutlookProvider, OutlookRequest
from model.watch.margins import Crossings, FitHours, MoistureThen, fits_through, settle
from model.watch.state import Run, States, run
from model.watch.tasks import Tally, Task


def compute(
    store: Store,
    outlook: OutlookProvider | None,
    tasks: Sequence[Task],
    hour: int,
    airs: Mapping[int, Air],
    climates: Mapping[int, Climate],
    tally: Tally,
) -> tuple[Run, list[list[FitHours]]]:
    """Take the owners of some tasks to an hour, and their fits with them."""
    clock = time.perf_counter()
    owners = [task.owner for task in tasks]
    done = run(
        owners,
        States.joined(
            [task.known.states if task.known else States.blank(len(task.owner.bodies)) for task in tasks]
        ),
        {place: air for place, air in airs.items() if len(air)},
        hour,
    )
    clock = tally.took("states", clock)
    tally.add("bodies", len(done.bodies))
    tally.add("body_hours", int(np.isfinite(done.mc_pct).sum()))
    crossings = _foresee(store, outlook, tasks, done, airs)
    fits: list[list[FitHours]] = []
    row = 0
    for task, foreseen in zip(tasks, crossings, strict=True):
        rows = {body.name: row + place for place, body in enumerate(task.owner.bodies)}
        row += len(task.owner.bodies)
        fits.append(
            fits_through(
                task.owner, done, rows, task.hour, task.known.resumed if task.known else {}, hour,
                climates, foreseen, moisture_then(store, task, done, rows),
            )
        )  # fmt: skip
    settle([fit for own in fits for fit in own])
    tally.took("margins", clock)
    return done, fits


def moisture_then(store: Store, task: Task, done: Run, rows: Mapping[str, int]) -> MoistureThen:
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


def _foresee(
    store: Store,
    outlook: OutlookProvider | None,
    tasks: Sequence[Task],
    done: Run,
    airs: Mapping[int, Air],
) -> list[Crossings]:
    """What the outlook foresees at each midnight computed, for each task."""
    found: list[dict[int, Mapping[tuple[str, str], Mapping[str, Any]]]] = [{} for _ in tasks]
    if outlook is None:
        return list(found)
    requests: list[OutlookRequest] = []
    whose: list[int] = []
    of_row = [(number, body.name) for number, task in enumerate(tasks) for body in task.owner.bodies]
    moistures_then, first = [], 0
    for task in tasks:
        rows = {body.name: first + place for place, body in enumerate(task.owner.bodies)}
        moistures_then.append(moisture_then(store, task, done, rows))
        first += len(rows)
    for record in done.records:
        if record.hour % 24:
            continue
        profiles: dict[int, dict[str, np.ndarray[Any, np.dtype[np.float64]]]] = {}
        variances: dict[int, dict[str, float]] = {}
        for place_in_record, row in enumerate(record.rows.tolist()):
            number, name = of_row[row]
            profiles.setdefault(number, {})[name] = record.profile[place_in_record]
            variances.setdefault(number, {})[name] = float(record.variance_pct2[place_in_record])
        for number, own in profiles.items():
            owner = tasks[number].owner
            place = owner.place_at(record.hour)
            if owner.fits and place is not None and len(airs.get(place, NO_AIR)):
                requests.append(
                    OutlookRequest(
                        owner, record.hour, place, own, airs, variances[number], moistures_then[number]
                    )
                )
                whose.append(number)
    for number, request, answer in zip(whose, requests, outlook(requests), strict=True):
        found[number][request.hour] = answer
    return list(found)
