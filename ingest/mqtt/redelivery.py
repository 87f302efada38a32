"""Deduplicates redelivered messages that carry no device timestamp.

A reading with a device time is the same row however often it comes. One that takes its time from its arrival
would be stored twice if the broker sent it again after we had committed but before it saw our
acknowledgement. So the packet ids and checksums of the last such messages are written in the same transaction
as their readings.
"""

import struct
from collections import Counter, deque
from zlib import crc32

from model.records.bulk import Bulk

ENTRY = struct.Struct("<HI")
BATCHES = 3  # acknowledgements of more than the last can be lost when a connection breaks


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
        self._batches: deque[list[tuple[int, int]]] = deque(maxlen=BATCHES)
        self._by_entry: Counter[tuple[int, int]] = Counter()
        self._in_order: deque[int] = deque()

    def load(self, bulk: Bulk) -> None:
        """Take up what an earlier process left."""
        found = bulk.rows("SELECT entries FROM unacknowledged WHERE client_id = ?", (self.client_id,))
        self._batches.extend(unpack(bytes(entries)) for (entries,) in found)

    def committed(self, entries: list[tuple[int, int]]) -> None:
        """Remember a batch, which is now in the database."""
        self._batches.append(entries)

    def blob(self, entries: list[tuple[int, int]]) -> bytes:
        """What to write with a batch: its entries and those of the batches before."""
        kept = [entry for batch in list(self._batches)[-(BATCHES - 1) :] for entry in batch] + entries
        return b"".join(ENTRY.pack(*entry) for entry in kept)

    def resumed(self, waiting: list[tuple[int, int]], session_present: bool) -> None:
        """A connection begins: what may come again is what was committed, and what still waits to be."""
        entries = [entry for batch in self._batches for entry in batch] + waiting if session_present else []
        self._by_entry = Counter(entries) if self._marked else Counter()
        self._in_order = deque() if self._marked else deque(crc for _, crc in entries)

    def is_known(self, packet_id: int, flagged: bool, crc: int) -> bool:
        """Whether this message is stored already; each is told once.

        Before: the broker sends packet 7, we commit it, the connection breaks before our acknowledgement.
        After: it sends packet 7 again, flagged; `is_known(7, True, crc)` is True, and no second row is made.
        """
        if self._by_entry:
            if flagged and self._by_entry[(packet_id, crc)] > 0:
                self._by_entry[(packet_id, crc)] -= 1
                return True
        elif self._in_order:
            if crc in self._in_order:
                while self._in_order.popleft() != crc:
                    pass  # acknowledged in time: the broker doesn't send these again
                return True
            self._in_order.clear()
        return False


def unpack(stored: bytes) -> list[tuple[int, int]]:
    """The entries in a stored row; none when it isn't one of ours."""
    try:
        return [(int(mid), int(crc)) for mid, crc in ENTRY.iter_unpack(stored)]
    except struct.error:
        return []
