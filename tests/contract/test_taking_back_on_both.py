"""An acceptance, a swap and a place taken back on both databases: the book is row by row what it was."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from ingest.recognise.accept import accept
from model.records.acts import places, swaps
from model.records.acts.revisions import recorded, take_back
from model.records.schema.tables import Binding, Hanging, HeardMessage, Place, Reading, Sensor
from model.records.store import Store

NOON = datetime(2025, 6, 1, 12, tzinfo=UTC)


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either(request: pytest.FixtureRequest) -> Store:
    """A book on each of the two databases."""
    book: Store = request.getfixturevalue("store" if request.param == "sqlite" else "postgres_store")
    return book


def now() -> datetime:
    return NOON + timedelta(hours=1)


def as_recorded(store: Store) -> dict[str, list[str]]:
    """Everything people and sensors put into the book, apart from the numbers of kept messages."""
    found = {}
    with store.session() as session:
        for table in (Place, Sensor, Binding, Hanging, Reading):
            rows = session.execute(select(*table.__table__.columns))
            found[table.__tablename__] = sorted(repr(tuple(row)) for row in rows)
        messages = session.execute(
            select(HeardMessage.topic, HeardMessage.payload, HeardMessage.received_at).order_by(
                HeardMessage.id
            )
        )
        found["heard_message"] = [repr((topic, bytes(payload), at)) for topic, payload, at in messages]
    return found


def test_acts_taken_back_leave_the_book_as_it_was(either: Store) -> None:
    with either.session() as session:
        for minute in range(3):
            payload = b'{"temperature": %d, "humidity": 45}' % (18 + minute)
            at = NOON + timedelta(minutes=minute)
            session.add(HeardMessage(topic="bench/air", payload=payload, received_at=at))
            session.flush()
    heard = as_recorded(either)
    done = accept(either, "bench/air", now=now, name="Bench", place="Shop", place_kind="shop")
    assert done.readings == 3
    accepted = as_recorded(either)

    with either.session() as session, recorded(session, "swap", now()) as swap:
        old = session.scalars(select(Sensor)).one()
        swaps.swap_sensor(session, old, "Bench, new", NOON + timedelta(minutes=1), takes_topics=True)
        acts = [swap.id]
    with either.session() as session, recorded(session, "entry", now()) as entry:
        places.add_place(session, "Attic", "storage")
        acts.append(entry.id)
    assert as_recorded(either) != accepted
    with either.session() as session:
        for number in acts:
            take_back(session, number, now())
    assert as_recorded(either) == accepted

    with either.session() as session:
        take_back(session, done.number, now())
    assert as_recorded(either) == heard


def test_a_sensor_set_aside_comes_back_with_what_it_sent(either: Store) -> None:
    with either.session() as session:
        air = b'{"temperature": 18, "humidity": 45}'
        session.add(HeardMessage(topic="bench/air", payload=air, received_at=NOON))
    done = accept(either, "bench/air", now=now, name="Bench", place="Shop", place_kind="shop")
    later = NOON + timedelta(minutes=30)
    with either.session() as session:
        sensor = session.scalars(select(Sensor)).one()
        session.add(
            Reading(
                sensor_id=sensor.id, observed_at=later, received_at=later, temperature_c=21.0, rh_pct=40.0
            )
        )
    with either.session() as session:
        take_back(session, done.number, now())
        assert session.scalars(select(Sensor.retired_at)).all() == [now()]
    accept(either, "bench/air", now=now, name="Bench")
    with either.session() as session:
        readings = session.scalars(select(Reading).order_by(Reading.observed_at)).all()
        assert [reading.temperature_c for reading in readings] == [18.0, 21.0]
        assert session.scalars(select(Sensor.name)).all() == ["Bench"]
