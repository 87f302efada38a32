"""Doubts by hand, salt checks and swaps, as the book keeps them; every value sent stays as it came."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from model.records.acts import swaps, trusted
from model.records.acts.hangings import hang_sensor, take_down_sensor
from model.records.acts.places import add_place
from model.records.acts.revisions import recorded, take_back
from model.records.acts.trusted import SaltPoint
from model.records.schema.tables import (
    Binding,
    Correction,
    Doubt,
    Hanging,
    Place,
    Reading,
    RunningCount,
    Sensor,
    StaleHour,
)
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import BadInput

START = datetime(2026, 1, 5, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def sensor(session):
    """A sensor at the bench with 48 hourly readings, all of them computed."""
    sensor = Sensor(name="bench", accepted_at=START, temperature_unit="F", zone="America/New_York")
    sensor.bindings.append(Binding(topic="shop/bench", payload={}))
    session.add(sensor)
    session.flush()
    hang_sensor(session, sensor, add_place(session, "shop", "shop"), START)
    for hour in range(48):
        at = START + (hour + 0.5) * HOUR
        session.add(
            Reading(sensor_id=sensor.id, observed_at=at, received_at=at, temperature_c=20.0, rh_pct=45.0)
        )
    session.flush()
    return sensor


def marked(session):
    """Hours since the start that are marked, after which they count as computed."""
    session.flush()
    hours = [(row.hour_at - START) // HOUR for row in session.scalars(select(StaleHour))]
    for row in session.scalars(select(StaleHour)):
        session.delete(row)
    session.flush()
    return sorted(hours)


def changes(session):
    row = session.get(RunningCount, "book")
    if row is not None:
        session.refresh(row)
    return 0 if row is None else row.count


# ---------------------------------------------------------------- doubts


def test_a_doubt_by_hand_marks_its_hours_and_so_do_its_undoing_and_redoing(session, sensor):
    doubt = trusted.doubt_span(
        session, sensor, START + 10 * HOUR, START + 12 * HOUR, "spraying", START + 13 * HOUR
    )
    assert doubt.kind in trusted.EXCLUDING
    assert {10, 11, 12} <= set(marked(session)) <= {9, 10, 11, 12, 13}
    before = changes(session)
    trusted.undo_doubt(session, doubt, START + 14 * HOUR)
    assert {10, 11, 12} <= set(marked(session))
    assert (doubt.undone_at, changes(session)) == (START + 14 * HOUR, before + 1)
    trusted.undo_doubt(session, doubt, START + 15 * HOUR)  # a second time changes nothing
    assert marked(session) == []
    assert doubt.undone_at == START + 14 * HOUR
    doubt.undone_at = None
    session.flush()
    with recorded(session, "change", START) as revision:
        trusted.undo_doubt(session, doubt, START + 16 * HOUR)
    marked(session)
    take_back(session, revision.id, START)
    assert doubt.undone_at is None
    assert {10, 11, 12} <= set(marked(session))


@pytest.mark.parametrize(
    ("since", "until", "reason", "said"),
    [
        (START + 2 * HOUR, START + HOUR, "why", "until_at must not come before since_at"),
        (START, None, "  ", "reason must say why"),
        (START.replace(tzinfo=None), None, "why", "since_at must carry its offset from UTC"),
    ],
)
def test_a_doubt_by_hand_is_refused_in_one_sentence(session, sensor, since, until, reason, said):
    with pytest.raises(BadInput, match=said):
        trusted.doubt_span(session, sensor, since, until, reason, START)


def test_no_kind_both_leaves_out_and_advises():
    assert not set(trusted.EXCLUDING) & set(trusted.ADVICE)


# ---------------------------------------------------------------- salt checks


# Worked by hand: b = (75.5 - 33.1) / (78.5 - 35.6) = 0.98834, a = 33.1 - 0.98834 x 35.6 = -2.085.
TWO_POINTS = (SaltPoint(33.1, 20.0, 35.6), SaltPoint(75.5, 20.0, 78.5))


def test_two_salts_correct_45_percent_to_42_4_and_the_wood_from_8_5_to_8_1(session, sensor):
    correction = trusted.salt_check(session, sensor, TWO_POINTS, START + 24 * HOUR)
    assert correction.intercept_pct == pytest.approx(-2.09, abs=0.005)
    assert correction.slope == pytest.approx(0.988, abs=0.0005)
    true = correction.intercept_pct + correction.slope * 45.0
    assert true == pytest.approx(42.4, abs=0.05)
    # Wood Handbook (FPL-GTR-282, 2021) eq. 4-5 at 20 °C, printed to a tenth.
    assert equilibrium_moisture_content(20.0, 45.0) == pytest.approx(8.5, abs=0.06)
    assert equilibrium_moisture_content(20.0, true) == pytest.approx(8.1, abs=0.06)
    assert correction.evidence["sound"] is True
    assert [point["read_rh_pct"] for point in correction.evidence["points"]] == [35.6, 78.5]


def test_a_salt_check_holds_from_its_instant_and_rewrites_nothing(session, sensor):
    trusted.salt_check(session, sensor, TWO_POINTS, START + 24 * HOUR)
    assert set(range(24, 48)) <= set(marked(session)) <= set(range(23, 48))
    assert {reading.rh_pct for reading in session.scalars(select(Reading))} == {45.0}


def test_a_salt_goes_by_its_own_humidity_at_its_temperature(session, sensor):
    # Greenspan, J. Res. NBS 81A (1977) 89: 33.07 % over magnesium chloride and 75.47 % over sodium chloride
    # at 20 °C; 75.29 % at 25 °C.
    assert SaltPoint("MgCl2", 20.0, 33.0).true_rh_pct == pytest.approx(33.07, abs=0.03)
    assert SaltPoint("sodium chloride", 20.0, 75.0).true_rh_pct == pytest.approx(75.47, abs=0.03)
    assert SaltPoint("NaCl", 25.0, 75.0).true_rh_pct == pytest.approx(75.29, abs=0.03)
    correction = trusted.salt_check(
        session, sensor, [SaltPoint("NaCl", 20.0, 77.9), SaltPoint("MgCl2", 20.0, 31.2)], START
    )
    assert correction.slope == pytest.approx((75.47 - 33.07) / (77.9 - 31.2), abs=0.001)
    # Half a percent at each end, the salts' own beside it, weighed at 45 %: a little more than 0.382.
    assert correction.uncertainty_pct == pytest.approx(0.39, abs=0.02)


def test_one_salt_shifts_and_is_less_sure_than_two(session, sensor):
    correction = trusted.salt_check(session, sensor, [SaltPoint("NaCl", 20.0, 77.5)], START)
    assert correction.slope == 1.0
    assert correction.intercept_pct == pytest.approx(-2.03, abs=0.03)
    assert correction.uncertainty_pct > 0.0


def test_a_sensor_beyond_five_points_is_corrected_with_the_advice_to_replace_it(session, sensor):
    correction = trusted.salt_check(session, sensor, [SaltPoint("NaCl", 20.0, 69.0)], START)
    assert correction.evidence["sound"] is False
    assert "replace the sensor" in correction.evidence["says"]


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([SaltPoint("NaCl", 20.0, 60.0)], "replace the sensor"),
        ([SaltPoint("MgCl2", 20.0, 33.0), SaltPoint("NaCl", 20.0, 60.0)], "replace the sensor"),
        ([SaltPoint("MgCl2", 20.0, 33.0), SaltPoint("K2CO3", 20.0, 43.0)], "15 %"),
        ([SaltPoint("pepper", 20.0, 33.0)], "salt must be one of"),
        ([], "must be one or two"),
    ],
)
def test_a_salt_check_that_cannot_be_is_refused_and_leaves_nothing(session, sensor, points, said):
    marked(session)
    with pytest.raises(BadInput, match=said):
        trusted.salt_check(session, sensor, points, START)
    assert session.scalars(select(Correction)).all() == []
    assert marked(session) == []


def test_undoing_a_check_lets_the_earlier_one_hold_again_up_to_the_next(session, sensor):
    trusted.salt_check(session, sensor, [SaltPoint("NaCl", 20.0, 76.0)], START)
    with recorded(session, "salt check", START) as revision:
        middle = trusted.salt_check(session, sensor, TWO_POINTS, START + 10 * HOUR)
    trusted.salt_check(session, sensor, [SaltPoint("NaCl", 20.0, 77.0)], START + 30 * HOUR)
    marked(session)
    take_back(session, revision.id, START + 40 * HOUR)
    assert middle.undone_at == START + 40 * HOUR
    assert set(range(10, 30)) <= set(marked(session)) <= set(range(9, 32))


def test_a_second_check_from_the_same_instant_takes_the_place_of_the_first(session, sensor):
    trusted.salt_check(session, sensor, [SaltPoint("NaCl", 20.0, 76.0)], START)
    trusted.salt_check(session, sensor, TWO_POINTS, START)
    (only,) = session.scalars(select(Correction))
    assert only.slope == pytest.approx(0.988, abs=0.0005)


# ---------------------------------------------------------------- swaps


def test_a_swap_splits_the_record(session, sensor):
    at = START + 20 * HOUR
    new = swaps.swap_sensor(session, sensor, "bench 2", at)
    spans = [(row.sensor_id, row.since_at, row.until_at) for row in session.scalars(select(Hanging))]
    assert spans == [(sensor.id, START, at), (new.id, at, None)]
    assert (new.temperature_unit, new.zone) == ("F", "America/New_York")
    assert sensor.retired_at == at
    assert [binding.topic for binding in sensor.bindings] == ["shop/bench"]
    assert len(session.scalars(select(Reading).where(Reading.sensor_id == sensor.id)).all()) == 48
    assert set(range(20, 48)) <= set(marked(session))


def test_a_new_device_on_the_old_topic_takes_what_came_since(session, sensor):
    at = START + 20 * HOUR
    new = swaps.swap_sensor(session, sensor, "bench 2", at, takes_topics=True)
    assert [binding.topic for binding in new.bindings] == ["shop/bench"]
    assert sensor.bindings == []
    own = {
        id_: [row.observed_at for row in session.scalars(select(Reading).where(Reading.sensor_id == id_))]
        for id_ in (sensor.id, new.id)
    }
    assert (len(own[sensor.id]), len(own[new.id])) == (20, 28)
    assert max(own[sensor.id]) < at <= min(own[new.id])
    assert {row.rh_pct for row in session.scalars(select(Reading))} == {45.0}
    whose = {row.sensor_id for row in session.scalars(select(StaleHour))}
    assert whose == {sensor.id, new.id}


def test_a_sensor_on_record_can_take_over(session, sensor):
    spare = Sensor(name="spare", accepted_at=START)
    session.add(spare)
    session.flush()
    assert swaps.swap_sensor(session, sensor, spare, START + HOUR) is spare
    assert spare.hangings[0].since_at == START + HOUR


def test_a_swap_that_cannot_be_is_refused(session, sensor):
    with pytest.raises(BadInput, match="must not be a sensor's already"):
        swaps.swap_sensor(session, sensor, "bench", START + HOUR)
    with pytest.raises(BadInput, match="must be another one"):
        swaps.swap_sensor(session, sensor, sensor, START + HOUR)
    take_down_sensor(session, sensor, START + 5 * HOUR)
    with pytest.raises(BadInput, match="while it hangs somewhere"):
        swaps.swap_sensor(session, sensor, "bench 2", START + 6 * HOUR)


def as_recorded(session):
    """Everything that people and sensors put into the book, row by row."""
    session.flush()
    session.expire_all()
    tables = (Place, Sensor, Binding, Hanging, Reading, Doubt, Correction)
    return {
        table.__tablename__: sorted(
            repr(tuple(row)) for row in session.execute(select(*table.__table__.columns))
        )
        for table in tables
    }


def swapped(session, sensor, takes_topics):
    """A new device in the sensor's place, and the number of the act."""
    with recorded(session, "swap", START) as revision:
        new = swaps.swap_sensor(session, sensor, "bench 2", START + 20 * HOUR, takes_topics=takes_topics)
    return new, revision.id


