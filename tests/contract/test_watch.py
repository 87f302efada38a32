"""The watch on a real PostgreSQL: two at once, readings coming in, and to the last bit what SQLite has."""

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from sqlalchemy import func, select

from model.records.acts import book, hangings
from model.records.acts.invalidation import mark_hours
from model.records.acts.places import add_place
from model.records.schema.tables import (
    AirHour,
    Checkpoint,
    Margin,
    PieceRow,
    Place,
    Reading,
    Sensor,
    StaleHour,
    Verdict,
    Warning,
)
from model.records.store import Store
from model.watch.run import evaluation, loop
from model.wood.piece import read_piece

START = datetime(2026, 1, 5, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAYS = 20

CABINET = """
[piece]
name = "Wall cabinet"
[part.back]
species = "white ash"
cut = "flat-sawn"
width = "300mm"
mc_pct = 8.0
thickness = "6mm"
[fit.back]
kind = "panel-in-groove"
part = "back"
held = "free"
sight_width = "290mm"
groove_depth = "7mm"
"""


def furnish(store: Store) -> None:
    with store.session() as session:
        places = [add_place(session, "shop", "shop"), add_place(session, "flat", "home")]
        for number, place in enumerate(places, 1):
            sensor = Sensor(name=f"sensor {number}", accepted_at=START)
            session.add(sensor)
            session.flush()
            hangings.hang_sensor(session, sensor, place, START)
        book.add_piece(session, read_piece(CABINET), places[0], START)
        lumber = {"species": "hard maple", "thickness_mm": 25.4, "mc_pct": 11.0}
        book.add_stack(session, "maple", lumber, places[1], START, destination=places[0])


def readings() -> list[tuple[int, datetime, float, float]]:
    """Twenty days at two places, drying, with a gap of four days in the first."""
    numbers = np.arange(DAYS * 24)
    rng = np.random.default_rng(4)
    rows = []
    for sensor in (1, 2):
        rh_pct = 48.0 - 28.0 * numbers / len(numbers) + rng.normal(0.0, 2.0, len(numbers))
        temperature_c = 19.0 + 2.0 * np.sin(numbers / 3.8)
        rows += [
            (sensor, START + (int(number) + 0.5) * HOUR, float(t), float(h))
            for number, t, h in zip(numbers, temperature_c, rh_pct, strict=True)
            if sensor == 2 or not 150 < number < 250
        ]
    return rows


def send(store: Store, rows: list[tuple[int, datetime, float, float]]) -> None:
    with store.session() as session:
        for sensor, at, temperature_c, rh_pct in rows:
            session.add(
                Reading(
                    sensor_id=sensor,
                    observed_at=at,
                    received_at=at,
                    temperature_c=temperature_c,
                    rh_pct=rh_pct,
                )
            )
        session.flush()
        for sensor in {row[0] for row in rows}:
            instants = [row[1] for row in rows if row[0] == sensor]
            mark_hours(session, [sensor], min(instants), max(instants))


def computed(store: Store) -> dict[str, list[str]]:
    found = {}
    with store.session() as session:
        for table in (AirHour, Checkpoint, Margin, Verdict, Warning):
            columns = [column for column in table.__table__.columns if column.name != "id"]
            found[table.__tablename__] = sorted(repr(tuple(row)) for row in session.execute(select(*columns)))
    return found


@pytest.mark.postgres
def test_two_watches_on_postgresql_come_to_what_one_on_sqlite_does(
    store: Store, postgres_store: Store, until: Callable[..., Any]
) -> None:
    end = START + (DAYS * 24 + 30) * HOUR
    rows = readings()
    for book_ in (store, postgres_store):
        furnish(book_)
    send(store, rows)
    evaluation.bring_up_to_date(store, end)

    clock = [START]
    stop = threading.Event()
    watches = [
        threading.Thread(target=loop.run, args=(postgres_store, lambda: clock[0], stop, 0.01))
        for _ in range(2)
    ]
    for watch in watches:
        watch.start()
    try:
        for day in range(DAYS):
            low, high = START + day * 24 * HOUR, START + (day + 1) * 24 * HOUR
            send(postgres_store, [row for row in rows if low <= row[1] < high])
            clock[0] = high
        clock[0] = end

        def settled() -> bool:
            with postgres_store.session() as session:
                left = session.scalar(select(func.count()).select_from(StaleHour))
                # Each watch evaluates places of its own: the last of them has to be there.
                return left == 0 and session.scalar(select(func.min(Verdict.evaluated_at))) == end

        until(settled, what="the watches' last evaluation")
    finally:
        stop.set()
        for watch in watches:
            watch.join(120)
    assert not any(watch.is_alive() for watch in watches)
    assert computed(postgres_store) == computed(store)
    with store.session() as session:
        assert session.scalar(select(func.count()).select_from(Warning)) > 0


@pytest.mark.postgres
def test_a_move_in_the_past_rewinds_on_both_alike(store: Store, postgres_store: Store) -> None:
    end = START + DAYS * 24 * HOUR
    for book_ in (store, postgres_store):
        furnish(book_)
        send(book_, readings())
        evaluation.bring_up_to_date(book_, end)
        with book_.session() as session:
            piece = session.get_one(PieceRow, 1)
            book.move(session, piece, session.get_one(Place, 2), START + 300 * HOUR)
        assert evaluation.bring_up_to_date(book_, end).counts["body_hours"] == DAYS * 24 - 288
    assert computed(postgres_store) == computed(store)
