"""One batch, one transaction: readings, marks of their hours, refusals, what was heard, counts, pulse."""

import json
import logging
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

from ingest.mqtt.batch import RefusedMessage, RowValues, WriteBatch
from ingest.mqtt.redelivery import Remembered
from ingest.payload.quantities import plain
from ingest.settings import Limits
from ingest.storage.books import BadRow, Book, BookAway, open_book
from ingest.storage.retention import prune_heard, prune_refused
from model.records.queries.health import INGEST
from model.records.store import Store, is_busy

log = logging.getLogger("paneltide.ingest")

IN_ORDER = itemgetter(0, 1)  # by sensor and instant, as the table is
PRUNE_EVERY = 500  # rejected messages between two looks at their bounds

REFUSE = "INSERT INTO rejected_message (topic, payload, size, reason, received_at) VALUES (?, ?, ?, ?, ?)"
HEAR = "INSERT INTO heard_message (topic, payload, retained, received_at) VALUES (?, ?, ?, ?)"
COUNT = """
INSERT INTO tally (name, count) VALUES (?, ?)
ON CONFLICT (name) DO UPDATE SET count = tally.count + excluded.count
"""
PULSE = """
INSERT INTO pulse (part, at, detail) VALUES (?, ?, ?)
ON CONFLICT (part) DO UPDATE SET at = excluded.at, detail = excluded.detail
"""
REMEMBER = """
INSERT INTO unacknowledged (client_id, entries) VALUES (?, ?)
ON CONFLICT (client_id) DO UPDATE SET entries = excluded.entries
"""
PRESENCE = "UPDATE sensor SET presence = ?, presence_at = ? WHERE id = ?"
BATTERY = "UPDATE sensor SET battery_pct = ? WHERE id = ?"


@dataclass(frozen=True)
class PulseToWrite:
    """A sign of life to be written: instant by the machine's clock [ms since 1970], what to say, and who."""

    at_ms: int
    detail: dict[str, Any]
    part: str = INGEST


class Writer:
    """The way from a batch into the database.

    Not for several threads. After `BookAway` nothing of the batch is stored, and the same batch may be
    written again.
    """

    def __init__(self, store: Store, limits: Limits, remembered: Remembered | None = None) -> None:
        self._store, self._limits, self._remembered = store, limits, remembered
        self._book: Book | None = None
        self._refused_since_prune = PRUNE_EVERY

    @property
    def book(self) -> Book:
        """The connection in use; a new one when the last one broke."""
        if self._book is None:
            self._book = open_book(self._store)
        return self._book

    def drop(self) -> None:
        """Give up a connection that may be broken."""
        book, self._book = self._book, None
        if book is not None:
            try:
                book.close()
            except Exception as error:
                log.debug("closing a broken database connection: %s", error)

    def write(self, batch: WriteBatch, pulse: PulseToWrite | None = None) -> int:
        """Commit a batch; how many readings were new or filled a gap.

        Raises
        ------
        BookAway
            If the database is locked, full or gone.
        """
        try:
            book = self.book
            # A sign of life alone is not worth waiting for the disk.
            book.durable(batch.messages > 0)
            book.begin()
            try:
                changed = self._write(book, batch, pulse)
                book.commit()
            except BaseException:
                book.rollback()
                raise
        except BookAway as error:
            if not is_busy(error):
                self.drop()
            raise
        except BadRow as error:
            self.drop()
            raise BookAway(f"refused the batch: {error}") from error
        if self._remembered is not None and batch.clockless:
            self._remembered.committed(batch.clockless)
        return changed

    def _write(self, book: Book, batch: WriteBatch, pulse: PulseToWrite | None) -> int:
        refused = list(batch.refused)
        rows = sorted(batch.rows.values(), key=IN_ORDER)
        changed = 0
        if rows:
            try:
                changed = book.upsert(rows)
            except BadRow:
                changed, rows = self._one_by_one(book, rows, batch, refused)
        counts = batch.counts.copy()
        counts["received"] = batch.messages - len(batch.turned)  # what was kept was counted when it came
        counts["stored"] += changed
        counts["duplicate"] += len(rows) - changed
        counts["rejected"] += len(refused)
        if refused:
            book.executemany(
                REFUSE,
                [
                    (_text(r.topic), r.payload, r.size, _text(r.reason), book.at(r.received_ms))
                    for r in refused
                ],
            )
            self._refused_since_prune += len(refused)
            if self._refused_since_prune >= PRUNE_EVERY:
                prune_refused(book, self._limits)
                self._refused_since_prune = 0
        if batch.turned:
            book.executemany("DELETE FROM heard_message WHERE id = ?", [(number,) for number in batch.turned])
        if batch.crowded_out:
            book.executemany(
                "DELETE FROM heard_message WHERE topic = ?", [(_text(topic),) for topic in batch.crowded_out]
            )
        if batch.unbound:
            book.executemany(
                HEAR,
                [
                    (_text(topic), heard.payload, heard.retained, book.at(heard.received_ms))
                    for topic, kept in batch.unbound.items()
                    for heard in kept[-self._limits.heard_per_topic :]
                ],
            )
            prune_heard(book, map(_text, batch.unbound), self._limits)
        for sensor_id, (word, at_ms) in batch.presence.items():
            book.execute(PRESENCE, (word, book.at(at_ms), sensor_id))
        for sensor_id, battery_pct in batch.battery.items():
            book.execute(BATTERY, (battery_pct, sensor_id))
        if any(counts.values()):
            book.executemany(COUNT, sorted((name, count) for name, count in counts.items() if count))
        if self._remembered is not None and batch.clockless:
            entries = self._remembered.blob(batch.clockless)
            book.execute(REMEMBER, (self._remembered.client_id, entries))
        if pulse is not None:
            book.execute(PULSE, (pulse.part, book.at(pulse.at_ms), json.dumps(pulse.detail)))
        return changed

    def _one_by_one(
        self, book: Book, rows: list[RowValues], batch: WriteBatch, refused: list[RefusedMessage]
    ) -> tuple[int, list[RowValues]]:
        """Store what the database takes; the rest becomes refusals, so no row stops the others."""
        changed, taken = 0, []
        for row in rows:
            try:
                changed += book.upsert([row])
                taken.append(row)
            except BadRow as error:
                topic, payload = batch.sources[(row[0], row[1], row[3], row[4])]
                kept = payload[: self._limits.rejected_row_bytes]
                reason = f"the database refuses it: {plain(str(error))}"
                refused.append(RefusedMessage(topic, kept, len(payload), reason, row[2]))
        return changed, taken


def _text(text: str) -> str:
    """PostgreSQL's text holds anything but NUL; MQTT forbids it in a topic, a hostile broker might not."""
    return text.replace("\0", "\\0")
