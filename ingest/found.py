"""What one message gave: its observations brought together, and what was wrong with the rest."""

from datetime import datetime

from ingest.quantities import BadPayload
from ingest.shapes import Observed


class NothingThere(BadPayload):
    """A message, or a part of one, in which every quantity is missing."""


class Found:
    """The observations of one message, one row for each sensor and instant.

    Halves of one instant are brought together. Two different values for one instant are refused, for nobody
    can say which one is meant.
    """

    def __init__(self) -> None:
        self._rows: dict[tuple[str, datetime], Observed] = {}
        self._spoiled: set[tuple[str, datetime]] = set()

    def add(self, topic: str, seen: Observed) -> None:
        """Take one more observation in."""
        key = (seen.part, seen.observed_at)
        before = self._rows.get(key)
        if before is None:
            self._rows[key] = seen
            return
        t, t_differs = _either(before.temperature_c, seen.temperature_c)
        h, h_differs = _either(before.rh_pct, seen.rh_pct)
        b, _ = _either(before.battery_pct, seen.battery_pct)
        if t_differs or h_differs:
            self._spoiled.add(key)
        self._rows[key] = Observed(seen.part, seen.observed_at, t, h, b, seen.clock)

    def settled(self, topic: str, problems: list[BadPayload], got: object) -> list[Observed]:
        """The rows; raises the first problem, with the good rows in it, if there was one."""
        for part, _ in self._spoiled:
            problems.append(
                BadPayload(topic, part or "message", "must give one value for one instant", "several")
            )
        good = [row for key, row in self._rows.items() if key not in self._spoiled]
        if problems:
            first = problems[0]
            raise BadPayload(first.topic, first.field, first.problem, first.got, tuple(good))
        if not good:
            raise NothingThere(topic, "temperature_c and rh_pct", "are both missing", got)
        return good


def _either(before: float | None, now: float | None) -> tuple[float | None, bool]:
    if before is None:
        return now, False
    return before, now is not None and now != before
