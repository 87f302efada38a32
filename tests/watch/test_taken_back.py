"""Acts on sensors and places taken back: everything computed is what it was, to the last bit."""

import numpy as np
import pytest

from model.records import hangings, places, swaps
from model.records.acceptances import remember_acceptance, take_back_acceptance
from model.records.tables import AirHour, Binding, Checkpoint, HeardMessage, Place, Sensor

HOURS = 96


@pytest.fixture
def watched(shop):
    """Four days of a shop whose air dries, watched to the end."""
    shop.send(shop.hourly(HOURS, 20.0, np.linspace(55.0, 30.0, HOURS)))
    shop.evaluate(shop.hour(HOURS))
    return shop


def test_a_swap_and_its_undoing_leave_no_trace(watched):
    before = watched.computed()
    at = watched.hour(40.25)

    def swap(session):
        old = session.get_one(Sensor, 1)
        return swaps.swap_sensor(session, old, "bench, second", at, takes_topics=True).id

    new = watched.change(swap)
    watched.evaluate(watched.hour(HOURS))
    watched.change(lambda session: swaps.undo_swap(session, session.get_one(Sensor, new)))
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() == before


def test_a_swap_to_a_silent_device_is_undone_too(watched):
    before = watched.computed()
    new = watched.change(
        lambda session: swaps.swap_sensor(session, session.get_one(Sensor, 1), "other", watched.hour(40)).id
    )
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() != before  # nothing measured since hour 40
    watched.change(lambda session: swaps.undo_swap(session, session.get_one(Sensor, new)))
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() == before


def _accepted(watched, place):
    """A second sensor, accepted with the damp readings of its kept messages, and its number."""

    def accept(session):
        sensor = Sensor(name="damp corner", accepted_at=watched.hour(0))
        binding = Binding(topic="corner/air", payload={"shape": "json"})
        sensor.bindings.append(binding)
        session.add(sensor)
        for row in rows:
            session.add(HeardMessage(topic="corner/air", payload=b"{}", received_at=row[0]))
        session.flush()
        number = remember_acceptance(session, [sensor], [binding], ["corner/air"], watched.hour(0))
        for message in session.query(HeardMessage):
            session.delete(message)
        return sensor.id, number

    rows = watched.hourly(HOURS, 18.0, 75.0)
    sensor, number = watched.change(accept)
    watched.send(rows, sensor=sensor)
    watched.change(
        lambda session: hangings.hang_sensor(
            session, session.get_one(Sensor, sensor), session.get_one(Place, place), watched.hour(0)
        )
    )
    return number


def test_an_acceptance_and_its_undoing_leave_no_trace(watched):
    before = watched.computed()
    number = _accepted(watched, 1)
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() != before
    watched.change(lambda session: take_back_acceptance(session, number, watched.hour(HOURS)))
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() == before


def test_the_only_sensor_of_a_place_leaves_its_wood_as_before_it_came(make_shop):
    shop = make_shop()
    shop.place()
    shop.piece()
    shop.evaluate(shop.hour(HOURS))
    before = shop.computed()
    number = _accepted(shop, 1)
    shop.evaluate(shop.hour(HOURS))
    assert shop.rows(AirHour)
    assert shop.rows(Checkpoint)
    shop.change(lambda session: take_back_acceptance(session, number, shop.hour(HOURS)))
    shop.evaluate(shop.hour(HOURS))
    assert shop.rows(AirHour) == []
    assert shop.computed() == before


def test_a_place_recorded_and_taken_out_leaves_no_trace(watched):
    before = watched.computed()
    place = watched.change(lambda session: places.add_place(session, "attic", "storage").id)
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() != before  # it has a verdict: unknown
    watched.change(lambda session: places.remove_place(session, session.get_one(Place, place)))
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() == before
