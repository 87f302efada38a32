"""How the watch reads and writes its tables, in bulk, and how one writer among several is sure of itself.

Every transaction of a watch first moves the watch's counter on from where it last saw it, and then looks
whether the book is still the one it computed from. When either has moved, another watch or a change of the
book came first: the transaction is given up, and nothing of it remains. So it needs no lock that a killed
process could leave behind.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from model.records.acts.invalidation import AIR, BOOK, WATCH
from model.records.bulk import Bulk
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS
from model.watch.air.gap_fill import HourlyAir
from model.watch.state.roster import Assembly

AT_ONCE = 500
"""Ids in one statement: well under SQLite's smallest limit on variables."""


class Overtaken(RuntimeError):
    """Another watch wrote, or the book changed, since this one read."""


@dataclass(frozen=True)
class Counts:
    """The counters that tell whether what was read is still so."""

    watch: int
    book: int
    air: int

    def after_writing(self) -> "Counts":
        """As they are after one transaction of the watch."""
        return Counts(self.watch + 1, self.book, self.air)


def read_counts(bulk: Bulk, lock: str = "") -> Counts:
    """The counters now; `lock` follows the statement."""
    names = (WATCH, BOOK, AIR)
    found = dict(bulk.rows(f"SELECT name, count FROM tally WHERE name IN (?, ?, ?){lock}", names))
    return Counts(*(found.get(name, 0) for name in names))


@contextmanager
def reading(store: Store) -> Iterator[Bulk]:
    """Statements that only read."""
    with store.engine.connect() as connection:
        yield Bulk(connection)


@contextmanager
def writing(store: Store, counts: Counts) -> Iterator[Bulk]:
    """One transaction of a watch that read at `counts`.

    Raises
    ------
    Overtaken
        If another watch wrote since, or the book changed.
    """
    with store.engine.begin() as connection:
        bulk = Bulk(connection)
        _claim(bulk, counts)
        yield bulk


def _claim(bulk: Bulk, counts: Counts) -> None:
    bulk.count_up([(WATCH, 1)])
    # The book can't change until the end on a database with row locks; SQLite has let nobody else write since
    # the update.
    now = read_counts(bulk, "" if bulk.is_sqlite else " FOR SHARE")
    if now.watch != counts.watch + 1:
        raise Overtaken("another watch wrote first")
    if now != counts.after_writing():
        raise Overtaken("the book changed")


# ---------------------------------------------------------------- air


