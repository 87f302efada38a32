"""Several devices behind one topic, told apart only by a field inside their messages."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from ingest.mqtt.intake import Intake
from ingest.mqtt.registry import Registry
from ingest.recognise.accept import accept
from ingest.recognise.listing import unbound_topics
from ingest.recognise.proposal import propose
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.schema.tables import Hanging, HeardMessage, Reading, RejectedMessage, Sensor
from model.records.store import Store
from model.wood.errors import BadInput

NOON = datetime(2025, 6, 1, 12, tzinfo=UTC)


class Gateway:
    """A radio gateway that sends what all its devices say on one topic, and an ingest that listens."""

    def __init__(self, store: Store) -> None:
        self.store, self.at = store, NOON
        self.registry, limits = Registry(), Limits()
        self.writer = Writer(store, limits)
        self.intake = Intake(self.registry, limits, lambda: self.at)

    def send(self, *messages: dict) -> None:
        self.registry.refresh(self.writer.bulk)
        for message in messages:
            self.at += timedelta(minutes=1)
            self.intake.take("radio/air", json.dumps(message).encode())
        self.writer.write(self.intake.new_batch())

    def stored(self) -> dict[str, set[tuple[float | None, float | None]]]:
        with self.store.session() as session:
            found: dict[str, set[tuple[float | None, float | None]]] = {}
            for name, t, h in session.execute(
                select(Sensor.name, Reading.temperature_c, Reading.rh_pct).join(Sensor)
            ):
                found.setdefault(name, set()).add((t, h))
            return found


@pytest.fixture
def gateway(store: Store) -> Iterator[Gateway]:
    made = Gateway(store)
    yield made
    made.writer.drop()


def shop(**more) -> dict:
    return {"temperature": 20.5, "humidity": 45.0, **more}


def freezer(**more) -> dict:
    return {"temperature": -18.0, "humidity": 60.0, **more}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ({"id": "a4c1"}, {"id": "9f02"}),
        ({"id": 17}, {"id": 212}),
        ({"name": "Bench"}, {"name": "Freezer"}),
        ({"mac": "A4:C1:38:00:00:01"}, {"mac": "A4:C1:38:00:00:02"}),
        ({"address": 1}, {"address": 2}),
        ({"device": {"id": "a4c1"}}, {"device": {"id": "9f02"}}),
        ({"model": "thermo", "sensor": "s", "id": 1}, {"model": "thermo", "sensor": "s", "id": 2}),
    ],
)
def test_a_freezer_and_a_bench_behind_one_topic_are_two_sensors(
    gateway: Gateway, one: dict, other: dict
) -> None:
    gateway.send(shop(**one), freezer(**other), shop(**one))
    [heard] = unbound_topics(gateway.store)
    assert heard.proposal is not None
    assert len(heard.proposal.parts) == 2
    assert len({part.name for part in heard.proposal.parts}) == 2
    assert "2 devices send here" in heard.proposal.reasons[0]
    done = accept(gateway.store, "radio/air", now=lambda: NOON)
    assert len(done.sensors) == 2
    gateway.send(freezer(**other), shop(**one))
    assert sorted(map(sorted, gateway.stored().values())) == [[(-18.0, 60.0)], [(20.5, 45.0)]]
    with gateway.store.session() as session:
        assert session.scalars(select(RejectedMessage)).all() == []
        assert session.scalars(select(HeardMessage)).all() == []


def test_a_device_that_appears_later_is_listed_and_never_averaged_in(gateway: Gateway) -> None:
    gateway.send(shop(id="a4c1"))
    done = accept(gateway.store, "radio/air", name="Bench", now=lambda: NOON)
    assert done.sensors == ("Bench",)
    gateway.send(freezer(id="9f02"), shop(id="a4c1"), freezer(id="9f02"))
    assert gateway.stored() == {"Bench": {(20.5, 45.0)}}
    [heard] = unbound_topics(gateway.store)
    assert heard.proposal is not None
    assert (heard.topic, heard.kept, [part.part for part in heard.proposal.parts]) == (
        "radio/air",
        2,
        ["9f02"],
    )
    accept(gateway.store, "radio/air", name="Freezer", now=lambda: NOON)
    gateway.send(freezer(id="9f02"), shop(id="a4c1"))
    assert gateway.stored() == {"Bench": {(20.5, 45.0)}, "Freezer": {(-18.0, 60.0)}}
    assert unbound_topics(gateway.store) == []


def test_each_of_two_devices_is_accepted_by_itself_at_its_own_place(gateway: Gateway) -> None:
    gateway.send(shop(id="a4c1"), freezer(id="9f02"), shop(id="a4c1"))
    with pytest.raises(BadInput, match="must be one of a4c1, 9f02"):
        accept(gateway.store, "radio/air", part="77", now=lambda: NOON)
    accept(
        gateway.store,
        "radio/air",
        part="9f02",
        name="Freezer",
        place="Cellar",
        place_kind="home",
        now=lambda: NOON,
    )
    [heard] = unbound_topics(gateway.store)
    assert heard.proposal is not None
    assert [part.part for part in heard.proposal.parts] == ["a4c1"]
    accept(
        gateway.store,
        "radio/air",
        part="a4c1",
        name="Bench",
        place="Shop",
        place_kind="home",
        now=lambda: NOON,
    )
    with gateway.store.session() as session:
        hung = {(one.sensor.name, one.place.name) for one in session.scalars(select(Hanging))}
    assert hung == {("Bench", "Shop"), ("Freezer", "Cellar")}
    assert unbound_topics(gateway.store) == []
    assert gateway.stored() == {"Bench": {(20.5, 45.0)}, "Freezer": {(-18.0, 60.0)}}


def test_a_message_that_names_no_device_is_no_reading_of_one_that_does(gateway: Gateway) -> None:
    gateway.send(shop(id="a4c1"))
    accept(gateway.store, "radio/air", name="Bench", now=lambda: NOON)
    gateway.send(freezer())
    assert gateway.stored() == {"Bench": {(20.5, 45.0)}}
    [heard] = unbound_topics(gateway.store)
    assert heard.proposal is None


def test_devices_that_name_their_fields_differently_are_read_each_in_its_own_way(gateway: Gateway) -> None:
    probe = {"id": "9f02", "temp_f": -0.4}
    gateway.send(shop(id="a4c1"), probe)
    accept(gateway.store, "radio/air", now=lambda: NOON)
    gateway.send(shop(id="a4c1"), probe)
    assert sorted(map(sorted, gateway.stored().values())) == [[(-18.0, None)], [(20.5, 45.0)]]
    with gateway.store.session() as session:
        assert session.scalars(select(RejectedMessage)).all() == []


@pytest.mark.parametrize(
    "told",
    [
        [{"id": number} for number in range(40, 46)],
        [{"uuid": f"1b4e28ba-2fa1-11d2-883f-0016d3cca4{number}"} for number in (27, 99, 13, 55)],
        [{"id": f"m{number}", "specversion": "1.0"} for number in (5, 3, 8)],
        [{"id": number, "sender": "!7efeee00"} for number in (552, 17, 9_031)],
    ],
)
def test_what_counts_or_names_messages_makes_no_devices(told: list[dict]) -> None:
    proposal = propose("shop/bench/air", [json.dumps(shop(**one)).encode() for one in told])
    assert proposal is not None
    assert len(proposal.parts) == 1
