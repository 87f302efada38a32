"""Every act of a person is kept with what it changed, and taken back unless something newer rests on it."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, select

from model.records.acts import book, measured, places, sensor_record
from model.records.acts.revisions import KEPT, recorded, take_back
from model.records.archives.archive import restore_archive, write_archive
from model.records.schema.tables import (
    Checkpoint,
    FitRow,
    Measurement,
    MemberRow,
    PieceRow,
    Place,
    Preference,
    Revision,
    Sensor,
    Stay,
)
from model.records.store import Store
from model.wood.errors import BadInput
from model.wood.piece import read_piece

AT = datetime(2026, 3, 1, 9, 20, tzinfo=UTC)
DAY = timedelta(days=1)
STOOL = """
[piece]
name = "Stool"
[part.seat]
species = "white ash"
cut = "flat-sawn"
width = "300mm"
mc_pct = 8.0
thickness = "30mm"
[part.shelf]
species = "hard maple"
cut = "flat-sawn"
width = "200mm"
mc_pct = 8.0
thickness = "15mm"
[fit.seat_edge]
kind = "front-in-opening"
parts = "shelf"
gap = "1.6mm"
"""


@pytest.fixture
def stool(session):
    shop = places.add_place(session, "shop", "shop")
    places.add_place(session, "flat", "home")
    return book.add_piece(session, read_piece(STOOL), shop, AT)


def everything(session):
    """Every recorded row, by table."""
    session.flush()
    session.expire_all()
    tables = (Place, Sensor, PieceRow, MemberRow, FitRow, Stay, Measurement, Preference)
    return {
        table.__tablename__: sorted(
            repr(tuple(row)) for row in session.execute(select(*table.__table__.columns))
        )
        for table in tables
    }


def named(session, name):
    return session.scalars(select(Place).where(Place.name == name)).one()


def test_a_part_dropped_by_a_wrong_correction_comes_back_with_what_was_measured_on_it(session, stool):
    shelf = next(member for member in stool.members if member.name == "shelf")
    measured.record_measurement(session, shelf, "gap_mm", 1.5, AT + DAY, fit=stool.fits[0])
    before = everything(session)
    text = STOOL[: STOOL.index("[part.shelf]")].replace('"Stool"', '"Low stool"')
    with recorded(session, "correction", AT + DAY) as revision:
        book.replace_piece(session, stool, read_piece(text))
    assert session.scalars(select(Measurement)).all() == []
    take_back(session, revision.id, AT + 2 * DAY)
    assert everything(session) == before


def test_what_was_worked_out_from_the_move_on_goes_and_what_came_before_it_stays(session, stool):
    with recorded(session, "move", AT) as revision:
        book.move(session, stool, named(session, "flat"), AT + 5 * DAY)
    midnight, wood = AT.replace(hour=0, minute=0), {"profile_pct": b"", "mc_mean_pct": 8.0}
    for day in range(10):
        faces = {"mc_face_pct": 8.0, "mc_core_pct": 8.0, "mc_back_pct": 8.0}
        session.add(Checkpoint(body_id=stool.members[0].id, at=midnight + day * DAY, **wood, **faces))
    session.flush()
    take_back(session, revision.id, AT + 10 * DAY)
    kept = session.scalars(select(Checkpoint.at).order_by(Checkpoint.at)).all()
    assert kept == [midnight + day * DAY for day in range(6)]


@pytest.mark.parametrize("kind", ["move", "measurement", "correction"])
def test_an_entry_is_not_taken_back_under_what_was_done_since(session, stool, kind):
    with recorded(session, "entry", AT) as revision:
        bench = book.add_piece(
            session, read_piece(STOOL.replace("Stool", "Bench")), named(session, "shop"), AT
        )
    if kind == "move":
        book.move(session, bench, named(session, "flat"), AT + DAY)
    elif kind == "measurement":
        measured.record_measurement(session, bench.members[0], "mc_pct", 8.0, AT + DAY)
    else:
        book.replace_piece(session, bench, read_piece(STOOL.replace("Stool", "Hall bench")))
    before = everything(session)
    with pytest.raises(BadInput) as refused:
        take_back(session, revision.id, AT + DAY)
    says = {"move": "was moved", "measurement": "was measured", "correction": "was changed again"}
    assert refused.value.rule == f"{says[kind]} since, so this entry can't be taken back"
    assert everything(session) == before


def test_a_name_that_is_anothers_now_is_not_given_back(session):
    shop = places.add_place(session, "shop", "shop")
    with recorded(session, "correction", AT) as revision:
        places.change_place(session, shop, name="old shop")
    places.add_place(session, "shop", "shop")
    with pytest.raises(BadInput, match="leaves no room for it"), session.begin_nested():
        take_back(session, revision.id, AT)
    assert session.scalars(select(Place.name).order_by(Place.id)).all() == ["old shop", "shop"]


def test_two_corrections_of_one_record_are_taken_back_in_turn(session):
    sensor = Sensor(name="bench", accepted_at=AT)
    session.add(sensor)
    session.flush()
    numbers = []
    for name in ("rack", "rafter"):
        with recorded(session, "correction", AT) as revision:
            sensor_record.change_sensor(session, sensor, name, "C", "UTC")
        numbers.append(revision.id)
    with pytest.raises(BadInput, match="was changed again since"):
        take_back(session, numbers[0], AT)
    # What the device says of itself meanwhile is no act.
    sensor.battery_pct = 40.0
    for number, name in zip(reversed(numbers), ("rack", "bench"), strict=True):
        take_back(session, number, AT)
        assert (sensor.name, sensor.battery_pct) == (name, 40.0)


def test_an_act_is_taken_back_once_and_for_a_week(session):
    with recorded(session, "entry", AT) as revision:
        places.add_place(session, "attic", "storage")
    take_back(session, revision.id, AT)
    with pytest.raises(BadInput, match="can't be taken back any more"):
        take_back(session, revision.id, AT)
    number = revision.id
    with recorded(session, "entry", AT + KEPT + DAY):
        places.add_place(session, "loft", "storage")
    session.expire_all()
    assert session.get(Revision, number) is None
    assert session.scalar(select(func.count()).select_from(Revision)) == 1


def test_an_act_that_was_refused_leaves_no_trace(store: Store):
    with pytest.raises(BadInput), store.session() as session, recorded(session, "entry", AT):
        places.add_place(session, "", "storage")
    with store.session() as session:
        assert session.scalars(select(Revision)).all() == []


def test_an_act_is_taken_back_in_the_book_that_was_restored_from_a_backup(store: Store, tmp_path: Path):
    with store.session() as session, recorded(session, "entry", AT) as revision:
        places.add_place(session, "attic", "storage")
        number = revision.id
    write_archive(store, tmp_path / "book.zip", AT)
    other = Store(f"sqlite:///{tmp_path / 'other.sqlite'}")
    other.bring_up_to_date()
    restore_archive(other, tmp_path / "book.zip")
    with other.session() as session:
        take_back(session, number, AT)
        assert session.scalars(select(Place)).all() == []
    other.close()
