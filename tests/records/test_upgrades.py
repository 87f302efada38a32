"""A book of the first schema is carried to the newest with everything in it, and works there."""

import importlib.util
import json
import struct
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from alembic.script import ScriptDirectory
from sqlalchemy import func, select, text

from model.records.acts.revisions import take_back
from model.records.archives.archive import compare, write_archive
from model.records.schema.tables import (
    AirHour,
    Checkpoint,
    Client,
    Measurement,
    PieceRow,
    Place,
    Preference,
    Reading,
    Unacknowledged,
)
from model.records.store import MIGRATIONS, Store, StoreUnavailable, newest_revision
from model.watch.run.evaluation import Watch

pytestmark = pytest.mark.slow


def _old_books() -> Any:
    path = Path(__file__).with_name("old_books.py")
    spec = importlib.util.spec_from_file_location("paneltide_old_books", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


old_books = _old_books()


@pytest.fixture
def old(tmp_path: Path) -> Iterator[Store]:
    """A book at the first schema, with rows in its tables."""
    store = Store(f"sqlite:///{tmp_path / 'old.sqlite'}")
    old_books.take_to(store, old_books.FIRST)
    old_books.fill(store)
    yield store
    store.close()


def test_every_row_is_carried_over(old: Store) -> None:
    before, columns = old_books.content(old), old_books.columns(old)
    assert sum(map(len, before.values())) > 500
    assert old.bring_up_to_date() == newest_revision()
    after = old_books.content(old, columns)
    for table, rows in old_books.carried(before, columns).items():
        assert [repr(row) for row in after[table]] == old_books.in_present_words(rows), table


def test_the_carried_book_works(old: Store, tmp_path: Path) -> None:
    old.bring_up_to_date()
    old.require_current()
    now = old_books.AT + timedelta(hours=old_books.READINGS // 4)
    Watch(old).bring_up_to_date(now)
    with old.session() as session:
        assert session.scalars(select(Place.name).order_by(Place.id)).first() == "shop ½"
        assert session.scalar(select(func.count()).select_from(Reading)) == old_books.READINGS
        assert session.get_one(Measurement, 1).value == 7.6
        assert session.scalar(select(func.count()).select_from(AirHour)) == old_books.READINGS // 4
        assert session.scalar(select(func.count()).where(Checkpoint.body_id == 1)) > 4
    write_archive(old, tmp_path / "book.zip", now)
    assert compare(old, tmp_path / "book.zip") == []


@pytest.mark.parametrize("revision", [s.revision for s in ScriptDirectory(str(MIGRATIONS)).walk_revisions()])
def test_every_schema_on_the_way_can_be_opened(tmp_path: Path, revision: str) -> None:
    store = Store(f"sqlite:///{tmp_path / 'some.sqlite'}")
    old_books.take_to(store, revision)
    assert store.schema_revision() == revision
    assert store.bring_up_to_date() == newest_revision()
    store.close()


def test_the_migrations_end_where_the_models_are(store: Store) -> None:
    assert old_books.differences(store) == []


def test_there_is_one_line_of_migrations() -> None:
    script = ScriptDirectory(str(MIGRATIONS))
    assert len(script.get_heads()) == 1
    assert script.get_bases() == [old_books.FIRST]


def test_a_schema_from_the_future_is_refused_and_left_alone(old: Store) -> None:
    old.bring_up_to_date()
    with old.session() as session:
        session.execute(text("UPDATE alembic_version SET version_num = 'from the future'"))
    before = old_books.content(old)
    for open_it in (old.bring_up_to_date, old.require_current):
        with pytest.raises(StoreUnavailable, match=r"newer version of paneltide .*: update the program"):
            open_it()
    assert old.schema_revision() == "from the future"
    assert old_books.content(old) == before


def test_an_older_book_is_refused_by_a_part_that_may_not_migrate(old: Store) -> None:
    with pytest.raises(StoreUnavailable, match=r"is at schema 0001, .* run `paneltide migrate`"):
        old.require_current()


def test_messages_that_wait_to_be_acknowledged_are_known_after_the_upgrade(old: Store) -> None:
    entries = struct.pack("<HIHI", 7, 0xDEADBEEF, 8, 1)
    old_books.remember(old, "bench ½", entries)
    old.bring_up_to_date()
    with old.session() as session:
        (kept,) = session.scalars(select(Unacknowledged))
        assert (kept.client_id, bytes(kept.entries)) == ("bench ½", entries)
        assert list(session.scalars(select(Preference.name))) == ["units"]


def test_earlier_states_that_were_kept_as_preferences_go_and_what_the_shop_set_stays(old: Store) -> None:
    with old.engine.begin() as connection:
        for name in ("place 3 before", "acceptance 7", "swap to sensor 2", "client link 1", "adhesives"):
            row = {"name": name, "value": "{}"}
            connection.execute(text("INSERT INTO preference (name, value) VALUES (:name, :value)"), row)
    old.bring_up_to_date()
    with old.session() as session:
        kept = session.scalars(select(Preference.name).order_by(Preference.name))
        assert list(kept) == ["adhesives", "client link 1", "units"]


def test_who_a_piece_is_for_becomes_one_client_however_it_was_written(old: Store) -> None:
    old.bring_up_to_date()
    with old.session() as session:
        (client,) = session.scalars(select(Client))
        assert (client.name, client.reach, client.retired_at) == ("Ottilie ½", "", None)
        assert {piece.name for piece in client.pieces} == {"Hall bench", "Footstool"}
        assert all("client" not in piece.document for piece in session.scalars(select(PieceRow)))


def test_an_act_on_a_piece_is_taken_back_after_the_upgrade(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'book.sqlite'}")
    old_books.take_to(store, old_books.FIRST)
    old_books.fill(store)
    old_books.take_to(store, "0011")
    with store.session() as session:
        row = {"id": 1, "name": "Hall bench", "recorded_at": 0, "retired_at": None}
        before = row | {"document": {"name": "Hall bench", "client": "Bram"}}
        after = row | {"document": {"name": "Hall bench", "client": "Ottilie ½"}}
        at = session.execute(text("SELECT recorded_at FROM piece WHERE id = 1")).scalar_one()
        before["recorded_at"] = after["recorded_at"] = at
        session.execute(
            text(
                "INSERT INTO revision (at, act, says, data, changes) "
                "VALUES (:at, 'correction', '', '{}', :rows)"
            ),
            {"at": at, "rows": json.dumps({"rows": [["piece", 1, before, after]]})},
        )
    store.bring_up_to_date()
    with store.session() as session:
        take_back(session, 1, old_books.AT)
    with store.session() as session:
        client = session.get_one(PieceRow, 1).client
        assert client is not None
        assert client.name == "Bram"
    store.close()
