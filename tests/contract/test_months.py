"""Readings by the month on PostgreSQL: made ahead, never refusing a row, dropped as a whole."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select, text

from ingest.mqtt.batch import Row, WriteBatch
from ingest.settings import Limits
from ingest.storage.writer import Writer
from model.records.acts.retention import Housekeeper, forget_portions
from model.records.clock import machine_now
from model.records.schema import partitions
from model.records.schema.tables import Reading, Sensor
from model.records.schema.types import to_epoch_ms
from model.records.store import Store

pytestmark = pytest.mark.postgres
Start = Callable[..., Any]


def reading(at: datetime, sensor_id: int = 1) -> Reading:
    return Reading(sensor_id=sensor_id, observed_at=at, received_at=at, temperature_c=20.0, rh_pct=45.0)


@pytest.fixture
def book(postgres_store: Store) -> Store:
    with postgres_store.session() as session:
        session.add_all(Sensor(name=name, accepted_at=machine_now()) for name in ("bench", "loft"))
    return postgres_store


def rows_in(store: Store, table: str) -> int:
    with store.engine.connect() as connection:
        count: int = connection.scalar(text(f"SELECT count(*) FROM {table}")) or 0
        return count


def months_of(store: Store) -> list[datetime]:
    with store.engine.connect() as connection:
        return partitions.months(connection)


def test_a_new_book_has_this_month_and_the_next(book: Store) -> None:
    this = partitions.month_of(machine_now())
    assert months_of(book) == [this, partitions.next_month(this)]


def test_months_are_made_ahead_once(book: Store) -> None:
    at = datetime(2031, 11, 5, tzinfo=UTC)
    made = partitions.keep_months(book, at)
    assert [f"{month:%Y-%m}" for month in made] == ["2031-11", "2031-12", "2032-01", "2032-02"]
    assert partitions.keep_months(book, at) == []


def test_rows_of_any_month_are_taken_and_move_into_months_of_their_own(book: Store) -> None:
    now = machine_now()
    old = partitions.month_of(now - timedelta(days=200))
    lying = datetime(1970, 1, 2, tzinfo=UTC)
    with book.session() as session:
        session.add_all(reading(old + k * timedelta(days=10)) for k in range(6))
        session.add(reading(lying))
        session.add(reading(now))
    assert rows_in(book, "reading_other") == 7
    partitions.keep_months(book, now)
    assert rows_in(book, "reading_other") == 1  # a clock that lies by decades gets no month
    assert rows_in(book, "reading") == 8
    own = sum(rows_in(book, partitions.partition_name(month)) for month in months_of(book))
    assert own == 7
    assert rows_in(book, partitions.partition_name(old)) == 3 + (partitions.next_month(old) - old).days // 31
    with book.session() as session:
        assert session.scalar(select(Reading.sensor_id).where(Reading.observed_at == lying)) == 1


def test_ingest_knows_a_redelivery_across_a_move(book: Store) -> None:
    at = to_epoch_ms(machine_now() - timedelta(days=100))
    writer = Writer(book, Limits())
    first = WriteBatch(messages=1)
    first.add(Row(1, at, at, 20.0, 44.0, "device"), "air/1", b"")
    assert writer.write(first) == 1
    partitions.keep_months(book, machine_now())
    assert writer.write(first) == 0
    other = WriteBatch(messages=1)
    other.add(Row(1, at, at, 20.0, 47.5, "device"), "air/1", b"")
    assert writer.write(other) == 1
    assert writer.write(other) == 0
    writer.drop()
    assert rows_in(book, "reading") == 2


def test_old_months_are_dropped_and_the_rest_goes_row_by_row(book: Store) -> None:
    now = datetime(2030, 6, 20, 12, tzinfo=UTC)
    with book.session() as session:
        session.add_all(reading(now - k * timedelta(hours=6)) for k in range(600))
        session.add_all(reading(now - k * timedelta(hours=6), 2) for k in range(600))
    partitions.keep_months(book, datetime(2030, 1, 1, tzinfo=UTC))
    partitions.keep_months(book, now)
    assert datetime(2030, 2, 1, tzinfo=UTC) in months_of(book)
    assert sum(forget_portions(book, now, 30, at_once=50)) > 0
    kept = [month for month in months_of(book) if month.year == 2030]
    assert kept[0] == datetime(2030, 5, 1, tzinfo=UTC)
    oldest = now - timedelta(days=30, hours=1)
    with book.session() as session:
        instants = session.scalars(select(Reading.observed_at).where(Reading.sensor_id == 1)).all()
    assert min(instants) >= oldest
    # Every six hours for thirty days, both ends; the one an hour before the first does not exist.
    assert len(instants) == 121


def test_a_sensor_that_goes_takes_its_readings_of_all_months_along(book: Store) -> None:
    with book.session() as session:
        session.add_all(reading(machine_now() - k * timedelta(days=40)) for k in range(5))
    partitions.keep_months(book, machine_now())
    with book.session() as session:
        session.delete(session.get_one(Sensor, 1))
    assert rows_in(book, "reading") == 0


def test_two_housekeepers_at_once_do_no_harm(book: Store) -> None:
    import threading

    at = datetime(2033, 3, 3, tzinfo=UTC)
    problems: list[BaseException] = []

    def keep() -> None:
        try:
            Housekeeper(book, 0)(at)
        except BaseException as error:
            problems.append(error)

    threads = [threading.Thread(target=keep) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert problems == []
    assert len([month for month in months_of(book) if month.year == 2033]) == 4
