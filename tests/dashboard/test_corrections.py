"""What was recorded of a stack or a sensor is corrected on its page, and the correction taken back."""

import pytest
from sqlalchemy import inspect, select

from dashboard.forms import acts
from dashboard.pages.lumber import stack_acts, stack_edit
from dashboard.pages.sensors import sensor_edit
from dashboard.shell.static_html import still
from model.records.schema.tables import Checkpoint, Reading, Sensor, Stack
from model.wood.errors import BadInput

ASH = {"name": "Ash, 4/4", "species": "white ash", "thickness": "1-1/4", "mc": "9", "stickered": "no"}
BENCH = {"name": "By the window", "temperature_unit": "F", "zone": "Europe/Vienna"}


def rows(view, table):
    """Everything in a table."""
    names = [column.key for column in inspect(table).column_attrs]
    with view.store.session() as session:
        return sorted(repr([getattr(row, name) for name in names]) for row in session.scalars(select(table)))


def test_a_stack_is_corrected_and_computed_again(view, book):
    with view.store.session() as session:
        session.get_one(Stack, book.stack).document = {
            "species": "hard maple",
            "thickness_mm": 25.4,
            "mc_pct": 9.5,
            "note": "from the mill",
        }
    before = rows(view, Stack)
    act = stack_edit.EDIT.save(book.stack, ASH | {"destination": ""}, view)
    with view.store.session() as session:
        stack = session.get_one(Stack, book.stack)
        assert (stack.name, stack.start_mc_pct, stack.destination_id) == ("Ash, 4/4", 9.0, None)
        assert stack.document["thickness_mm"] == pytest.approx(31.75)
        assert stack.document["note"] == "from the mill"  # what the form doesn't ask stays
        computed = session.scalars(select(Checkpoint).where(Checkpoint.body_id == book.stack)).all()
        assert computed == []
    assert act.href == f"/stack/{book.stack}"
    assert acts.take_back(view, act.undo).says == "Maple, spring batch is as it was recorded before."
    assert rows(view, Stack) == before
    with pytest.raises(BadInput, match="can't be taken back any more"):
        acts.take_back(view, act.undo)


@pytest.mark.parametrize(
    ("key", "value", "named"),
    [
        ("name", " ", "stack name"),
        ("species", "plywood", "species"),
        ("thickness", "", "thickness"),
        ("destination", "99", "meant for"),
    ],
)
def test_a_wrong_correction_of_a_stack_changes_nothing(view, book, key, value, named):
    before = rows(view, Stack)
    with pytest.raises(BadInput) as refused:
        stack_edit.EDIT.save(book.stack, ASH | {"destination": "", key: value}, view)
    assert named in refused.value.what
    assert rows(view, Stack) == before


def test_a_stack_may_keep_its_name_but_not_take_anothers(view, book):
    stack_acts.add(ASH | {"place": str(book.shop), "destination": "", "since": "2026-02-01"}, view)
    kept = ASH | {"name": "Maple, spring batch", "destination": ""}
    assert "is corrected" in stack_edit.EDIT.save(book.stack, kept, view).says
    with pytest.raises(BadInput, match="not yet taken"):
        stack_edit.EDIT.save(book.stack, ASH | {"destination": ""}, view)


def test_the_form_of_a_stack_holds_its_record(view, book):
    shown = str(stack_edit.EDIT.layout(view, book.stack))
    for value in ("Maple, spring batch", "hard maple", "9.5", "value='1'"):
        assert value in shown
    assert stack_edit.EDIT.layout(view, 9999) is None


def test_a_sensor_is_corrected_and_its_readings_stay(view):
    before, readings = rows(view, Sensor), rows(view, Reading)
    act = sensor_edit.EDIT.save(1, BENCH, view)
    with view.store.session() as session:
        sensor = session.get_one(Sensor, 1)
        assert (sensor.name, sensor.temperature_unit, sensor.zone) == tuple(BENCH.values())
    assert rows(view, Reading) == readings
    assert acts.take_back(view, act.undo).says == "bench is as it was recorded before."
    assert rows(view, Sensor) == before


@pytest.mark.parametrize(
    ("key", "value", "named"),
    [
        ("name", "", "name"),
        ("name", "flat shelf", "name"),
        ("temperature_unit", "R", "temperature_unit"),
        ("zone", "Nowhere", "zone"),
        ("zone", "", "zone"),
    ],
)
def test_a_wrong_correction_of_a_sensor_changes_nothing(view, key, value, named):
    before = rows(view, Sensor)
    with pytest.raises(BadInput) as refused:
        sensor_edit.EDIT.save(1, BENCH | {key: value}, view)
    assert refused.value.what == named
    assert rows(view, Sensor) == before


def test_the_form_of_a_sensor_holds_its_record(view):
    assert "Correct bench" in still(sensor_edit.EDIT.layout(view, 1))
    assert sensor_edit.EDIT.layout(view, 9999) is None
