"""An acceptance taken back: the topic is unknown again, and nothing that came is lost."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.recognise.accept import accept
from ingest.recognise.listing import unbound_topics
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.acts import places, swaps, trusted
from model.records.acts.hangings import hang_sensor
from model.records.acts.revisions import take_back
from model.records.schema.tables import Binding, Hanging, HeardMessage, Place, Reading, Sensor, StaleHour
from model.records.store import Store
from model.wood.errors import BadInput

NOON = datetime(2025, 6, 1, 12, tzinfo=UTC)
ROWS = (Place, Sensor, Binding, Hanging, Reading, HeardMessage)


def now() -> datetime:
    return NOON + timedelta(hours=1)


def air(temperature_c: float, rh_pct: float = 45.0) -> bytes:
    return f'{{"temperature": {temperature_c}, "humidity": {rh_pct}}}'.encode()


@pytest.fixture
def writer(store: Store) -> Iterator[Writer]:
    made = Writer(store, Limits())
    yield made
    made.drop()


def come(writer: Writer, *messages: tuple[str, bytes], first: int = 0) -> None:
    """Messages as ingest takes them, a minute apart from a minute after noon on."""
    registry = Registry()
    registry.refresh(writer.bulk)
    intake = Intake(registry, Limits(), now)
    for number, (topic, payload) in enumerate(messages):
        intake.take(topic, payload, received_at=NOON + timedelta(minutes=first + number))
    writer.write(intake.new_batch())


def as_recorded(store: Store) -> dict[str, list[str]]:
    """Everything people and sensors put into the book, apart from the numbers of kept messages."""
    found = {}
    with store.session() as session:
        for table in ROWS:
            columns: list[Any] = [
                column
                for column in table.__table__.columns
                if not (table is HeardMessage and column.name == "id")
            ]
            found[table.__tablename__] = [repr(tuple(row)) for row in session.execute(select(*columns))]
    return found


def test_a_topic_is_unknown_again_with_its_messages_in_their_order(store: Store, writer: Writer) -> None:
    come(writer, *[("bench/air", air(t)) for t in (18, 19, 20)], ("rack/air", air(15)))
    before = as_recorded(store)
    done = accept(store, "bench/air", now=now, name="Bench", place="Shop", place_kind="shop")
    assert as_recorded(store) != before
    with store.session() as session:
        back = take_back(session, done.number, now())
    assert back.says == (
        "bench/air waits to be accepted again, with all that came. Shop is out of the book again."
    )
    after = as_recorded(store)
    assert sorted(after.pop("heard_message")) == sorted(before.pop("heard_message"))
    assert after == before
    with store.session() as session:
        kept = session.scalars(
            select(HeardMessage.payload).where(HeardMessage.topic == "bench/air").order_by(HeardMessage.id)
        )
        assert list(kept) == [air(t) for t in (18, 19, 20)]
        assert session.scalars(select(StaleHour)).all() == []
    # And it can be accepted again, to the same readings.
    assert accept(store, "bench/air", now=now, name="Bench").readings == 3


def test_what_came_since_is_found_by_whoever_accepts_the_topic_again(store: Store, writer: Writer) -> None:
    come(writer, ("bench/air", air(18)), ("bench/air", air(19)))
    done = accept(store, "bench/air", now=now, name="Bench", place="Shop", place_kind="shop")
    come(writer, ("bench/air", air(21)), first=10)  # later, with no message kept of it
    with store.session() as session:
        take_back(session, done.number, now())
    with store.session() as session:
        assert session.scalars(select(Sensor).where(Sensor.retired_at.is_(None))).all() == []
    assert [(topic.topic, topic.kept) for topic in unbound_topics(store)] == [("bench/air", 2)]
    come(writer, ("bench/air", air(22)), first=20)  # unknown again, so kept
    again = accept(store, "bench/air", now=now, name="Bench", place="Attic", place_kind="storage")
    with store.session() as session:
        readings = session.scalars(select(Reading).order_by(Reading.observed_at)).all()
        assert [reading.temperature_c for reading in readings] == [18.0, 19.0, 21.0, 22.0]
        (sensor,) = session.scalars(select(Sensor)).all()
        assert (sensor.name, sensor.retired_at) == ("Bench", None)
        assert [(hanging.place.name, hanging.since_at) for hanging in sensor.hangings] == [("Attic", NOON)]
    # Taken back once more, what came the first time is still there.
    with store.session() as session:
        take_back(session, again.number, now())
    accept(store, "bench/air", now=now)
    with store.session() as session:
        assert len(session.scalars(select(Reading)).all()) == 4


def test_a_sensor_set_aside_keeps_no_name_from_another(store: Store, writer: Writer) -> None:
    come(writer, ("bench/air", air(18)), ("rack/air", air(16)))
    done = accept(store, "bench/air", now=now, name="Bench")
    come(writer, ("bench/air", air(21)), first=10)
    with store.session() as session:
        take_back(session, done.number, now())
    assert accept(store, "rack/air", now=now, name="Bench").sensors == ("Bench",)


def test_a_quantity_that_joined_a_sensor_leaves_it_as_it_was(store: Store, writer: Writer) -> None:
    come(writer, ("rack/temperature", b"18.5"))
    accept(store, "rack/temperature", now=now, name="Rack", place="Shop", place_kind="home")
    come(writer, ("rack/humidity", b"52"), ("rack/humidity", b"53"), first=5)
    before = as_recorded(store)
    done = accept(store, "rack/humidity", now=now)
    with store.session() as session:
        back = take_back(session, done.number, now())
    assert back.says == "rack/humidity waits to be accepted again, with all that came."
    assert as_recorded(store) == before


def test_a_place_that_something_else_needs_stays(store: Store, writer: Writer) -> None:
    come(writer, ("bench/air", air(18)), ("rack/air", air(16)))
    done = accept(store, "bench/air", now=now, name="Bench", place="Shop", place_kind="shop")
    accept(store, "rack/air", now=now, name="Rack", place="Shop", place_kind="home")
    with store.session() as session:
        back = take_back(session, done.number, now())
        assert back.says.endswith(" Shop stays: Rack hangs there.")
        assert session.scalars(select(Place.name)).all() == ["Shop"]


def _hung(session: Session, sensor: Sensor) -> None:
    hang_sensor(session, sensor, places.add_place(session, "Attic", "storage"), now())


def _salted(session: Session, sensor: Sensor) -> None:
    trusted.salt_check(session, sensor, [trusted.SaltPoint("NaCl", 20.0, 76.0)], now())


def _swapped(session: Session, sensor: Sensor) -> None:
    swaps.swap_sensor(session, sensor, "Bench, second", now(), takes_topics=True)


@pytest.mark.parametrize(
    ("since", "says"),
    [
        (_hung, "Bench was hung elsewhere since, so this acceptance can't be taken back"),
        (_salted, "Bench was checked over salt since, so this acceptance can't be taken back"),
        (_swapped, "Bench is no longer in use, so this acceptance can't be taken back"),
    ],
)
def test_an_acceptance_that_was_built_on_stays(store: Store, writer: Writer, since: Any, says: str) -> None:
    come(writer, ("bench/air", air(18)))
    done = accept(store, "bench/air", now=now, name="Bench", place="Shop", place_kind="shop")
    with store.session() as session:
        since(session, session.scalars(select(Sensor)).one())
    before = as_recorded(store)
    with pytest.raises(BadInput) as refused, store.session() as session:
        take_back(session, done.number, now())
    assert f"{refused.value.what} {refused.value.rule}" == says
    assert as_recorded(store) == before


def test_an_acceptance_is_forgotten_after_a_week(store: Store, writer: Writer) -> None:
    come(writer, ("bench/air", air(18)), ("rack/air", air(16)))
    done = accept(store, "bench/air", now=now, name="Bench")
    accept(store, "rack/air", now=lambda: now() + timedelta(days=8), name="Rack")
    with pytest.raises(BadInput, match="can't be taken back any more"), store.session() as session:
        take_back(session, done.number, now())


def test_a_device_hung_in_anothers_place_gets_its_own_topic(store: Store, writer: Writer) -> None:
    come(writer, ("bench/air", air(18)))
    accept(store, "bench/air", now=now, name="Bench", place="Shop", place_kind="shop")
    with store.session() as session:
        sensor = session.scalars(select(Sensor)).one()
        swaps.swap_sensor(session, sensor, "Bench, second", now())
    come(writer, ("second/air", air(19)), first=90)
    done = accept(store, "second/air", now=now, name="Bench, second", place="Shop", place_kind="home")
    with store.session() as session:
        second = session.scalars(select(Sensor).where(Sensor.name == "Bench, second")).one()
        assert [binding.topic for binding in second.bindings] == ["second/air"]
        assert len(second.hangings) == 1
        before = second.id
        take_back(session, done.number, now())
        assert session.get_one(Sensor, before).bindings == []
