"""Messages that came before their topic was bound become readings once it is."""

from ingest.batch import WriteBatch
from ingest.books import Book
from ingest.intake import Intake
from ingest.registry import Registry
from ingest.settings import Limits
from model.records.clock import Now
from model.records.types import from_epoch_ms


def kept_batch(book: Book, registry: Registry, limits: Limits, now: Now, topics: list[str]) -> WriteBatch:
    """What the kept messages of these topics say, with their removal; to be written like any batch.

    An intake of its own reads them: their times depend on nothing but themselves, so that two processes that
    turn the same messages make the same rows.
    """
    intake = Intake(registry, limits, now)
    for topic in topics:
        found = book.execute(
            "SELECT id, payload, retained, received_at FROM heard_message WHERE topic = ? ORDER BY id",
            (topic,),
        ).fetchall()
        for number, payload, retained, received_at in found:
            at = from_epoch_ms(received_at) if isinstance(received_at, int) else received_at
            intake.take(topic, bytes(payload), retained=bool(retained), received_at=at)
            intake.batch.turned.append(number)
    return intake.new_batch()
