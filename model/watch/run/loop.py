"""The watch as a process: wakes when readings came, the book changed or an hour ended, and evaluates."""

import gc
import logging
import math
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import datetime
from typing import Any

from sqlalchemy.exc import DBAPIError

from model.records.acts.invalidation import BOOK
from model.records.clock import Now, machine_now
from model.records.queries.health import PULSE_EVERY_S
from model.records.schema.tables import Pulse
from model.records.schema.types import to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS
from model.watch.run import watch_sql as ledger
from model.watch.run.evaluation import Evaluation, Watch
from model.watch.run.standby import Lock, lock_of
from model.watch.run.watch_sql import Overtaken

log = logging.getLogger(__name__)

PART = "watch"
"""Name of its sign of life."""
BUSY_PULSE_EVERY_S = 3.0
"""Between signs of life while it computes, where nothing else shows that it is at work."""
CALM_AFTER_S, GATHER_S = 300.0, 300.0
"""So long after the last change of the book nobody looks on: readings of an hour under way are gathered."""
LONGEST_WAIT_S = 60.0
LONGEST_REST_S = 5.0


def run(
    store: Store,
    now: Now,
    stop: threading.Event,
    interval_s: float = 1.0,
    after: Sequence[Callable[[datetime], object]] = (),
    lock: Lock | None = None,
) -> None:
    """Keep a book up to date until told to stop.

    Looks every `interval_s` whether there is anything to do, which costs a few small reads, and gives a sign
    of life every few seconds. A database that fails is waited for, longer each time. Of several watches on
    one book one works and the others stand by until it ends.

    Parameters
    ----------
    store : Store
    now : callable
        The book's clock.
    stop : Event
        Set from outside; noticed within `interval_s`, or when the evaluation under way ends.
    interval_s : float
        Seconds between looks.
    after : sequence of callables
        Called with the book's time at each look, after what was to be evaluated: the outlook of the day, what
        clamps wait for. Each has to find quickly that it has nothing to do.
    lock : Lock, optional
        Says whether this watch is the one at work; one of its own is made if not given.
    """
    heart = Heart(store)
    watch = Watch(store, heart.beat)
    lock = lock or lock_of(store)
    try:
        _run(store, now, stop, interval_s, watch, lock, after, heart)
    finally:
        lock.close()


def _run(
    store: Store,
    now: Now,
    stop: threading.Event,
    interval_s: float,
    watch: Watch,
    lock: Lock,
    after: Sequence[Callable[[datetime], object]],
    heart: "Heart",
) -> None:
    seen: tuple[Any, ...] | None = None
    wait_s = interval_s
    at_work: bool | None = None
    was_read = False
    looked_s = changed_s = -math.inf  # when it last evaluated, and last found the book changed
    while not stop.is_set():
        try:
            before, at_work = at_work, lock.look()
            if not at_work:  # the sign of life is that of the watch at work
                if before is not False:
                    log.info("another watch works on %s; standing by for when it ends", store.shown)
                stop.wait(interval_s)
                continue
            if before is False:
                log.info("the other watch on %s has ended; this one works now", store.shown)
            began = time.monotonic()
            is_calm = began >= changed_s + CALM_AFTER_S and began < looked_s + GATHER_S
            signs, due = _signs(store, now(), watch, is_calm)
            if due or signs != seen:
                heart.begin()
                heart.end(watch.bring_up_to_date(now()))
                # What came in while it ran shows as other signs than before it ran.
                if not was_read:
                    # What was read now lives as long as the process; looking through it again at every
                    # collection would cost more than an hour's evaluation.
                    gc.collect()
                    gc.freeze()
                    was_read = True
                looked_s = time.monotonic()
                if seen is None or signs[0] != seen[0]:
                    changed_s = looked_s
                seen = signs
            heart.rest()
            for more in after:
                more(now())
                heart.rest()
            # Sensors that send every second keep it busy half of the time at most.
            wait_s = max(interval_s, min(time.monotonic() - began, LONGEST_REST_S))
        except Overtaken:
            log.info("another watch is at work on %s", store.shown)
            wait_s = interval_s
        except DBAPIError as error:
            wait_s = min(max(2.0 * wait_s, 1.0), LONGEST_WAIT_S)
            log.warning(
                "the database %s can't be used: %s; trying again in %g s",
                store.shown,
                getattr(error, "orig", error),
                wait_s,
            )
        stop.wait(wait_s)


def _signs(store: Store, at: datetime, watch: Watch, is_calm: bool) -> tuple[tuple[Any, ...], bool]:
    """What may have become another since the last look, the changes of the book and the hour; and whether
    there is something to do whatever it was then: marks, or another watch has written.

    While it is calm, marks of the hour under way and the one before, which its readings bear on, can wait.
    """
    hour = to_epoch_ms(at) // HOUR_MS
    with ledger.reading(store) as bulk:
        changes = bulk.rows("SELECT name, count FROM tally WHERE name LIKE ? ORDER BY name", (f"{BOOK}%",))
        due = ledger.any_marks(bulk, hour - 2 if is_calm else hour) or watch.has_moved(
            ledger.read_counts(bulk)
        )
    return (tuple(changes), hour), due


class Heart:
    """The watch's sign of life, with what its last evaluation did.

    Attributes
    ----------
    last : Evaluation or None
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._beat_s = -math.inf
        self._begun_s = -math.inf
        self._computing_since: datetime | None = None
        self._told_computing = False
        self.last: Evaluation | None = None

    def begin(self) -> None:
        """An evaluation begins."""
        self._begun_s, self._computing_since = time.monotonic(), machine_now()

    def end(self, done: Evaluation) -> None:
        """An evaluation has ended; the first, and one that took long, is told at once."""
        is_told = self.last is not None and not self._told_computing
        self.last, self._computing_since = done, None
        self.rest(PULSE_EVERY_S if is_told else 0.0)

    def beat(self) -> None:
        """Give one if the last is some seconds ago; an evaluation calls this between its portions."""
        if time.monotonic() - self._begun_s >= BUSY_PULSE_EVERY_S:
            # What is computed must not be lost for a sign of life that could not be written.
            with suppress(DBAPIError):
                self.rest(BUSY_PULSE_EVERY_S)

    def rest(self, every_s: float = PULSE_EVERY_S) -> None:
        """Give one if the last is so long ago."""
        if time.monotonic() - self._beat_s < every_s:
            return
        detail: dict[str, Any] = {}
        if self._computing_since is not None:
            detail["computing_since"] = self._computing_since.isoformat()
        if self.last is not None:
            detail |= {
                "as_of": self.last.as_of.isoformat(),
                "counts": dict(self.last.counts),
                "durations_s": {name: round(value, 4) for name, value in self.last.durations_s.items()},
            }
        with self._store.session() as session:
            session.merge(Pulse(part=PART, at=machine_now(), detail=detail))
        self._beat_s, self._told_computing = time.monotonic(), self._computing_since is not None
