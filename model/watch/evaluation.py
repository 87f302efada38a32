"""One evaluation: from readings that came to warnings opened and closed.

`Watch` keeps between evaluations what it would otherwise read again; what it keeps never decides anything,
because every evaluation checks that the stored tables are still those it knows. Long computations run
outside any transaction; results are written in short ones, each whole in itself.
"""

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Protocol

import numpy as np

from model.records.store import Store
from model.records.types import from_epoch_ms, to_epoch_ms
from model.watch import ledger
from model.watch.air_hours import HOUR_MS, hours_to_compute, measured_hours, read_trust
from model.watch.bridge import NO_AIR, Air, Measured, bridged, measured_of, merged
from model.watch.bulk import Bulk
from model.watch.climate import NEVER_H, Climate
from model.watch.ledger import Counts, Overtaken
from model.watch.margins import Crossings, FitHours, MoistureThen, Resumed, fits_through, settle
from model.watch.roster import FitOnBook, Owner, Roster, RosterReader
from model.watch.rows import checkpoint_rows, margin_rows, verdict_row
from model.watch.sensors import sensors_now
from model.watch.stacks import StackHistory, stack_now
from model.watch.state import Run, States, run
from model.watch.trust.judge import Judge
from model.watch.verdicts import (
    MOVING_PCT_IN_3_DAYS,
    AirThen,
    Judged,
    verdict_of,
    verdict_of_piece,
    verdict_of_place,
)
from model.watch.warnings import (
    Changes,
    episodes_of,
    limit_at,
    read_stored,
    reconcile,
    write_changes,
)

ROWS_AT_ONCE = 40_000
"""Rows of one transaction: some tenths of a second in which nobody else can write."""
BODY_HOURS_AT_ONCE = 2_000_000
"""Hours of bodies computed before they are written: some tens of megabytes."""
TRIES = 6


@dataclass(frozen=True)
class Evaluation:
    """What one evaluation did.

    Attributes
    ----------
    as_of : datetime
        The full hour up to which everything is known.
    counts : mapping of str to int
        marks, air_hours, bodies, body_hours, checkpoints, margins, opened, changed, withdrawn.
    durations_s : mapping of str to float
        read, trust, air, states, margins, write: seconds spent.
    """

    as_of: datetime
    counts: Mapping[str, int]
    durations_s: Mapping[str, float]


@dataclass(frozen=True)
class OutlookRequest:
    """One daily evaluation of a piece for which the outlook is asked.

    Attributes
    ----------
    owner : Owner
    hour : int
        Midnight UTC, hours since 1970; nothing of the air from this hour on may be used.
    place_id : int
    profiles : mapping of member name to (cells,) array
        Moisture at that hour [%].
    airs : mapping of place id to Air
    variances : mapping of member name to float
        Of the mean moisture content at that hour [%²].
    moisture_then : callable
        Mean moisture content of a body (by id) at a kept hour up to that one.
    """

    owner: Owner
    hour: int
    place_id: int
    profiles: Mapping[str, np.ndarray[Any, np.dtype[np.float64]]]
    airs: Mapping[int, Air]
    variances: Mapping[str, float] = field(default_factory=dict)
    moisture_then: MoistureThen | None = None


class OutlookProvider(Protocol):
    """Foresees, for each request, which limits the 50th percentile crosses within 30 days.

    The answer must follow from the request alone. A crossing is a document with `days` (to the 50th
    percentile), `low_days`, `high_days`, and what else a page may say of it.
    """

    def __call__(
        self, requests: Sequence[OutlookRequest]
    ) -> Sequence[Mapping[tuple[str, str], Mapping[str, Any]]]: ...


@dataclass
class _Known:
    """Where an owner is: its states and how its limits stand, at one hour."""

    hour: int
    states: States
    resumed: dict[int, Resumed]


