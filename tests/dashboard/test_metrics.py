"""Metrics are what the book says, in the text format that a monitor reads, for those who may ask."""

from datetime import timedelta

import pytest
from prometheus_client.parser import text_string_to_metric_families as parsed

from dashboard.shell.app import build_app
from model.records.clock import machine_now
from model.records.schema.tables import Pulse, RunningCount, Sensor, StaleHour, Warning
from model.records.schema.types import EPOCH


def samples(client, **options):
    answer = client.get("/metrics", **options)
    assert answer.status_code == 200
    return {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in parsed(answer.get_data(as_text=True))
        for sample in family.samples
    }


@pytest.fixture
def client(book, now):
    return build_app(book.store, lambda: now).server.test_client()


@pytest.fixture
def guarded(book, now):
    return build_app(book.store, lambda: now, password="linseed").server.test_client()


def test_counts_are_those_of_the_book(book, now, client):
    with book.store.session() as session:
        session.add_all(
            [RunningCount(name="received", count=5_000_000_000), RunningCount(name="stored", count=4)]
        )
        session.merge(RunningCount(name="book", count=9))
        session.add_all(StaleHour(sensor_id=1, hour_at=EPOCH + k * timedelta(hours=1)) for k in range(3))
        session.add(
            Warning(
                subject_kind="fit", subject_id=1, from_verdict="clear", to_verdict="past", tier="now",
                detail={}, opened_at=now,
            )
        )  # fmt: skip
        session.add(
            Warning(
                subject_kind="fit", subject_id=2, from_verdict="clear", to_verdict="past", tier="now",
                detail={}, opened_at=now, closed_at=now,
            )
        )  # fmt: skip
    found = samples(client)
    assert found["paneltide_messages_total", ("outcome", "received")] == 5_000_000_000
    assert found["paneltide_messages_total", ("outcome", "stored")] == 4
    assert ("paneltide_messages_total", ("outcome", "book")) not in found
    assert found["paneltide_stale_hours",] == 3
    assert found["paneltide_open_warnings", ("tier", "now"), ("verdict", "past")] == 1
    assert found["paneltide_database_up",] == 1
    assert found["paneltide_database_bytes",] > 100_000


def test_ages_are_by_the_clock_they_are_of(book, now, client):
    with book.store.session() as session:
        at = machine_now() - timedelta(seconds=90)
        session.merge(Pulse(part="ingest", at=at, detail={"broker_connected": True, "backlog": 7}))
        session.merge(Pulse(part="supervisor", at=at, detail={"watch": {"restarts": 2}}))
        session.merge(Pulse(part="watch", at=at, detail={"durations_s": {"air": 0.25}}))
    found = samples(client)
    # The last reading of the small book is an hour old by its own clock.
    assert found["paneltide_reading_age_seconds",] == 3600
    assert found["paneltide_sensor_reading_age_seconds", ("sensor", "bench")] == 3600
    assert found["paneltide_part_pulse_age_seconds", ("part", "ingest")] == pytest.approx(90, abs=30)
    assert found["paneltide_broker_connected", ("part", "ingest")] == 1
    assert found["paneltide_ingest_backlog", ("part", "ingest")] == 7
    assert found["paneltide_part_restarts_total", ("part", "watch")] == 2
    assert found["paneltide_evaluation_seconds", ("stage", "air")] == 0.25


def test_a_name_is_a_label_whatever_it_holds(book, now, client):
    with book.store.session() as session:
        session.get_one(Sensor, 1).name = 'a"b\\c\nd'
    assert ("paneltide_sensor_reading_age_seconds", ("sensor", 'a"b\\c\nd')) in samples(client)


def test_a_book_that_cannot_be_read_says_so(book, client):
    book.store.engine.dispose()
    with book.store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE tally RENAME TO gone")
    assert samples(client) == {
        ("paneltide_database_up",): 0,
        **{key: 1 for key in samples(client) if key[0] == "paneltide_info"},
    }


def test_with_a_password_it_is_asked_for(guarded):
    refused = guarded.get("/metrics")
    assert refused.status_code == 401
    assert refused.headers["WWW-Authenticate"].startswith("Basic ")
    assert guarded.get("/metrics", auth=("monitor", "wrong")).status_code == 401
    assert samples(guarded, auth=("monitor", "linseed"))["paneltide_database_up",] == 1


def test_a_session_may_look_too(guarded):
    guarded.post("/enter", data={"password": "linseed"})
    assert guarded.get("/metrics").status_code == 200


def test_guessing_is_slowed_down(guarded):
    states = [guarded.get("/metrics", auth=("monitor", f"guess {k}")).status_code for k in range(7)]
    assert states == [401] * 5 + [429] * 2
    assert guarded.get("/metrics", auth=("monitor", "linseed")).status_code == 429


def test_the_password_named_with_a_visit_opens_nothing_else(guarded):
    assert guarded.get("/", auth=("monitor", "linseed")).status_code == 302


def test_without_a_password_only_this_machine_is_answered(client):
    assert client.get("/metrics", base_url="http://elsewhere.example").status_code == 403
