"""Tells the owner when the service itself is in trouble, and when it is over; the supervisor calls it."""

import logging
import time
from collections.abc import Callable, Sequence

from model.records.clock import Now
from model.records.store import Store

log = logging.getLogger("paneltide.caretaker")

LOOK_EVERY_S = 60.0
LASTS_S = 600.0
"""Trouble that is over sooner, as a restart, is nobody's business."""


class Caretaker:
    """Looks every minute; trouble that lasts is told once, and so is its end.

    Parameters
    ----------
    look : callable
        What is amiss, as sentences; empty when all is well.
    tell : callable
        Sends a title and a body.
    clock : callable
        Seconds, rising.
    """

    def __init__(
        self,
        look: Callable[[], Sequence[str]],
        tell: Callable[[str, str], object],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._look, self._tell, self._clock = look, tell, clock
        self._next_s = clock() + LOOK_EVERY_S
        self._since_s: float | None = None
        self._told = False

    def __call__(self) -> None:
        now_s = self._clock()
        if now_s < self._next_s:
            return
        self._next_s = now_s + LOOK_EVERY_S
        amiss = list(self._look())
        if not amiss:
            if self._told:
                self._tell("paneltide works again", "What was amiss with the service itself is over.")
            self._since_s, self._told = None, False
            return
        self._since_s = now_s if self._since_s is None else self._since_s
        if not self._told and now_s - self._since_s >= LASTS_S:
            self._told = True
            lines = "\n".join(f"{one[0].upper()}{one[1:]}." for one in amiss)
            what_to_do = "Look at Settings, or run `paneltide status` and `paneltide doctor` on the computer."
            self._tell("paneltide itself needs you", f"{lines}\n\n{what_to_do}")


def troubles_of(store: Store, now: Now) -> list[str]:
    """What is amiss with the service on a book."""
    from dashboard.say.service_words import troubles
    from model.records.queries.service import service_now

    return troubles(service_now(store, now), now())


def send_to_all(store: Store, addresses: Sequence[str], title: str, body: str) -> None:
    """Send to every address of settings and book; run in a process of its own, which may take its time."""
    from sqlalchemy.exc import SQLAlchemyError

    from model.watch.tell.notice_times import read_hours
    from model.watch.tell.notices import send_by_apprise

    known = list(addresses)
    try:
        with store.session() as session:
            known += read_hours(session).addresses
    except SQLAlchemyError as error:
        log.warning("addresses in the book can't be read: %s", type(error).__name__)
    for address in dict.fromkeys(known):
        problem = send_by_apprise(address, title, body)
        if problem is not None:
            log.warning("trouble with the service could not be told: %s", problem)
