"""The watch as a process: wakes when readings came, the book changed or an hour ended, and evaluates."""

import gc
import logging
import threading
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import DBAPIError

from model.records.clock import Now, machine_now
from model.records.store import Store
from model.records.tables import Pulse, StaleHour, Tally
from model.records.types import to_epoch_ms
from model.watch.air_hours import HOUR_MS
from model.watch.evaluation import Evaluation, OutlookProvider, Watch, bring_up_to_date
from model.watch.ledger import WATCH, Overtaken

__all__ = ["Evaluation", "OutlookProvider", "Watch", "bring_up_to_date", "run"]

log = logging.getLogger(__name__)

PULSE_EVERY_S = 5.0
LONGEST_WAIT_S = 60.0


def run(
    store: Store,
    now: Now,
    stop: threading.Event,
    interval_s: float = 1.0,
    outlook_crossings: OutlookProvider | None = None,
    after: Sequence[Callable[[datetime], object]] = (),
) -> None:
    """Keep a book up to date until told to stop.

    Looks every `interval_s` whether there is anything to do, which costs three small reads, and gives a sign
    of life every few seconds. A database that fails is waited for, longer each time; two watches on one book
    take turns.

    Parameters
    ----------
    store : Store
    now : callable
        The book's clock.
    stop : Event
        Set from outside; noticed within `interval_s`, or when the evaluation under way ends.
    interval_s : float
        Seconds between looks.
    outlook_crossings : OutlookProvider, optional
    after : sequence of callables
        Called with the book's time at each look, after what was to be evaluated: the outlook of the day, what
        clamps wait for. Each has to find quickly that it has nothing to do.
    """
    watch = Watch(store, outlook_crossings)
    # The watch speaks to the driver directly, so the driver's own errors come up too.
    troubles = (DBAPIError, store.engine.dialect.loaded_dbapi.Error)
    seen: tuple[Any, ...] | None = None
    pulse_at = 0.0
    wait_s = interval_s
    last: Evaluation | None = None
    while not stop.is_set():
        try:
            signs = _signs(store, now())
            if signs != seen:
                last = watch.bring_up_to_date(now())
                # What came in while it ran shows as other signs than before it ran.
                if seen is None:
                    # What was read now lives as long as the process; looking through it again at every
                    # collection would cost more than an hour's evaluation.
                    gc.collect()
                    gc.freeze()
                seen = signs
                pulse_at = 0.0
            if time.monotonic() - pulse_at >= PULSE_EVERY_S:
                _pulse(store, last)
                pulse_at = time.monotonic()
            for more in after:
                more(now())
            wait_s = interval_s
        except Overtaken:
            log.info("another watch is at work on %s", store.shown)
            wait_s = interval_s
        except troubles as error:
            wait_s = min(max(2.0 * wait_s, 1.0), LONGEST_WAIT_S)
            log.warning(
                "the database %s can't be used: %s; trying again in %g s",
                store.shown,
                getattr(error, "orig", error),
                wait_s,
            )
        stop.wait(wait_s)


def _signs(store: Store, at: datetime) -> tuple[Any, ...]:
    """Whatever tells that there is something to do: marks, changes of the book, the hour."""
    hour = to_epoch_ms(at) // HOUR_MS
    with store.session() as session:
        marks = session.execute(
            select(func.count(), func.sum(StaleHour.revision), func.max(StaleHour.hour_at))
        ).one()
        changes = session.execute(select(Tally.name, Tally.count).where(Tally.name.like("book%"))).all()
    return (*marks, tuple(sorted(tuple(change) for change in changes)), hour)


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
        session.merge(Pulse(part=WATCH, at=machine_now(), detail=detail))
