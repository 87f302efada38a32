"""Writing many rows at leisure, beside whoever else writes: an import, not the live stream."""

import time
from collections.abc import Callable, Mapping
from typing import Any

from ingest.batch import RowValues
from ingest.books import Book, BookAway, open_book
from ingest.writer import COUNT
from model.records.store import Store

PATIENCE_S = 60.0


class PatientBook:
    """Stores rows, waiting while the database is locked or away."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._book: Book | None = None

    def store(self, rows: list[RowValues]) -> int:
        changed: int = self._patiently(lambda book: book.upsert(rows)) if rows else 0
        return changed

    def count(self, counts: Mapping[str, int]) -> None:
        self._patiently(lambda book: book.executemany(COUNT, [pair for pair in counts.items() if pair[1]]))

    def close(self) -> None:
        if self._book is not None:
            self._book.close()

    def _patiently(self, work: Callable[[Book], Any]) -> Any:
        deadline = time.monotonic() + PATIENCE_S
        while True:
            try:
                if self._book is None:
                    self._book = open_book(self._store)
                    self._book.durable(False)  # a file can be read again
                self._book.begin()
                try:
                    done = work(self._book)
                    self._book.commit()
                except BaseException:
                    self._book.rollback()
                    raise
                return done
            except BookAway as error:
                if "locked" not in str(error):
                    self._book = None
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.05)
