"""Acts on sensors and places taken back: everything computed is what it was, to the last bit."""

import numpy as np
import pytest

from model.records.acts import hangings, places, swaps
from model.records.acts.acceptances import ACCEPTANCE, keep_messages
from model.records.acts.revisions import recorded
from model.records.schema.tables import AirHour, Binding, Checkpoint, HeardMessage, Place, Sensor

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
        swaps.swap_sensor(session, old, "bench, second", at, takes_topics=True)

    number = watched.act(swap, "swap")
    watched.evaluate(watched.hour(HOURS))
    watched.take_back(number)
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() == before


def test_a_swap_to_a_silent_device_is_undone_too(watched):
    before = watched.computed()
    number = watched.act(
        lambda session: swaps.swap_sensor(session, session.get_one(Sensor, 1), "other", watched.hour(40)),
        "swap",
    )
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() != before  # nothing measured since hour 40
    watched.take_back(number)
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() == before


def _accepted(watched, place):
    """A second sensor, accepted with the damp readings of its kept messages; the number of the act."""
    rows = watched.hourly(HOURS, 18.0, 75.0)

    for at, _, _ in rows:
        watched.change(
            lambda session, at=at: session.add(
                HeardMessage(topic="corner/air", payload=b"{}", received_at=at)
            )
        )
    with watched.store.session() as session, recorded(session, ACCEPTANCE, watched.hour(0)) as revision:
        sensor = Sensor(name="damp corner", accepted_at=watched.hour(0))
        binding = Binding(topic="corner/air", payload={"shape": "json"})
        sensor.bindings.append(binding)
        session.add(sensor)
        session.flush()
        keep_messages(session, revision, ["corner/air"])
        for message in session.query(HeardMessage):
            session.delete(message)
        number, sensor_id = revision.id, sensor.id
    watched.send(rows, sensor=sensor_id)

    def hang(session):
        there = session.get_one(Place, place)
        hangings.hang_sensor(session, session.get_one(Sensor, sensor_id), there, watched.hour(0))

    return watched.act(hang, ACCEPTANCE, of=number)


def test_an_acceptance_and_its_undoing_leave_no_trace(watched):
    before = watched.computed()
    number = _accepted(watched, 1)
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() != before
    watched.take_back(number)
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
    shop.take_back(number)
    shop.evaluate(shop.hour(HOURS))
    assert shop.rows(AirHour) == []
    assert shop.computed() == before


def test_a_place_recorded_and_taken_out_leaves_no_trace(watched):
    before = watched.computed()
    number = watched.act(lambda session: places.add_place(session, "attic", "storage"))
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() != before  # it has a verdict: unknown
    watched.take_back(number)
    watched.evaluate(watched.hour(HOURS))
    assert watched.computed() == before
