"""Routes topics to sensors by the book's bindings, held in memory."""

import json
import logging
from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from paho.mqtt.client import topic_matches_sub

from ingest.payload.quantities import plain
from ingest.payload.shapes import Observed, PayloadReading
from ingest.payload.wood import reader_of
from model.records.bulk import Bulk

log = logging.getLogger("paneltide.ingest")

ROUTES_KEPT = 10_000

BINDINGS = """
SELECT binding.topic, binding.part, binding.payload, sensor.id, sensor.temperature_unit, sensor.zone,
       sensor.retired_at IS NOT NULL
FROM binding JOIN sensor ON sensor.id = binding.sensor_id ORDER BY binding.id
"""
DISMISSED = "SELECT topic FROM dismissed_topic ORDER BY topic"

Read = Callable[[str, bytes, datetime, bool, Container[str]], list[Observed]]


@dataclass(frozen=True)
class Stream:
    """One reading of a topic's payload, and the sensors it speaks of."""

    reading: PayloadReading
    read: Read | None  # none for a topic that tells presence
    sensors: dict[str, int] = field(default_factory=dict)  # by the sensor's own name inside the message
    retired: set[str] = field(default_factory=set)  # names of sensors no longer in use


Route = tuple[Stream, ...]


class Registry:
    """The bindings in memory.

    A topic whose every sensor is retired has a route without sensors: its messages are counted and dropped,
    not listed as unknown.
    """

    def __init__(self) -> None:
        self._exact: dict[str, list[Stream]] = {}
        self._wild: list[tuple[str, Stream]] = []
        self._routes: dict[str, Route] = {}
        self._rows: list[tuple[Any, ...]] = []
        self._mark: Any = None
        self.sensor_ids: frozenset[int] = frozenset()
        self.dismissed: frozenset[str] = frozenset()

    def refresh(self, bulk: Bulk, *, thorough: bool = True) -> bool:
        """Look whether bindings or dismissed topics changed, and take them over; whether they did.

        Parameters
        ----------
        thorough : bool
            If not, a change may be missed that adds or removes no binding, where the database gives no sure
            sign of changes.

        Raises
        ------
        DBAPIError
            If the database can't be read; the bindings known so far stay in force.
        """
        # SQLite's own mark differs after any other connection's change; a count is only a quick look.
        mark = bulk.rows("PRAGMA data_version" if bulk.is_sqlite else "SELECT count(*), max(id) FROM binding")
        if mark == self._mark and (bulk.is_sqlite or not thorough):
            return False
        rows = bulk.rows(BINDINGS)
        dismissed = frozenset(topic for (topic,) in bulk.rows(DISMISSED))
        self._mark = mark
        if rows == self._rows and dismissed == self.dismissed:
            return False
        self._rows, self.dismissed = rows, dismissed
        self._take_over(rows)
        return True

    def route(self, topic: str) -> Route:
        """How the messages of a topic are read; empty when nobody is bound to it."""
        route = self._routes.get(topic)
        if route is None:
            found = list(self._exact.get(topic, ()))
            found += [stream for wild, stream in self._wild if topic_matches_sub(wild, topic)]
            if len(self._routes) >= ROUTES_KEPT:
                self._routes.clear()
            route = self._routes[topic] = tuple(found)
        return route

    def bound(self, topics: Iterable[str]) -> list[str]:
        """Those of the topics that somebody is bound to."""
        return [topic for topic in topics if self.route(topic)]

    def _take_over(self, rows: list[tuple[Any, ...]]) -> None:
        self._exact, self._wild, self._routes = {}, [], {}
        streams: dict[tuple[str, str, str, str], Stream] = {}
        for topic, part, payload, sensor_id, unit, zone, retired in rows:
            document = json.loads(payload) if isinstance(payload, str) else payload
            key = (topic, json.dumps(document, sort_keys=True), unit, zone)
            stream = streams.get(key)
            if stream is None:
                try:
                    stream = _stream(PayloadReading.from_document(document), unit, zone)
                except (ValueError, TypeError) as error:
                    log.error("the binding of %s can't be used: %s", plain(topic), plain(str(error)))
                    continue
                streams[key] = stream
                if "+" in topic or "#" in topic:
                    self._wild.append((topic, stream))
                else:
                    self._exact.setdefault(topic, []).append(stream)
            if retired:
                stream.retired.add(part)
            else:
                stream.sensors[part] = sensor_id
        self.sensor_ids = frozenset(row[3] for row in rows)


def _stream(reading: PayloadReading, unit: str, zone: str) -> Stream:
    return Stream(reading, None if reading.shape == "presence" else reader_of(reading, unit, zone).read)
