"""A whole fleet computed anew: every piece and stack of a book from its start, on many machines at once.

The same solver and the same arithmetic of fits as the watch, owner by owner, through Dask distributed (extra
`fleet`). A state is the same to the last bit whoever else is computed beside it, so what comes back is what
the watch has on record, or shows by how much a change of the science moves it. The book is only read.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from model.records.store import Store
from model.watch.air.climate import Climate
from model.watch.air.gap_fill import HourlyAir
from model.watch.run import watch_sql as ledger
from model.watch.run.workers import spread
from model.watch.state.margins import fits_through
from model.watch.state.roster import Assembly, PlaceOnBook, Roster
from model.watch.state.roster_reader import RosterReader
from model.watch.state.states import DAY_H, Run, States, run

if TYPE_CHECKING:
    from distributed import Client

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Airs = Mapping[int, HourlyAir]

BODY_HOURS_A_TASK = 12_000_000
"""Hours of bodies in one task: some seconds of work and a few hundred megabytes while it lasts. Each day of a
run costs half a millisecond however few bodies are in it, so that small tasks waste most of their time."""


@dataclass(frozen=True)
class ClosestHour:
    """How near a limit of a fit came, and at which hour since 1970."""

    margin_mm: float
    hour: int


@dataclass(frozen=True)
class FleetCourse:
    """An owner from its start to the hour asked for.

    Attributes
    ----------
    kind, id : str, int
        piece or stack, and its id in the book.
    hours : (k,)
        Each midnight UTC on the way and the last hour, since 1970.
    mc_mean_pct : (bodies, k)
        Mean moisture content at these hours [%]; NaN before a body's start.
    profile : (bodies, cells)
        Moisture from face to back at the end [%].
    closest : mapping of (fit id, limit name) to ClosestHour
        Over every hour, not only those of `hours`.
    """

    kind: str
    id: int
    body_ids: tuple[int, ...]
    hours: Ints
    mc_mean_pct: Floats
    profile: Floats
    closest: Mapping[tuple[int, str], ClosestHour]


def courses(
    owners: Sequence[Assembly], places: Mapping[int, PlaceOnBook], airs: Airs, until: int
) -> list[FleetCourse]:
    """Compute owners from their start to an hour, in this process.

    Parameters
    ----------
    owners : sequence of Assembly
        With bodies, and begun by `until`.
    places : mapping of place id to PlaceOnBook
    airs : mapping of place id to HourlyAir
        Of every place where one of them stood.
    until : int
        Hours since 1970.
    """
    climates = {id_: Climate(place, airs[id_]) for id_, place in places.items() if id_ in airs}
    blank = States.blank(sum(len(owner.bodies) for owner in owners))
    known = {id_: air for id_, air in airs.items() if len(air)}
    # Where a home has been silent for long, its air ends before the others'.
    trusted_until = {id_: air.end for id_, air in known.items()}
    ends = [owner.followed_until(trusted_until, until) for owner in owners]
    done = run(owners, blank, known, max(ends), ends)
    found, row = [], 0
    for owner, end in zip(owners, ends, strict=True):
        rows = {body.name: row + place for place, body in enumerate(owner.bodies)}
        row += len(owner.bodies)
        found.append(_course(owner, done, rows, climates, end))
    return found


def recompute(
    store: Store,
    until: int,
    client: "Client | None" = None,
    body_hours: int = BODY_HOURS_A_TASK,
) -> Iterator[FleetCourse]:
    """Compute every piece and stack of a book from its start, in no order of their own.

    Parameters
    ----------
    store : Store
        Read once, here; workers need no way to the database.
    until : int
        The hour to reach, since 1970.
    client : distributed.Client, optional
        Whose workers do it; one thread each is best, as the solver has threads of its own. Without it, this
        process does all.
    body_hours : int
        How much makes one task.
    """
    with ledger.reading(store) as bulk:
        roster = RosterReader().read(bulk)
        airs = ledger.read_airs(bulk)
    tasks = portions(roster, until, body_hours)
    if client is None:
        for task in tasks:
            yield from courses(task, roster.places, _airs_of(task, airs), until)
        return
    for found in spread(client, courses, given(tasks, roster, airs, until)):
        yield from found


def portions(roster: Roster, until: int, body_hours: int = BODY_HOURS_A_TASK) -> list[list[Assembly]]:
    """Owners in portions of about so many hours of bodies, those that share places and starts together."""
    begun = [owner for owner in roster.owners if owner.bodies and owner.start_hour <= until]
    begun.sort(key=lambda owner: ([stay.place_id for stay in owner.stays], owner.start_hour, owner.key))
    tasks: list[list[Assembly]] = []
    load = 0
    for owner in begun:
        own = (min(owner.until, until) - owner.start_hour + 1) * len(owner.bodies)
        if not tasks or load + own > body_hours:
            tasks.append([])
            load = 0
        tasks[-1].append(owner)
        load += own
    return tasks


def given(
    tasks: Sequence[Sequence[Assembly]], roster: Roster, airs: Airs, until: int
) -> Iterator[tuple[Sequence[Assembly], Mapping[int, PlaceOnBook], Airs, int]]:
    """What `courses` is given of each task, and no more of the book."""
    for task in tasks:
        own = _airs_of(task, airs)
        yield task, {id_: roster.places[id_] for id_ in own}, own, until


def _airs_of(owners: Sequence[Assembly], airs: Airs) -> dict[int, HourlyAir]:
    return {id_: airs[id_] for id_ in sorted({s.place_id for o in owners for s in o.stays}) if id_ in airs}


def _course(
    owner: Assembly, done: Run, rows: Mapping[str, int], climates: Mapping[int, Climate], last: int
) -> FleetCourse:
    first = -(-owner.start_hour // DAY_H) * DAY_H
    hours = np.unique(np.append(np.arange(first, last + 1, DAY_H), last)).astype(np.int64)
    own = np.array([rows[body.name] for body in owner.bodies])
    row_of = {body.id: rows[body.name] for body in owner.bodies}

    def moisture_then(body_id: int, hour: int) -> float:
        return float(done.mc_pct[row_of[body_id], hour - done.first])

    closest = {}
    for fit in fits_through(owner, done, rows, None, {}, last, climates, moisture_then):
        for limit, margins in zip(fit.limits, fit.margin_mm, strict=True):
            least = int(np.argmin(margins))
            closest[fit.fit.id, limit.name] = ClosestHour(float(margins[least]), fit.first + least)
    return FleetCourse(
        owner.kind,
        owner.id,
        tuple(body.id for body in owner.bodies),
        hours,
        done.mc_pct[own][:, hours - done.first],
        done.states.profile[own],
        closest,
    )
