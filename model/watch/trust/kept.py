"""A sensor's readings as they came: from the book, and what came to some that are kept."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.watch.air_hours import HOUR_MS, columns_of, read_readings
from model.watch.bulk import Bulk

Floats = NDArray[np.float64]
Key = tuple[int, int]
"""A sensor and an hour."""

ASKED_AT_ONCE = 500
"""Hours of sensors asked for in one statement."""


class Readings(NamedTuple):
    """A sensor's readings as they came, in the order of their instants.

    Attributes
    ----------
    at_ms : (n,) array
        ms since 1970; floats, as exact as whole numbers up to 2**53.
    temperature_c, rh_pct : (n,) array
        NaN where the reading had none.
    """

    at_ms: Floats
    temperature_c: Floats
    rh_pct: Floats

    @property
    def counts(self) -> tuple[int, int, int]:
        """How many, with a temperature, with a humidity."""
        return (
            len(self.at_ms),
            len(self.at_ms) - int(np.count_nonzero(np.isnan(self.temperature_c))),
            len(self.at_ms) - int(np.count_nonzero(np.isnan(self.rh_pct))),
        )

    @property
    def lone(self) -> bool:
        """Whether a humidity came without its temperature."""
        return bool((np.isnan(self.temperature_c) & ~np.isnan(self.rh_pct)).any())

    def part(self, since_ms: float, until_ms: float) -> "Readings":
        """From an instant to before another."""
        a, b = np.searchsorted(self.at_ms, [since_ms, until_ms])
        return Readings(self.at_ms[a:b], self.temperature_c[a:b], self.rh_pct[a:b])


def joined(parts: Iterable[Readings]) -> Readings:
    """Readings one after another."""
    some = [part for part in parts if len(part.at_ms)]
    if len(some) == 1:
        return some[0]
    if not some:
        return Readings(np.empty(0), np.empty(0), np.empty(0))
    return Readings(
        np.concatenate([part.at_ms for part in some]),
        np.concatenate([part.temperature_c for part in some]),
        np.concatenate([part.rh_pct for part in some]),
    )


_COUNTS = "COUNT(*), COUNT(temperature_c), COUNT(rh_pct)"
_UP_TO = "WHERE sensor_id = ? AND observed_at >= ? AND observed_at <= ?"


def read(bulk: Bulk, sensor_id: int, since_ms: int, until_ms: int) -> Readings:
    return Readings(*read_readings(bulk, sensor_id, since_ms, until_ms))


def newer(bulk: Bulk, kept: Mapping[Key, Readings]) -> dict[Key, Readings]:
    """Hours' readings, of which some are kept: only those that came, if they are all newer."""
    found = _came(bulk, {key: own for key, own in kept.items() if len(own.at_ms)})
    for (sensor_id, hour), own in kept.items():
        if (sensor_id, hour) not in found:
            own = read(bulk, sensor_id, hour * HOUR_MS, (hour + 1) * HOUR_MS)
            found[sensor_id, hour] = own
    return found


def _came(bulk: Bulk, kept: Mapping[Key, Readings]) -> dict[Key, Readings]:
    """What is kept and what came after it, of those hours in which nothing came in between.

    What is newer is read first and the rest counted after, so that nothing falls between the two.
    """
    spans = {
        key: (key[0], key[1] * HOUR_MS, int(own.at_ms[-1]), (key[1] + 1) * HOUR_MS)
        for key, own in kept.items()
    }
    fresh: dict[Key, list[tuple[object, ...]]] = {key: [] for key in kept}
    same: dict[Key, bool] = {}
    if bulk.is_sqlite:
        for key, (sensor_id, since, newest, until) in spans.items():
            fresh[key] = bulk.rows(
                "SELECT observed_at, temperature_c, rh_pct FROM reading "
                "WHERE sensor_id = ? AND observed_at > ? AND observed_at < ? ORDER BY observed_at",
                (sensor_id, newest, until),
            )
            counted = bulk.rows(f"SELECT {_COUNTS} FROM reading {_UP_TO}", (sensor_id, since, newest))
            same[key] = tuple(counted[0]) == kept[key].counts
    else:
        # Many in one statement: each would be a way there and back. OFFSET keeps the planner from taking the
        # inner query for a join, and every row of the table with it.
        for keys in _portions(list(kept)):
            asked = ", ".join(
                ["(?::integer, ?::bigint, ?::timestamptz, ?::timestamptz, ?::timestamptz)"] * len(keys)
            )
            values = [
                value
                for key in keys
                for value in (spans[key][0], key[1], *(bulk.instant(at_ms) for at_ms in spans[key][1:]))
            ]
            head = f"FROM (VALUES {asked}) AS asked(id, hour, since, newest, until) CROSS JOIN LATERAL"
            for sensor_id, hour, *row in bulk.rows(
                f"SELECT id, hour, {bulk.instant_of('observed_at')}, temperature_c, rh_pct {head} (SELECT "
                "observed_at, temperature_c, rh_pct FROM reading WHERE sensor_id = id "
                "AND observed_at > newest AND observed_at < until ORDER BY observed_at OFFSET 0) AS came",
                values,
            ):
                fresh[sensor_id, hour].append(tuple(row))
            for sensor_id, hour, *counts in bulk.rows(
                f"SELECT id, hour, n, n_t, n_rh {head} (SELECT COUNT(*) AS n, COUNT(temperature_c) AS n_t, "
                "COUNT(rh_pct) AS n_rh FROM reading WHERE sensor_id = id AND observed_at >= since "
                "AND observed_at <= newest) AS counted",
                values,
            ):
                same[sensor_id, hour] = tuple(counts) == kept[sensor_id, hour].counts
    return {
        key: joined([kept[key], Readings(*columns_of(rows))]) if rows else kept[key]
        for key, rows in fresh.items()
        if same[key]
    }


def _portions(keys: Sequence[Key]) -> Iterator[Sequence[Key]]:
    for start in range(0, len(keys), ASKED_AT_ONCE):
        yield keys[start : start + ASKED_AT_ONCE]
