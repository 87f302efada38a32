"""Several watches on a real PostgreSQL: one works, the others stand by, and one that dies is replaced.

The book is to the last bit what one watch alone makes of the same on SQLite.
"""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import func, insert, select

from deploy.doctor import standby_in_words
from model.records.acts import book, hangings
from model.records.acts.invalidation import mark_hours
from model.records.acts.places import add_place
from model.records.schema.tables import (
    AirHour,
    Checkpoint,
    Margin,
    Reading,
    Sensor,
    StaleHour,
    Verdict,
    Warning,
)
from model.records.store import Store
from model.watch.run import evaluation, loop
from model.watch.run.standby import AdvisoryLock, FileLock, standing_by
from model.wood.piece import read_piece

START = datetime(2026, 1, 5, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAYS = 14
HOMES = 5
END = START + (DAYS * 24 + 7) * HOUR

BOX = """
[piece]
name = "Box {number}"
[part.lid]
species = "black walnut"
cut = "flat-sawn"
width = "240mm"
mc_pct = 8.0
thickness = "6mm"
[fit.lid]
kind = "panel-in-groove"
part = "lid"
held = "free"
sight_width = "232mm"
groove_depth = "6mm"
"""

PROGRAM = """
import sys, threading
from datetime import datetime
from model.records.store import Store
from model.watch.run import loop
loop.run(Store(sys.argv[1]), lambda: datetime.fromisoformat(sys.argv[2]), threading.Event(), 0.02)
"""
KILLED = """
import os, signal
from sqlalchemy import Engine, event
left = [{commits}]
def commit(_connection):
    left[0] -= 1
    if left[0] == 0:
        os.kill(os.getpid(), signal.SIGKILL)
event.listen(Engine, "commit", commit)
"""
"""Before the program: ends it as a power cut does, when the last of so many is to be stored."""


def furnish(store: Store) -> None:
    """A shop and homes with a sensor each; boxes that were made in the one and stand in the others."""
    with store.session() as session:
        places = [add_place(session, "shop", "shop")]
        places += [add_place(session, f"home {number}", "home") for number in range(HOMES)]
        for number, place in enumerate(places, 1):
            sensor = Sensor(name=f"sensor {number}", accepted_at=START)
            session.add(sensor)
            session.flush()
            hangings.hang_sensor(session, sensor, place, START)
        for number, place in enumerate(places):
            piece = book.add_piece(session, read_piece(BOX.format(number=number)), places[0], START)
            if number:
                book.move(session, piece, place, START + (40 + 30 * number) * HOUR)
        lumber = {"species": "hard maple", "thickness_mm": 25.4, "mc_pct": 11.0}
        book.add_stack(session, "maple", lumber, places[0], START, destination=places[2])


def readings() -> list[tuple[int, datetime, float, float]]:
    """Two weeks at every place, drying, in the order of their instants."""
    rng = np.random.default_rng(12)
    numbers = np.arange(DAYS * 24)
    rows = []
    for sensor in range(1, HOMES + 2):
        rh_pct = 46.0 - 30.0 * numbers / len(numbers) + rng.normal(0.0, 3.0, len(numbers))
        temperature_c = 19.0 + 2.0 * np.sin(numbers / 3.8 + sensor)
        rows += [
            (sensor, START + (int(number) + 0.5) * HOUR, float(t), float(h))
            for number, t, h in zip(numbers, temperature_c, rh_pct, strict=True)
            if not 20 * sensor < number < 20 * sensor + 30
        ]
    return sorted(rows, key=lambda row: row[1])


def send(store: Store, rows: list[tuple[int, datetime, float, float]]) -> None:
    names = ("sensor_id", "observed_at", "received_at", "temperature_c", "rh_pct")
    with store.session() as session:
        session.execute(insert(Reading), [dict(zip(names, (r[0], r[1], *r[1:]), strict=True)) for r in rows])
        for sensor in sorted({row[0] for row in rows}):
            instants = [row[1] for row in rows if row[0] == sensor]
            mark_hours(session, [sensor], min(instants), max(instants))


def computed(store: Store) -> dict[str, list[str]]:
    found = {}
    with store.session() as session:
        for table in (AirHour, Checkpoint, Margin, Verdict, Warning):
            columns = [column for column in table.__table__.columns if column.name != "id"]
            found[table.__tablename__] = sorted(repr(tuple(row)) for row in session.execute(select(*columns)))
    return found


def by_the_side(store: Store) -> int:
    """How many watches stand by."""
    with store.engine.connect() as connection:
        return standing_by(connection)


@pytest.fixture
def expected(store: Store) -> dict[str, list[str]]:
    """What one watch on SQLite makes of it."""
    furnish(store)
    send(store, readings())
    evaluation.bring_up_to_date(store, END)
    found = computed(store)
    assert len(found["warning"]) > HOMES
    return found


def come_to(book_: Store, expected: dict[str, list[str]], until: Callable[..., Any]) -> None:
    """Wait until the watches have come to what is expected, or show where they differ."""

    def is_settled() -> bool:
        with book_.session() as session:
            if session.scalar(select(func.count()).select_from(StaleHour)):
                return False
            oldest = session.scalar(select(func.min(Verdict.evaluated_at)))
        return oldest == END and computed(book_) == expected

    try:
        until(is_settled, what="the watches' last evaluation")
    finally:
        found = computed(book_)
        for table, rows in expected.items():
            assert found[table] == rows, table


class Threads:
    """Watches in this process, each with locks of its own."""

    def __init__(self, book_: Store) -> None:
        self.now = START
        self._store = book_
        self._running: list[tuple[threading.Thread, threading.Event]] = []

    def start(self) -> None:
        stop = threading.Event()
        thread = threading.Thread(target=loop.run, args=(self._store, lambda: self.now, stop, 0.01))
        thread.start()
        self._running.append((thread, stop))

    def stop(self) -> None:
        thread, stop = self._running.pop(0)
        stop.set()
        thread.join(120)
        assert not thread.is_alive()

    def stop_all(self) -> None:
        while self._running:
            self.stop()


@pytest.fixture
def watches(postgres_store: Store) -> Iterator[Threads]:
    running = Threads(postgres_store)
    yield running
    running.stop_all()


@pytest.mark.postgres
def test_one_of_three_works_and_another_goes_on_when_it_ends(
    postgres_store: Store, watches: Threads, expected: dict[str, list[str]], until: Callable[..., Any]
) -> None:
    furnish(postgres_store)
    rows = readings()
    # What the shop's sensor had to say of four days comes when the boxes stand in the homes.
    late = [row for row in rows if row[0] == 1 and START + 60 * HOUR < row[1] < START + 150 * HOUR]
    for _ in range(3):
        watches.start()
    until(lambda: by_the_side(postgres_store) == 2, what="two watches to stand by")
    assert standby_in_words(postgres_store) == "running; 2 more standing by"
    for day in range(DAYS):
        if day == DAYS // 2:
            watches.stop()
            until(lambda: by_the_side(postgres_store) == 1, what="the first watch to be gone")
        low, high = START + day * 24 * HOUR, START + (day + 1) * 24 * HOUR
        send(postgres_store, [row for row in rows if low <= row[1] < high and row not in late])
        watches.now = high
    send(postgres_store, late)
    watches.now = END
    come_to(postgres_store, expected, until)


@pytest.mark.postgres
def test_only_one_holds_the_lock(postgres_store: Store, until: Callable[..., Any]) -> None:
    one, other = AdvisoryLock(postgres_store), AdvisoryLock(postgres_store)
    assert one.look()
    assert not other.look()
    assert one.look()
    one.close()
    until(other.look, what="the server to let go")
    other.close()


@contextmanager
def process(url: str, log: Path, before: str = "") -> Iterator["subprocess.Popen[bytes]"]:
    with log.open("ab") as out:
        started = subprocess.Popen(
            [sys.executable, "-c", before + PROGRAM, url, END.isoformat()],
            stdout=out,
            stderr=out,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
        )
    try:
        yield started
    finally:
        started.kill()
        started.wait(120)


@pytest.mark.postgres
def test_one_that_is_killed_leaves_no_lock_behind_and_nothing_undone(
    postgres_store: Store, tmp_path: Path, expected: dict[str, list[str]], until: Callable[..., Any]
) -> None:
    furnish(postgres_store)
    rows = readings()
    url = postgres_store.url.render_as_string(hide_password=False)
    log = tmp_path / "watch.log"
    with process(url, log) as first, process(url, log) as second:

        def both_are_there() -> bool:
            assert first.poll() is second.poll() is None, log.read_text("utf-8", "replace")
            return by_the_side(postgres_store) == 1

        until(both_are_there, what="both watches")
        chunk = len(rows) // 6
        for number in range(6):
            send(postgres_store, rows[number * chunk : (number + 1) * chunk if number < 5 else None])
            if number == 3:

                def has_begun() -> bool:
                    with postgres_store.session() as session:
                        return bool(session.scalar(select(func.count()).select_from(Checkpoint)))

                until(has_begun, what="some wood to be computed")
                first.send_signal(signal.SIGKILL)
                first.wait(120)
        come_to(postgres_store, expected, until)
        assert second.poll() is None, log.read_text("utf-8", "replace")


@pytest.mark.slow
def test_one_alone_that_is_killed_again_and_again_goes_on_where_it_was_to_the_same_bits(
    new_book: Callable[[Path], Store],
    tmp_path: Path,
    expected: dict[str, list[str]],
    until: Callable[..., Any],
) -> None:
    book_ = new_book(tmp_path / "killed.sqlite")
    furnish(book_)
    send(book_, readings())
    url, log = book_.url.render_as_string(hide_password=False), tmp_path / "watch.log"
    for commits in (1, 2, 3):
        with process(url, log, KILLED.format(commits=commits)) as watch:
            assert watch.wait(120) == -signal.SIGKILL
    with process(url, log) as watch:
        come_to(book_, expected, until)
        assert watch.poll() is None, log.read_text("utf-8", "replace")
    book_.close()


@pytest.mark.slow
def test_on_sqlite_one_works_and_the_other_stands_by_until_it_ends(tmp_path: Path) -> None:
    one, other = (FileLock(tmp_path / "book.sqlite") for _ in range(2))
    assert one.look()
    assert not other.look()
    assert one.look()
    one.close()
    assert other.look()
    assert other.look()
    other.close()
