"""The watch as a process: wakes when readings came, the book changed or an hour ended, and evaluates."""

import gc
import logging
import threading
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy.exc import DBAPIError

from model.records.acts.invalidation import BOOK
from model.records.clock import Now, machine_now
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
PULSE_EVERY_S = 5.0
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
    watch = Watch(store)
    lock = lock or lock_of(store)
    try:
        _run(store, now, stop, interval_s, watch, lock, after)
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
) -> None:
    seen: tuple[Any, ...] | None = None
    pulse_at = 0.0
    wait_s = interval_s
    last: Evaluation | None = None
    at_work: bool | None = None
    was_read = False
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
            signs, due = _signs(store, now(), watch)
            began = time.monotonic()
            if due or signs != seen:
                last = watch.bring_up_to_date(now())
                # What came in while it ran shows as other signs than before it ran.
                if not was_read:
                    # What was read now lives as long as the process; looking through it again at every
                    # collection would cost more than an hour's evaluation.
                    gc.collect()
                    gc.freeze()
                    was_read = True
                seen = signs
                pulse_at = 0.0
            if time.monotonic() - pulse_at >= PULSE_EVERY_S:
                _pulse(store, last)
                pulse_at = time.monotonic()
            for more in after:
                more(now())
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


def _signs(store: Store, at: datetime, watch: Watch) -> tuple[tuple[Any, ...], bool]:
    """What may have become another since the last look, the changes of the book and the hour; and whether
    there is something to do whatever it was then: marks, or another watch has written."""
    hour = to_epoch_ms(at) // HOUR_MS
    with ledger.reading(store) as bulk:
        changes = bulk.rows("SELECT name, count FROM tally WHERE name LIKE ? ORDER BY name", (f"{BOOK}%",))
        due = ledger.any_marks(bulk, hour) or watch.has_moved(ledger.read_counts(bulk))
    return (tuple(changes), hour), due


def _pulse(store: Store, last: Evaluation | None) -> None:
    """A sign of life for /healthz, with what the last evaluation did."""
    detail: dict[str, Any] = {}
    if last is not None:
        detail = {
            "as_of": last.as_of.isoformat(),
            "counts": dict(last.counts),
            "durations_s": {name: round(value, 4) for name, value in last.durations_s.items()},
        }
    with store.session() as session:
        session.merge(Pulse(part=PART, at=machine_now(), detail=detail))
