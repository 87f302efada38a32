"""How the running parts are: one that is missing is said, one that was taken away on purpose is not."""

from datetime import UTC, datetime, timedelta

import pytest

from model.records.queries.health import health
from model.records.schema.tables import Pulse
from model.records.store import Store

HOUR = timedelta(hours=1)
NOW = datetime(2026, 2, 3, 12, tzinfo=UTC)


def test_health_says_what_is_missing(store):
    answer = health(store, lambda: NOW)
    assert answer["ok"]
    assert answer["broker_connected"] is None
    assert answer["last_reading_at"] is None
    assert answer["database_writable"]


def test_a_broker_that_is_gone_is_a_problem(store):
    with store.session() as session:
        session.add(Pulse(part="ingest", at=datetime.now(UTC), detail={"broker_connected": False}))
    answer = health(store, lambda: NOW)
    assert not answer["ok"]
    assert "the broker is not connected" in answer["problems"]


def test_a_part_that_fell_silent_is_a_problem(store):
    with store.session() as session:
        session.add(Pulse(part="watch", at=datetime.now(UTC) - HOUR, detail={}))
    answer = health(store, lambda: NOW)
    assert not answer["parts"]["watch"]["alive"]
    assert answer["problems"][0].startswith("watch has not been heard of since")


def test_a_database_that_is_gone_is_said_in_words(tmp_path):
    gone = Store(f"sqlite:///{tmp_path / 'nowhere' / 'book.sqlite'}")
    answer = health(gone, lambda: NOW)
    assert not answer["ok"]
    assert answer["problems"][0].startswith("the database can't be used")


def test_each_of_several_that_listen_is_known_by_name(store):
    now = datetime.now(UTC)
    with store.session() as session:
        session.add(Pulse(part="ingest hall", at=now, detail={"broker_connected": True}))
        session.add(Pulse(part="ingest yard", at=now - HOUR, detail={"broker_connected": True}))
    answer = health(store, lambda: NOW)
    assert answer["broker_connected"] is True
    (problem,) = answer["problems"]
    assert problem.startswith("ingest yard has not been heard of since")


@pytest.mark.parametrize(("others", "missed"), [(True, False), (False, True)])
def test_one_that_was_stopped_is_missed_only_when_it_was_the_last(store, others, missed):
    now = datetime.now(UTC)
    with store.session() as session:
        session.add(Pulse(part="ingest yard", at=now, detail={"broker_connected": True, "stopped": True}))
        if others:
            session.add(Pulse(part="ingest hall", at=now, detail={"broker_connected": True}))
    answer = health(store, lambda: NOW)
    assert answer["parts"]["ingest yard"]["alive"] is False
    assert any(problem.startswith("ingest yard was stopped at") for problem in answer["problems"]) == missed
    assert answer["broker_connected"] is others
    assert answer["ok"] is not missed
