"""A place taken out of the book again, and what keeps it there."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from model.records.acts import book, places
from model.records.acts.hangings import hang_sensor
from model.records.acts.revisions import recorded, take_back
from model.records.schema.tables import AirHour, GlueUp, Place, Sensor, Verdict
from model.wood.errors import BadInput
from model.wood.piece import read_piece

START = datetime(2026, 1, 5, tzinfo=UTC)
STOOL = """
[piece]
name = "Stool"
[part.seat]
species = "white ash"
cut = "flat-sawn"
width = "300mm"
mc_pct = 8.0
thickness = "30mm"
"""


def attic(session):
    """A place recorded by mistake, and the number of the act."""
    with recorded(session, "entry", START) as revision:
        place = places.add_place(session, "attic", "storage")
    return place, revision.id


def test_a_place_goes_with_what_was_computed_for_it(session):
    place, number = attic(session)
    kept = places.add_place(session, "shop", "shop")
    for one in (place, kept):
        session.add(
            AirHour(
                place_id=one.id,
                hour_at=START,
                temperature_c=20.0,
                rh_pct=45.0,
                n_readings=1,
                basis="measured",
            )
        )
        session.add(
            Verdict(
                subject_kind="place",
                subject_id=one.id,
                verdict="clear",
                since_at=START,
                evaluated_at=START,
                detail={},
            )
        )
    session.flush()
    take_back(session, number, START)
    assert session.scalars(select(Place.name)).all() == ["shop"]
    assert session.scalars(select(AirHour.place_id)).all() == [kept.id]
    assert session.scalars(select(Verdict.subject_id)).all() == [kept.id]


def _piece(session, place):
    book.add_piece(session, read_piece(STOOL), place, START)


def _piece_before(session, place):
    row = book.add_piece(session, read_piece(STOOL), place, START)
    book.move(session, row, places.add_place(session, "shop", "shop"), START + timedelta(days=1))


def _sensor(session, place):
    sensor = Sensor(name="rafter", accepted_at=START)
    session.add(sensor)
    session.flush()
    hang_sensor(session, sensor, place, START)


def _meant(session, place):
    shop = places.add_place(session, "shop", "shop")
    document = {"species": "white ash", "thickness_mm": 25.4, "mc_pct": 9.0}
    book.add_stack(session, "ash", document, shop, START, destination=place)


def _clamps(session, place):
    session.add(GlueUp(place_id=place.id, clamps_on_at=START, adhesive={"name": "hide glue"}))


@pytest.mark.parametrize(
    ("use", "says"),
    [
        (_piece, "Stool stands there"),
        (_piece_before, "Stool stood there"),
        (_sensor, "rafter hangs there"),
        (_meant, "ash is meant for it"),
        (_clamps, "clamps were on there"),
    ],
)
def test_a_place_in_use_stays_and_says_why(session, use, says):
    place, number = attic(session)
    use(session, place)
    session.flush()
    with pytest.raises(BadInput) as refused:
        take_back(session, number, START)
    assert (refused.value.what, refused.value.rule) == ("attic", f"can't be taken out of the book: {says}")
    assert session.get(Place, place.id) is not None
