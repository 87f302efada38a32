"""Ingest on both databases: rows that merge, locks, outages, rows that the database refuses."""

import sqlite3
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.exc import DBAPIError

from ingest.broker.embedded import EmbeddedBroker
from ingest.mqtt.batch import RefusedMessage, Row, UnboundMessage, WriteBatch
from ingest.mqtt.subscriber import Subscriber
from ingest.settings import IngestSettings, Limits
from ingest.storage.writer import Writer
from model.records.clock import machine_now
from model.records.schema.arrived import as_stored
from model.records.schema.tables import HeardMessage, Reading, RejectedMessage, Sensor, StaleHour
from model.records.schema.types import to_epoch_ms
from model.records.store import Store

Start = Callable[..., Any]
NOON = to_epoch_ms(datetime(2025, 3, 1, 12, 10, tzinfo=UTC))
HOUR_MS = 3_600_000


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either(request: pytest.FixtureRequest) -> Store:
    """A book on each of the two databases."""
    name = "store" if request.param == "sqlite" else "postgres_store"
    book: Store = request.getfixturevalue(name)
    with book.session() as session:
        session.add_all(Sensor(id=number, name=f"s{number}", accepted_at=machine_now()) for number in (1, 2))
    return book


@pytest.fixture
def writer(either: Store) -> Iterator[Writer]:
    made = Writer(either, Limits(rejected_rows=50, heard_per_topic=3))
    yield made
    made.drop()


def batch_of(*rows: Row) -> WriteBatch:
    batch = WriteBatch(messages=len(rows))
    for row in rows:
        batch.add(row, "air/1", b"raw")
    return batch


def row(
    at_ms: int, temperature_c: float | None = 20.0, rh_pct: float | None = 40.0, sensor_id: int = 1
) -> Row:
    return Row(sensor_id, at_ms, at_ms + 500, temperature_c, rh_pct, "device")


def marks(store: Store) -> dict[tuple[int, int], int]:
    with store.session() as session:
        return {
            (mark.sensor_id, mark.hour_at.hour): mark.revision for mark in session.scalars(select(StaleHour))
        }


def test_a_redelivery_is_the_same_row_and_marks_nothing(either: Store, writer: Writer, world: Any) -> None:
    assert writer.write(batch_of(row(NOON), row(NOON + HOUR_MS))) == 2
    assert writer.write(batch_of(row(NOON), row(NOON + HOUR_MS))) == 0
    assert world.rows(either) == 2
    assert marks(either) == {(1, 12): 1, (1, 13): 1}
    assert (world.tally(either, "stored"), world.tally(either, "duplicate")) == (2, 2)


def test_only_hours_that_really_change_are_marked(either: Store, writer: Writer) -> None:
    writer.write(batch_of(row(NOON), row(NOON + HOUR_MS)))
    assert (
        writer.write(
            batch_of(row(NOON), row(NOON + HOUR_MS), row(NOON + HOUR_MS + 1), row(NOON, sensor_id=2))
        )
        == 2
    )
    assert marks(either) == {(1, 12): 1, (1, 13): 2, (2, 12): 1}


def test_two_values_for_one_instant_are_both_kept_in_whatever_order_they_come(
    either: Store, writer: Writer, world: Any
) -> None:
    told = [row(NOON, 20.0, 41.5), row(NOON, 9.0, 9.0), row(NOON, 20.0, None), row(NOON, None, 41.5)]
    assert writer.write(batch_of(told[0])) == 1
    assert writer.write(batch_of(*told[:2])) == 1
    assert writer.write(batch_of(*told, *told)) == 2
    assert [writer.write(batch_of(one)) for one in told] == [0, 0, 0, 0]
    with either.session() as session:
        kept = session.scalars(select(Reading).order_by(*Reading.smaller_first())).all()
        assert [(one.temperature_c, one.rh_pct) for one in kept] == [
            (9.0, 9.0),
            (20.0, 41.5),
            (20.0, None),
            (None, 41.5),
        ]
        assert {to_epoch_ms(one.observed_at) for one in kept} == {NOON}
        # The database's key and the program's are one, so that what either stores is known to the other.
        assert [one.pair for one in kept] == [as_stored(one.temperature_c, one.rh_pct)[2] for one in kept]


