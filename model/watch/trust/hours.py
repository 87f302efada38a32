"""A few figures of each hour of each sensor, kept between looks and read again where an hour changed."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Table = NDArray[np.float64]
Fetch = Callable[[int, int], Table]
"""First hour and the hour after the last to rows of hour and figures, hours without readings left out."""

LONGEST_H = 60 * 24
"""Hours of one sensor kept; more is read when it is asked for, and not kept."""
AHEAD_H = 12
"""A window that grows is made longer by this much, so that it isn't copied every hour."""


@dataclass
class _Window:
    first: int
    table: Table
    known: NDArray[np.bool_]

    @property
    def end(self) -> int:
        return self.first + len(self.known)


class HourTable:
    """Figures by sensor and hour; NaN for an hour without readings.

    Parameters
    ----------
    columns : int
        Figures of an hour.
    limit_bytes : int
        About what may be kept; the sensors not asked for the longest go first.
    """

    def __init__(self, columns: int, limit_bytes: int) -> None:
        self._columns, self._limit = columns, limit_bytes
        self._windows: dict[int, _Window] = {}
        self._bytes = 0
        self._before = 0

    @property
    def size_bytes(self) -> int:
        return self._bytes

    def changed(self, sensor_id: int, hour: int) -> None:
        """An hour has to be read again."""
        window = self._windows.get(sensor_id)
        if window is not None and window.first <= hour < window.end:
            window.known[hour - window.first] = False

    def unknown(self, sensor_id: int, first: int, until: int) -> int:
        """How many hours of a span would have to be read."""
        window = self._windows.get(sensor_id)
        if window is None:
            return until - first
        a, b = max(first, window.first), min(until, window.end)
        known = np.count_nonzero(window.known[a - window.first : b - window.first]) if a < b else 0
        return until - first - int(known)

    def forget(self, sensor_id: int | None = None) -> None:
        """Read everything again, of one sensor or of all."""
        if sensor_id is None:
            self._windows, self._bytes = {}, 0
        else:
            window = self._windows.pop(sensor_id, None)
            self._bytes -= self._size(window)

    def forget_before(self, hour: int) -> None:
        """Keep nothing from before an hour: it may go at any time."""
        self._before = hour
        for window in self._windows.values():
            window.known[: max(hour - window.first, 0)] = False

    def get(self, sensor_id: int, first: int, until: int, fetch: Fetch) -> Table:
        """The figures of hours, one row each; not to be written to."""
        if until <= first:
            return np.empty((0, self._columns))
        if until - first > LONGEST_H:
            table = np.full((until - first, self._columns), np.nan)
            _fill(table, first, fetch(first, until))
            return table
        window = self._windows.pop(sensor_id, None)
        self._bytes -= self._size(window)
        window = self._reaching(window, first, until)
        self._windows[sensor_id] = window  # the last in order is the last to go
        self._bytes += self._size(window)
        while self._bytes > self._limit and len(self._windows) > 1:
            self.forget(next(iter(self._windows)))
        a, b = first - window.first, until - window.first
        missing = np.flatnonzero(~window.known[a:b]) + first
        for run in np.split(missing, np.flatnonzero(np.diff(missing) > 1) + 1) if len(missing) else ():
            low, high = int(run[0]), int(run[-1]) + 1
            window.table[low - window.first : high - window.first] = np.nan
            _fill(window.table, window.first, fetch(low, high))
            window.known[max(low, self._before) - window.first : high - window.first] = True
        return window.table[a:b]

    def _reaching(self, window: _Window | None, first: int, until: int) -> _Window:
        if window is not None and window.first <= first and until <= window.end:
            return window
        low, high = first, until
        if window is not None:
            ahead = max(until, window.end + AHEAD_H) if until > window.end else window.end
            low, high = min(first, window.first), ahead
            low = max(low, high - LONGEST_H)
            if first < low:
                low, high, window = first, until, None
        made = _Window(
            low, np.full((high - low, self._columns), np.nan), np.zeros(high - low, dtype=np.bool_)
        )
        if window is not None and max(low, window.first) < window.end:
            a = max(low, window.first)
            made.table[a - low : window.end - low] = window.table[a - window.first :]
            made.known[a - low : window.end - low] = window.known[a - window.first :]
        return made

    def _size(self, window: _Window | None) -> int:
        return 0 if window is None else window.table.nbytes + window.known.nbytes + 400


def _fill(table: Table, first: int, rows: Table) -> None:
    if len(rows):
        table[rows[:, 0].astype(np.int64) - first] = rows[:, 1:]
