"""What a monitor asks: the book's counts and ages in Prometheus' text format, read fresh at each visit."""

import shutil
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import flask
from prometheus_client import CollectorRegistry
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector
from sqlalchemy import Connection, func, select, text
from sqlalchemy.exc import SQLAlchemyError

from model.records.acts.invalidation import AIR, BOOK
from model.records.acts.trusted import TRUST
from model.records.clock import Now, machine_now
from model.records.queries.health import INGEST, is_ingest
from model.records.queries.verdicts import judgements
from model.records.schema.tables import (
    Notice,
    Pulse,
    Reading,
    RejectedMessage,
    RunningCount,
    Sensor,
    StaleHour,
    Verdict,
    Warning,
)
from model.records.store import Store, newest_revision

METRICS = "/metrics"
WATCH = "watch"
"""Name of the watch's sign of life, and of a tally in books of before."""
NOT_MESSAGES = (BOOK, AIR, TRUST, WATCH)
VERDICTS = ("clear", "near", "past", "unknown")


def register(server: flask.Flask, store: Store, now: Now) -> None:
    """Answer `/metrics`; who may ask is decided elsewhere, before this is reached."""
    registry = CollectorRegistry()
    registry.register(BookCollector(store, now))

    @server.get(METRICS)
    def metrics() -> flask.Response:
        encode, content_type = choose_encoder(flask.request.headers.get("Accept", ""))
        response = flask.Response(encode(registry), content_type=content_type)
        response.headers["Cache-Control"] = "no-store"
        return response


def _gauge(name: str, said: str, value: float) -> Metric:
    return GaugeMetricFamily(f"paneltide_{name}", said, value)


def _each(
    family: type[GaugeMetricFamily | CounterMetricFamily],
    name: str,
    said: str,
    labels: Sequence[str],
    values: Iterable[tuple[Sequence[str], float]],
) -> Metric:
    """One metric with a value for each of its labels."""
    found = family(f"paneltide_{name}", said, labels=labels)
    for named, value in values:
        found.add_metric(named, value)
    return found


class BookCollector(Collector):
    """Reads a book's counts whenever it is asked.

    Ages are by the clock that the instants are of: readings and evaluations by the book's, pulses by the
    machine's. A database that can't be read leaves one metric, `paneltide_database_up 0`.
    """

    def __init__(self, store: Store, now: Now) -> None:
        self._store, self._now = store, now

    def describe(self) -> Iterable[Metric]:
        """Nothing beforehand, so that registering asks nothing of the database."""
        return ()

    def collect(self) -> Iterator[Metric]:
        info = {"version": version("paneltide"), "schema": newest_revision()}
        yield InfoMetricFamily("paneltide", "The program.", value=info)
        try:
            with self._store.engine.connect() as connection:
                found = list(self._read(connection))
        except SQLAlchemyError:
            found = []
        yield _gauge("database_up", "1 when the book can be read.", float(bool(found)))
        yield from found

    def _read(self, connection: Connection) -> Iterator[Metric]:
        yield from _counts(connection)
        yield from self._ages(connection)
        yield from _parts(connection)
        yield from self._standings()
        yield _gauge("database_bytes", "Size of the database.", database_bytes(self._store, connection))
        if self._store.is_sqlite and self._store.url.database:
            free = shutil.disk_usage(Path(self._store.url.database).parent).free
            yield _gauge("disk_free_bytes", "Free where the database lies.", free)

    def _ages(self, connection: Connection) -> Iterator[Metric]:
        at = self._now()
        newest = (
            select(func.max(Reading.observed_at))
            .where(Reading.sensor_id == Sensor.id)
            .correlate(Sensor)
            .scalar_subquery()
        )
        # One seek a sensor; those that have retired are not waited for.
        sensors = select(Sensor.name, newest).where(Sensor.retired_at.is_(None)).order_by(Sensor.name)
        ages = [
            ([name], (at - last).total_seconds())
            for name, last in connection.execute(sensors)
            if last is not None
        ]
        if ages:
            least = min(age for _, age in ages)
            yield _gauge("reading_age_seconds", "Since the last reading of any sensor.", least)
        said = "Since each sensor's last reading."
        yield _each(GaugeMetricFamily, "sensor_reading_age_seconds", said, ["sensor"], ages)
        evaluated: datetime | None = connection.scalar(select(func.max(Verdict.evaluated_at)))
        if evaluated is not None:
            said = "Since the full hour up to which everything was evaluated."
            yield _gauge("evaluation_age_seconds", said, (at - evaluated).total_seconds())

    def _standings(self) -> Iterator[Metric]:
        """As the pages have it: what is being worked out, or has stalled, counts as unknown."""
        kinds = select(Verdict.subject_kind).distinct().order_by(Verdict.subject_kind)
        found = []
        with self._store.session() as session:
            for kind in session.scalars(kinds):
                counts = Counter(one.verdict for one in judgements(session, kind, now=self._now()).values())
                found += [([kind, verdict], counts[verdict]) for verdict in VERDICTS]
        yield _each(GaugeMetricFamily, "verdicts", "How many stand how.", ["subject", "verdict"], found)