def test_a_quantity_alone_marks_as_far_as_it_is_paired(either: Store, writer: Writer) -> None:
    writer.write(
        batch_of(row(NOON, rh_pct=None))
    )  # ten past noon: within half an hour of eleven o'clock's last
    assert marks(either) == {(1, 11): 1, (1, 12): 1}


def test_one_refused_row_never_stops_the_others(either: Store, writer: Writer, world: Any) -> None:
    gone = row(NOON, sensor_id=77)  # no such sensor
    impossible = row(NOON + 1, rh_pct=140.0)  # outside the table's own check
    assert writer.write(batch_of(row(NOON), gone, impossible, row(NOON + 2))) == 2
    assert world.rows(either) == 2
    with either.session() as session:
        refused = session.scalars(select(RejectedMessage)).all()
        assert [(message.topic, message.payload) for message in refused] == [("air/1", b"raw")] * 2
        assert all("the database refuses it" in message.reason for message in refused)


def test_hostile_text_is_stored_as_it_came_or_escaped(either: Store, writer: Writer) -> None:
    batch = WriteBatch(messages=2)
    evil = "a'; DROP TABLE reading; --\u202e\0\n<script>"
    batch.refused.append(RefusedMessage(evil, b"\0\xff'\"", 4, "because \0", NOON))
    batch.unbound[evil] = [UnboundMessage(b"\xff\0", True, NOON)]
    writer.write(batch)
    with either.session() as session:
        [refused], [heard] = session.scalars(select(RejectedMessage)), session.scalars(select(HeardMessage))
        assert refused.topic == heard.topic == evil.replace("\0", "\\0")
        assert (refused.payload, heard.payload) == (b"\0\xff'\"", b"\xff\0")


def test_rejected_and_unknown_messages_stay_bounded(either: Store, writer: Writer, world: Any) -> None:
    for round_number in range(12):
        batch = WriteBatch(messages=100)
        batch.refused += [
            RefusedMessage("air/1", b"x" * 10, 10, f"reason {round_number}", NOON) for _ in range(100)
        ]
        for number in range(100):
            batch.unbound.setdefault("new/topic", []).append(UnboundMessage(b"%d" % number, False, NOON))
        writer.write(batch)
    assert world.scalar(either, "SELECT count(*) FROM rejected_message") <= 50 + 500
    assert world.scalar(either, "SELECT count(*) FROM heard_message") == 3
    with either.session() as session:
        assert [m.payload for m in session.scalars(select(HeardMessage).order_by(HeardMessage.id))] == [
            b"97",
            b"98",
            b"99",
        ]
    assert world.tally(either, "rejected") == 1_200


@pytest.mark.broker
@pytest.mark.postgres
def test_postgresql_stores_ten_thousand_through_kills(
    mosquitto: EmbeddedBroker,
    postgres_store: Store,
    world: Any,
    ingest: Start,
    publisher: Start,
    until: Start,
) -> None:
    world.bind(postgres_store)
    process = ingest(postgres_store, mosquitto.url)
    sender = publisher(mosquitto.port)
    sender.send(world.messages(10_000))
    for reached in (500, 3_000, 6_000):
        until(lambda reached=reached: world.rows(postgres_store) >= reached)
        process.kill()
        process = ingest(postgres_store, mosquitto.url)
    until(lambda: world.rows(postgres_store) >= 10_000)
    assert world.rows(postgres_store) == 10_000


