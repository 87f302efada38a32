"""From message to row: limits, times of arrival, messages known again, and what is counted."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import MQTTMessage
from sqlalchemy import select
from sqlalchemy.exc import OperationalError

from ingest.mqtt.batch import Row, WriteBatch
from ingest.mqtt.intake import Intake, Pace
from ingest.mqtt.redelivery import Remembered, checksum, unpack
from ingest.mqtt.registry import Registry
from ingest.mqtt.subscriber import Subscriber
from ingest.settings import IngestSettings, Limits
from ingest.storage.writer import PulseToWrite, Writer
from model.records.schema.tables import (
    Binding,
    HeardMessage,
    Reading,
    RejectedMessage,
    RunningCount,
    Sensor,
    StaleHour,
    Unacknowledged,
)
from model.records.schema.tables import Pulse as PulseRow
from model.records.schema.types import to_epoch_ms
from model.records.store import Store

NOON = datetime(2025, 6, 1, 12, tzinfo=UTC)
LIMITS = Limits(message_bytes=1_000, topic_chars=40, heard_topics=3, heard_per_topic=2, heard_bytes=100)
GOOD = b'{"temperature": 20.5, "humidity": 45}'


class Bench:
    """An intake with one sensor on `air`, its writer, and a clock that stands still unless moved."""

    def __init__(self, store: Store, limits: Limits = LIMITS, *, marked: bool = True) -> None:
        self.store, self.at = store, NOON
        with store.session() as session:
            if not session.scalars(select(Sensor)).all():
                sensor = Sensor(name="Bench", accepted_at=NOON)
                reading = {
                    "shape": "json",
                    "temperature": "/temperature",
                    "rh": "/humidity",
                    "battery": "/battery",
                }
                sensor.bindings.append(Binding(topic="air", payload=reading))
                sensor.bindings.append(Binding(topic="air/status", payload={"shape": "presence"}))
                session.add(sensor)
        self.remembered = Remembered("test", marked)
        self.registry = Registry()
        self.intake = Intake(self.registry, limits, lambda: self.at, self.remembered)
        self.writer = Writer(store, limits, self.remembered)
        self.registry.refresh(self.writer.bulk)
        self.remembered.load(self.writer.bulk)
        self.intake.load(self.writer.bulk)

    def commit(self) -> int:
        return self.writer.write(self.intake.new_batch())

    def tally(self, name: str) -> int:
        with self.store.session() as session:
            row = session.get(RunningCount, name)
            return row.count if row else 0

    def reasons(self) -> list[str]:
        with self.store.session() as session:
            return list(session.scalars(select(RejectedMessage.reason).order_by(RejectedMessage.id)))

    def readings(self) -> list[Reading]:
        with self.store.session() as session:
            found = list(session.scalars(select(Reading).order_by(Reading.observed_at)))
            session.expunge_all()
            return found


@pytest.fixture
def bench(store: Store) -> Iterator[Bench]:
    made = Bench(store)
    yield made
    made.writer.drop()


def test_a_message_without_a_time_is_stored_at_its_arrival(bench: Bench) -> None:
    bench.intake.take("air", GOOD)
    assert bench.commit() == 1
    [reading] = bench.readings()
    assert (reading.observed_at, reading.received_at, reading.clock) == (NOON, NOON, "arrival")
    assert (reading.temperature_c, reading.rh_pct) == (20.5, 45.0)
    with bench.store.session() as session:
        assert session.scalars(select(StaleHour.hour_at)).all() == [NOON]


def test_arrivals_in_one_millisecond_are_rows_of_their_own(bench: Bench) -> None:
    for _ in range(50):
        bench.intake.take("air", GOOD)
    assert bench.commit() == 50
    bench.intake.take("air", GOOD)
    assert bench.commit() == 1
    assert bench.readings()[-1].observed_at == NOON + timedelta(milliseconds=50)


def test_a_new_process_goes_on_behind_the_last_arrival(bench: Bench) -> None:
    for _ in range(5):
        bench.intake.take("air", GOOD)
    bench.commit()
    later = Bench(bench.store)
    later.intake.take("air", GOOD)
    assert later.commit() == 1
    later.writer.drop()
    assert len(bench.readings()) == 6


@pytest.mark.parametrize("marked", [True, False], ids=["flagged", "unflagged"])
def test_messages_that_come_again_after_a_crash_are_known(store: Store, marked: bool) -> None:
    first = Bench(store, marked=marked)
    told = [b'{"temperature": %d, "humidity": 40}' % number for number in range(10, 16)]
    for packet_id, payload in enumerate(told, start=1):
        first.intake.take("air", payload, packet_id=packet_id)
    first.commit()
    first.writer.drop()  # the acknowledgements of the last three never arrived
    second = Bench(store, marked=marked)
    second.remembered.resumed([], session_present=True)
    second.at += timedelta(seconds=5)
    for number, payload in enumerate([*told[3:], b'{"temperature": 30, "humidity": 40}', told[5]], start=4):
        # A broker that flags keeps the packet id too; the last two are new, though one says what was said
        # before.
        again = number <= 6
        second.intake.take(
            "air", payload, packet_id=number if marked or not again else number - 3, flagged=marked and again
        )
    assert second.commit() == 2
    second.writer.drop()
    assert [reading.temperature_c for reading in second.readings()] == [10, 11, 12, 13, 14, 15, 30, 15]


def test_a_session_the_broker_forgot_brings_nothing_again(bench: Bench) -> None:
    bench.intake.take("air", GOOD, packet_id=1)
    bench.commit()
    bench.remembered.resumed([], session_present=False)
    assert not bench.remembered.is_known(1, True, checksum("air", GOOD))


def test_memory_of_the_unacknowledged_is_bounded(bench: Bench) -> None:
    for round_number in range(6):
        for packet_id in range(100):
            bench.intake.take("air", GOOD, packet_id=packet_id + round_number)
        bench.commit()
    with bench.store.session() as session:
        [kept] = session.scalars(select(Unacknowledged))
        assert len(kept.entries) <= 300 * 6


@pytest.mark.parametrize(
    ("topic", "payload", "reason"),
    [
        ("air", b"x" * 1_001, "message must have at most 1000 bytes"),
        ("a" * 41, GOOD, "topic must have at most 40 characters"),
        ("air", b"not json", "air: "),
        ("air/status", b"perhaps", "air/status: presence"),
    ],
)
def test_what_cannot_become_a_reading_is_kept_with_its_reason(
    bench: Bench, topic: str, payload: bytes, reason: str
) -> None:
    bench.intake.take(topic, payload)
    bench.intake.take("air", GOOD)
    assert bench.commit() == 1
    [said] = bench.reasons()
    assert said.startswith(reason)
    assert bench.tally("rejected") == 1


def test_an_unexpected_exception_is_logged_in_full_and_stops_nothing(
    bench: Bench, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole_route = bench.registry.route

    def broken(topic: str) -> object:
        if topic == "evil\nINFO all is well":
            raise ZeroDivisionError("a fault of ours")
        return whole_route(topic)

    monkeypatch.setattr(bench.registry, "route", broken)
    bench.intake.take("evil\nINFO all is well", GOOD)
    bench.intake.take("air", GOOD)
    assert bench.commit() == 1
    assert bench.reasons() == ["unexpected ZeroDivisionError"]
    assert "a fault of ours" in caplog.text
    assert "evil\\nINFO all is well" in caplog.messages[0]
    assert "\n" not in caplog.messages[0]


def test_a_babbling_topic_is_slowed_and_said_once(store: Store) -> None:
    bench = Bench(store, Limits(topic_rate_per_s=10.0, topic_burst=20))
    for _ in range(100):
        bench.intake.take("air", GOOD)
    assert bench.commit() == 20
    assert bench.tally("too_many") == 80
    assert bench.reasons() == ["topic sends more than 10 messages a second; dropped"]
    bench.intake.every_second(1.0)
    for _ in range(100):
        bench.intake.take("air", GOOD)
    assert bench.commit() == 10
    bench.writer.drop()


@given(st.lists(st.tuples(st.sampled_from("abc"), st.floats(0, 3)), max_size=60))
def test_an_allowance_never_exceeds_its_burst_and_rate(steps: list[tuple[str, float]]) -> None:
    pace, elapsed_s, passed = Pace(5.0, 10), 0.0, 0
    for topic, pause_s in steps:
        pace.refill(pause_s)
        elapsed_s += pause_s
        passed += topic == "a" and pace.allows("a")
    assert passed <= 10 + 5.0 * elapsed_s


def test_unknown_topics_are_bounded_and_the_longest_silent_makes_room(bench: Bench) -> None:
    for number in range(5):
        for _ in range(4):
            bench.intake.take(f"new/{number}", b"20.5")
    bench.commit()
    bench.at += timedelta(days=2)
    bench.intake.take("new/9", b"20.5")
    bench.commit()
    with bench.store.session() as session:
        topics = [message.topic for message in session.scalars(select(HeardMessage))]
    assert topics == ["new/3", "new/3", "new/4", "new/4", "new/9"]
    assert bench.tally("heard_not_kept") == 0


def test_presence_and_battery_are_the_sensors_and_no_reading(bench: Bench) -> None:
    bench.intake.take("air/status", b"offline")
    bench.intake.take("air", b'{"battery": 71}')
    assert bench.commit() == 0
    with bench.store.session() as session:
        sensor = session.scalars(select(Sensor)).one()
        assert (sensor.presence, sensor.presence_at, sensor.battery_pct) == ("offline", NOON, 71.0)
    assert bench.readings() == []


def test_a_retired_sensor_is_not_listened_to_and_not_listed(bench: Bench) -> None:
    with bench.store.session() as session:
        session.scalars(select(Sensor)).one().retired_at = NOON
    assert bench.registry.refresh(bench.writer.bulk)
    bench.intake.take("air", GOOD)
    assert bench.commit() == 0
    with bench.store.session() as session:
        assert session.scalars(select(HeardMessage)).all() == []


def test_readings_differ_by_their_order_in_nothing(bench: Bench) -> None:
    rows: list[Row] = [(1, to_epoch_ms(NOON) + n, 0, float(n), 40.0, "device") for n in range(20)]
    batch = WriteBatch(messages=20)
    for row in reversed(rows):
        batch.add(row, "air", b"")
    bench.writer.write(batch)
    assert [reading.temperature_c for reading in bench.readings()] == [float(number) for number in range(20)]


def test_the_pulse_is_one_row_that_is_written_over(bench: Bench) -> None:
    for number in range(3):
        bench.writer.write(WriteBatch(), PulseToWrite(to_epoch_ms(NOON) + number, {"received": number}))
    with bench.store.session() as session:
        [pulse] = session.scalars(select(PulseRow))
        assert (pulse.part, pulse.detail) == ("ingest", {"received": 2})


def test_what_is_remembered_is_taken_up_by_the_next_process_and_nonsense_is_left_aside() -> None:
    remembered = Remembered("test", marked=True)
    remembered.committed([(3, 30)])
    assert unpack(remembered.blob([(4, checksum("air", GOOD))])) == [(3, 30), (4, checksum("air", GOOD))]
    assert unpack(b"") == []
    assert unpack(b"12345") == []


def test_the_same_words_again_are_a_second_reading_unless_the_broker_says_it_sends_them_again(
    bench: Bench,
) -> None:
    bench.intake.take("air", GOOD, packet_id=7)
    assert bench.commit() == 1
    bench.remembered.resumed([], session_present=True)
    bench.at += timedelta(minutes=5)
    # Packet ids come round again, and quiet air gives the same words: only the flag tells a redelivery.
    bench.intake.take("air", GOOD, packet_id=7, flagged=False)
    assert bench.commit() == 1
    bench.intake.take("air", GOOD, packet_id=7, flagged=True)
    assert bench.commit() == 0
    assert len(bench.readings()) == 2
    assert bench.tally("duplicate") == 1


class Wire:
    """Stands where the connection to the broker is, and notes what is acknowledged."""

    def __init__(self, events: list[str]) -> None:
        self.events, self.connected, self.reason, self.cuts = events, True, "", 0

    def acknowledge(self, packet_ids: list[int]) -> None:
        self.events.append(f"acknowledged {packet_ids}")


def test_a_message_is_acknowledged_only_when_the_database_holds_it(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    subscriber = Subscriber(store, IngestSettings(), lambda: NOON)
    events: list[str] = []
    monkeypatch.setattr(subscriber, "_link", Wire(events))
    write = subscriber._writer.write

    def away(*_: object) -> int:
        events.append("the disk is full")
        raise OperationalError("COMMIT", {}, Exception("database or disk is full"))

    def noted(*given: Any) -> int:
        changed = write(*given)
        events.append("committed")
        return changed

    message = MQTTMessage(mid=7, topic=b"air")
    message.payload, message.qos = GOOD, 1
    subscriber._on_message(message)
    monkeypatch.setattr(subscriber._writer, "write", away)
    assert not subscriber._commit()
    assert events == ["the disk is full"]
    monkeypatch.setattr(subscriber._writer, "write", noted)
    assert subscriber._commit()
    assert events == ["the disk is full", "committed", "acknowledged [7]"]
    with store.session() as session:
        assert session.scalars(select(HeardMessage.payload)).all() == [GOOD]
    subscriber._writer.drop()


@pytest.mark.parametrize("body", [b"", b"{}", b" { } ", b"[]", b"\0", b"{}\r\n"])
@pytest.mark.parametrize("topic", ["air", "air/status", "new/1"])
def test_a_cleared_topic_and_an_empty_message_are_ignored_and_no_rejection(
    bench: Bench, topic: str, body: bytes
) -> None:
    bench.intake.take(topic, body, retained=True)
    assert bench.commit() == 0
    assert bench.reasons() == []
    assert (bench.tally("ignored"), bench.tally("received"), bench.tally("rejected")) == (1, 1, 0)


def test_a_wet_sensor_is_told_of_and_its_temperature_stored(bench: Bench) -> None:
    bench.intake.take("air", b'{"temperature": 6.5, "humidity": 101}')
    assert bench.commit() == 1
    assert [(one.temperature_c, one.rh_pct) for one in bench.readings()] == [(6.5, None)]
    assert "above 100 %" in bench.reasons()[0]


def test_readings_told_as_a_distance_from_their_message_are_stored_where_they_belong(bench: Bench) -> None:
    with bench.store.session() as session:
        sensor = Sensor(name="Rack", accepted_at=NOON)
        sensor.bindings.append(Binding(topic="rack", part="rack", payload={"shape": "senml-json"}))
        session.add(sensor)
    bench.registry.refresh(bench.writer.bulk)
    pack = b'[{"bn":"rack/","n":"t","u":"Cel","v":20.5,"t":-600},{"n":"t","u":"Cel","v":20.7}]'
    bench.intake.take("rack", pack, packet_id=9)
    assert bench.commit() == 2
    assert [(one.observed_at, one.temperature_c) for one in bench.readings()] == [
        (NOON - timedelta(minutes=10), 20.5),
        (NOON, 20.7),
    ]
    bench.remembered.resumed([], session_present=True)
    bench.at += timedelta(seconds=5)
    bench.intake.take("rack", pack, packet_id=9, flagged=True)
    assert bench.commit() == 0
