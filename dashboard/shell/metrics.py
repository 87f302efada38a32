"""What a monitor asks: the book's counts and ages in Prometheus' text format, read fresh at each visit."""

import shutil
from collections import Counter
from collections.abc import Iterable, Iterator
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
            yield GaugeMetricFamily("paneltide_database_up", "1 when the book can be read.", 0)
            return
        yield GaugeMetricFamily("paneltide_database_up", "1 when the book can be read.", 1)
        yield from found

    def _read(self, connection: Connection) -> Iterator[Metric]:
        yield from self._counts(connection)
        yield from self._ages(connection)
        yield from self._parts(connection)
        yield from _warnings(connection)
        yield self._standings()
        yield from self._size(connection)

    def _counts(self, connection: Connection) -> Iterator[Metric]:
        tallies: dict[str, int] = dict(
            connection.execute(select(RunningCount.name, RunningCount.count)).all()
        )
        messages = CounterMetricFamily(
            "paneltide_messages", "What ingest has counted, by what came of it.", labels=["outcome"]
        )
        for name, count in sorted(tallies.items()):
            if name not in NOT_MESSAGES:
                messages.add_metric([name], count)
        yield messages
        yield CounterMetricFamily(
            "paneltide_watch_writes",
            "Transactions the watch has written.",
            tallies.get(WATCH, 0),
        )
        kept = connection.scalar(select(func.count()).select_from(RejectedMessage)) or 0
        yield GaugeMetricFamily("paneltide_rejected_kept", "Rejected messages kept with their reasons.", kept)
        marks = connection.scalar(select(func.count()).select_from(StaleHour)) or 0
        yield GaugeMetricFamily("paneltide_stale_hours", "Hours of sensors waiting for the watch.", marks)
        waiting = select(func.count()).select_from(Notice).where(Notice.sent_at.is_(None))
        yield GaugeMetricFamily(
            "paneltide_notices_waiting", "Notices not sent yet.", connection.scalar(waiting) or 0
        )

    def _ages(self, connection: Connection) -> Iterator[Metric]:
        at = self._now()
        newest = (
            select(func.max(Reading.observed_at))
            .where(Reading.sensor_id == Sensor.id)
            .correlate(Sensor)
            .scalar_subquery()
        )
        own = GaugeMetricFamily(
            "paneltide_sensor_reading_age_seconds", "Since each sensor's last reading.", labels=["sensor"]
        )
        ages: list[float] = []
        # One seek a sensor; those that have retired are not waited for.
        for name, last in connection.execute(
            select(Sensor.name, newest).where(Sensor.retired_at.is_(None)).order_by(Sensor.name)
        ):
            if last is not None:
                ages.append((at - last).total_seconds())
                own.add_metric([name], ages[-1])
        if ages:
            yield GaugeMetricFamily(
                "paneltide_reading_age_seconds", "Since the last reading of any sensor.", min(ages)
            )
        yield own
        evaluated: datetime | None = connection.scalar(select(func.max(Verdict.evaluated_at)))
        if evaluated is not None:
            yield GaugeMetricFamily(
                "paneltide_evaluation_age_seconds",
                "Since the full hour up to which everything was evaluated.",
                (at - evaluated).total_seconds(),
            )

    def _parts(self, connection: Connection) -> Iterator[Metric]:
        age = GaugeMetricFamily(
            "paneltide_part_pulse_age_seconds", "Since a part's last sign of life.", labels=["part"]
        )
        restarts = CounterMetricFamily(
            "paneltide_part_restarts", "How often the supervisor started a part again.", labels=["part"]
        )
        stages = GaugeMetricFamily(
            "paneltide_evaluation_seconds", "What the last evaluation took.", labels=["stage"]
        )
        connected = GaugeMetricFamily(
            "paneltide_broker_connected", "1 when this part that listens hears the broker.", labels=["part"]
        )
        backlog = GaugeMetricFamily(
            "paneltide_ingest_backlog", "Messages not committed yet.", labels=["part"]
        )
        for part, at, document in connection.execute(select(Pulse.part, Pulse.at, Pulse.detail)):
            detail: dict[str, Any] = document or {}
            stopped = bool(detail.get("stopped"))
            if stopped and part != INGEST:
                continue  # one of several, taken away on purpose: nothing to be alarmed about
            age.add_metric([part], (machine_now() - at).total_seconds())
            if is_ingest(part):
                connected.add_metric([part], float(bool(detail.get("broker_connected")) and not stopped))
                backlog.add_metric([part], detail.get("backlog", 0))
            elif part == "supervisor":
                for name, state in detail.items():
                    restarts.add_metric([name], state.get("restarts", 0))
            elif part == WATCH:
                for stage, seconds in detail.get("durations_s", {}).items():
                    stages.add_metric([stage], seconds)
        yield from (age, restarts, stages, connected, backlog)

    def _size(self, connection: Connection) -> Iterator[Metric]:
        yield GaugeMetricFamily(
            "paneltide_database_bytes", "Size of the database.", database_bytes(self._store, connection)
        )
        if self._store.is_sqlite and self._store.url.database:
            free = shutil.disk_usage(Path(self._store.url.database).parent).free
            yield GaugeMetricFamily("paneltide_disk_free_bytes", "Free where the database lies.", free)

    def _standings(self) -> Metric:
        """As the pages have it: what is being worked out, or has stalled, counts as unknown."""
        standing = GaugeMetricFamily(
            "paneltide_verdicts", "How many stand how.", labels=["subject", "verdict"]
        )
        with self._store.session() as session:
            for kind in session.scalars(
                select(Verdict.subject_kind).distinct().order_by(Verdict.subject_kind)
            ):
                counts = Counter(one.verdict for one in judgements(session, kind, now=self._now()).values())
                for verdict in VERDICTS:
                    standing.add_metric([kind, verdict], counts[verdict])
        return standing


def _warnings(connection: Connection) -> Iterator[Metric]:
    open_ones = GaugeMetricFamily(
        "paneltide_open_warnings", "Warnings that are open.", labels=["tier", "verdict"]
    )
    for tier, verdict, count in connection.execute(
        select(Warning.tier, Warning.to_verdict, func.count())
        .where(Warning.closed_at.is_(None))
        .group_by(Warning.tier, Warning.to_verdict)
        .order_by(Warning.tier, Warning.to_verdict)
    ):
        open_ones.add_metric([tier, verdict], count)
    yield open_ones


def database_bytes(store: Store, connection: Connection) -> int:
    """What the database takes on disk; of SQLite its file and its write-ahead log."""
    if not store.is_sqlite:
        return int(connection.scalar(text("SELECT pg_database_size(current_database())")) or 0)
    pages = connection.scalar(text("PRAGMA page_count")) or 0
    size = int(pages) * int(connection.scalar(text("PRAGMA page_size")) or 0)
    log = Path(f"{store.url.database}-wal")
    return size + (log.stat().st_size if log.exists() else 0)
