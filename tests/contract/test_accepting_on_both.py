"""What waits to be accepted, two rooms and files, on both databases."""

import gzip
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from ingest.files.import_file import import_readings
from ingest.mqtt.registry import Registry
from ingest.recognise.accept import accept
from ingest.recognise.listing import read_by_hand, unbound_topics
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.acts import hangings
from model.records.acts.book import add_stack
from model.records.acts.dismissed import bring_back_topic, dismiss_topic
from model.records.acts.invalidation import mark_hours
from model.records.acts.mounts import BindTo, Ties, set_zero
from model.records.acts.places import add_place
from model.records.acts.revisions import recorded, take_back
from model.records.queries.two_rooms import two_rooms
from model.records.schema.tables import Doubt, HeardMessage, Measurement, Reading, Sensor, WoodReading
from model.records.store import Store
from model.watch.run.evaluation import bring_up_to_date

NOW = datetime(2026, 2, 3, 12, tzinfo=UTC)


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either(request: pytest.FixtureRequest) -> Store:
    """A book on each of the two databases."""
    book: Store = request.getfixturevalue("store" if request.param == "sqlite" else "postgres_store")
    return book


def test_topics_wait_are_dismissed_and_brought_back(either: Store) -> None:
    with either.session() as session:
        for number in range(25):
            session.add(HeardMessage(topic="loft/box", payload=b'{"t": %d}' % number, received_at=NOW))
        session.add(HeardMessage(topic="tv", payload=b"on", received_at=NOW - timedelta(hours=1)))
    assert [(topic.topic, topic.kept, topic.fields) for topic in unbound_topics(either)] == [
        ("loft/box", 25, (("/t", "24"),)),
        ("tv", 1, ()),
    ]
    [seen] = read_by_hand(either, "loft/box", temperature="/t").seen
    assert seen.temperature_c == 24.0
    writer, registry = Writer(either, Limits()), Registry()
    registry.refresh(writer.bulk)
    with either.session() as session:
        dismiss_topic(session, "tv", NOW)
    assert registry.refresh(writer.bulk)
    assert registry.dismissed == {"tv"}
    assert [topic.topic for topic in unbound_topics(either)] == ["loft/box"]
    with either.session() as session:
        bring_back_topic(session, "tv")
    assert registry.refresh(writer.bulk)
    assert [topic.topic for topic in unbound_topics(either)] == ["loft/box", "tv"]
    writer.drop()


def test_two_rooms_and_readings_before_a_hanging(either: Store) -> None:
    with either.session() as session:
        shop = add_place(session, "Shop", "shop")
        for name, rh_pct in (("bench", 48.0), ("flat", 27.0)):
            sensor = Sensor(name=name, accepted_at=NOW)
            session.add(sensor)
            session.flush()
            for hour in range(48):
                at = NOW - timedelta(hours=hour)
                told = {"temperature_c": 20.0, "rh_pct": rh_pct}
                session.add(Reading(sensor_id=sensor.id, observed_at=at, received_at=at, **told))
            session.flush()
            hangings.hang_sensor(session, sensor, shop, NOW - timedelta(hours=24))
            assert hangings.readings_nowhere(session, sensor).count == 23
            with recorded(session, "correction", NOW) as revision:
                hangings.hang_since(session, sensor, shop, NOW - timedelta(days=3))
            assert hangings.readings_nowhere(session, sensor).count == 0
            take_back(session, revision.id, NOW)
            assert hangings.readings_nowhere(session, sensor).count == 23
    with either.session() as session:
        [pair] = two_rooms(session, NOW)
    assert (pair.damp, pair.dry, round(pair.apart_pct)) == ("bench", "flat", 21)


def test_a_scale_whose_tare_moves_and_is_set_anew(either: Store) -> None:
    began = NOW - timedelta(days=3)
    with either.session() as session:
        place = add_place(session, "Shop", "shop")
        lumber = {"species": "white ash", "thickness_mm": 25.4, "mc_pct": 8.0}
        add_stack(session, "ash", lumber, place, began)

    def weighs(first: int, last: int, mass_g: float) -> None:
        with either.session() as session:
            for number in range(first, last):
                at = began + number * timedelta(minutes=30)
                payload = json.dumps({"weight_g": mass_g + number % 3 / 10, "time": at.isoformat()}).encode()
                session.add(HeardMessage(topic="ash/board", payload=payload, received_at=at))

    def measured() -> list[tuple[datetime, float]]:
        wanted = select(Measurement.at, Measurement.value).order_by(Measurement.at)
        with either.session() as session:
            return [(at, round(mc_pct, 1)) for at, mc_pct in session.execute(wanted)]

    weighs(0, 40, 1080.0)
    weighs(40, 2 * 48, 1130.0)
    dry = Ties(dry_g=1000.0)
    done = accept(either, "ash/board", now=lambda: NOW, on=BindTo(stack="ash", ties=dry))
    bring_up_to_date(either, began + timedelta(days=2))
    before = measured()
    assert {value for _, value in before} == {8.0}
    assert max(at for at, _ in before) < began + timedelta(hours=20)  # from then on its tare is another
    with either.session() as session:
        [sensor] = session.scalars(select(Sensor))
        assert [one.kind for one in session.scalars(select(Doubt))] == ["tare"]
        with recorded(session, "new zero", NOW) as revision:
            set_zero(session, sensor, began + timedelta(days=2), Ties())
        number = revision.id
    with either.session() as session:
        sensor_id = session.scalars(select(Sensor.id)).one()
        for hour in range(49, 60):
            at = began + hour * timedelta(hours=1)
            session.add(
                WoodReading(sensor_id=sensor_id, observed_at=at, value=1130.0 + hour % 3, received_at=at)
            )
        session.flush()
        mark_hours(session, [sensor_id], began + timedelta(days=2))
    bring_up_to_date(either, NOW)
    after = measured()
    assert after[: len(before)] == before
    assert {round(value) for _, value in after[len(before) :]} == {8}
    with either.session() as session:
        take_back(session, number, NOW)
    bring_up_to_date(either, NOW + timedelta(hours=1))
    assert measured() == before
    with either.session() as session:
        take_back(session, done.number, NOW)
    assert measured() == []


def test_what_would_become_of_a_file(either: Store, tmp_path: Path) -> None:
    file = tmp_path / "year.csv.gz"
    rows = "".join(f"{NOW - timedelta(hours=hour):%Y-%m-%dT%H:%MZ},20,45\n" for hour in range(50, 0, -1))
    file.write_bytes(gzip.compress(f"timestamp_utc,temperature_c,rh_pct\n{rows}".encode()))

    def count(keep: bool) -> tuple[int, int]:
        report = import_readings(
            either, file, lambda: NOW, sensor="logger", create="Loft", place_kind="storage", keep=keep
        )
        return report.accepted, report.duplicate

    assert [count(False), count(False), count(True), count(False), count(True)] == [
        (50, 0),
        (50, 0),
        (50, 0),
        (0, 50),
        (0, 50),
    ]
