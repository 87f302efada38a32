"""Waiting while the book is busy: an import or the watch may be writing when somebody presses a button."""

import time
from collections.abc import Callable
from typing import TypeVar

from sqlalchemy.exc import DBAPIError

from model.records.store import is_busy

PATIENCE_S = 10.0
"""How long a press is tried again; each try waits as long as the book's own time-out on top."""
PAUSE_S = 0.1

Answer = TypeVar("Answer")


def patiently(work: Callable[[], Answer]) -> Answer:
    """Do a unit of work, again while the book is busy, up to a bound; then its error is raised."""
    until_s = time.monotonic() + PATIENCE_S
    while True:
        try:
            return work()
        except DBAPIError as error:
            if not is_busy(error) or time.monotonic() >= until_s:
                raise
            time.sleep(PAUSE_S)
