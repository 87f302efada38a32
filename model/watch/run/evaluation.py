"""One evaluation: from readings that came to warnings opened and closed.

`Watch` keeps between evaluations what it would otherwise read again; what it keeps never decides anything,
because every evaluation checks that the stored tables are still those it knows. Long computations run
outside any transaction; results are written in short ones, each whole in itself.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from model.records.bulk import Bulk
from model.records.schema.types import from_epoch_ms, to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS, Readings, hours_to_compute, measured_hours, read_trust
from model.watch.air.climate import SILENT_AFTER_H, Climate
from model.watch.air.gap_fill import NO_AIR, HourlyAir, Hours, Measured, filled, measured_of, merged
from model.watch.run import watch_sql as ledger
from model.watch.run.computing import compute
from model.watch.run.rows import verdict_row
from model.watch.run.tasks import Known, Tally, Task, earliest_change, portions
from model.watch.run.watch_sql import Counts, Overtaken
from model.watch.run.writing import AirsThen, Results, ResultWriter, add_computed
from model.watch.state import read_back as resume
from model.watch.state.roster import Assembly, FitOnBook, Roster
from model.watch.state.roster_reader import RosterReader
from model.watch.tell.place_stack_verdicts import Around
from model.watch.tell.verdicts import verdict_of_piece
from model.watch.tell.warnings import read_stored
from model.watch.trust.judge import Judge
from model.watch.trust.wood_judge import WoodJudge

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


class Watch:
    """Evaluates a book again and again.

    Parameters
    ----------
    store : Store
    beat : callable
        Called every few seconds from within an evaluation, outside every transaction that writes.
    """

    def __init__(self, store: Store, beat: Callable[[], object] = lambda: None) -> None:
        self._store, self._beat = store, beat
        self._reader = RosterReader()
        self._judge = Judge(store, beat)
        self._wood = WoodJudge(store)
        self._forget()

    def has_moved(self, counts: Counts) -> bool:
        """Whether another watch has written since the last evaluation."""
        return self._counts is None or self._counts.watch != counts.watch

    def _forget(self) -> None:
        self._counts: Counts | None = None
        self._roster: Roster | None = None
        self._airs: dict[int, HourlyAir] = {}
        self._trusted: dict[int, int] = {}  # by place, the hour up to which its air is trusted
        self._known: dict[tuple[str, int], Known] = {}
        self._around = Around()
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
                found = self._evaluate(now)
                # After the air it stood in is known; what it measured is then followed at once.
                return self._evaluate(now) if self._measure(now) else found
            except Overtaken:
                self._forget()
                if attempt == TRIES - 1:
                    raise
            except BaseException:
                self._forget()
                raise
        raise AssertionError("unreachable")

    def _measure(self, now: datetime) -> bool:
        """Make measurements of what sensors on wood sent; whether any changed."""
        assert self._roster is not None
        assert self._hour is not None
        return self._wood.judge(self._roster, self._airs, self._hour, to_epoch_ms(now))

    # ------------------------------------------------------------ one evaluation

    def _evaluate(self, now: datetime) -> Evaluation:
        tally = Tally()
        clock = time.perf_counter()
        with ledger.reading(self._store) as bulk:
            counts = ledger.read_counts(bulk)
            self._read_book(bulk, counts)
            assert self._roster is not None
            hour = max(to_epoch_ms(now) // HOUR_MS, self._hour or 0)
            # Marks come before the readings they speak of: a reading that comes in between marks again.
            marks = self._judge.judge(bulk, hour, to_epoch_ms(now))
            clock = tally.took("trust", clock)
            airs, changed = self._new_airs(bulk, marks, hour)
            clock = tally.took("air", clock)
            tasks = self._tasks(bulk, changed, hour)
            stored = read_stored(bulk, "fit", min((task.begin for task in tasks), default=hour) * HOUR_MS)
            clock = tally.took("read", clock)
        climates = {id_: Climate(self._roster.places[id_], air) for id_, air in airs.items()}
        writer = ResultWriter(self._store, counts, tally)
        for place_id, hours in changed.items():
            # Together with taking back what was computed from the air before: should the program end right
            # after, the next evaluation finds the states taken back and goes on.
            writer.rows.airs.append((place_id, airs[place_id], hours.tolist()))
            for task in tasks:
                rewind = task.rewind_hour()
                if task.goes_back and rewind is not None and task.owner.stood_at(place_id):
                    writer.rows.rewinds.append((task.owner, rewind))
            writer.flush_if_full()
            self._beat()
        known: dict[tuple[str, int], Known] = {}
        airs_then: AirsThen = {}
        for portion in portions(tasks):
            clock = tally.took("write", clock)
            computed = compute(self._store, portion, airs, climates, tally, self._beat)
            clock = time.perf_counter()
            for one in computed:
                owner = one.task.owner
                known[owner.key] = add_computed(writer.rows, one, hour, climates, stored, airs_then)
                writer.flush_if_full()
                self._beat()
            self._beat()
        writer.flush()
        begins = [task.begin for task in tasks] + [int(hours[0]) for hours in changed.values()]
        self._around.changed_from(min(begins, default=hour))
        # Judged from what is on record by now, before the last transaction: nobody waits for that.
        self._beat()
        with ledger.reading(self._store) as bulk:
            self._judge_rest(bulk, writer.rows, hour, climates, marks)
        self._beat()
        writer.rows.marks = list(marks)
        writer.flush()
        self._counts = writer.counts
        self._airs, self._hour = airs, hour
        self._known.update(known)
        tally.took("write", clock)
        return Evaluation(from_epoch_ms(hour * HOUR_MS), tally.counts, tally.durations_s)

    def _read_book(self, bulk: Bulk, counts: Counts) -> None:
        """Read what changed in the book, or was written by another watch, since the last evaluation."""
        before = self._counts
        others = self.has_moved(counts)
        if others or before is None or before.book != counts.book or self._roster is None:
            self._roster = self._reader.read(bulk)
            self._known, self._around = {}, Around()
        if others or before is None or before.air != counts.air:
            self._airs = ledger.read_airs(bulk)
        if others:
            self._judge.forget()
            self._wood.forget()
            last = resume.last_hours(bulk)
            self._hour = max(last.values(), default=0)
        self._counts = counts

    # ------------------------------------------------------------ air

    def _new_airs(
        self, bulk: Bulk, marks: Sequence[tuple[int, int, int]], hour: int
    ) -> tuple[dict[int, HourlyAir], dict[int, Hours]]:
        """Every place's air up to now, and the hours of each that are not as stored."""
        assert self._roster is not None
        asked: dict[int, Hours] = {}
        found: dict[int, Measured] = {}
        if marks:
            trust = read_trust(bulk)
            asked = hours_to_compute(bulk, trust, [(sensor, at) for sensor, at, _ in marks])
            asked = {place: hours[hours <= hour] for place, hours in asked.items()}
            found = measured_hours(bulk, trust, asked, self._around_hours)
        first_needed = self._roster.first_needed()
        old_airs, self._trusted = self._airs, {}
        known = {}
        for place_id, place in self._roster.places.items():
            measured = measured_of(old_airs.get(place_id, NO_AIR))
            if place_id in asked:
                measured = merged(measured, asked[place_id], found[place_id])
            known[place_id] = measured
            if len(measured.hours):
                self._trusted[place_id] = int(measured.hours[-1]) + 1 + SILENT_AFTER_H[place.kind]
        last_needed = self._roster.last_needed(self._trusted, hour)
        changed: dict[int, Hours] = {}
        airs: dict[int, HourlyAir] = {}
        for place_id in sorted(self._roster.places):
            old, measured = old_airs.get(place_id, NO_AIR), known[place_id]
            if len(measured.hours) == 0:
                if len(old):
                    changed[place_id] = np.arange(old.first, old.end)
                airs[place_id] = NO_AIR
                continue
            first = min(first_needed.get(place_id, hour), int(measured.hours[0]))
            end = max(last_needed.get(place_id, 0), int(measured.hours[-1]) + 1)
            if place_id not in asked and (old.first, old.end) == (first, end):
                airs[place_id] = old
                continue
            airs[place_id] = filled(measured, first, end)
            hours = ledger.changed_hours(old, airs[place_id])
            if len(hours):
                changed[place_id] = hours
        return airs, changed

    def _around_hours(self, bulk: Bulk, sensor_id: int, first: int, until: int) -> Readings:
        self._beat()
        return self._judge.caches.around(bulk, sensor_id, first, until)

    # ------------------------------------------------------------ who has to be computed, from where

    def _tasks(self, bulk: Bulk, changed: Mapping[int, Hours], hour: int) -> list[Task]:
        assert self._roster is not None
        self._read_known(bulk, [owner for owner in self._roster.owners if owner.key not in self._known])
        tasks, back = [], []
        for owner in self._roster.owners:
            if not owner.bodies or owner.start_hour > hour:
                continue
            known = self._known.get(owner.key)
            at = earliest_change(owner, changed)
            end = owner.followed_until(self._trusted, hour)
            if known is None:
                tasks.append(Task(owner, None, end))
            elif at is not None and at < known.hour:
                back.append((owner, at // 24 * 24))
            elif known.hour < end or (end < hour < owner.until and known.judged_hour < hour):
                tasks.append(Task(owner, known, end))
        stored = self._known_at(bulk, back)
        tasks += [
            Task(owner, stored.get(owner.key), owner.followed_until(self._trusted, hour)) for owner, _ in back
        ]
        # The newest first: an hour more of everything else doesn't wait for years of one piece.
        return sorted(tasks, key=lambda task: (-task.begin, task.owner.key))

    def _read_known(self, bulk: Bulk, owners: Sequence[Assembly]) -> None:
        """Find where owners were last, from what is stored."""
        if not owners:
            return
        last = resume.last_hours(bulk)
        latest, days = [], []
        for owner in owners:
            hours = [last[body.id] for body in owner.bodies if body.id in last]
            if hours:
                latest.append((owner, min(hours)))
                days.append((owner, min(hours) // 24 * 24))
        found = self._known_at(bulk, latest)
        found = {**self._known_at(bulk, [d for d in days if d[0].key not in found]), **found}
        self._known.update(found)

    def _known_at(self, bulk: Bulk, wanted: Sequence[tuple[Assembly, int]]) -> dict[tuple[str, int], Known]:
        """Owners at hours for which all is stored; the others are left out."""
        bodies: dict[int, list[int]] = {}
        fits: dict[int, list[FitOnBook]] = {}
        for owner, hour in wanted:
            bodies.setdefault(hour, []).extend(body.id for body in owner.bodies)
            fits.setdefault(hour, []).extend(owner.fits)
        stored = resume.read_states(bulk, bodies)
        standing = resume.read_resumed(bulk, fits)
        learned = resume.read_learned(bulk, [owner for owner, _ in wanted])
        found = {}
        for owner, hour in wanted:
            states = resume.states_at(owner, hour, stored)
            taught = resume.learned_at(owner, hour, learned)
            if states is not None and taught is not None:
                resumed = {}
                for fit in owner.fits:
                    one = resume.resumed_from(fit.limit_names, standing.get(fit.id))
                    if one is not None:
                        resumed[fit.id] = one
                found[owner.key] = Known(hour, states, resumed, taught)
        return found

    # ------------------------------------------------------------ the rest

    def _judge_rest(
        self,
        bulk: Bulk,
        rows: Results,
        hour: int,
        climates: Mapping[int, Climate],
        marks: Sequence[tuple[int, int, int]],
    ) -> None:
        """Verdicts and warnings of places, stacks and sensors; verdicts of pieces that can't be followed."""
        assert self._roster is not None
        verdicts, changes = self._around.judge(bulk, self._roster, hour, climates, marks, self._trusted)
        rows.verdicts += verdicts
        rows.changes += changes
        for owner in self._roster.owners:
            if owner.until <= hour:
                rows.retired.append(owner)
            elif not owner.bodies or owner.start_hour > hour:
                judged = verdict_of_piece({}, hour, owner.problem)
                rows.verdicts.append(verdict_row(owner.kind, owner.id, judged, hour))


def bring_up_to_date(store: Store, now: datetime) -> Evaluation:
    """Bring every computed table of a book up to an instant: air, states, margins, verdicts, warnings.

    Parameters
    ----------
    store : Store
        Its schema must be current.
    now : datetime
        Aware; states reach the full hour before it.
    """
    return Watch(store).bring_up_to_date(now)
