"""What is done at the pages of places, sensors and warnings, and how it is taken back."""

import json
from datetime import timedelta
from types import SimpleNamespace

import pytest
from plotly.utils import PlotlyJSONEncoder
from sqlalchemy import select

from dashboard.forms.correcting import NEW
from dashboard.pages.places import place_edit
from dashboard.pages.sensors import accepting, hanging, sensors, trust
from dashboard.pages.shop import warnings
from dashboard.shell.ports import SensorDoor
from dashboard.shell.view import Context, View
from model.records.schema.tables import (
    Correction,
    Doubt,
    Place,
    Sensor,
    Warning,
)
from model.wood.errors import BadInput
from model.words.display import Display
from tests.dashboard.acted import newest, row, undo


def test_a_place_is_corrected_and_the_correction_taken_back(book, view):
    typed = {
        "iron": "yes",
        "name": "The flat",
        "kind": "home",
        "zone": "Europe/Vienna",
        "offset": "-9",
        "latitude": "48.2",
        "heating": "not at all",
    }
    act = place_edit.EDIT.save(book.flat, typed, view)
    place = row(book.store, Place, book.flat)
    assert place.name == "The flat"
    assert place.wood_offset_c == pytest.approx(-5.0)
    assert place.has_iron
    assert place.climate == {"latitude_deg": 48.2, "heating": "not at all"}
    undo(act, view)
    place = row(book.store, Place, book.flat)
    assert (place.name, place.zone, place.wood_offset_c, place.climate, place.has_iron) == (
        "Dry flat",
        "America/New_York",
        0.0,
        None,
        False,
    )


@pytest.mark.parametrize(
    ("key", "value", "named"),
    [("zone", "Nowhere", "zone"), ("latitude", "99", "latitude"), ("name", "", "name")],
)
def test_a_place_that_is_wrong_names_its_field(book, view, key, value, named):
    typed = {"name": "Attic", "kind": "storage", "zone": "UTC", "offset": "0", "latitude": ""}
    with pytest.raises(BadInput) as error:
        place_edit.EDIT.save(NEW, typed | {key: value}, view)
    assert named in error.value.what


def test_an_unknown_topic_is_accepted_through_the_door(book, now):
    asked = {}

    def accept(topic, **more):
        asked.update(more, topic=topic)
        hung = SimpleNamespace(
            sensor="Finishing",
            place="Spray room",
            since_at=now,
            zone="America/New_York",
            is_new=True,
            joined=False,
            wood=None,
        )
        return SimpleNamespace(sensors=["Finishing"], topics=["spray/air"], readings=1, number=7, hung=[hung])

    context = Context(book.store, lambda: now, sensors=SensorDoor(list, accept, None, None, 500))
    view = View(context, Display("inch"), now)
    typed = {"name": "Finishing", "place": "Spray room", "kind": "storage"}
    act = accepting.accepted("valley/x", typed, view)
    assert asked == {
        "topic": "valley/x",
        "part": None,
        "name": "Finishing",
        "place": "Spray room",
        "place_kind": "storage",
        "zone": "America/New_York",
    }
    assert act.says.replace("\u00a0", " ") == (
        "Finishing is accepted and hangs at Spray room, a new place, since Feb 10, 10:00 am. "
        "One kept message became a reading."
    )
    assert act.undo == 7
    with pytest.raises(BadInput, match="must be given"):
        accepting.accepted("valley/x", typed | {"place": " "}, view)


def test_devices_behind_one_topic_are_listed_one_by_one_each_with_its_own_place(book, now):
    reading = SimpleNamespace(wood_quantity=None)
    parts = [SimpleNamespace(part=part, name=f"radio {part}", reading=reading) for part in ("a4c1", "9f02")]
    proposal = SimpleNamespace(
        parts=parts, reasons=("2 devices send here, told apart by /id",), confidence=0.9
    )
    heard = SimpleNamespace(
        topic="radio/air", kept=3, last_at=now, last_payload=b"{}", proposal=proposal, fields=()
    )
    asked = []

    def accept(topic, **more):
        asked.append((topic, more["part"], more["place"]))
        return SimpleNamespace(sensors=[more["name"]], readings=1, number=7, hung=[])

    door = SensorDoor(lambda: [heard], accept, None, None, 500)
    context = Context(book.store, lambda: now, sensors=door)
    view = View(context, Display("inch"), now)
    page = json.dumps(sensors.layout(view), cls=PlotlyJSONEncoder)
    assert page.count('"Accept it"') == 2
    for name in ("radio a4c1", "radio 9f02"):
        assert page.count(f'"{name}"') == 2  # its heading and its field
    typed = {"name": "Freezer", "place": "Cellar", "kind": "storage"}
    accepting.accepted("radio/air", typed, view, "9f02")
    assert asked == [("radio/air", "9f02", "Cellar")]


def test_a_sensor_is_hung_elsewhere(book, view):
    with book.store.session() as session:
        sensor = session.scalars(select(Sensor).where(Sensor.name == "bench")).one()
        number = sensor.id
    act = hanging.hung(number, {"place": str(book.flat), "at": "2026-02-09"}, view)
    assert act.says == "bench hangs at Dry flat."


def test_what_a_sensor_sent_is_doubted_and_believed_again(book, view):
    typed = {"since": "2026-02-03", "until": "2026-02-04", "reason": "taken down while spraying"}
    act = trust.doubt(1, typed, view)
    doubt = newest(book.store, Doubt)
    assert doubt.until_at - doubt.since_at == timedelta(days=2)
    undo(act, view)
    assert row(book.store, Doubt, doubt.id).undone_at == view.now
    again = trust.doubt(1, typed | {"since": "2026-02-02"}, view)
    doubt = newest(book.store, Doubt)
    believed = trust.believe(doubt.id, {}, view)
    assert row(book.store, Doubt, doubt.id).undone_at == view.now
    assert again.says == "bench counts for nothing then."
    assert undo(believed, view).says == "It is doubted again."
    assert row(book.store, Doubt, doubt.id).undone_at is None


def test_a_salt_check_corrects_a_sensor_and_can_be_taken_back(book, view):
    # A sensor that shows 35.6 over magnesium chloride and 78.5 over table salt at 20 °C: true is about
    # -2.1 + 0.99 x reading (worked example from memory of the salts' 33.1 and 75.5 %).
    typed = {
        "salt 1": "sodium chloride",
        "read 1": "78.5",
        "salt 2": "magnesium chloride",
        "read 2": "35.6",
        "temperature": "68",
        "at": "2026-02-01",
    }
    act = trust.salt(1, typed, view)
    correction = newest(book.store, Correction)
    assert correction.intercept_pct == pytest.approx(-2.1, abs=0.2)
    assert correction.slope == pytest.approx(0.988, abs=0.01)
    undo(act, view)
    assert row(book.store, Correction, correction.id).undone_at == view.now


def test_an_answer_to_a_warning_is_taken_back(book, view):
    with book.store.session() as session:
        warning = Warning(
            subject_kind="piece",
            subject_id=book.chest,
            from_verdict="clear",
            to_verdict="past",
            detail={},
            opened_at=view.now,
        )
        session.add(warning)
        session.flush()
        number = warning.id
    act = warnings.acknowledged(number, {number: "eased it"}, view)
    assert row(book.store, Warning, number).acknowledged_at == view.now
    undo(act, view)
    answered = row(book.store, Warning, number)
    assert (answered.acknowledged_at, answered.trade_act) == (None, None)
