"""Unknown topics, what is recognised in them, and how accepting makes them sensors."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.payload.shapes import PayloadReading
from ingest.recognise.accept import accept, accept_all
from ingest.recognise.listing import unbound_topics
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.schema.tables import Binding, Hanging, HeardMessage, Place, Reading, Sensor
from model.records.store import Store
from model.wood.errors import BadInput

NOON = datetime(2025, 6, 1, 12, tzinfo=UTC)


def now() -> datetime:
    return NOON + timedelta(hours=1)


@pytest.fixture
def writer(store: Store) -> Iterator[Writer]:
    made = Writer(store, Limits())
    yield made
    made.drop()


def hear(writer: Writer, *messages: tuple[str, bytes]) -> None:
    """Messages as ingest takes them, a minute apart from noon on."""
    registry = Registry()
    registry.refresh(writer.bulk)
    intake = Intake(registry, Limits(), now)
    for number, (topic, payload) in enumerate(messages):
        intake.take(topic, payload, received_at=NOON + timedelta(minutes=number))
    writer.write(intake.new_batch())


def test_accepting_makes_readings_of_the_kept_messages(store: Store, writer: Writer) -> None:
    hear(
        writer,
        *[("bench/air", b'{"temperature": %d, "humidity": 45, "battery": 90}' % t) for t in (18, 19, 20)],
    )
    accepted = accept(store, "bench/air", now=now, name="Bench", place="Shop", place_kind="shop")
    assert (accepted.sensors, accepted.topics, accepted.readings) == (("Bench",), ("bench/air",), 3)
    with store.session() as session:
        readings = session.scalars(select(Reading).order_by(Reading.observed_at)).all()
        assert [reading.temperature_c for reading in readings] == [18.0, 19.0, 20.0]
        assert readings[0].observed_at == NOON
        hanging = session.scalars(select(Hanging)).one()
        assert (hanging.place.name, hanging.place.kind, hanging.since_at) == ("Shop", "shop", NOON)
        assert session.scalars(select(HeardMessage)).all() == []


def test_one_quantity_a_topic_is_one_sensor(store: Store, writer: Writer) -> None:
    hear(writer, ("rack/temperature", b"18.5"), ("rack/humidity", b"52"), ("rack/battery", b"80"))
    accepted = accept(store, "rack/humidity", now=now, name="Rack")
    assert accepted.sensors == ("Rack",)
    assert set(accepted.topics) == {"rack/temperature", "rack/humidity", "rack/battery"}
    with store.session() as session:
        assert {(r.temperature_c, r.rh_pct) for r in session.scalars(select(Reading))} == {
            (18.5, None),
            (None, 52.0),
        }
        assert session.scalars(select(Sensor.battery_pct)).one() == 80.0


def test_a_quantity_that_comes_later_joins_its_sensor(store: Store, writer: Writer) -> None:
    hear(writer, ("rack/temperature", b"18.5"))
    accept(store, "rack/temperature", now=now, name="Rack")
    hear(writer, ("rack/humidity", b"52"))
    assert accept(store, "rack/humidity", now=now).sensors == ("Rack",)
    with store.session() as session:
        assert session.scalars(select(Sensor.name)).all() == ["Rack"]
        assert set(session.scalars(select(Binding.topic))) == {"rack/temperature", "rack/humidity"}


def test_a_presence_topic_goes_with_its_sensor(store: Store, writer: Writer) -> None:
    hear(writer, ("rack/status", b"online"))
    with pytest.raises(BadInput, match="needs its sensor to be accepted first"):
        accept(store, "rack/status", now=now)
    hear(writer, ("rack/temperature", b"18.5"), ("rack/humidity", b"52"))
    accepted = accept(store, "rack/temperature", now=now, name="Rack")
    assert "rack/status" in accepted.topics
    with store.session() as session:
        assert session.scalars(select(Sensor.presence)).one() == "online"


def test_a_gateways_message_makes_a_sensor_of_each_part(store: Store, writer: Writer) -> None:
    packed = b"""[{"bn": "shop/bench:", "n": "temperature", "u": "Cel", "v": 20.5},
        {"n": "humidity", "u": "%RH", "v": 45},
        {"bn": "shop/rack:", "n": "temperature", "u": "Cel", "v": 15.5}, {"n": "humidity", "u": "%RH", "v":
        55}]"""
    hear(writer, ("gateway", packed))
    accepted = accept(store, "gateway", now=now, place="Shop", place_kind="shop")
    assert len(accepted.sensors) == 2
    with store.session() as session:
        by_sensor = {r.sensor_id: (r.temperature_c, r.rh_pct) for r in session.scalars(select(Reading))}
        assert sorted(by_sensor.values()) == [(15.5, 55.0), (20.5, 45.0)]
        assert session.scalars(select(Place.name)).all() == ["Shop"]
        assert len(session.scalars(select(Hanging)).all()) == 2


def test_nothing_is_accepted_that_is_not_recognised(store: Store, writer: Writer) -> None:
    hear(writer, ("shop/door", b"open"), ("shop/bench", b'{"temperature": 20, "humidity": 40}'))
    with pytest.raises(BadInput, match="hold nothing that is recognised"):
        accept(store, "shop/door", now=now)
    with pytest.raises(BadInput, match="must be one of the unknown topics"):
        accept(store, "shop/other", now=now)
    [accepted] = accept_all(store, now=now)
    assert accepted.topics == ("shop/bench",)
    with store.session() as session:
        assert session.scalars(select(Binding.topic)).all() == ["shop/bench"]
    heard = unbound_topics(store)
    assert [topic.topic for topic in heard] == ["shop/door"]
    assert heard[0].proposal is None


def test_a_reading_of_the_payload_can_be_given_by_hand(store: Store, writer: Writer) -> None:
    hear(writer, ("odd", b'{"x1": 70, "x2": 0.4}'))
    by_hand = PayloadReading(shape="json", temperature="/x1", rh="/x2", temperature_unit="F", rh_unit="ratio")
    assert accept(store, "odd", now=now, name="Odd", reading=by_hand).readings == 1
    with store.session() as session:
        reading = session.scalars(select(Reading)).one()
        assert reading.temperature_c == pytest.approx(21.111111)
        assert reading.rh_pct == pytest.approx(40.0)


def test_a_name_is_taken_once(store: Store, writer: Writer) -> None:
    hear(writer, ("a", b'{"temperature": 20, "humidity": 40}'), ("b", b'{"temperature": 21, "humidity": 41}'))
    accept(store, "a", now=now, name="Bench")
    with pytest.raises(BadInput, match="must not be another sensor's"):
        accept(store, "b", now=now, name="Bench")
    with store.session() as session:
        assert session.scalars(select(Sensor.name)).all() == ["Bench"]
    assert [topic.topic for topic in unbound_topics(store)] == ["b"]


def test_a_filter_with_wildcards_takes_every_topic_it_matches(store: Store, writer: Writer) -> None:
    with store.session() as session:
        sensor = Sensor(name="Any", accepted_at=NOON)
        reading = {"shape": "json", "temperature": "/temperature", "rh": "/humidity"}
        sensor.bindings.append(Binding(topic="home/+/air", payload=reading))
        session.add(sensor)
    hear(writer, ("home/a/air", b'{"temperature": 20, "humidity": 40}'), ("home/b/other", b"1"))
    with store.session() as session:
        assert len(session.scalars(select(Reading)).all()) == 1
        assert [message.topic for message in session.scalars(select(HeardMessage))] == ["home/b/other"]


def test_a_binding_that_cannot_be_used_is_told_and_left_out(
    store: Store, writer: Writer, caplog: pytest.LogCaptureFixture
) -> None:
    with store.session() as session:
        sensor = Sensor(name="Odd", accepted_at=NOON)
        sensor.bindings.append(Binding(topic="odd", payload={"shape": "telepathy"}))
        sensor.bindings.append(Binding(topic="good", payload={"shape": "number", "quantity": "rh"}))
        session.add(sensor)
    hear(writer, ("good", b"44"))
    assert "the binding of odd can't be used" in caplog.text
    with store.session() as session:
        assert session.scalars(select(Reading.rh_pct)).all() == [44.0]