def read_airs(bulk: Bulk) -> dict[int, HourlyAir]:
    """The stored air of every place; an hour that is missing in between is NaN."""
    columns = f"place_id, {bulk.instant_of('hour_at')}, temperature_c, rh_pct, n_readings"
    rows = bulk.rows(f"SELECT {columns} FROM air_hour ORDER BY place_id, hour_at")
    airs: dict[int, HourlyAir] = {}
    if not rows:
        return airs
    table = np.array(rows, dtype=np.float64)
    places = table[:, 0].astype(np.int64)
    edges = np.flatnonzero(np.diff(places, prepend=-1, append=-1))
    for start, end in pairwise(edges.tolist()):
        own = table[start:end]
        hours = (own[:, 1] // HOUR_MS).astype(np.int64)
        first, length = int(hours[0]), int(hours[-1] - hours[0] + 1)
        temperature_c, rh_pct = np.full(length, np.nan), np.full(length, np.nan)
        n_readings = np.zeros(length, dtype=np.int64)
        temperature_c[hours - first], rh_pct[hours - first] = own[:, 2], own[:, 3]
        n_readings[hours - first] = own[:, 4]
        airs[int(places[start])] = HourlyAir(first, temperature_c, rh_pct, n_readings)
    return airs


def changed_hours(old: HourlyAir, new: HourlyAir) -> np.ndarray[Any, np.dtype[np.int64]]:
    """The hours at which two airs differ, or one has none, rising."""
    low, high = max(old.first, new.first), min(old.end, new.end)
    spans = []
    if low < high:
        a, b = slice(low - old.first, high - old.first), slice(low - new.first, high - new.first)
        same = (old.temperature_c[a] == new.temperature_c[b]) & (old.rh_pct[a] == new.rh_pct[b])
        same &= old.n_readings[a] == new.n_readings[b]
        spans.append(low + np.flatnonzero(~same))
        edges = [(min(old.first, new.first), low), (high, max(old.end, new.end))]
    else:
        edges = [(air.first, air.end) for air in (old, new) if len(air)]
    spans += [np.arange(start, end) for start, end in edges]
    return np.unique(np.concatenate(spans).astype(np.int64))


def write_air(bulk: Bulk, place_id: int, new: HourlyAir, changed: Sequence[int]) -> None:
    """Bring the stored air of a place to the new one at the hours that changed."""
    gone = [(place_id, bulk.instant(h * HOUR_MS)) for h in changed if not new.first <= h < new.end]
    bulk.each("DELETE FROM air_hour WHERE place_id = ? AND hour_at = ?", gone)
    rows = []
    for hour in changed:
        if new.first <= hour < new.end:
            row = hour - new.first
            n = int(new.n_readings[row])
            rows.append(
                (place_id, bulk.instant(hour * HOUR_MS), float(new.temperature_c[row]),
                 float(new.rh_pct[row]), n, "measured" if n else "estimated")
            )  # fmt: skip
    columns = ("place_id", "hour_at", "temperature_c", "rh_pct", "n_readings", "basis")
    bulk.put("air_hour", columns[:2], columns, rows)


# ---------------------------------------------------------------- marks


ON_WOOD = "(SELECT sensor_id FROM mount)"


def read_marks(bulk: Bulk, until: int, *, on_wood: bool = False) -> list[tuple[int, int, int]]:
    """Sensor, hour and revision of each mark up to an hour, included: of those that report air, or of those
    on wood.
    """
    found: list[Any] = bulk.rows(
        f"SELECT sensor_id, ({bulk.instant_of('hour_at')}) / {HOUR_MS}, revision FROM stale_hour "
        f"WHERE hour_at <= ? AND sensor_id {'' if on_wood else 'NOT '}IN {ON_WOOD} "
        "ORDER BY sensor_id, hour_at",
        (bulk.instant(until * HOUR_MS),),
    )
    return found


def any_marks(bulk: Bulk, until: int) -> bool:
    """Whether an hour up to this one, included, waits to be computed again; of wood it must be over."""
    at, over = bulk.instant(until * HOUR_MS), bulk.instant((until - 1) * HOUR_MS)
    wanted = f"SELECT 1 FROM stale_hour WHERE hour_at <= ? AND (sensor_id NOT IN {ON_WOOD} OR hour_at <= ?)"
    return bool(bulk.rows(f"{wanted} LIMIT 1", (at, over)))


def delete_marks(bulk: Bulk, marks: Iterable[tuple[int, int, int]]) -> None:
    """Delete marks as they were read; one that was set again since stays."""
    bulk.each(
        "DELETE FROM stale_hour WHERE sensor_id = ? AND hour_at = ? AND revision = ?",
        [(sensor, bulk.instant(hour * HOUR_MS), revision) for sensor, hour, revision in marks],
    )


# ---------------------------------------------------------------- states, standings and verdicts


def delete_from(bulk: Bulk, owners: Iterable[tuple[Assembly, int]]) -> None:
    """Take back what is computed for owners from an hour on, that hour included."""
    bodies, fits = [], []
    for owner, hour in owners:
        at = bulk.instant(max(hour, 0) * HOUR_MS)
        bodies += [(body.id, at) for body in owner.bodies]
        fits += [(fit, at) for fit in owner.fit_ids]
    for table in ("checkpoint", "learned"):
        bulk.each(f"DELETE FROM {table} WHERE body_id = ? AND at >= ?", bodies)
    bulk.each("DELETE FROM margin WHERE fit_id = ? AND at >= ?", fits)


CHECKPOINT = (
    "body_id", "at", "profile_pct", "mc_mean_pct", "mc_face_pct", "mc_core_pct", "mc_back_pct", "width_mm",
    "estimated_hours", "variance_pct2",
)  # fmt: skip
LEARNED = (
    "body_id", "at", "movement_factor", "movement_doubt", "rate_factor", "rate_doubt", "settles_pct",
    "settles_doubt_pct", "count",
)  # fmt: skip
MARGIN = (
    "fit_id", "limit_name", "at", "direction", "severity", "margin_mm", "play_mm", "standing",
    "standing_since_at", "eased",
)  # fmt: skip
VERDICT = (
    "subject_kind", "subject_id", "verdict", "since_at", "evaluated_at", "state_at", "detail",
)  # fmt: skip


def put_verdicts(bulk: Bulk, rows: Iterable[Sequence[Any]]) -> None:
    """Insert or replace verdicts; one that is on record as it is to be is not written again."""
    differs = [f"verdict.{c} <> excluded.{c}" for c in ("verdict", "since_at", "evaluated_at", "state_at")]
    differs.append("CAST(verdict.detail AS TEXT) <> CAST(excluded.detail AS TEXT)")
    bulk.put("verdict", VERDICT[:2], VERDICT, rows, where=" OR ".join(differs))


def end_retired(bulk: Bulk, owners: Sequence[Assembly]) -> None:
    """Drop the verdicts of owners that are followed no more, and close the warnings of their fits."""
    gone = [(o.kind, o.id) for o in owners] + [("fit", fit) for o in owners for fit in o.fit_ids]
    bulk.each("DELETE FROM verdict WHERE subject_kind = ? AND subject_id = ?", gone)
    bulk.each(
        "UPDATE warning SET closed_at = ? "
        "WHERE subject_kind = 'fit' AND subject_id = ? AND closed_at IS NULL AND opened_at <= ?",
        [(at, fit, at) for o in owners for at in [bulk.instant(o.until * HOUR_MS)] for fit in o.fit_ids],
    )


def in_portions(ids: Sequence[int]) -> Iterator[Sequence[int]]:
    """Ids in portions that one statement takes."""
    for start in range(0, len(ids), AT_ONCE):
        yield ids[start : start + AT_ONCE]