@pytest.mark.broker
@pytest.mark.postgres
def test_postgresql_down_and_back_loses_nothing(
    mosquitto: EmbeddedBroker,
    postgres: Any,
    postgres_store: Store,
    world: Any,
    ingest: Start,
    publisher: Start,
    until: Start,
) -> None:
    world.bind(postgres_store)
    process = ingest(postgres_store, mosquitto.url)
    sender = publisher(mosquitto.port)
    sender.send(world.messages(1_000))
    until(lambda: world.rows(postgres_store) >= 1_000)
    postgres.stop()
    postgres_store.close()
    sender.send(world.messages(5_000, first=1_000))
    until(lambda: "the database can't be written" in process.said)
    assert sender.wait()
    postgres.start()
    until(lambda: world.rows(postgres_store) >= 6_000)
    assert world.rows(postgres_store) == 6_000
    assert process.said.count("the database can't be written") == 1


@pytest.mark.broker
def test_a_locked_database_loses_nothing(
    broker: EmbeddedBroker, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    world.bind(store)
    process = ingest(store, broker.url)
    blocker = sqlite3.connect(str(store.url.database), isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    sender = publisher(broker.port)
    sender.send(world.messages(5_000))
    until(lambda: "database is locked" in process.said)
    assert sender.wait()  # the broker takes them meanwhile
    assert world.rows(store) == 0
    process.kill()
    process = ingest(store, broker.url)  # what it had taken was not acknowledged, so it comes again
    until(lambda: "database is locked" in process.said)
    blocker.execute("ROLLBACK")
    blocker.close()
    until(lambda: world.rows(store) >= 5_000)
    assert world.rows(store) == 5_000


@pytest.mark.broker
def test_a_stop_while_the_database_is_locked_is_quick(
    broker: EmbeddedBroker, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    world.bind(store)
    process = ingest(store, broker.url)
    with sqlite3.connect(str(store.url.database), isolation_level=None) as blocker:
        blocker.execute("BEGIN IMMEDIATE")
        publisher(broker.port).send(world.messages(1_000))
        until(lambda: "database is locked" in process.said)
        assert process.stop() == 0
        assert "they come again" in process.said
        blocker.execute("ROLLBACK")
    ingest(store, broker.url)
    until(lambda: world.rows(store) >= 1_000)
    assert world.rows(store) == 1_000


@pytest.mark.broker
def test_memory_is_bounded_and_the_connection_lives_while_the_database_is_away(
    mosquitto: EmbeddedBroker,
    store: Store,
    world: Any,
    publisher: Start,
    until: Start,
    caplog: pytest.LogCaptureFixture,
) -> None:
    # A keep-alive of two seconds: the broker ends a connection that is silent for three (MQTT
    # 3.1.1, 3.1.2.10).
    world.bind(store)
    settings = IngestSettings(port=mosquitto.port, keep_alive_s=2, limits=Limits(backlog_messages=300))
    subscriber = Subscriber(store, settings, machine_now)
    stop = threading.Event()
    thread = threading.Thread(target=subscriber.run, args=(stop,), daemon=True)
    with caplog.at_level("INFO", "paneltide.ingest"):
        thread.start()
        until(lambda: "connected to the broker" in caplog.text)
        blocker = sqlite3.connect(str(store.url.database), isolation_level=None, check_same_thread=False)
        blocker.execute("BEGIN IMMEDIATE")
        sender = publisher(mosquitto.port)
        sender.send(world.messages(5_000))
        until(lambda: subscriber.backlog >= 300)
        away = threading.Event()
        assert not away.wait(6.5)  # longer than the broker would wait for a silent client, twice over
        assert subscriber.backlog <= 300
        blocker.execute("ROLLBACK")
        blocker.close()
        until(lambda: world.rows(store) >= 5_000)
        stop.set()
        thread.join(120)
    assert world.rows(store) == 5_000
    assert caplog.text.count("connected to the broker") == 1


def test_a_database_that_is_no_database_is_said_in_words(tmp_path: Path) -> None:
    (tmp_path / "book.sqlite").write_bytes(b"not a database, " * 100)
    writer = Writer(Store(f"sqlite:///{tmp_path / 'book.sqlite'}"), Limits())
    with pytest.raises(DBAPIError, match="not a database"):
        writer.write(batch_of(row(NOON)))
