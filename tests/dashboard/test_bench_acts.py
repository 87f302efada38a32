"""Acts at the bench: a sensor swapped or hung and brought back, a witness board weighed."""

from datetime import timedelta

import pytest

from dashboard.forms import acts
from dashboard.pages.lumber import witness
from dashboard.pages.sensors import hanging
from dashboard.shell.view import Context, View
from model.records.queries.overview import measurements, stacks
from model.records.queries.sensing import sensors as known
from model.records.schema.tables import Reading
from model.wood.errors import BadInput
from model.words.display import Display


@pytest.fixture
def view(book, now):
    return View(Context(book.store, lambda: now), Display("metric"), now)


def test_another_device_goes_on_where_the_old_one_hung(view, now):
    day = now.strftime("%Y-%m-%d")
    done = hanging.swap(1, {"name": "bench, new", "topics": "yes", "at": day}, view)
    with view.store.session() as session:
        found = {one.name: one for one in known(session, now)}
    assert "bench" not in found
    assert found["bench, new"].place == "Shop"
    assert found["bench, new"].topics == ("valley/bench",)
    assert done.href == f"/sensor/{found['bench, new'].id}"
    with pytest.raises(BadInput, match="must not be a sensor's already"):
        hanging.swap(2, {"name": "bench, new", "at": day}, view)


def test_a_hanging_is_taken_back(view, book, now):
    act = hanging.hung(1, {"place": str(book.flat), "at": now.strftime("%Y-%m-%d")}, view)
    assert acts.take_back(view, act.undo).says == "bench hangs at Shop again."
    with view.store.session() as session:
        assert {one.name: one.place for one in known(session, now)}["bench"] == "Shop"


def test_a_witness_board_tells_the_stack_by_its_weight(view, book, now):
    """By arithmetic: 1240 g at 8 % is 1148 g dry; at 1224 g it is at 6.6 %."""
    witness.begin(book.stack, {"mass": "1240 g", "mc": "8", "by": "meter"}, view)
    done = witness.weigh(book.stack, {"mass": "1224"}, view)
    assert "6.6" in done.says
    with view.store.session() as session:
        (event,) = measurements(session, book.stack)
        assert event.value == pytest.approx(100.0 * (1224.0 / (1240.0 / 1.08) - 1.0))
        assert stacks(session, now, only=book.stack)
    acts.take_back(view, done.undo)
    with view.store.session() as session:
        assert measurements(session, book.stack) == ()
    with pytest.raises(BadInput, match="oven-dry"):
        witness.weigh(book.stack, {"mass": "900"}, view)


def test_a_sensor_that_sends_its_quantities_apart_is_said_with_both(view, book, now):
    with view.store.session() as session:
        for minutes, temperature_c, rh_pct in ((25, 12.0, None), (9, 17.5, None), (8, None, 61.0)):
            at = now - timedelta(minutes=minutes)
            session.add(
                Reading(
                    sensor_id=1, observed_at=at, received_at=at, temperature_c=temperature_c, rh_pct=rh_pct
                )
            )
        session.flush()
        (one,) = known(session, now, only=1)
        assert (one.temperature_c, one.rh_pct) == (17.5, 61.0)
        # What was sent long before is not said as if it were of now.
        (later,) = known(session, now - timedelta(minutes=24), only=1)
        assert (later.temperature_c, later.rh_pct) == (12.0, None)
