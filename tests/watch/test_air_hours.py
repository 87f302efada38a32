"""Readings to air hours: averaged at constant vapour pressure, only the trusted ones, at the wood."""

from datetime import timedelta

import psychrolib
import pytest
from sqlalchemy import insert

from model.records.acts import hangings, places
from model.records.acts.invalidation import mark_hours
from model.records.schema.tables import AirHour, Correction, Doubt, Hanging, Place, Reading, Sensor

psychrolib.SetUnitSystem(psychrolib.SI)
MINUTE = timedelta(minutes=1)


def rh_at(pressure_pa, temperature_c):
    """Relative humidity from vapour pressure, by PsychroLib 2.5."""
    return 100.0 * pressure_pa / psychrolib.GetSatVapPres(temperature_c)


def pressure(temperature_c, rh_pct):
    return psychrolib.GetVapPresFromRelHum(temperature_c, rh_pct / 100.0)


@pytest.fixture
def bare(make_shop):
    """A place with one sensor and nothing standing there."""
    shop = make_shop()
    shop.place()
    shop.sensor()
    return shop


def air(shop, until=3, place=1):
    shop.evaluate(shop.hour(until))
    return {row.hour_at: row for row in shop.rows(AirHour) if row.place_id == place}


def test_an_hour_is_the_mean_of_vapour_pressure_and_temperature(bare):
    bare.send([(bare.hour(0.1), 16.0, 60.0), (bare.hour(0.6), 24.0, 30.0)])
    row = air(bare, 1)[bare.hour(0)]
    mean_pa = (pressure(16.0, 60.0) + pressure(24.0, 30.0)) / 2.0
    assert row.temperature_c == pytest.approx(20.0)
    # PsychroLib keeps the same Hyland-Wexler equations: 0.01 % RH allows for its rounded constants.
    assert row.rh_pct == pytest.approx(rh_at(mean_pa, 20.0), abs=0.01)
    assert (row.n_readings, row.basis) == (2, "measured")


def test_each_sensor_counts_once_however_often_it_speaks(bare):
    bare.sensor("shelf")
    bare.send([(bare.hour(0) + k * MINUTE, 20.0, 40.0) for k in range(50)], 1)
    bare.send([(bare.hour(0.5), 20.0, 60.0)], 2)
    assert air(bare, 1)[bare.hour(0)].rh_pct == pytest.approx(50.0)


def test_wood_colder_than_the_sensor_meets_the_same_vapour_pressure(make_shop):
    shop = make_shop()
    shop.place(wood_offset_c=-1.0)
    shop.sensor()
    shop.send([(shop.hour(0.5), 21.0, 37.61)])
    row = air(shop, 1)[shop.hour(0)]
    assert row.temperature_c == pytest.approx(20.0)
    # A sensor 1 K warmer than the wood at 20 °C and 40 % reads 37.61 % (ASHRAE saturation pressure).
    assert row.rh_pct == pytest.approx(40.0, abs=0.01)
    shop.change(lambda session: places.change_place(session, session.get_one(Place, 1), wood_offset_c=0.0))
    assert air(shop, 1)[shop.hour(0)].rh_pct == pytest.approx(37.61)


def test_humidity_sent_alone_is_paired_with_the_nearest_temperature_within_half_an_hour(bare):
    bare.send([(bare.hour(0.9), 15.0, None), (bare.hour(1.05), None, 50.0), (bare.hour(1.4), 25.0, None)])
    rows = air(bare, 2)
    assert rows[bare.hour(1)].temperature_c == pytest.approx(15.0)
    assert bare.hour(0) not in rows or rows[bare.hour(0)].basis == "estimated"


def test_humidity_without_a_temperature_in_reach_makes_no_hour(bare):
    bare.send([(bare.hour(0.0), 15.0, None), (bare.hour(1.5), None, 50.0)])
    assert air(bare, 2) == {}


def test_a_temperature_that_comes_late_changes_the_hour_beside_it(bare):
    bare.send([(bare.hour(1.05), None, 50.0), (bare.hour(1.4), 25.0, None)])
    assert air(bare, 2)[bare.hour(1)].temperature_c == pytest.approx(25.0)
    bare.send([(bare.hour(0.98), 15.0, None)])
    assert air(bare, 2)[bare.hour(1)].temperature_c == pytest.approx(15.0)


