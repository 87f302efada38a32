"""Chunks of each sensor's history, held in memory between two looks and read again where an hour was marked.

A mark names each hour that changed, so a chunk without a mark is as it was read. Whoever deletes marks
elsewhere, or changes the book, makes the holder `forget`.
"""

from collections import OrderedDict
from collections.abc import Callable, Sequence
from typing import Any, Generic, TypeVar

import numpy as np

Arrays = Sequence[np.ndarray[Any, np.dtype[np.float64]]]
Chunk = TypeVar("Chunk", bound=Arrays)

ENTRY_BYTES = 500


class HistoryCache(Generic[Chunk]):
    """Chunks of so many hours, by sensor.

    Parameters
    ----------
    chunk_h : int
        Hours of a chunk; chunk k begins with hour ``k * chunk_h`` since 1970.
    limit_bytes : int
        About what may be kept; the chunks not asked for the longest go first.
    """

    def __init__(self, chunk_h: int, limit_bytes: int) -> None:
        self._chunk_h, self._limit = chunk_h, limit_bytes
        # Of a plain dict the first key is found by going past every one that was taken out before it.
        self._chunks: OrderedDict[tuple[int, int], Chunk] = OrderedDict()
        self.size_bytes = 0

    def changed(self, sensor_id: int, hour: int) -> None:
        """An hour is marked: its chunk has to be read again."""
        self._drop((sensor_id, hour // self._chunk_h))

    def forget(self) -> None:
        self._chunks, self.size_bytes = OrderedDict(), 0

    def get(
        self,
        sensor_id: int,
        first: int,
        until: int,
        fetch: Callable[[int, int], Sequence[Chunk]],
        kept_since: int = 0,
    ) -> list[Chunk]:
        """The chunks that hours from one to before another lie in, in order.

        Parameters
        ----------
        fetch : callable
            First hour and the hour after the last, both at a chunk's edge, to the chunks between them.
        kept_since : int
            Hour before which readings may go at any time, so that nothing is kept.
        """
        begin, end = first // self._chunk_h, -(-until // self._chunk_h)
        found: list[Chunk] = []
        at = begin
        while at < end:
            chunk = self._drop((sensor_id, at))
            missing_until = at
            while chunk is None and missing_until < end and (sensor_id, missing_until) not in self._chunks:
                missing_until += 1
            new = [chunk] if chunk is not None else fetch(at * self._chunk_h, missing_until * self._chunk_h)
            for each in new:
                if at * self._chunk_h >= kept_since:
                    self._put((sensor_id, at), each)
                found.append(each)
                at += 1
        return found

    def _put(self, key: tuple[int, int], chunk: Chunk) -> None:
        self._chunks[key] = chunk  # the last in order is the last to go
        self.size_bytes += _size(chunk)
        while self.size_bytes > self._limit and len(self._chunks) > 1:
            self._drop(next(iter(self._chunks)))

    def _drop(self, key: tuple[int, int]) -> Chunk | None:
        chunk = self._chunks.pop(key, None)
        if chunk is not None:
            self.size_bytes -= _size(chunk)
        return chunk


def _size(chunk: Arrays) -> int:
    return sum(column.nbytes for column in chunk) + ENTRY_BYTES
