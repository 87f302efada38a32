"""Deletes what strangers sent beyond the bounds."""

from collections.abc import Iterable

from ingest.settings import Limits
from ingest.storage.books import Book


def prune_refused(book: Book, limits: Limits) -> None:
    """Keep the newest rejected messages, within their number and their bytes."""
    book.execute(
        """
        DELETE FROM rejected_message WHERE id IN (
          SELECT id FROM (
            SELECT id, row_number() OVER newest AS place, sum(length(payload)) OVER newest AS total
            FROM rejected_message WINDOW newest AS (ORDER BY id DESC)
          ) AS ranked WHERE place > ? OR total > ?)
        """,
        (limits.rejected_rows, limits.rejected_total_bytes),
    )


def prune_heard(book: Book, topics: Iterable[str], limits: Limits) -> None:
    """Keep the last messages of each of these unknown topics."""
    book.executemany(
        """
        DELETE FROM heard_message WHERE topic = ? AND id <= (
          SELECT id FROM heard_message WHERE topic = ? ORDER BY id DESC LIMIT 1 OFFSET ?)
        """,
        [(topic, topic, limits.heard_per_topic) for topic in topics],
    )
