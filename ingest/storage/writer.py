"""One batch, one transaction: readings, marks of their hours, refusals, what was heard, counts, pulse."""

import json
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

from sqlalchemy.exc import DataError, IntegrityError

from ingest.mqtt.batch import RefusedMessage, RowValues, WriteBatch
from ingest.mqtt.redelivery import Remembered
from ingest.payload.quantities import plain
from ingest.settings import Limits
from ingest.storage.connection import IngestConnection
from ingest.storage.readings import store_readings, store_wood_reading
from ingest.storage.retention import prune_heard, prune_refused
from model.records.bulk import Bulk
from model.records.queries.health import INGEST
from model.records.store import Store, cause_of

IN_ORDER = itemgetter(0, 1)  # by sensor and instant, as the table is
PRUNE_EVERY = 500  # rejected messages between two looks at their bounds

REFUSED_ROW = (IntegrityError, DataError, OverflowError)


@dataclass(frozen=True)
class PulseToWrite:
    """A sign of life to be written: instant by the machine's clock [ms since 1970], what to say, and who."""

    at_ms: int
    detail: dict[str, Any]
    part: str = INGEST


class Writer:
    """The way from a batch into the database.

    Not for several threads. After a `DBAPIError` nothing of the batch is stored, and the same batch may be
    written again.
    """

    def __init__(self, store: Store, limits: Limits, remembered: Remembered | None = None) -> None:
        self._limits, self._remembered = limits, remembered
        self._connection = IngestConnection(store)
        self._refused_since_prune = PRUNE_EVERY

    @property
    def bulk(self) -> Bulk:
        """Statements on the connection in use; a new one when the last one broke."""
        return self._connection.bulk

    def drop(self) -> None:
        """Give up a connection that may be broken."""
        self._connection.drop()

    def write(self, batch: WriteBatch, pulse: PulseToWrite | None = None) -> int:
        """Commit a batch; how many readings were new.

        Raises
        ------
        DBAPIError
            If the database is locked, full or gone.
        """
        # A sign of life alone is not worth waiting for the disk.
        with self._connection.transaction(durable=batch.messages > 0) as bulk:
            changed = self._write(bulk, batch, pulse)
        if self._remembered is not None and batch.clockless:
            self._remembered.committed(batch.clockless)
        return changed

    def _write(self, bulk: Bulk, batch: WriteBatch, pulse: PulseToWrite | None) -> int:
        refused = list(batch.refused)
        rows = sorted(batch.rows.values(), key=IN_ORDER)
        changed = 0
        if rows:
            try:
                changed = store_readings(bulk, rows)
            except REFUSED_ROW:
                changed, rows = self._one_by_one(bulk, rows, batch, refused)
        new, taken = self._store_wood(bulk, batch, refused)
        counts = batch.counts.copy()
        counts["received"] = batch.messages - len(batch.turned)  # what was kept was counted when it came
        counts["stored"] += changed + new
        counts["duplicate"] += len(rows) - changed + taken - new
        counts["rejected"] += len(refused)
        if refused:
            bulk.insert(
                "rejected_message",
                ("topic", "payload", "size", "reason", "received_at"),
                [
                    (_text(r.topic), r.payload, r.size, _text(r.reason), bulk.instant(r.received_ms))
                    for r in refused
                ],
            )
            self._refused_since_prune += len(refused)
            if self._refused_since_prune >= PRUNE_EVERY:
                prune_refused(bulk, self._limits)
                self._refused_since_prune = 0
        if batch.turned:
            bulk.each("DELETE FROM heard_message WHERE id = ?", [(number,) for number in batch.turned])
        if batch.crowded_out:
            bulk.each(
                "DELETE FROM heard_message WHERE topic = ?", [(_text(topic),) for topic in batch.crowded_out]
            )
        if batch.unbound:
            bulk.insert(
                "heard_message",
                ("topic", "payload", "retained", "received_at"),
                [
                    (_text(topic), heard.payload, heard.retained, bulk.instant(heard.received_ms))
                    for topic, kept in batch.unbound.items()
                    for heard in kept[-self._limits.heard_per_topic :]
                ],
            )
            prune_heard(bulk, map(_text, batch.unbound), self._limits)
        presence = [(word, bulk.instant(at), sensor_id) for sensor_id, (word, at) in batch.presence.items()]
        bulk.update("sensor", ("presence", "presence_at"), ("id",), presence)
        battery = [(battery_pct, sensor_id) for sensor_id, battery_pct in batch.battery.items()]
        bulk.update("sensor", ("battery_pct",), ("id",), battery)
        bulk.count_up(sorted((name, count) for name, count in counts.items() if count))
        if self._remembered is not None and batch.clockless:
            entries = self._remembered.client_id, self._remembered.blob(batch.clockless)
            bulk.put("unacknowledged", ("client_id",), ("client_id", "entries"), [entries])
        if pulse is not None:
            told = pulse.part, bulk.instant(pulse.at_ms), json.dumps(pulse.detail)
            bulk.put("pulse", ("part",), ("part", "at", "detail"), [told])
        return changed + new

    def _one_by_one(
        self, bulk: Bulk, rows: list[RowValues], batch: WriteBatch, refused: list[RefusedMessage]
    ) -> tuple[int, list[RowValues]]:
        """Store what the database takes; the rest becomes refusals, so no row stops the others."""
        changed, taken = 0, []
        for row in rows:
            try:
                changed += store_readings(bulk, [row])
                taken.append(row)
            except REFUSED_ROW as error:
                topic, payload = batch.sources[(row[0], row[1], row[3], row[4])]
                refused.append(self._refused_by_book(topic, payload, row[2], error))
        return changed, taken

    def _store_wood(self, bulk: Bulk, batch: WriteBatch, refused: list[RefusedMessage]) -> tuple[int, int]:
        """Store what sensors on wood sent, a few a minute, one by one: how many are new, of how many."""
        new = taken = 0
        for row, (topic, payload) in sorted(batch.wood.items(), key=lambda item: item[0][:2]):
            try:
                new += store_wood_reading(bulk, row)
                taken += 1
            except REFUSED_ROW as error:
                refused.append(self._refused_by_book(topic, payload, row[2], error))
        return new, taken

    def _refused_by_book(self, topic: str, payload: bytes, at_ms: int, error: Exception) -> RefusedMessage:
        kept = payload[: self._limits.rejected_row_bytes]
        reason = f"the database refuses it: {plain(cause_of(error))}"
        return RefusedMessage(topic, kept, len(payload), reason, at_ms)


def _text(text: str) -> str:
    """PostgreSQL's text holds anything but NUL; MQTT forbids it in a topic, a hostile broker might not."""
    return text.replace("\0", "\\0")