def test_a_doubted_reading_is_left_out_until_the_doubt_is_undone(bare):
    bare.send([(bare.hour(0.2), 20.0, 40.0), (bare.hour(0.7), 20.0, 58.0)])

    def doubt(session):
        session.add(
            Doubt(
                sensor_id=1,
                kind="by hand",
                since_at=bare.hour(0.5),
                until_at=bare.hour(0.9),
                reason="jumped",
                raised_at=bare.hour(1),
            )
        )
        mark_hours(session, [1], bare.hour(0), bare.hour(1))

    def undo(session):
        session.get_one(Doubt, 1).undone_at = bare.hour(2)
        mark_hours(session, [1], bare.hour(0), bare.hour(1))

    bare.change(doubt)
    assert air(bare, 1)[bare.hour(0)].rh_pct == pytest.approx(40.0)
    bare.change(undo)
    assert air(bare, 1)[bare.hour(0)].rh_pct == pytest.approx(49.0)
    assert [row.rh_pct for row in bare.rows(Reading)] == [40.0, 58.0]


@pytest.mark.parametrize(
    "temperature_c", [68.0, 80.0, -38.0, 32.0], ids=["in fahrenheit", "hot", "cold", "a little"]
)
def test_one_implausible_temperature_in_a_dozen_leaves_the_hour_as_it_was(bare, temperature_c):
    told = [20.0] * 36
    told[17] = temperature_c
    bare.send([(bare.hour(k / 12), told[k], 45.0) for k in range(36)])
    row = air(bare)[bare.hour(1)]
    assert row.temperature_c == pytest.approx(20.0)
    assert row.rh_pct == pytest.approx(45.0)
    assert (row.n_readings, len(bare.rows(Reading))) == (11, 36)


def test_a_maker_who_believes_the_wild_reading_moves_the_hour_by_its_share_only(bare):
    told = [20.0] * 36
    told[17] = 68.0
    bare.send([(bare.hour(k / 12), told[k], 45.0) for k in range(36)])
    air(bare)

    def undo(session):
        (doubt,) = session.query(Doubt).filter(Doubt.kind == "jump")
        doubt.undone_at = bare.hour(3)
        mark_hours(session, [1], bare.hour(0), bare.hour(3))

    bare.change(undo)
    row = air(bare)[bare.hour(1)]
    assert row.n_readings == 12
    # Averaged plainly this hour was 24.0 °C and 68 %.
    assert row.temperature_c == pytest.approx(20.0 + 5.0 / 12.0)
    assert row.rh_pct == pytest.approx(45.0, abs=1.0)


@pytest.mark.parametrize("wild", [(20.0, 98.0), (44.0, 45.0), (44.0, 98.0), (-5.0, 3.0)])
def test_two_wild_readings_running_are_no_jump_and_still_weigh_no_more_than_their_share(bare, wild):
    told = [(20.0, 45.0)] * 12
    told[5:7] = [wild, wild]
    bare.send([(bare.hour(k / 12), *values) for k, values in enumerate(told)])
    row = air(bare, 1)[bare.hour(0)]
    assert row.n_readings == 12
    assert row.temperature_c == pytest.approx(20.0, abs=2.0 * 5.0 / 12.0 + 1e-9)
    assert row.rh_pct == pytest.approx(45.0, abs=2.0 * 10.0 / 12.0 + 2.0)


def test_a_door_that_opens_within_the_hour_counts_in_full(bare):
    told = [20.0] * 7 + [6.0] * 5
    bare.send([(bare.hour(k / 12), value, 45.0) for k, value in enumerate(told)])
    assert air(bare, 1)[bare.hour(0)].temperature_c == pytest.approx((7 * 20.0 + 5 * 6.0) / 12.0)


def test_a_correction_holds_from_its_day_and_can_be_undone(bare):
    bare.send([(bare.hour(0.5), 20.0, 45.0), (bare.hour(1.5), 20.0, 45.0)])

    def correct(session):
        session.add(
            Correction(
                sensor_id=1,
                since_at=bare.hour(1),
                intercept_pct=4.74281,
                slope=0.907923,
                uncertainty_pct=0.4,
                evidence={},
                made_at=bare.hour(2),
            )
        )
        mark_hours(session, [1], bare.hour(1))

    bare.change(correct)
    rows = air(bare, 2)
    assert rows[bare.hour(0)].rh_pct == pytest.approx(45.0)
    # Two salts, 33.07 and 75.47 %, read as 31.2 and 77.9: 45.0 stands for 45.5993.
    assert rows[bare.hour(1)].rh_pct == pytest.approx(45.5993, abs=1e-3)


