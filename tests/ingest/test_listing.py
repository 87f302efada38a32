"""What waits to be accepted: listed at little cost, no sensor hidden, what is dismissed left out."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import event, select

from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.recognise.accept import accept
from ingest.recognise.listing import read_by_hand, unbound_topics
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.acts.dismissed import bring_back_topic, dismiss_topic, dismissed_topics
from model.records.queries.overview import shop
from model.records.schema.tables import Hanging, HeardMessage, Place, Reading
from model.records.store import Store
from model.wood.errors import BadInput

NOON = datetime(2025, 6, 1, 12, tzinfo=UTC)
AIR = b'{"temperature": 20.5, "humidity": 45}'
BOX = b'{"data": {"t": 70.7, "h": 41, "ts": "2025-06-01T11:55:00Z"}, "id": 7}'
NOISE = b'{"watts": 310}'


def now() -> datetime:
    return NOON


def keep(store: Store, *messages: tuple[str, bytes]) -> None:
    with store.session() as session:
        for topic, payload in messages:
            session.add(HeardMessage(topic=topic, payload=payload, received_at=NOON))


class Listener:
    """An ingest with room for few unknown topics, that hears messages a minute apart."""

    def __init__(self, store: Store, room: int) -> None:
        limits = Limits(heard_topics=room, heard_per_topic=3)
        self.store, self.at = store, NOON
        self.writer, self.registry = Writer(store, limits), Registry()
        self.registry.refresh(self.writer.bulk)
        self.intake = Intake(self.registry, limits, lambda: self.at)

    def hear(self, *messages: tuple[str, bytes]) -> list[str]:
        """The topics listed once these came."""
        if self.registry.refresh(self.writer.bulk):
            self.intake.load(self.writer.bulk)
        for topic, payload in messages:
            self.at += timedelta(minutes=1)
            self.intake.take(topic, payload)
        self.writer.write(self.intake.new_batch())
        return sorted(heard.topic for heard in unbound_topics(self.store))


@pytest.fixture
def listener(store: Store):
    made = Listener(store, room=3)
    yield made
    made.writer.drop()


def test_a_new_sensor_is_listed_though_the_list_is_full_of_noise(listener: Listener) -> None:
    listener.hear(("tv/a", NOISE), ("tv/b", NOISE), ("tv/c", NOISE), ("tv/a", NOISE))
    # The longest silent makes room, and noise that comes later pushes no sensor out.
    assert listener.hear(("loft/air", AIR)) == ["loft/air", "tv/a", "tv/c"]
    assert listener.hear(("tv/d", NOISE), ("tv/e", NOISE)) == ["loft/air", "tv/d", "tv/e"]


def test_among_sensors_the_longest_silent_makes_room(listener: Listener) -> None:
    listener.hear(("a/air", AIR), ("b/air", AIR), ("c/air", AIR), ("a/air", AIR))
    assert listener.hear(("d/air", AIR)) == ["a/air", "c/air", "d/air"]
    assert listener.hear(("tv/a", NOISE)) == ["a/air", "c/air", "d/air"]


def test_a_dismissed_topic_is_not_listed_and_nothing_more_is_kept_until_it_is_brought_back(
    store: Store, listener: Listener
) -> None:
    listener.hear(("tv/a", NOISE), ("loft/air", AIR))
    with store.session() as session:
        dismiss_topic(session, "tv/a", NOON)
        assert dismissed_topics(session) == ("tv/a",)
    assert listener.hear(("tv/a", NOISE), ("tv/a", NOISE)) == ["loft/air"]
    with store.session() as session:
        assert shop(session, NOON).heard_topics == 1
        with pytest.raises(BadInput, match="must be one of the unknown topics"):
            dismiss_topic(session, "tv/a", NOON)
    with pytest.raises(BadInput, match="must be one of the unknown topics"):
        accept(store, "tv/a", now=now)
    with store.session() as session:
        bring_back_topic(session, "tv/a")
        with pytest.raises(BadInput, match="must be one that is dismissed"):
            bring_back_topic(session, "tv/a")
    [tv] = [topic for topic in unbound_topics(store) if topic.topic == "tv/a"]
    assert tv.kept == 1
    assert listener.hear(("tv/a", NOISE)) == ["loft/air", "tv/a"]
    assert next(topic.kept for topic in unbound_topics(store) if topic.topic == "tv/a") == 2


def test_listing_asks_the_book_as_often_for_many_topics_as_for_few(store: Store) -> None:
    def statements() -> int:
        asked: list[str] = []
        listen = lambda *told: asked.append(told[2])  # noqa: E731
        event.listen(store.engine, "before_cursor_execute", listen)
        unbound_topics(store)
        event.remove(store.engine, "before_cursor_execute", listen)
        return len(asked)

    keep(store, *[(f"few/{number}", AIR) for number in range(3) for _ in range(20)])
    few = statements()
    keep(store, *[(f"many/{number}", AIR) for number in range(60) for _ in range(20)])
    assert statements() == few


# ---------------------------------------------------------------- by hand


def test_the_numbers_of_a_message_are_offered_by_their_place(store: Store) -> None:
    keep(store, ("loft/box", BOX), ("loft/bare", b"21.5"), ("loft/text", b"hello"))
    fields = {topic.topic: topic.fields for topic in unbound_topics(store)}
    assert fields["loft/box"] == (("/id", "7"), ("/data/t", "70.7"), ("/data/h", "41"))
    assert fields["loft/bare"] == (("", "21.5"),)
    assert fields["loft/text"] == ()


def test_a_field_said_by_hand_is_read_before_anything_is_kept(store: Store) -> None:
    keep(store, ("loft/box", BOX))
    found = read_by_hand(store, "loft/box", temperature="/data/t", rh="/data/h", temperature_unit="F")
    [seen] = found.seen
    assert (seen.temperature_c, seen.rh_pct) == (pytest.approx(21.5), 41.0)
    # Its own clock is used, as it is where a message is recognised.
    assert seen.observed_at == NOON - timedelta(minutes=5)
    with store.session() as session:
        assert session.scalars(select(Reading)).all() == []
    done = accept(
        store, "loft/box", now=now, name="Loft", place="Loft", place_kind="home", reading=found.reading
    )
    assert done.readings == 1
    with store.session() as session:
        [reading] = session.scalars(select(Reading))
        assert reading.temperature_c == pytest.approx(21.5)


def test_a_bare_number_nobody_recognised_is_one_quantity(store: Store) -> None:
    keep(store, ("loft/x", b"0.47"))
    [seen] = read_by_hand(store, "loft/x", rh="/", rh_unit="ratio").seen
    assert (seen.temperature_c, seen.rh_pct) == (None, 47.0)
    with pytest.raises(BadInput, match="temperature or humidity, got 'both'"):
        read_by_hand(store, "loft/x", temperature="/", rh="/")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({}, "must be one of its fields"),
        ({"temperature": "/data/z"}, "must lead to a number of its last message"),
        ({"temperature": "data/t"}, "JSON Pointer"),
        ({"rh": "/id", "rh_unit": "ratio"}, "must lie in 0..100"),
    ],
)
def test_a_field_that_cannot_be_read_is_answered_in_a_sentence(store: Store, said, told) -> None:
    keep(store, ("loft/box", BOX))
    with pytest.raises(BadInput, match=told):
        read_by_hand(store, "loft/box", **said)


# ---------------------------------------------------------------- where it hangs


def test_a_place_is_found_however_it_is_capitalised_and_the_answer_says_since_when(store: Store) -> None:
    keep(store, ("a/air", AIR), ("b/air", AIR))
    first = accept(store, "a/air", now=now, name="A", place="Shop", place_kind="shop")
    second = accept(store, "b/air", now=now, name="B", place="shop", place_kind="home")
    assert [(one.sensor, one.place, one.since_at, one.is_new) for one in (*first.hung, *second.hung)] == [
        ("A", "Shop", NOON, True),
        ("B", "Shop", NOON, False),
    ]
    with store.session() as session:
        assert session.scalars(select(Place.name)).all() == ["Shop"]
        assert len(session.scalars(select(Hanging)).all()) == 2
