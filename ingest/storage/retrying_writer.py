"""Writing many rows at leisure, beside whoever else writes: an import, not the live stream."""

import time
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from ingest.mqtt.batch import RowValues
from ingest.storage.books import Book, BookAway, open_book
from ingest.storage.writer import COUNT
from model.records.schema.types import to_epoch_ms
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


class UnwrittenBook(PatientBook):
    """Counts what would change, and changes nothing."""

    def __init__(self, store: Store) -> None:
        super().__init__(store)
        self._known: dict[int, dict[int, tuple[bool, bool]]] = {}

    def store(self, rows: list[RowValues]) -> int:
        changed = 0
        by_sensor: dict[int, list[RowValues]] = {}
        for row in rows:
            by_sensor.setdefault(row[0], []).append(row)
        for sensor_id, own in by_sensor.items():
            known = self._known.setdefault(sensor_id, {})
            known.update(self._patiently(partial(_stored, own=own)))
            for _, at_ms, _, temperature_c, rh_pct, _ in own:
                has_t, has_rh = known.get(at_ms, (False, False))
                fills_t, fills_rh = temperature_c is not None and not has_t, rh_pct is not None and not has_rh
                changed += fills_t or fills_rh
                known[at_ms] = has_t or fills_t, has_rh or fills_rh
        return changed


def _stored(book: Book, own: list[RowValues]) -> dict[int, tuple[bool, bool]]:
    """Which quantities are stored of one sensor, by instant, from its first of these rows to its last."""
    found = book.execute(
        "SELECT observed_at, temperature_c IS NOT NULL, rh_pct IS NOT NULL FROM reading "
        "WHERE sensor_id = ? AND observed_at >= ? AND observed_at <= ?",
        (own[0][0], book.at(own[0][1]), book.at(own[-1][1])),
    ).fetchall()
    return {at if isinstance(at, int) else to_epoch_ms(at): (bool(t), bool(rh)) for at, t, rh in found}
