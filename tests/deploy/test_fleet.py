"""The fleet from the command line: homes computed anew, as on record or not, with workers and without."""

import json
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import insert, select, update
from sqlalchemy.orm import Session

from model.records.acts import book, hangings, places
from model.records.acts.invalidation import mark_hours
from model.records.schema.tables import Checkpoint, Place, Reading, Sensor
from model.records.store import Store
from model.watch.run.evaluation import bring_up_to_date
from model.wood.piece import read_piece
from tests.ran import Ran

pytestmark = pytest.mark.slow

START = datetime(2026, 1, 5, tzinfo=UTC)
HOMES, HOURS = 3, 80
PIECE = """
[piece]
name = "Chest {number}"
[part.lid]
species = "black walnut"
cut = "flat-sawn"
width = "320mm"
mc_pct = 8.5
thickness = "14mm"
[fit.lid]
kind = "panel-in-groove"
part = "lid"
held = "centre"
sight_width = "308mm"
groove_depth = "9mm"
"""


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path))
    opened = Store(f"sqlite:///{tmp_path / 'paneltide.sqlite'}")
    monkeypatch.setenv("PANELTIDE_DATABASE_URL", f"sqlite:///{tmp_path / 'paneltide.sqlite'}")
    opened.bring_up_to_date()
    return opened


def heard(session: Session, sensor: int, number: int, first: int, until: int) -> None:
    """Readings of a home's sensor, one an hour."""
    rows = []
    for hour in range(first, until):
        at = START + timedelta(hours=hour + 0.5)
        rh_pct = 22.0 + 15.0 * number + 0.3 * (hour % 7)
        rows.append(
            {"sensor_id": sensor, "observed_at": at, "received_at": at, "temperature_c": 20.0,
             "rh_pct": rh_pct}
        )  # fmt: skip
    session.execute(insert(Reading), rows)
    mark_hours(session, [sensor], START + timedelta(hours=first))


@pytest.fixture
def homes(store: Store) -> Store:
    """Homes from dry to damp, a chest in each and lumber in the first, all followed to the same hour."""
    with store.session() as session:
        for number in range(HOMES):
            place = places.add_place(session, f"home {number}", "home")
            sensor = Sensor(name=f"hall {number}", accepted_at=START)
            session.add(sensor)
            session.flush()
            hangings.hang_sensor(session, sensor, place, START)
            book.add_piece(session, read_piece(PIECE.format(number=number)), place, START)
            heard(session, sensor.id, number, 0, HOURS)
        lumber = {"species": "hard maple", "thickness_mm": 25.4, "mc_pct": 11.0}
        book.add_stack(session, "maple", lumber, session.get_one(Place, 1), START)
    bring_up_to_date(store, START + timedelta(hours=HOURS))
    return store


def test_a_few_homes_computed_anew_are_what_is_on_record(homes: Store, paneltide: Callable[..., Ran]) -> None:
    status, out, _ = paneltide("fleet", "--json")
    found = json.loads(out)
    assert status == 0
    assert (found["pieces"], found["stacks"], found["differ"]) == (HOMES, 1, 0)
    assert found["member_hours"] == (HOMES + 1) * HOURS
    chests = [row for row in found["rows"] if row["kind"] == "piece"]
    assert [row["least_mm"] for row in chests] == sorted(row["least_mm"] for row in chests)
    of = {row["name"]: row for row in chests}
    assert of["Chest 0"]["mc_high_pct"] < of["Chest 1"]["mc_low_pct"] < of["Chest 2"]["mc_low_pct"]
    status, out, _ = paneltide("fleet")
    assert status == 0
    assert "3 pieces and 1 stack computed anew" in out
    assert "All of it is as it stands on record." in out


def test_a_home_that_fell_silent_is_computed_as_far_as_it_is_followed(
    homes: Store, paneltide: Callable[..., Ran]
) -> None:
    later = HOURS + 100
    with homes.session() as session:
        for number, sensor in enumerate(session.scalars(select(Sensor.id).order_by(Sensor.id)).all()[:2]):
            heard(session, sensor, number, HOURS, later)
    bring_up_to_date(homes, START + timedelta(hours=later))
    status, out, error = paneltide("fleet", "--json")
    assert (status, error) == (0, "")
    hours = {row["name"]: row["member_hours"] for row in json.loads(out)["rows"]}
    assert hours["Chest 0"] == later
    assert HOURS <= hours["Chest 2"] < later


def test_workers_come_to_the_same(homes: Store, paneltide: Callable[..., Ran]) -> None:
    _, plain, _ = paneltide("fleet", "--json")
    status, spread, _ = paneltide("fleet", "--json", "--workers", "1")
    assert status == 0
    assert json.loads(spread)["rows"] == json.loads(plain)["rows"]


def test_what_is_not_as_on_record_is_told(homes: Store, paneltide: Callable[..., Ran]) -> None:
    with homes.session() as session:
        last = START + timedelta(hours=HOURS)
        session.execute(
            update(Checkpoint).where(Checkpoint.at == last, Checkpoint.body_id == 2).values(mc_mean_pct=3.0)
        )
    status, out, _ = paneltide("fleet")
    assert status == 1
    assert "Otherwise than on record: 1, Chest 1 the most" in out


def test_it_says_in_one_sentence_what_is_missing(
    homes: Store, paneltide: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    status, _, err = paneltide("fleet", "--workers", "2")
    assert status == 3
    assert err.strip().startswith("paneltide: workers need Dask distributed, which isn't installed")
    assert len(err.strip().splitlines()) == 1
    status, _, _ = paneltide("fleet")
    assert status == 0, "without workers nothing more is needed"


def test_a_book_that_was_never_followed_is_refused(store: Store, paneltide: Callable[..., Ran]) -> None:
    status, _, err = paneltide("fleet")
    assert status == 2
    assert "watch --once" in err
