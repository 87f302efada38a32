"""Sensors now: heard, doubted or silent, and the warnings of silences, past and present.

A silence is a gap between two readings longer than the place allows, while the sensor hung there. It opens at
the moment the time was up and closes with the next reading, whenever that became known.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from model.records.acts.trusted import ADVICE, doubt_reason
from model.records.bulk import Bulk
from model.watch.air.air_hours import FAR_MS, HOUR_MS, Hung
from model.watch.air.climate import SILENT_AFTER_H
from model.watch.run.rows import Row, verdict_row
from model.watch.run.watch_sql import in_portions
from model.watch.state.roster import PlaceOnBook
from model.watch.tell.verdicts import UNKNOWN, Judged
from model.watch.tell.warnings import Changes, Episode, read_stored, reconcile
from model.wood.reason import Reason

SILENT = "silent"
"""The doubt about a sensor that pauses; it leaves no reading out."""


@dataclass(frozen=True)
class _Sensor:
    id: int
    name: str
    accepted_ms: int
    last_ms: int | None


def sensors_now(
    bulk: Bulk,
    places: Mapping[int, PlaceOnBook],
    hangings: Sequence[Hung],
    hour: int,
    marks: Sequence[tuple[int, int, int]],
) -> tuple[list[Row], list[Changes], dict[int, list[Episode]]]:
    """Verdict rows of every sensor, what to write so that its warnings are right, and its silences.

    Parameters
    ----------
    marks : sequence of (sensor id, hour, revision)
        Hours whose readings changed: around them past silences are looked for again.
    """
    ms = bulk.instant_of
    # To the end of the hour, as marks are read: a reading that counts now is one whose mark has been seen.
    end_ms = (hour + 1) * HOUR_MS - 1
    newest = "(SELECT MAX(observed_at) FROM {} WHERE sensor_id = sensor.id AND observed_at <= ?)"
    last = ms(f"COALESCE({newest.format('reading')}, {newest.format('wood_reading')})")
    in_use = bulk.rows("SELECT id FROM sensor WHERE retired_at IS NULL ORDER BY id")
    sensors = [
        _Sensor(*row)
        for ids in in_portions([id_ for (id_,) in in_use])
        for row in bulk.rows(
            f"SELECT id, name, {ms('accepted_at')}, {last} FROM sensor "
            f"WHERE id IN ({', '.join('?' * len(ids))}) ORDER BY id",
            (bulk.instant(end_ms), bulk.instant(end_ms), *ids),
        )
    ]
    hung_by: dict[int, list[Hung]] = {}
    for hung in (*hangings, *_mounted(bulk)):
        hung_by.setdefault(hung.sensor_id, []).append(hung)
    open_doubts = bulk.rows(
        f"SELECT sensor_id, kind, reason, {ms('since_at')} FROM doubt "
        "WHERE undone_at IS NULL AND until_at IS NULL ORDER BY since_at, kind"
    )
    late = {sensor_id for sensor_id, kind, *_ in open_doubts if kind == SILENT}
    # What leaves readings out outweighs what only advises.
    doubts = {
        sensor_id: (kind, reason, since)
        for sensor_id, kind, reason, since in sorted(open_doubts, key=lambda row: row[1] not in ADVICE)
        if kind != SILENT
    }
    touched: dict[int, tuple[int, int]] = {}
    for sensor_id, at, _ in marks:
        low, high = touched.get(sensor_id, (at, at))
        touched[sensor_id] = min(low, at), max(high, at)
    stored = read_stored(bulk, "sensor", 0)
    rows: list[Row] = []
    changes: list[Changes] = []
    silences: dict[int, list[Episode]] = {}
    for sensor in sensors:
        own = hung_by.get(sensor.id, [])
        window = touched.get(sensor.id)
        gaps, spans = _gaps(bulk, sensor, window, end_ms)
        episodes = [e for gap in gaps for e in _silence(sensor, gap, own, places, hour)]
        past = stored.get(sensor.id, [])
        again = [o for o in past if any(a <= o.episode.opened_ms <= b for a, b in spans)]
        change = reconcile(again, episodes)
        if len(change):
            changes.append(change)
        episodes += [other.episode for other in past if other not in again]
        silences[sensor.id] = episodes
        judged = _judged(sensor, episodes, doubts, sensor.id in late)
        rows.append(verdict_row("sensor", sensor.id, judged, hour))
    return rows, changes, silences


def _mounted(bulk: Bulk) -> list[Hung]:
    """Sensors on wood, as if hung where the wood stands now."""
    ms = bulk.instant_of
    return [
        Hung(sensor_id, place_id, since, FAR_MS if until is None else until)
        for sensor_id, place_id, since, until in bulk.rows(
            f"SELECT mount.sensor_id, stay.place_id, {ms('mount.since_at')}, {ms('mount.until_at')} "
            "FROM mount LEFT JOIN member ON member.id = mount.body_id "
            "JOIN stay ON stay.stack_id = mount.body_id OR stay.piece_id = member.piece_id "
            "WHERE stay.until_at IS NULL ORDER BY mount.id"
        )
    ]


Gap = tuple[int, int | None]


def _gaps(
    bulk: Bulk, sensor: _Sensor, window: tuple[int, int] | None, end_ms: int
) -> tuple[list[Gap], list[tuple[int, int]]]:
    """Gaps between a sensor's readings that may be silences, and the spans of instants they speak for."""
    if sensor.last_ms is None:
        return [], [(0, FAR_MS)]
    gaps: list[Gap] = [(sensor.last_ms, None)]
    spans = [(sensor.last_ms, FAR_MS)]
    if window is None:
        return gaps, spans
    ms = bulk.instant_of
    low, high = window[0] * HOUR_MS, (window[1] + 1) * HOUR_MS
    least = min(SILENT_AFTER_H.values()) * HOUR_MS
    edges = "SELECT {} FROM reading WHERE sensor_id = ? AND observed_at {} ?"
    ((before,),) = bulk.rows(edges.format(ms("MAX(observed_at)"), "<"), (sensor.id, bulk.instant(low)))
    ((after,),) = bulk.rows(edges.format(ms("MIN(observed_at)"), ">="), (sensor.id, bulk.instant(high)))
    start = low if before is None else int(before)
    end = high if after is None else int(after)
    if min(end, end_ms) - start > least:  # else no two of them lie so far apart
        gaps += [
            (int(a), int(b))
            for a, b in bulk.rows(
                f"SELECT a, b FROM (SELECT {ms('observed_at')} AS b, LAG({ms('observed_at')}) OVER "
                "(ORDER BY observed_at) AS a FROM reading WHERE sensor_id = ? AND observed_at >= ? "
                "AND observed_at <= ?) AS pair WHERE b - a > ? ORDER BY a",
                (sensor.id, bulk.instant(start), bulk.instant(min(end, end_ms)), least),
            )
        ]
    # Without a reading before, nothing that opened earlier can be a silence of this sensor.
    return gaps, [*spans, (0 if before is None else start, end)]


