"""A battery is changed and the sensor comes back under another topic: it stays one sensor."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.recognise.accept import accept
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.acts.revisions import take_back
from model.records.schema.tables import Binding, HeardMessage, Reading, Sensor
from model.wood.errors import BadInput

NOON = datetime(2026, 1, 20, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def hear(store, topic: str, hours: range) -> None:
    at = [NOON]
    writer, registry = Writer(store, Limits()), Registry()
    registry.refresh(writer.bulk)
    intake = Intake(registry, Limits(), lambda: at[0])
    for hour in hours:
        at[0] = NOON + hour * HOUR
        intake.take(topic, json.dumps({"temperature": 20.0 + hour / 10, "humidity": 40 + hour}).encode())
    writer.write(intake.new_batch())
    writer.drop()


def living_room(store, topic: str, hour: int):
    """A topic accepted as the sensor of a client's living room."""
    at = NOON + hour * HOUR
    return accept(store, topic, now=lambda: at, name="Flat, living room", place="Flat", place_kind="home")


def count(store, table) -> int:
    with store.session() as session:
        found = session.scalar(select(func.count()).select_from(table))
    assert found is not None
    return found


def test_a_topic_that_began_when_a_sensor_fell_silent_joins_it_by_name_and_can_be_parted_again(store) -> None:
    hear(store, "flat/a1/air", range(5))
    living_room(store, "flat/a1/air", 5)
    hear(store, "flat/b7/air", range(6, 10))
    done = living_room(store, "flat/b7/air", 10)
    assert (done.sensors, done.readings) == (("Flat, living room",), 4)
    assert [(one.place, one.joined) for one in done.hung] == [("Flat", True)]
    assert (count(store, Sensor), count(store, Binding), count(store, Reading)) == (1, 2, 9)
    with store.session() as session:
        take_back(session, done.number, NOON + 11 * HOUR)
    assert (count(store, Sensor), count(store, Binding), count(store, Reading)) == (1, 1, 5)
    assert count(store, HeardMessage) == 4


def test_the_name_of_a_sensor_that_is_still_heard_is_refused(store) -> None:
    hear(store, "flat/a1/air", range(8))
    living_room(store, "flat/a1/air", 8)
    hear(store, "flat/b7/air", range(6, 8))
    with pytest.raises(BadInput, match="unless that one has been silent for an hour"):
        living_room(store, "flat/b7/air", 9)
    assert count(store, HeardMessage) == 2
