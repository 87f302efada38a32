"""Deletes what strangers sent beyond the bounds."""

from collections.abc import Iterable

from ingest.settings import Limits
from model.records.bulk import Bulk


def prune_refused(bulk: Bulk, limits: Limits) -> None:
    """Keep the newest rejected messages, within their number and their bytes."""
    bulk.run(
        """
        DELETE FROM rejected_message WHERE id IN (
          SELECT id FROM (
            SELECT id, row_number() OVER newest AS place, sum(length(payload)) OVER newest AS total
            FROM rejected_message WINDOW newest AS (ORDER BY id DESC)
          ) AS ranked WHERE place > ? OR total > ?)
        """,
        (limits.rejected_rows, limits.rejected_total_bytes),
    )


def prune_heard(bulk: Bulk, topics: Iterable[str], limits: Limits) -> None:
    """Keep the last messages of each of these unknown topics."""
    bulk.each(
        """
        DELETE FROM heard_message WHERE topic = ? AND id <= (
          SELECT id FROM heard_message WHERE topic = ? ORDER BY id DESC LIMIT 1 OFFSET ?)
        """,
        [(topic, topic, limits.heard_per_topic) for topic in topics],
    )
