"""The same on PostgreSQL: the first schema's book carried to the newest, readings parted by the month."""

import importlib.util
import struct
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from model.records.schema import partitions
from model.records.schema.tables import AirHour, Preference, Reading, Unacknowledged
from model.records.store import Store, newest_revision
from model.watch.run.evaluation import Watch

pytestmark = pytest.mark.postgres


def _old_books() -> Any:
    path = Path(__file__).parents[1] / "records" / "old_books.py"
    spec = importlib.util.spec_from_file_location("paneltide_old_books_again", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


old_books = _old_books()


@pytest.fixture
def old(postgres: Any, request: pytest.FixtureRequest) -> Iterator[Store]:
    name = f"old_{abs(hash(request.node.nodeid))}"
    postgres.create(name)
    store = Store(postgres.url(name))
    old_books.take_to(store, old_books.FIRST)
    old_books.fill(store)
    yield store
    store.close()


def test_every_row_is_carried_over_into_months(old: Store) -> None:
    before, columns = old_books.content(old), old_books.columns(old)
    assert old.bring_up_to_date() == newest_revision()
    after = old_books.content(old, columns)
    for table, rows in old_books.carried(before, columns).items():
        assert [repr(row) for row in after[table]] == old_books.in_present_words(rows), table
    with old.engine.connect() as connection:
        assert partitions.is_partitioned(connection)
        assert partitions.month_of(old_books.AT) in partitions.months(connection)
        assert connection.exec_driver_sql("SELECT count(*) FROM reading_other").scalar() == 0


def test_the_carried_book_works(old: Store) -> None:
    old.bring_up_to_date()
    Watch(old).bring_up_to_date(old_books.AT + timedelta(hours=old_books.READINGS // 4))
    with old.session() as session:
        assert session.scalar(select(func.count()).select_from(Reading)) == old_books.READINGS
        assert session.scalar(select(func.count()).select_from(AirHour)) == old_books.READINGS // 4


def test_the_migrations_end_where_the_models_are(postgres_store: Store) -> None:
    assert old_books.differences(postgres_store) == []


def test_messages_that_wait_to_be_acknowledged_are_known_after_the_upgrade(old: Store) -> None:
    entries = struct.pack("<HIHI", 7, 0xDEADBEEF, 8, 1)
    old_books.remember(old, "bench ½", entries)
    old.bring_up_to_date()
    with old.session() as session:
        (kept,) = session.scalars(select(Unacknowledged))
        assert (kept.client_id, bytes(kept.entries)) == ("bench ½", entries)
        assert list(session.scalars(select(Preference.name))) == ["units"]