@dataclass
class _Task:
    """An owner to take from somewhere to the present; no hour means from its start."""

    owner: Owner
    known: _Known | None

    @property
    def hour(self) -> int | None:
        return None if self.known is None else self.known.hour

    @property
    def begin(self) -> int:
        return self.owner.start_hour if self.known is None else self.known.hour

    def rewind_hour(self) -> int:
        """The first hour whose rows are replaced: what follows, and a latest row that is not to stay."""
        if self.known is None:
            return 0
        stays = self.known.hour % 24 == 0 or self.known.hour in self.owner.kept_hours
        return self.known.hour + 1 if stays else self.known.hour


@dataclass
class _Tally:
    counts: dict[str, int] = field(default_factory=dict)
    durations_s: dict[str, float] = field(default_factory=dict)

    def add(self, name: str, count: int) -> None:
        self.counts[name] = self.counts.get(name, 0) + count

    def took(self, name: str, since: float) -> float:
        now = time.perf_counter()
        self.durations_s[name] = self.durations_s.get(name, 0.0) + now - since
        return now


class Watch:
    """Evaluates a book again and again.

    Parameters
    ----------
    store : Store
    outlook_crossings : OutlookProvider, optional
        Foresees crossings; without it, near and past follow from the margins of the day.
    """

    def __init__(self, store: Store, outlook_crossings: OutlookProvider | None = None) -> None:
        self._store = store
        self._outlook = outlook_crossings
        self._reader = RosterReader()
        self._judge = Judge(store)
        self._forget()

    def _forget(self) -> None:
        self._counts: Counts | None = None
        self._roster: Roster | None = None
        self._airs: dict[int, Air] = {}
        self._air_is_fresh = True  # read from the tables since the last evaluation
        self._known: dict[tuple[str, int], _Known] = {}
        self._stacks: dict[int, StackHistory] = {}
        self._hour: int | None = None

    def bring_up_to_date(self, now: datetime) -> Evaluation:
        """Compute everything that readings, the book or the clock have changed. Safe to repeat, and safe
        beside another watch: whoever comes second starts again from what the first wrote.

        Raises
        ------
        Overtaken
            If others wrote first each time; nothing is lost, and the next call goes on.
        """
        for attempt in range(TRIES):
            try:
                return self._evaluate(now)
            except Overtaken:
                self._forget()
                if attempt == TRIES - 1:
                    raise
            except BaseException:
                self._forget()
                raise
        raise AssertionError("unreachable")

    # ------------------------------------------------------------ one evaluation

    def _evaluate(self, now: datetime) -> Evaluation:
        tally = _Tally()
        clock = time.perf_counter()
        with ledger.reading(self._store) as bulk:
            self._read_book(bulk)
            assert self._roster is not None
            assert self._counts is not None
            hour = max(to_epoch_ms(now) // HOUR_MS, self._hour or 0)
            # Marks come before the readings they speak of: a reading that comes in between marks again.
            marks = self._judge.judge(bulk, hour, to_epoch_ms(now))
            clock = tally.took("trust", clock)
            airs, changed = self._new_airs(bulk, marks, hour)
            clock = tally.took("air", clock)
            tasks = self._tasks(bulk, changed, hour)
            stored = read_stored(bulk, "fit", min((task.begin for task in tasks), default=hour) * HOUR_MS)
            clock = tally.took("read", clock)
        climates = {id_: Climate(place, airs.get(id_, NO_AIR)) for id_, place in self._roster.places.items()}
        writer = _Writer(self._store, self._counts, sum(_rows(task, hour) for task in tasks))
        for place_id, hours in changed.items():
            affected = [task for task in tasks if any(s.place_id == place_id for s in task.owner.stays)]
            writer.add(len(hours), _air_writer(place_id, airs[place_id], hours, affected))
            tally.add("air_hours", len(hours))
        tally.add("marks", len(marks))
        known: dict[tuple[str, int], _Known] = {}
        for portion in _portions(tasks, hour):
            clock = tally.took("write", clock)
            computed = self._compute(portion, hour, airs, climates, tally)
            clock = time.perf_counter()
            self._write_portion(writer, portion, computed, hour, climates, stored, known, tally)
        writer.add(len(marks), lambda bulk: ledger.delete_marks(bulk, marks))
        writer.add(1, lambda bulk: self._write_rest(bulk, hour, climates, marks, tally))
        self._counts = writer.finish()
        self._airs, self._air_is_fresh, self._hour = airs, False, hour
        self._known.update(known)
        tally.took("write", clock)
        return Evaluation(from_epoch_ms(hour * HOUR_MS), tally.counts, tally.durations_s)

    def _read_book(self, bulk: Bulk) -> None:
        """Read what changed in the book, or was written by another watch, since the last evaluation."""
        counts = ledger.read_counts(bulk)
        before = self._counts
        others = before is None or before.watch != counts.watch
        if others or before is None or before.book != counts.book:
            self._roster = self._reader.read(bulk)
            self._known, self._stacks = {}, {}
        if others or before is None or before.air != counts.air:
            self._airs = ledger.read_airs(bulk)
            self._air_is_fresh = True
        if others:
            last = ledger.last_hours(bulk)
            self._hour = max(last.values(), default=0)
        self._counts = counts

    # ------------------------------------------------------------ air

    def _new_airs(
        self, bulk: Bulk, marks: Sequence[tuple[int, int, int]], hour: int
    ) -> tuple[dict[int, Air], dict[int, np.ndarray[Any, np.dtype[np.int64]]]]:
        """Every place's air up to now, and the hours of each that are not as stored."""
        assert self._roster is not None
        asked: dict[int, np.ndarray[Any, np.dtype[np.int64]]] = {}
        found: dict[int, Measured] = {}
        if marks:
            trust = read_trust(bulk)
            asked = hours_to_compute(bulk, trust, [(sensor, at) for sensor, at, _ in marks])
            asked = {place: hours[hours <= hour] for place, hours in asked.items()}
            found = measured_hours(bulk, trust, asked)
        first_needed = self._roster.first_needed()
        airs: dict[int, Air] = {}
        changed: dict[int, np.ndarray[Any, np.dtype[np.int64]]] = {}
        fresh = self._air_is_fresh
        for place_id in self._roster.places:
            old = self._airs.get(place_id, NO_AIR)
            measured = measured_of(old)
            if place_id in asked:
                measured = merged(measured, asked[place_id], found[place_id])
            if len(measured.hours) == 0:
                if len(old):
                    changed[place_id] = np.arange(old.first, old.end)
                airs[place_id] = NO_AIR
                continue
            first = min(first_needed.get(place_id, hour), int(measured.hours[0]))
            end = max(hour, int(measured.hours[-1]) + 1)
            if place_id not in asked and (old.first, old.end) == (first, end) and not fresh:
                airs[place_id] = old
                continue
            touched = None if fresh else asked.get(place_id, np.empty(0, dtype=np.int64))
            airs[place_id] = bridged(measured, first, hour, old, touched)
            hours = ledger.changed_hours(old, airs[place_id])
            if len(hours):
                changed[place_id] = hours
        return airs, changed

    # ------------------------------------------------------------ who has to be computed, from where

    def _tasks(
        self, bulk: Bulk, changed: Mapping[int, np.ndarray[Any, np.dtype[np.int64]]], hour: int
    ) -> list[_Task]:
        assert self._roster is not None
        self._read_known(bulk, [owner for owner in self._roster.owners if owner.key not in self._known])
        tasks, back = [], []
        for owner in self._roster.owners:
            if not owner.bodies or owner.start_hour > hour:
                continue
            known = self._known.get(owner.key)
            at = _earliest_change(owner, changed, self._outlook is not None)
            end = min(owner.until, hour)
            if known is None:
                tasks.append(_Task(owner, None))
            elif at is not None and at < known.hour:
                back.append((owner, at // 24 * 24))
            elif known.hour < end:
                tasks.append(_Task(owner, known))
        stored = self._known_at(bulk, back)
        tasks += [_Task(owner, stored.get(owner.key)) for owner, _ in back]
        return sorted(tasks, key=lambda task: (task.begin, task.owner.key))

    def _read_known(self, bulk: Bulk, owners: Sequence[Owner]) -> None:
        """Find where owners were last, from what is stored."""
        if not owners:
            return
        last = ledger.last_hours(bulk)
        latest, days = [], []
        for owner in owners:
            hours = [last[body.id] for body in owner.bodies if body.id in last]
            if hours:
                latest.append((owner, min(hours)))
                days.append((owner, min(hours) // 24 * 24))
        found = self._known_at(bulk, latest)
        found = {**self._known_at(bulk, [d for d in days if d[0].key not in found]), **found}
        self._known.update(found)

    def _known_at(self, bulk: Bulk, wanted: Sequence[tuple[Owner, int]]) -> dict[tuple[str, int], _Known]:
        """Owners at hours for which all is stored; the others are left out."""
        bodies: dict[int, list[int]] = {}
        fits: dict[int, list[FitOnBook]] = {}
        for owner, hour in wanted:
            bodies.setdefault(hour, []).extend(body.id for body in owner.bodies)
            fits.setdefault(hour, []).extend(owner.fits)
        stored = ledger.read_states(bulk, bodies)
        standing = ledger.read_resumed(bulk, fits)
        found = {}
        for owner, hour in wanted:
            states = ledger.states_at(owner, hour, stored)
            if states is not None:
                resumed = {}
                for fit in owner.fits:
                    one = ledger.resumed_from(fit.limit_names, standing.get(fit.id))
                    if one is not None:
                        resumed[fit.id] = one
                found[owner.key] = _Known(hour, states, resumed)
        return found

    # ------------------------------------------------------------ states and margins

    def _compute(
        self,
        tasks: Sequence[_Task],
        hour: int,
        airs: Mapping[int, Air],
        climates: Mapping[int, Climate],
        tally: _Tally,
    ) -> tuple[Run, list[list[FitHours]]]:
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
        crossings = self._foresee(tasks, done, airs)
        fits: list[list[FitHours]] = []
        row = 0
        for task, foreseen in zip(tasks, crossings, strict=True):
            rows = {body.name: row + place for place, body in enumerate(task.owner.bodies)}
            row += len(task.owner.bodies)
            fits.append(
                fits_through(
                    task.owner, done, rows, task.hour, task.known.resumed if task.known else {}, hour,
                    climates, foreseen, self._moisture_then(task, done, rows),
                )
            )  # fmt: skip
        settle([fit for own in fits for fit in own])
        tally.took("margins", clock)
        return done, fits

    def _moisture_then(self, task: _Task, done: Run, rows: Mapping[str, int]) -> Callable[[int, int], float]:
        """Mean moisture content of one of the owner's bodies at a kept hour, computed now or before."""
        row_of = {body.id: rows[body.name] for body in task.owner.bodies}
        stored: dict[tuple[int, int], float] = {}

        def then(body_id: int, hour: int) -> float:
            if hour >= done.first:
                value = float(done.mc_pct[row_of[body_id], hour - done.first])
                if not math.isnan(value):
                    return value
            if not stored:
                with ledger.reading(self._store) as bulk:
                    ids = [body.id for body in task.owner.bodies]
                    found = ledger.read_states(bulk, dict.fromkeys(task.owner.kept_hours, ids))
                stored.update({key: values[3] for key, values in found.items()})
            return stored[body_id, hour]

        return then

    def _foresee(self, tasks: Sequence[_Task], done: Run, airs: Mapping[int, Air]) -> list[Crossings]:
        """What the outlook foresees at each midnight computed, for each task."""
        found: list[dict[int, Mapping[tuple[str, str], Mapping[str, Any]]]] = [{} for _ in tasks]
        if self._outlook is None:
            return list(found)
        requests: list[OutlookRequest] = []
        whose: list[int] = []
        of_row = [(number, body.name) for number, task in enumerate(tasks) for body in task.owner.bodies]
        moistures_then, first = [], 0
        for task in tasks:
            rows = {body.name: first + place for place, body in enumerate(task.owner.bodies)}
            moistures_then.append(self._moisture_then(task, done, rows))
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
        for number, request, answer in zip(whose, requests, self._outlook(requests), strict=True):
            found[number][request.hour] = answer
        return list(found)

    # ------------------------------------------------------------ writing

    def _write_portion(
        self,
        writer: "_Writer",
        tasks: Sequence[_Task],
        computed: tuple[Run, list[list[FitHours]]],
        hour: int,
        climates: Mapping[int, Climate],
        stored: Mapping[int, list[Any]],
        known: dict[tuple[str, int], _Known],
        tally: _Tally,
    ) -> None:
        done, fits = computed
        is_stack = [task.owner.kind == "stack" for task in tasks for _ in task.owner.bodies]
        checkpoints = checkpoint_rows(done, self._kept_widths(tasks, done), is_stack)
        margins: list[tuple[Any, ...]] = []
        verdicts: list[tuple[Any, ...]] = []
        changes: list[Changes] = []
        airs_then: dict[tuple[int | None, int], AirThen] = {}
        row = 0
        for task, own in zip(tasks, fits, strict=True):
            owner, end = task.owner, min(task.owner.until, hour)
            part = done.states.part(np.arange(row, row + len(owner.bodies)))
            row += len(owner.bodies)
            resumed = dict(task.known.resumed) if task.known else {}
            judged: dict[str, Judged] = {}
            stood = owner.place_at(max(end - 1, owner.start_hour)), end
            if stood not in airs_then:
                airs_then[stood] = _air_then(owner, end, climates)
            air = airs_then[stood]
            for fit in own:
                margins += margin_rows(fit, owner.kept_hours)
                episodes, replaced = episodes_of(fit, stored.get(fit.fit.id, []))
                change = reconcile(replaced, episodes)
                if len(change):
                    changes.append(change)
                assert fit.history is not None
                column = fit.last - fit.first
                resumed[fit.fit.id] = Resumed(
                    fit.fit.limit_names,
                    fit.history.at(column),
                    tuple(held[column] for held in fit.crossing),
                )
                names = {member.name for member in fit.fit.fit.members}
                variance = max(
                    part.variance_pct2[k] for k, body in enumerate(owner.bodies) if body.name in names
                )
                limits = [limit_at(fit, number, column) for number in range(len(fit.limits))]
                judged[fit.fit.name] = verdict_of(limits, air, math.sqrt(variance))
                if owner.until > hour:
                    verdicts.append(verdict_row("fit", fit.fit.id, judged[fit.fit.name], hour))
            if owner.kind == "piece" and owner.until > hour:
                problem = "its members were measured later" if owner.fits and not judged else ""
                verdicts.append(verdict_row("piece", owner.id, verdict_of_piece(judged, end, problem), hour))
            known[owner.key] = _Known(end, part, resumed)
            if owner.kind == "stack" and task.begin // 24 < hour // 24:
                self._stacks.pop(owner.id, None)
        rewinds = [(task.owner, task.rewind_hour()) for task in tasks]
        tally.add("checkpoints", len(checkpoints))
        tally.add("margins", len(margins))
        tally.add("opened", sum(len(change.added) for change in changes))
        tally.add("changed", sum(len(change.changed) for change in changes))
        tally.add("withdrawn", sum(len(change.removed) for change in changes))

        def write(bulk: Bulk) -> None:
            ledger.delete_from(bulk, rewinds)
            ledger.insert(bulk, "checkpoint", ledger.CHECKPOINT, _instants(bulk, checkpoints, 1))
            ledger.insert(bulk, "margin", ledger.MARGIN, _instants(bulk, margins, 2, 8))
            write_changes(bulk, changes)
            ledger.put_verdicts(bulk, _instants(bulk, verdicts, 3, 4))

        writer.add(len(checkpoints) + len(margins) + len(verdicts), write)

    def _kept_widths(self, tasks: Sequence[_Task], done: Run) -> dict[int, list[tuple[int, float, float]]]:
        """Re-measured widths by row: hour, width and the moisture content they were measured at."""
        found: dict[int, list[tuple[int, float, float]]] = {}
        row = 0
        for task in tasks:
            if not any(body.widths for body in task.owner.bodies):
                row += len(task.owner.bodies)
                continue
            rows = {body.name: row + place for place, body in enumerate(task.owner.bodies)}
            then = self._moisture_then(task, done, rows)
            for body in task.owner.bodies:
                if body.widths:
                    found[row] = [
                        (at, width, then(body.id, at))
                        for at, width in body.widths
                        if body.start_hour <= at < done.first + done.mc_pct.shape[1]
                    ]
                row += 1
        return found

    def _write_rest(
        self,
        bulk: Bulk,
        hour: int,
        climates: Mapping[int, Climate],
        marks: Sequence[tuple[int, int, int]],
        tally: _Tally,
    ) -> None:
        """Verdicts of places, stacks and sensors, and of pieces that can't be followed."""
        assert self._roster is not None
        rows = []
        for id_, climate in climates.items():
            rows.append(verdict_row("place", id_, _place_now(climate, hour), hour))
        retired = []
        for owner in self._roster.owners:
            if owner.until <= hour:
                retired += [(owner.kind, owner.id), *(("fit", fit) for fit in owner.fit_ids)]
                continue
            if owner.kind == "stack" and owner.bodies and owner.start_hour <= hour:
                judged = stack_now(
                    bulk, owner, hour, climates, _air_then(owner, hour, climates), self._stacks
                )
                rows.append(verdict_row("stack", owner.id, judged, hour))
            elif not owner.bodies or owner.start_hour > hour:
                judged = verdict_of_piece({}, hour, owner.problem)
                rows.append(verdict_row(owner.kind, owner.id, judged, hour))
        sensors, changes = sensors_now(bulk, self._roster.places, hour, marks)
        rows += sensors
        tally.add("opened", sum(len(change.added) for change in changes))
        write_changes(bulk, changes)
        ledger.put_verdicts(bulk, _instants(bulk, rows, 3, 4))
        bulk.each("DELETE FROM verdict WHERE subject_kind = ? AND subject_id = ?", retired)


def bring_up_to_date(
    store: Store, now: datetime, outlook_crossings: OutlookProvider | None = None
) -> Evaluation:
    """Bring every computed table of a book up to an instant: air, states, margins, verdicts, warnings.

    Parameters
    ----------
    store : Store
        Its schema must be current.
    now : datetime
        Aware; states reach the full hour before it.
    """
    return Watch(store, outlook_crossings).bring_up_to_date(now)


class _Writer:
    """Writes parts in as few transactions as stay short; each part is whole within one."""

    def __init__(self, store: Store, counts: Counts, expected_rows: int) -> None:
        self._store, self._counts = store, counts
        self._parts: list[Callable[[Bulk], None]] = []
        self._rows = 0
        self.at_once = expected_rows <= ROWS_AT_ONCE

    def add(self, rows: int, part: Callable[[Bulk], None]) -> None:
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
        self._counts = Counts(self._counts.watch + 1, self._counts.book, self._counts.air)
        self._parts, self._rows = [], 0


def _air_writer(
    place_id: int, air: Air, hours: np.ndarray[Any, np.dtype[np.int64]], tasks: Sequence[_Task]
) -> Callable[[Bulk], None]:
    """Writes a place's changed air together with taking back what was computed from the air before.

    Should the program end right after, the next evaluation finds the states taken back and goes on.
    """
    rewinds = [(task.owner, task.rewind_hour()) for task in tasks]

    def write(bulk: Bulk) -> None:
        ledger.write_air(bulk, place_id, air, hours.tolist())
        ledger.delete_from(bulk, rewinds)

    return write


def _earliest_change(
    owner: Owner, changed: Mapping[int, np.ndarray[Any, np.dtype[np.int64]]], foreseen: bool
) -> int | None:
    """The first hour from which an owner has to be computed again for air that changed.

    That is the first it spent in such air; where an outlook is asked for, its stay's first when the place's
    earlier air changed, since the outlook knows the place by all of its air.
    """
    found = []
    for stay in owner.stays:
        hours = changed.get(stay.place_id)
        if hours is None or not len(hours):
            continue
        since = max(stay.since, owner.start_hour)
        if foreseen and owner.fits and hours[0] < since < stay.until:
            found.append(since)
            continue
        position = int(np.searchsorted(hours, since))
        if position < len(hours) and hours[position] < stay.until:
            found.append(int(hours[position]))
    return min(found, default=None)


def _portions(tasks: Sequence[_Task], hour: int) -> list[list[_Task]]:
    """Tasks in portions whose hours fit in memory, those that begin together in one."""
    portions: list[list[_Task]] = []
    load, begin = 0, 0
    for task in tasks:
        begin = task.begin if not portions or not load else begin
        load += (hour - begin + 1) * len(task.owner.bodies)
        if not portions or load > BODY_HOURS_AT_ONCE:
            portions.append([])
            begin = task.begin
            load = (hour - begin + 1) * len(task.owner.bodies)
        portions[-1].append(task)
    return portions


def _rows(task: _Task, hour: int) -> int:
    """About how many rows a task writes."""
    days = (hour - task.begin) // 24 + 2
    return days * (len(task.owner.bodies) + 3 * len(task.owner.fits))


def _air_then(owner: Owner, hour: int, climates: Mapping[int, Climate]) -> AirThen:
    """Whether the air where an owner stood up to an hour is known."""
    place_id = owner.place_at(max(hour - 1, owner.start_hour))
    climate = climates.get(place_id) if place_id is not None else None
    if climate is None:
        return AirThen(None, NEVER_H, 0, hour)
    age_h = int(climate.age_h(np.array([hour]))[0])
    return AirThen(climate.place.name, age_h, climate.silent_after_h, hour)


def _place_now(climate: Climate, hour: int) -> Judged:
    air = climate.air
    age_h = int(climate.age_h(np.array([hour]))[0])
    then = AirThen(climate.place.name, age_h, climate.silent_after_h, hour)
    if len(air) == 0:
        return verdict_of_place(math.nan, math.nan, math.nan, math.nan, then, hour)
    row = min(max(hour - 1 - air.first, 0), len(air) - 1)

    def change(at: int) -> float:
        return climate.mean_emc_pct(at - 24, at) - climate.mean_emc_pct(at - 96, at - 72, 12)

    since = climate.heard_since()
    if abs(change(hour)) > MOVING_PCT_IN_3_DAYS:
        since = hour
        while hour - since < 14 * 24 and abs(change(since - 24)) > MOVING_PCT_IN_3_DAYS:
            since -= 24
    return verdict_of_place(
        float(air.temperature_c[row]),
        float(air.rh_pct[row]),
        climate.mean_emc_pct(hour - 24, hour),
        climate.mean_emc_pct(hour - 96, hour - 72, 12),
        then,
        since,
    )


def _instants(bulk: Bulk, rows: Sequence[tuple[Any, ...]], *columns: int) -> list[tuple[Any, ...]]:
    """Rows with the milliseconds of some columns as the database has instants."""
    if bulk.instant(0) == 0:
        return list(rows)
    return [
        tuple(bulk.instant(value) if k in columns else value for k, value in enumerate(row)) for row in rows
    ]