def _counts(connection: Connection) -> Iterator[Metric]:
    tallies: dict[str, int] = dict(connection.execute(select(RunningCount.name, RunningCount.count)).all())
    said = "What ingest has counted, by what came of it."
    counted = [([name], count) for name, count in sorted(tallies.items()) if name not in NOT_MESSAGES]
    yield _each(CounterMetricFamily, "messages", said, ["outcome"], counted)
    said = "Transactions the watch has written."
    yield CounterMetricFamily("paneltide_watch_writes", said, tallies.get(WATCH, 0))
    for name, said, rows in (
        (
            "rejected_kept",
            "Rejected messages kept with their reasons.",
            select(func.count()).select_from(RejectedMessage),
        ),
        (
            "stale_hours",
            "Hours of sensors waiting for the watch.",
            select(func.count()).select_from(StaleHour),
        ),
        (
            "notices_waiting",
            "Notices not sent yet.",
            select(func.count()).select_from(Notice).where(Notice.sent_at.is_(None)),
        ),
    ):
        yield _gauge(name, said, connection.scalar(rows) or 0)
    of = Warning.tier, Warning.to_verdict
    opened = select(*of, func.count()).where(Warning.closed_at.is_(None)).group_by(*of).order_by(*of)
    found = [([tier, verdict], count) for tier, verdict, count in connection.execute(opened)]
    yield _each(GaugeMetricFamily, "open_warnings", "Warnings that are open.", ["tier", "verdict"], found)


def _parts(connection: Connection) -> Iterator[Metric]:
    found: dict[str, list[tuple[list[str], float]]] = defaultdict(list)
    for part, at, document in connection.execute(select(Pulse.part, Pulse.at, Pulse.detail)):
        detail: dict[str, Any] = document or {}
        stopped = bool(detail.get("stopped"))
        if stopped and part != INGEST:
            continue  # one of several, taken away on purpose: nothing to be alarmed about
        found["age"].append(([part], (machine_now() - at).total_seconds()))
        if is_ingest(part):
            found["connected"].append(([part], float(bool(detail.get("broker_connected")) and not stopped)))
            found["backlog"].append(([part], detail.get("backlog", 0)))
        elif part == "supervisor":
            found["restarts"] += [([name], state.get("restarts", 0)) for name, state in detail.items()]
        elif part == WATCH:
            found["stages"] += [([stage], s) for stage, s in detail.get("durations_s", {}).items()]
    gauge = GaugeMetricFamily
    yield _each(gauge, "part_pulse_age_seconds", "Since a part's last sign of life.", ["part"], found["age"])
    said = "How often the supervisor started a part again."
    yield _each(CounterMetricFamily, "part_restarts", said, ["part"], found["restarts"])
    said = "What the last evaluation took."
    yield _each(gauge, "evaluation_seconds", said, ["stage"], found["stages"])
    said = "1 when this part that listens hears the broker."
    yield _each(gauge, "broker_connected", said, ["part"], found["connected"])
    yield _each(gauge, "ingest_backlog", "Messages not committed yet.", ["part"], found["backlog"])


def database_bytes(store: Store, connection: Connection) -> int:
    """What the database takes on disk; of SQLite its file and its write-ahead log."""
    if not store.is_sqlite:
        return int(connection.scalar(text("SELECT pg_database_size(current_database())")) or 0)
    pages = connection.scalar(text("PRAGMA page_count")) or 0
    size = int(pages) * int(connection.scalar(text("PRAGMA page_size")) or 0)
    log = Path(f"{store.url.database}-wal")
    return size + (log.stat().st_size if log.exists() else 0)
