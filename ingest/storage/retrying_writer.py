"""Writing many rows at leisure, beside whoever else writes: an import, not the live stream."""

import time
from collections.abc import Callable, Mapping
from functools import partial
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy.exc import DBAPIError

from ingest.mqtt.batch import RowValues
from ingest.storage.connection import IngestConnection
from ingest.storage.readings import store_readings
from model.records.bulk import Bulk
from model.records.schema.arrived import as_stored
from model.records.store import Store

PATIENCE_S = 60.0


class RetryingWriter:
    """Stores rows, waiting while the database is locked or away."""

    def __init__(self, store: Store) -> None:
        self._connection = IngestConnection(store)

    def store(self, rows: list[RowValues]) -> int:
        """Store rows; how many are new."""
        changed: int = self._patiently(lambda bulk: store_readings(bulk, rows)) if rows else 0
        return changed

    def count(self, counts: Mapping[str, int]) -> None:
        self._patiently(lambda bulk: bulk.count_up([pair for pair in counts.items() if pair[1]]))

    def close(self) -> None:
        self._connection.drop()

    def _patiently(self, work: Callable[[Bulk], Any]) -> Any:
        deadline = time.monotonic() + PATIENCE_S
        while True:
            try:
                # Not sure to be on the disk: a file can be read again.
                with self._connection.transaction(durable=False) as bulk:
                    return work(bulk)
            except DBAPIError:
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.05)


class CountingWriter(RetryingWriter):
    """Counts what would be new, and stores nothing."""

    def __init__(self, store: Store) -> None:
        super().__init__(store)
        self._told: set[tuple[int, int, int]] = set()

    def store(self, rows: list[RowValues]) -> int:
        told = {(row[0], row[1], as_stored(row[3], row[4])[2]) for row in rows} - self._told
        self._told |= told
        for sensor_id, group in groupby(rows, key=itemgetter(0)):
            instants = [row[1] for row in group]
            told -= self._patiently(partial(_stored, own=(sensor_id, instants[0], instants[-1])))
        return len(told)


def _stored(bulk: Bulk, own: tuple[int, int, int]) -> set[tuple[int, int, int]]:
    """The keys of a sensor's stored readings from an instant up to another [ms]."""
    sensor_id, since, until = own
    found: list[Any] = bulk.rows(
        f"SELECT sensor_id, {bulk.instant_of('observed_at')}, pair FROM reading "
        "WHERE sensor_id = ? AND observed_at >= ? AND observed_at <= ?",
        (sensor_id, bulk.instant(since), bulk.instant(until)),
    )
    return set(found)
