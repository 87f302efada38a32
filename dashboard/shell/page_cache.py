"""Pages kept for a moment: many viewers who look at once at an unchanged book are given one rendering."""

import threading
import time
from collections.abc import Callable, Hashable
from typing import TypeVar

from sqlalchemy import Connection, text

from model.records.store import Store

Made = TypeVar("Made")

KEPT_S = 1.0
MOST = 64


class Fresh:
    """What was made of the book, until the book changes or a second has passed.

    Parameters
    ----------
    store : Store
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._connection: Connection | None = None
        self._turn = threading.Lock()
        self._making: dict[Hashable, threading.Lock] = {}
        self._kept: dict[Hashable, tuple[object, float, object]] = {}

    def of(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What was made under a key, made anew where it is out of date; one maker at a time for each key."""
        with self._turn:
            making = self._making.setdefault(key, threading.Lock())
        with making:
            mark = self._mark()
            found = self._kept.get(key)
            if found is not None and found[0] == mark and time.monotonic() - found[1] < KEPT_S:
                return found[2]  # type: ignore[return-value]
            made = make()
            with self._turn:
                if len(self._kept) >= MOST:
                    self._kept.clear()
                    self._making.clear()
                self._kept[key] = (mark, time.monotonic(), made)
            return made

    def _mark(self) -> object:
        """What differs once anybody has written to the book."""
        with self._turn:
            if self._connection is None:
                # A connection of its own: the mark tells of what others have written. SQLite's means nothing
                # beside that of an earlier connection.
                self._kept.clear()
                self._connection = self._store.engine.connect().execution_options(
                    isolation_level="AUTOCOMMIT"
                )
            asked = "PRAGMA data_version" if self._store.is_sqlite else "SELECT pg_current_snapshot()::text"
            try:
                return self._connection.execute(text(asked)).scalar_one()
            except Exception:
                self._connection.invalidate()
                self._connection = None
                return object()
