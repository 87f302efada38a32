"""Deduplicates redelivered messages that carry no device timestamp.

A reading with a device time is the same row however often it comes. One that takes its time from its arrival
would be stored twice if the broker sent it again after we had committed but before it saw our
acknowledgement. So the packet ids and checksums of the last such messages are written in the same transaction
as their readings.
"""

import struct
from collections import deque
from itertools import chain
from zlib import crc32

from model.records.bulk import Bulk

ENTRY = struct.Struct("<HI")
BATCHES = 3  # acknowledgements of more than the last can be lost when a connection breaks
ENTRIES = 300
"""However small the batches are, so many are remembered: 2 kB, which the same page of a database holds."""


def checksum(topic: str, payload: bytes) -> int:
    """CRC-32 of topic and payload: tells a message from another with the same packet id."""
    return crc32(payload, crc32(topic.encode("utf-8", "surrogatepass")))


class Remembered:
    """Stored messages without a time that the broker may send again.

    Parameters
    ----------
    client_id : str
        The session whose broker would send them.
    marked : bool
        Whether the broker flags what it sends again and keeps its packet id, as MQTT demands. If not, what
        comes first in a resumed session is compared, in order, with what was stored last.
    """

    def __init__(self, client_id: str, marked: bool) -> None:
        self.client_id = client_id
        self._marked = marked
        self._batches: list[list[tuple[int, int]]] = []
        self._again: set[tuple[int, int]] = set()
        self._in_order: deque[int] = deque()
        self._resending = False  # whether nothing new has come yet on this connection

    def load(self, bulk: Bulk) -> None:
        """Take up what an earlier process left."""
        found = bulk.rows("SELECT entries FROM unacknowledged WHERE client_id = ?", (self.client_id,))
        self._batches.extend(unpack(bytes(entries)) for (entries,) in found)

    def committed(self, entries: list[tuple[int, int]]) -> None:
        """Remember a batch, which is now in the database."""
        self._batches = _newest([*self._batches, entries])

    def blob(self, entries: list[tuple[int, int]]) -> bytes:
        """What to write with a batch: its entries and those that may still come again."""
        kept = [*self._unsent(), *chain(*_newest([*self._batches, entries]))]
        return b"".join(ENTRY.pack(*entry) for entry in kept)

    def resumed(self, waiting: list[tuple[int, int]], session_present: bool) -> None:
        """A connection begins: what may come again is what was committed, and what still waits to be."""
        entries = [*chain(*self._batches), *self._unsent(), *waiting] if session_present else []
        self._again = set(entries) if self._marked else set()
        self._in_order = deque() if self._marked else deque(crc for _, crc in entries)
        self._resending = session_present

    def _unsent(self) -> list[tuple[int, int]]:
        """What a connection that has brought nothing new yet may still bring again."""
        return [*self._again, *((0, crc) for crc in self._in_order)] if self._resending else []

    def is_known(self, packet_id: int, flagged: bool, crc: int) -> bool:
        """Whether this message is stored already; each is told once.

        Before: the broker sends packet 7, we commit it, the connection breaks before our acknowledgement.
        After: it sends packet 7 again, flagged; `is_known(7, True, crc)` is True, and no second row is made.
        """
        if self._marked:
            if not flagged:
                self._resending = False
            elif (packet_id, crc) in self._again:
                self._again.remove((packet_id, crc))
                return True
        elif self._in_order:
            if crc in self._in_order:
                while self._in_order.popleft() != crc:
                    pass  # acknowledged in time: the broker doesn't send these again
                return True
            self._in_order.clear()
        return False


def _newest(batches: list[list[tuple[int, int]]]) -> list[list[tuple[int, int]]]:
    """The newest batches, as many as are remembered."""
    while len(batches) > BATCHES and sum(map(len, batches[1:])) >= ENTRIES:
        batches = batches[1:]
    return batches


def unpack(stored: bytes) -> list[tuple[int, int]]:
    """The entries in a stored row; none when it isn't one of ours."""
    try:
        return [(int(mid), int(crc)) for mid, crc in ENTRY.iter_unpack(stored)]
    except struct.error:
        return []
