"""The sample shop: its sensors over a real broker, its book by the same doors as anybody's."""

import json
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from sqlalchemy import func, select

from deploy import sample_shop
from ingest.broker.embedded import EmbeddedBroker
from ingest.payload.decode import reader
from ingest.payload.shapes import PayloadReading
from model.records.acts.book import load_piece
from model.records.acts.places import add_place
from model.records.clock import Now
from model.records.schema.tables import (
    Binding,
    FitRow,
    Hanging,
    PieceRow,
    Place,
    Pulse,
    Reading,
    Sensor,
    Stack,
    Stay,
)
from model.records.store import Store
from model.wood.errors import BadInput
from model.wood.piece import read_piece
from sample_readings import sensors, story

pytestmark = pytest.mark.slow

DEADLINE_S = 120.0


class SetClock:
    """A clock that shows what it is set to."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at


class Ear:
    """A subscriber to everything, that can be waited on."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._changed = threading.Condition()
        subscribed = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *_: client.subscribe("#", qos=1)
        self._client.on_subscribe = lambda *_: subscribed.set()
        self._client.on_message = self._take
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert subscribed.wait(DEADLINE_S)

    def _take(self, _client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        with self._changed:
            self.heard.append((message.topic, message.payload))
            self._changed.notify_all()

    def wait_for(self, condition: Callable[[list[tuple[str, bytes]]], bool]) -> None:
        with self._changed:
            assert self._changed.wait_for(lambda: condition(self.heard), DEADLINE_S), self.heard[-5:]

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[EmbeddedBroker]:
    with EmbeddedBroker(tmp_path / "broker") as running:
        yield running


@pytest.fixture
def running() -> Iterator[Callable[..., threading.Event]]:
    """Starts replays in threads, and ends them."""
    started: list[tuple[threading.Thread, threading.Event]] = []

    def start(url: str, clock: Now, **more: Callable[[], bool]) -> threading.Event:
        stop = threading.Event()
        thread = threading.Thread(target=sample_shop.replay, args=(url, clock, stop), kwargs=more)
        thread.start()
        started.append((thread, stop))
        return stop

    yield start
    for thread, stop in started:
        stop.set()
        thread.join(DEADLINE_S)
        assert not thread.is_alive()


def bench_instants(heard: list[tuple[str, bytes]]) -> list[str]:
    return [json.loads(payload)["time"] for topic, payload in heard if topic == "valley/shop/bench"]


# ---------------------------------------------------------------- the sensors, live


def test_no_hour_is_left_out_when_the_clock_runs_ahead(broker, running):
    ear = Ear(broker.port)
    clock = SetClock(story.at_hour(29) + timedelta(minutes=59))
    running(broker.url, clock)
    ear.wait_for(lambda heard: len(bench_instants(heard)) == 30)
    clock.at = story.at_hour(31)
    sent = [message for hour in range(32) for message in sample_shop.messages_of_hour(hour)]
    ear.wait_for(lambda heard: len(heard) >= len(sent))
    ear.close()
    wanted = [story.at_hour(hour).strftime("%Y-%m-%dT%H:%M:%SZ") for hour in range(32)]
    assert bench_instants(ear.heard) == wanted
    assert sorted(ear.heard) == sorted(sent)


def test_nothing_is_published_before_its_hour_or_before_somebody_listens(broker, running):
    ear = Ear(broker.port)
    clock = SetClock(story.at_hour(0) + timedelta(minutes=30))
    listening = threading.Event()
    asked = threading.Event()

    def ready() -> bool:
        asked.set()
        return listening.is_set()

    running(broker.url, clock, ready=ready)
    assert asked.wait(DEADLINE_S)
    assert ear.heard == []
    listening.set()
    ear.wait_for(lambda heard: len(heard) >= len(sample_shop.messages_of_hour(0)))
    ear.close()
    assert len(bench_instants(ear.heard)) == 1


def test_a_broker_that_restarts_gets_the_hours_it_missed(tmp_path, running):
    first = EmbeddedBroker(tmp_path / "broker")
    first.start()
    port = first.port
    ear = Ear(port)
    clock = SetClock(story.at_hour(0))
    running(first.url, clock)
    ear.wait_for(lambda heard: len(bench_instants(heard)) == 1)
    ear.close()
    first.stop()
    clock.at = story.at_hour(2)
    with EmbeddedBroker(tmp_path / "broker", port) as second:
        ear = Ear(second.port)
        clock.at = story.at_hour(4)
        ear.wait_for(lambda heard: story.at_hour(4).strftime("%Y-%m-%dT%H:%M:%SZ") in bench_instants(heard))
        ear.close()
    heard = set(bench_instants(ear.heard))
    assert {story.at_hour(hour).strftime("%Y-%m-%dT%H:%M:%SZ") for hour in (3, 4)} <= heard


def test_the_sensor_that_comes_back_sends_what_it_kept_oldest_first():
    lake = next(s for s in story.shop_story().sensors if s.silent_from_hour is not None)
    topic = lake.topics[0]
    silent = [m for hour in range(lake.silent_until_hour) for m in sample_shop.messages_of_hour(hour)]
    assert topic not in {said[0] for said in silent}
    back = [
        payload for said, payload in sample_shop.messages_of_hour(lake.silent_until_hour) if said == topic
    ]
    instants = [datetime.fromtimestamp(json.loads(payload)[0]["bt"], UTC) for payload in back]
    wanted = range(lake.silent_from_hour, lake.silent_until_hour + 1)
    assert instants == [story.at_hour(hour) for hour in wanted]
    after = [said for said, _ in sample_shop.messages_of_hour(lake.silent_until_hour + 1)]
    assert after.count(topic) == 1


def test_ingest_is_awaited_until_it_says_that_it_is_connected(store: Store):
    assert not sample_shop.ingest_listens(store)
    with store.session() as session:
        session.add(Pulse(part="ingest", at=story.START_AT, detail={"broker": {"connected": False}}))
    assert not sample_shop.ingest_listens(store)
    with store.session() as session:
        session.get_one(Pulse, "ingest").detail = {"broker": {"connected": True}}
    assert sample_shop.ingest_listens(store)


# ---------------------------------------------------------------- the past year


@pytest.fixture
def loaded(store: Store) -> Store:
    sample_shop.load_history(store)
    return store


def test_the_past_year_is_in_the_book_up_to_the_start_of_the_story(loaded: Store):
    shop = story.shop_story()
    with loaded.session() as session:
        rows = session.execute(
            select(Sensor.name, func.max(Reading.observed_at)).join(Reading).group_by(Sensor.name)
        )
        newest = dict(rows.all())
        oldest = session.scalar(select(func.min(Reading.observed_at)))
        places = {row.name: row.kind for row in session.scalars(select(Place))}
        hung = session.scalars(select(Hanging.since_at)).all()
    assert places == {place.name: place.kind for place in shop.places}
    assert oldest == story.HISTORY_FROM
    assert set(hung) == {story.HISTORY_FROM}
    accepted = {sensor.name: sensor for sensor in shop.sensors if sensor.accepted}
    assert newest == {
        name: story.at_hour((sensor.silent_from_hour or 0) - 1) for name, sensor in accepted.items()
    }


def test_every_piece_and_stack_stands_where_the_story_says(loaded: Store):
    shop = story.shop_story()
    with loaded.session() as session:
        names = {place.id: place.name for place in session.scalars(select(Place))}
        by_name = {piece.name: piece for piece in session.scalars(select(PieceRow))}
        for told in shop.pieces:
            piece = read_piece(told.text(), told.file)
            row = by_name.pop(piece.name)
            assert load_piece(session, row) == piece
            stays = sorted(row.stays, key=lambda stay: stay.since_at)
            assert [(names[stay.place_id], stay.since_at) for stay in stays] == [
                (stand.place, stand.since) for stand in told.stands
            ]
            assert all(body.start_at == told.stands[0].since for body in row.members)
        assert by_name == {}
        stacks = {stack.name: names[stack.destination_id] for stack in session.scalars(select(Stack))}
        assert stacks == {stack.name: stack.destination for stack in shop.stacks}
        assert session.scalar(select(func.count()).select_from(Stay)) == sum(
            len(told.stands) for told in shop.pieces
        ) + len(shop.stacks)
        assert len(set(session.scalars(select(FitRow.kind)))) >= 6


def test_the_bindings_read_what_the_sensors_send(loaded: Store):
    with loaded.session() as session:
        bound = {
            (topic, part): (PayloadReading.from_document(document), name)
            for topic, part, document, name in session.execute(
                select(Binding.topic, Binding.part, Binding.payload, Sensor.name).join(Sensor)
            )
        }
    for sensor in story.shop_story().sensors:
        if not sensor.accepted:
            assert not {topic for topic, _ in bound} & set(sensor.topics)
            continue
        understood = {}
        for topic, payload in sensors.messages(sensor, story.at_hour(5), 21.4, 33.2):
            for (said, part), (reading, name) in bound.items():
                if said == topic:
                    (observed,) = reader(reading).read(topic, payload, story.at_hour(5), False)
                    assert (observed.part, name) == (part, sensor.name)
                    assert observed.observed_at == story.at_hour(5)
                    understood |= {
                        key: getattr(observed, key)
                        for key in ("temperature_c", "rh_pct")
                        if getattr(observed, key) is not None
                    }
        # The Fahrenheit sensor rounds to a tenth of its own degree.
        assert understood == {"temperature_c": pytest.approx(21.4, abs=0.03), "rh_pct": 33.2}


def test_a_book_in_use_is_refused(store: Store):
    with store.session() as session:
        add_place(session, "Somewhere", "home")
    with pytest.raises(BadInput, match="must be empty"):
        sample_shop.load_history(store)
    with store.session() as session:
        assert session.scalar(select(func.count()).select_from(Place)) == 1