@pytest.mark.parametrize("takes_topics", [True, False])
def test_a_swap_taken_back_leaves_the_book_as_it_was(session, sensor, takes_topics):
    before = as_recorded(session)
    _, number = swapped(session, sensor, takes_topics)
    assert as_recorded(session) != before
    marked(session)
    take_back(session, number, START)
    assert as_recorded(session) == before
    assert set(range(20, 48)) <= set(marked(session))


def test_what_came_since_the_swap_stays_when_it_is_taken_back(session, sensor):
    new, number = swapped(session, sensor, takes_topics=True)
    at = START + 60 * HOUR
    session.add(Reading(sensor_id=new.id, observed_at=at, received_at=at, temperature_c=18.0, rh_pct=51.0))
    take_back(session, number, START)
    session.expire_all()
    assert session.scalars(
        select(Reading.rh_pct).where(Reading.sensor_id == sensor.id, Reading.observed_at == at)
    ).all() == [51.0]
    assert len(session.scalars(select(Reading)).all()) == 49


def _hung_elsewhere(session, new):
    hang_sensor(session, new, add_place(session, "attic", "storage"), START + 30 * HOUR)


def _salted(session, new):
    trusted.salt_check(session, new, TWO_POINTS, START + 30 * HOUR)


def _doubted(session, new):
    trusted.doubt_span(session, new, START + 30 * HOUR, None, "wet cloth on it", START + 31 * HOUR)