def test_a_sensor_counts_where_it_hung_at_the_time(bare):
    bare.place("flat", "home")
    bare.send([(bare.hour(0.25), 20.0, 40.0), (bare.hour(0.75), 20.0, 60.0)])

    def move(session):
        sensor = session.get_one(Sensor, 1)
        hangings.hang_sensor(session, sensor, session.get_one(Place, 2), bare.hour(0.5))

    bare.evaluate(bare.hour(1))
    bare.change(move)
    assert air(bare, 1)[bare.hour(0)].rh_pct == pytest.approx(40.0)
    assert air(bare, 1, place=2)[bare.hour(0)].rh_pct == pytest.approx(60.0)


def test_a_corrected_hanging_takes_the_air_along(bare):
    bare.place("flat", "home")
    bare.send(bare.hourly(30, 20.0, 40.0))
    assert len(air(bare, 30)) == 30

    def correct(session):
        hanging = session.get_one(Hanging, 1)
        hangings.correct_hanging(session, hanging, session.get_one(Place, 2))

    bare.change(correct)
    assert air(bare, 30) == {}
    assert len(air(bare, 30, place=2)) == 30


def test_marks_ahead_of_the_clock_wait_for_it(bare):
    bare.send([(bare.hour(0.5), 20.0, 40.0), (bare.hour(5.5), 20.0, 44.0)])
    assert bare.hour(5) not in air(bare, 3)
    assert air(bare, 6)[bare.hour(5)].rh_pct == pytest.approx(44.0)


def test_the_hour_that_is_not_over_is_there_with_what_has_come(bare):
    bare.send([(bare.hour(0.5), 20.0, 40.0), (bare.hour(1.1), 20.0, 42.0)])
    rows = air(bare, 1.2)
    assert rows[bare.hour(1)].basis == "measured"


def test_a_change_that_comes_while_marks_are_read_is_not_lost(bare):
    bare.send([(bare.hour(0.5), 20.0, 40.0)])
    bare.evaluate(bare.hour(1))
    with bare.store.session() as session:
        session.execute(
            insert(Reading),
            [
                {
                    "sensor_id": 1,
                    "observed_at": bare.hour(0.7),
                    "received_at": bare.hour(2),
                    "temperature_c": 20.0,
                    "rh_pct": 50.0,
                    "clock": "device",
                }
            ],
        )
        mark_hours(session, [1], bare.hour(0), bare.hour(0.9))
    assert air(bare, 1)[bare.hour(0)].rh_pct == pytest.approx(45.0)


@pytest.mark.parametrize("turned_round", [False, True])
@pytest.mark.parametrize(
    ("told", "hour"),
    [
        ([(20.0, 45.0), (20.0, 45.0)], (20.0, 45.0)),
        ([(20.0, 46.0), (20.5, 44.0)], (20.0, 46.0)),  # the smaller pair as it came, not the least of each
        ([(20.0, None), (None, 45.0)], (20.0, 45.0)),
        ([(20.0, 45.0), (20.2, None)], (20.0, 45.0)),
        ([(20.2, 45.0), (20.0, None)], (20.0, 45.0)),
        ([(20.0, 45.0), (20.6, 45.0)], None),
        ([(20.0, 45.0), (20.0, 47.1)], None),
        ([(20.0, 45.0), (20.3, 46.0), (20.1, 60.0)], None),
    ],
)
def test_two_values_for_one_instant_count_by_what_they_say_and_not_by_who_came_first(
    bare, told, hour, turned_round
):
    bare.send([(bare.hour(0.5), *pair) for pair in (reversed(told) if turned_round else told)])
    row = air(bare, 1).get(bare.hour(0))
    assert len(bare.rows(Reading)) == len(set(told))
    if hour is None:
        assert row is None
    else:
        assert (row.temperature_c, row.rh_pct) == pytest.approx(hour)
        assert row.n_readings == 1
