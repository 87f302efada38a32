"""The names that are proposed for what is heard: readable, never empty, nobody else's."""

from datetime import UTC, datetime

import pytest

from ingest.recognise.accept import accept, accept_all
from ingest.recognise.listing import unbound_topics
from ingest.recognise.naming import readable_name, unique_name
from ingest.recognise.proposal import propose
from model.records.schema.tables import HeardMessage
from model.records.store import Store
from model.wood.errors import BadInput

NOON = datetime(2025, 6, 1, 12, tzinfo=UTC)
AIR = b'{"temperature": 20, "humidity": 45}'


def hear(store: Store, *messages: tuple[str, bytes]) -> None:
    with store.session() as session:
        for topic, payload in messages:
            session.add(HeardMessage(topic=topic, payload=payload, received_at=NOON))


@pytest.mark.parametrize(
    ("topic", "name"),
    [
        ("valley/shop/bench_2/state", "shop bench 2"),
        ("home/lake-house/hall/sensor", "lake house hall"),
        ("finishing", "finishing"),
        ("radio/0x00158d0001a2b3c4", "radio b3c4"),
        ("tele/a4cf12fe9b01/DATA", "sensor 9b01"),
        ("Werkstatt/Süd/Wände", "Süd Wände"),
        ("sensors/data", "sensors data"),
        ("/", "sensor"),
        ("", "sensor"),
    ],
)
def test_the_telling_last_parts_of_the_topic_make_the_name(topic: str, name: str) -> None:
    assert readable_name(topic) == name


@pytest.mark.parametrize(
    ("document", "name"),
    [
        ({"name": "North wall", "temperature": 20}, "North wall"),
        ({"info": {"friendly_name": "glue_room"}, "temperature": 20}, "glue room"),
        ({"name": "00158d0001a2b3c4", "temperature": 20}, "radio 7"),  # an address is no name
        ({"name": "temperature", "value": 20}, "radio 7"),  # it names the quantity
        ({"gateway": {"name": "attic box"}, "temperature": 20}, "radio 7"),  # it names another device
        ({"name": " \n ", "temperature": 20}, "radio 7"),
        (["name", 20], "radio 7"),
    ],
)
def test_what_the_messages_call_the_device_comes_first(document: object, name: str) -> None:
    assert readable_name("radio/7", [document]) == name


def test_messages_that_call_it_differently_call_it_nothing() -> None:
    assert readable_name("shop/rack", [{"name": "one"}, {"name": "two"}]) == "shop rack"


def test_a_hostile_name_is_cut_and_made_plain() -> None:
    name = readable_name("x" * 500 + "/" + "\x00\u202e" + "y" * 500)
    assert 0 < len(name) <= 60
    assert name.isprintable()


def test_a_name_that_is_taken_gets_a_number() -> None:
    assert unique_name("bench", {"bench", "bench 2"}) == "bench 3"
    assert unique_name("bench", set()) == "bench"


def test_one_sensors_topics_share_a_name_and_two_sensors_never_do(store: Store) -> None:
    hear(
        store,
        ("shop/rack/temperature", b"18.5"),
        ("shop/rack/humidity", b"52"),
        ("flat/radio/0x00158d0001a2b3c4", AIR),
        ("flat/radio/0x99158d0001a2b3c4", AIR),
    )
    heard = unbound_topics(store)
    names = {topic.topic: topic.proposal.parts[0].name for topic in heard if topic.proposal}
    assert names["shop/rack/temperature"] == names["shop/rack/humidity"] == "shop rack"
    radios = {names["flat/radio/0x00158d0001a2b3c4"], names["flat/radio/0x99158d0001a2b3c4"]}
    assert radios == {"radio b3c4", "radio b3c4 2"}
    accept(store, "flat/radio/0x00158d0001a2b3c4", now=lambda: NOON, name="radio b3c4")
    heard = unbound_topics(store)
    names = {topic.topic: topic.proposal.parts[0].name for topic in heard if topic.proposal}
    assert names["flat/radio/0x99158d0001a2b3c4"] == "radio b3c4 2"


def test_accepting_all_gives_each_its_readable_name(store: Store) -> None:
    hear(store, ("shop/bench/state", AIR), ("shop/bench/data", AIR))
    assert sorted(name for done in accept_all(store, now=lambda: NOON) for name in done.sensors) == [
        "shop bench",
        "shop bench 2",
    ]


def test_the_name_is_the_makers_to_choose(store: Store) -> None:
    hear(store, ("shop/bench/state", AIR), ("shop/rack/state", AIR))
    assert accept(store, "shop/bench/state", now=lambda: NOON, name="By the window").sensors == (
        "By the window",
    )
    with pytest.raises(BadInput, match="must not be another sensor's"):
        accept(store, "shop/rack/state", now=lambda: NOON, name="By the window")


def test_sensors_in_one_message_are_named_after_the_topic_and_their_own() -> None:
    proposal = propose(
        "valley/gateway/state",
        [b'{"bench": {"temperature": 20, "humidity": 45}, "rack": {"temperature": 18, "humidity": 50}}'],
    )
    assert proposal is not None
    assert [part.name for part in proposal.parts] == ["valley gateway bench", "valley gateway rack"]