def _silence(
    sensor: _Sensor,
    gap: Gap,
    hangings: Sequence[Hung],
    places: Mapping[int, PlaceOnBook],
    hour: int,
) -> list[Episode]:
    """The silence of a gap, if it is one; one that lasts is told by the full hour."""
    since, until = gap
    hung = next((one for one in hangings if one.since_ms <= since < one.until_ms), None)
    if hung is None:
        return []
    place = places[hung.place_id]
    opened = since + SILENT_AFTER_H[place.kind] * HOUR_MS
    ended = min(until if until is not None else FAR_MS, hung.until_ms)
    if opened >= ended or (ended == FAR_MS and opened > hour * HOUR_MS):
        return []
    detail: dict[str, Any] = {
        "key": SILENT, "sensor": sensor.name, "place": place.name, "last_ms": since,
        "allowed_h": SILENT_AFTER_H[place.kind],
    }  # fmt: skip
    closed = None if ended == FAR_MS else ended
    return [Episode("sensor", sensor.id, "", "morning", "clear", UNKNOWN, detail, opened, closed_ms=closed)]


def _judged(
    sensor: _Sensor,
    episodes: Sequence[Episode],
    doubts: Mapping[int, tuple[str, str, int]],
    is_late: bool,
) -> Judged:
    heard: dict[str, Any] = {"last_ms": sensor.last_ms}
    if sensor.last_ms is None:
        return Judged(UNKNOWN, sensor.accepted_ms // HOUR_MS, Reason("never", heard))
    silent = [episode for episode in episodes if episode.closed_ms is None]
    if silent:
        opened = silent[-1].opened_ms // HOUR_MS
        return Judged(UNKNOWN, opened, Reason.of({**silent[-1].detail, **heard}))
    if sensor.id in doubts:
        kind, why, since_ms = doubts[sensor.id]
        key = "check" if kind in ADVICE else "doubted"
        return Judged(
            "near", since_ms // HOUR_MS, Reason(key, {"doubt": kind, "why": doubt_reason(why), **heard})
        )
    closed = [episode.closed_ms for episode in episodes if episode.closed_ms is not None]
    since = max(closed, default=sensor.accepted_ms) // HOUR_MS
    return Judged("clear", since, Reason("late" if is_late else "heard", heard))