def _bound(session, new):
    new.bindings.append(Binding(topic="shop/other", payload={}))


def _swapped_again(session, new):
    swaps.swap_sensor(session, new, "bench 3", START + 30 * HOUR, takes_topics=True)


@pytest.mark.parametrize(
    ("since", "says"),
    [
        (_hung_elsewhere, "was hung elsewhere since"),
        (_salted, "was checked over salt since"),
        (_doubted, "was doubted by hand since"),
        (_bound, "has other topics since"),
        (_swapped_again, "is no longer in use"),
    ],
)
def test_a_swap_that_was_built_on_is_not_taken_back(session, sensor, since, says):
    new, number = swapped(session, sensor, takes_topics=True)
    since(session, new)
    before = as_recorded(session)
    with pytest.raises(BadInput) as refused:
        take_back(session, number, START)
    assert refused.value.rule == f"{says}, so this swap can't be taken back"
    assert as_recorded(session) == before


def test_a_device_with_readings_of_its_own_stays(session, sensor):
    new, number = swapped(session, sensor, takes_topics=False)
    at = START + 21 * HOUR
    session.add(Reading(sensor_id=new.id, observed_at=at, received_at=at, temperature_c=18.0, rh_pct=51.0))
    with pytest.raises(BadInput, match="has readings of its own"):
        take_back(session, number, START)
    spare = Sensor(name="spare", accepted_at=START)
    session.add(spare)
    session.flush()
    with recorded(session, "swap", START) as revision:
        swaps.swap_sensor(session, new, spare, START + 30 * HOUR)
    with pytest.raises(BadInput, match="can't be taken back: the new one was on record before"):
        take_back(session, revision.id, START)
