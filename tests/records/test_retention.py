"""Old raw readings go in portions; the air hours made of them stay, whatever happens afterwards."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from model.records.acts import hangings, places, trusted
from model.records.acts.invalidation import mark_hours
from model.records.acts.retention import Housekeeper, forget_portions, kept_since
from model.records.schema.tables import AirHour, Place, Preference, Reading, Sensor, StaleHour
from model.watch.run.evaluation import Watch
from model.wood.errors import BadInput

pytestmark = pytest.mark.slow

START = datetime(2025, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)
NOW = START + 40 * DAY


def forgotten(store, now, keep_days, **portions):
    return sum(forget_portions(store, now, keep_days, **portions))


def reading(at, rh_pct=45.0, sensor_id=1):
    return Reading(sensor_id=sensor_id, observed_at=at, received_at=at, temperature_c=20.0, rh_pct=rh_pct)


@pytest.fixture
def shop(store):
    """Forty days of readings every twenty minutes at one place, not looked at by the watch yet."""
    with store.session() as session:
        place = places.add_place(session, "shop", "shop")
        sensor = Sensor(name="bench", accepted_at=START)
        session.add(sensor)
        session.flush()
        hangings.hang_sensor(session, sensor, place, START)
        steps = range(40 * 72)
        session.add_all(reading(START + k * DAY / 72, 40.0 + k % 7) for k in steps)
        mark_hours(session, [sensor.id], START)
    return store


def counted(store, table):
    with store.session() as session:
        return session.scalar(select(func.count()).select_from(table))


def oldest(store):
    with store.session() as session:
        return session.scalar(select(func.min(Reading.observed_at)))


def air(store, until=None):
    with store.session() as session:
        rows = session.scalars(select(AirHour).order_by(AirHour.hour_at)).all()
        return [
            (row.hour_at, row.temperature_c, row.rh_pct, row.basis)
            for row in rows
            if until is None or row.hour_at < until
        ]


def test_nothing_goes_before_its_air_hour_is_made(shop):
    assert forgotten(shop, NOW, 10) == 0
    Watch(shop).bring_up_to_date(NOW)
    assert forgotten(shop, NOW, 10) > 0


def test_readings_go_and_every_air_hour_stays(shop):
    Watch(shop).bring_up_to_date(NOW)
    before = air(shop)
    gone = forgotten(shop, NOW, 10, at_once=100)
    # Three readings an hour, thirty days less the hour that half-hour pairing may need.
    assert gone == 3 * (30 * 24 - 1)
    assert oldest(shop) == NOW - 10 * DAY - timedelta(hours=1)
    assert air(shop) == before
    Watch(shop).bring_up_to_date(NOW)
    assert air(shop) == before


def test_it_goes_in_bounded_portions_and_after_a_stop_goes_on(shop):
    Watch(shop).bring_up_to_date(NOW)
    portions = forget_portions(shop, NOW, 10, at_once=100)
    assert [next(portions) for _ in range(3)] == [100, 100, 100]
    portions.close()  # as a stop does
    rest = list(forget_portions(shop, NOW, 10, at_once=100))
    assert max(rest) <= 100
    assert sum(rest) + 300 == 3 * (30 * 24 - 1)
    assert forgotten(shop, NOW, 10) == 0


def test_a_reading_that_comes_too_late_leaves_final_air_alone(shop):
    watch = Watch(shop)
    watch.bring_up_to_date(NOW)
    forgotten(shop, NOW, 10)
    before = air(shop)
    late = START + 3 * DAY
    with shop.session() as session:
        session.add(reading(late, 95.0))
        session.add(StaleHour(sensor_id=1, hour_at=late))
    watch.bring_up_to_date(NOW)
    assert air(shop) == before
    assert counted(shop, StaleHour) == 0


def test_a_corrected_hanging_takes_back_only_what_can_be_made_again(shop):
    watch = Watch(shop)
    watch.bring_up_to_date(NOW)
    forgotten(shop, NOW, 10)
    final = NOW - 10 * DAY
    before = air(shop, final)
    with shop.session() as session:
        attic = places.add_place(session, "attic", "storage")
        sensor = session.get_one(Sensor, 1)
        hangings.correct_hanging(session, sensor.hangings[0], attic)
    watch.bring_up_to_date(NOW)
    with shop.session() as session:
        shop_id = session.scalar(select(Place.id).where(Place.name == "shop"))
        measured = select(func.count()).where(AirHour.place_id == shop_id, AirHour.basis == "measured")
        assert session.scalar(measured.where(AirHour.hour_at < final)) == len(before)
        assert session.scalar(measured.where(AirHour.hour_at >= final)) == 0


def test_a_doubt_over_gone_readings_changes_no_final_air(shop):
    watch = Watch(shop)
    watch.bring_up_to_date(NOW)
    forgotten(shop, NOW, 10)
    before = air(shop, NOW - 10 * DAY)
    with shop.session() as session:
        trusted.doubt_span(
            session, session.get_one(Sensor, 1), START, START + 5 * DAY, "a wet cloth on it", NOW
        )
    watch.bring_up_to_date(NOW)
    assert air(shop, NOW - 10 * DAY) == before


def test_what_is_final_never_becomes_open_again(shop):
    Watch(shop).bring_up_to_date(NOW)
    forgotten(shop, NOW, 10)
    assert forgotten(shop, NOW, 30) == 0
    with shop.session() as session:
        assert kept_since(session) == NOW - 10 * DAY


def test_less_than_a_day_is_refused(store):
    with pytest.raises(BadInput, match="retention_days must be 1 or more, got 0"):
        forgotten(store, NOW, 0)


def test_the_housekeeper_does_a_little_at_a_look_once_a_day(shop):
    Watch(shop).bring_up_to_date(NOW)
    keeper = Housekeeper(shop, 10)
    taken = [keeper(NOW) for _ in range(5)]
    assert sum(taken) == 3 * (30 * 24 - 1)
    assert keeper(NOW + timedelta(hours=1)) == 0
    looks = [keeper(NOW + DAY) for _ in range(3)]
    assert sum(looks) == 3 * 24


def test_a_housekeeper_that_keeps_all_deletes_nothing(shop):
    Watch(shop).bring_up_to_date(NOW)
    keeper = Housekeeper(shop, 0)
    assert [keeper(NOW + k * DAY) for k in range(3)] == [0, 0, 0]
    with shop.session() as session:
        assert session.scalar(select(func.count()).where(Preference.name == "readings-kept-since")) == 0
