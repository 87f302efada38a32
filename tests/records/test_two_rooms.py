"""Sensors of one place in two rooms, and sensors that hung there before anybody said so."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from model.records.acts import hangings, trusted
from model.records.acts.places import add_place
from model.records.acts.revisions import recorded, take_back
from model.records.queries.two_rooms import two_rooms
from model.records.schema.tables import Hanging, Reading, Sensor, StaleHour
from model.records.store import Store
from model.wood.air.psychrometrics import relative_humidity_from_pressure, vapour_pressure
from model.wood.errors import BadInput
from tests.said import said

NOW = datetime(2026, 2, 3, 12, tzinfo=UTC)
MONTH = timedelta(days=30)


def heard(session, name: str, place, air, hours: int = 8) -> Sensor:
    """A sensor with a reading every twenty minutes up to now; `air` gives temperature and humidity."""
    sensor = Sensor(name=name, accepted_at=NOW)
    session.add(sensor)
    session.flush()
    hangings.hang_sensor(session, sensor, place, NOW - MONTH)
    for step in range(hours * 3):
        at = NOW - timedelta(minutes=20 * step)
        temperature_c, rh_pct = air
        session.add(
            Reading(
                sensor_id=sensor.id,
                observed_at=at,
                received_at=at,
                temperature_c=temperature_c,
                rh_pct=rh_pct,
            )
        )
    session.flush()
    return sensor


def test_three_sensors_of_three_houses_in_one_place_are_asked_about(store: Store) -> None:
    with store.session() as session:
        shop = add_place(session, "Shop", "shop")
        for name, air in (("bench", (19.0, 48.0)), ("flat", (21.0, 27.0)), ("lake", (18.0, 63.0))):
            heard(session, name, shop, air)
        found = two_rooms(session, NOW)
        pairs = {(pair.damp, pair.dry) for pair in found}
    assert pairs == {("bench", "flat"), ("lake", "bench"), ("lake", "flat")}
    assert said(found[0]).startswith("Two rooms? ")
    assert "the air of Shop is their mean" in said(found[0])


def test_one_room_is_one_room_though_a_sensor_hangs_warmer_in_it(store: Store) -> None:
    # Air with the same vapour at 20 and at 25 °C: 50 % and 37 %, by the humidity of one vapour pressure.
    warm_pct = float(relative_humidity_from_pressure(25.0, vapour_pressure(20.0, 50.0)))
    assert warm_pct == pytest.approx(36.9, abs=0.3)  # psychrometric chart, from memory
    with store.session() as session:
        shop = add_place(session, "Shop", "shop")
        heard(session, "bench", shop, (20.0, 50.0))
        heard(session, "by the lamp", shop, (25.0, warm_pct))
        assert two_rooms(session, NOW) == ()


def test_two_sensors_that_differ_for_an_hour_only_or_in_two_places_are_no_matter(store: Store) -> None:
    with store.session() as session:
        shop, loft = add_place(session, "Shop", "shop"), add_place(session, "Loft", "storage")
        heard(session, "bench", shop, (20.0, 50.0))
        heard(session, "just hung", shop, (20.0, 30.0), hours=1)
        heard(session, "loft", loft, (20.0, 70.0))
        assert two_rooms(session, NOW) == ()


def test_a_reading_nobody_believes_makes_no_second_room(store: Store) -> None:
    with store.session() as session:
        shop = add_place(session, "Shop", "shop")
        heard(session, "bench", shop, (20.0, 50.0))
        wet = heard(session, "wet cloth", shop, (20.0, 90.0))
        assert len(two_rooms(session, NOW)) == 1
        trusted.doubt_span(session, wet, NOW - MONTH, None, "a wet cloth on it", NOW)
        assert two_rooms(session, NOW) == ()


# ---------------------------------------------------------------- since when it hung


def spans(session) -> list[tuple[str, datetime, datetime | None]]:
    rows = session.scalars(select(Hanging).order_by(Hanging.since_at)).all()
    return [(one.place.name, one.since_at, one.until_at) for one in rows]


def test_what_came_before_a_sensor_was_hung_is_counted_and_its_hanging_dated_back(store: Store) -> None:
    with store.session() as session:
        shop = add_place(session, "Shop", "shop")
        sensor = Sensor(name="bench", accepted_at=NOW)
        session.add(sensor)
        session.flush()
        early = NOW - 12 * MONTH
        session.add(Reading(sensor_id=sensor.id, observed_at=early, received_at=NOW, rh_pct=40.0))
        session.flush()
        left = hangings.readings_nowhere(session, sensor)
        assert (left.count, left.first_at, left.place) == (1, early, None)
        hangings.hang_sensor(session, sensor, shop, NOW)
        left = hangings.readings_nowhere(session, sensor)
        assert (left.count, left.place, left.since_at) == (1, shop, NOW)
        with recorded(session, "correction", NOW) as revision:
            hangings.hang_since(session, sensor, shop, early)
        assert hangings.readings_nowhere(session, sensor).count == 0
        assert spans(session) == [("Shop", early, None)]
        assert session.scalars(select(StaleHour.sensor_id)).all() == [sensor.id]
        take_back(session, revision.id, NOW)
        assert spans(session) == [("Shop", NOW, None)]


def test_a_move_recorded_too_late_is_dated_back_into_the_place_before(store: Store) -> None:
    with store.session() as session:
        shop, loft = add_place(session, "Shop", "shop"), add_place(session, "Loft", "storage")
        sensor = Sensor(name="bench", accepted_at=NOW)
        session.add(sensor)
        session.flush()
        hangings.hang_sensor(session, sensor, shop, NOW - 3 * MONTH)
        hangings.hang_sensor(session, sensor, loft, NOW - MONTH)
        hangings.hang_since(session, sensor, loft, NOW - 2 * MONTH)
        assert spans(session) == [
            ("Shop", NOW - 3 * MONTH, NOW - 2 * MONTH),
            ("Loft", NOW - 2 * MONTH, None),
        ]
        with pytest.raises(BadInput, match="must not overlap another place"):
            hangings.hang_since(session, sensor, loft, NOW - 4 * MONTH)
