"""The watch as a process: beside another, killed at any point, woken by what happens."""

import os
import signal
import subprocess
import sys
import threading
import time
from datetime import timedelta

import pytest

from model.records.acts import book
from model.records.schema.tables import AirHour, Place, Pulse, RunningCount, StaleHour, Verdict
from model.records.store import Store
from model.watch.run import evaluation, loop, tasks, writing
from model.watch.run import watch_sql as ledger
from model.watch.run.evaluation import Watch
from model.watch.tell.place_stack_verdicts import Around

pytestmark = pytest.mark.slow

DEADLINE_S = 120.0


def until(condition):
    """Wait for a condition, or fail when the deadline is over."""
    gate = threading.Event()
    end = time.monotonic() + DEADLINE_S
    while not condition():
        assert time.monotonic() < end, "what was waited for did not happen"
        gate.wait(0.02)


def month(shop):
    rows = shop.hourly(20 * 24, 20.0, 25.0)
    return [row for number, row in enumerate(rows) if not 100 < number < 180]


def finished(make_shop, rows, hour):
    """What one undisturbed watch makes of it."""
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.piece()
    shop.send(rows)
    shop.evaluate(shop.hour(hour))
    return shop.computed()


class Killed(BaseException):
    """Stands for the end of the process."""


@pytest.mark.parametrize("rows_at_once", [40, 1_000_000])
def test_killed_at_any_statement_nothing_is_lost_or_doubled(make_shop, shop, monkeypatch, rows_at_once):
    rows = month(shop)
    expected = finished(make_shop, rows, 500)
    monkeypatch.setattr(writing, "ROWS_AT_ONCE", rows_at_once)
    each = ledger.Bulk.each
    left = [0]

    def dies(self, statement, values):
        left[0] -= 1
        if left[0] == 0:
            raise Killed
        return each(self, statement, values)

    monkeypatch.setattr(ledger.Bulk, "each", dies)
    half = [row for row in rows if row[0] < shop.hour(240)]
    deaths = 0
    for batch, hour in ((half, 250), (rows, 500)):
        shop.send(batch)
        for point in range(1, 60):
            left[0] = point
            try:
                shop.evaluate(shop.hour(hour))
            except Killed:
                deaths += 1
                shop.watch = Watch(shop.store)  # what a process knew dies with it
                continue
            break
    assert deaths > 10
    assert shop.computed() == expected
    assert shop.rows(StaleHour) == []


def test_a_change_of_the_book_while_computing_is_computed_too(make_shop, shop, monkeypatch):
    shop.send(month(shop))
    compute = evaluation.compute
    moved = []

    def move_meanwhile(*arguments):
        result = compute(*arguments)
        if not moved:
            moved.append(shop.place("flat", "home"))
            shop.change(
                lambda session: book.move(
                    session, session.get_one(book.PieceRow, 1), session.get_one(Place, 2), shop.hour(240)
                )
            )
        return result

    monkeypatch.setattr(evaluation, "compute", move_meanwhile)
    shop.evaluate(shop.hour(500))
    monkeypatch.undo()

    other = make_shop()
    other.place()
    other.sensor()
    other.piece()
    other.place("flat", "home")
    other.change(
        lambda session: book.move(
            session, session.get_one(book.PieceRow, 1), session.get_one(Place, 2), shop.hour(240)
        )
    )
    other.send(month(shop))
    other.evaluate(shop.hour(500))
    assert shop.computed() == other.computed()


def test_readings_can_be_stored_while_places_and_stacks_are_judged(shop, monkeypatch):
    """Judging looks fifty years ahead for each stack: whoever stores readings doesn't wait for that."""
    shop.send(month(shop))
    judge = Around.judge
    stored = []

    def stores_meanwhile(self, *arguments):
        other = Store(str(shop.store.url), busy_timeout_s=0.1)
        with other.session() as session:
            session.add(RunningCount(name="stored meanwhile", count=1))
        other.close()
        stored.append(True)
        return judge(self, *arguments)

    monkeypatch.setattr(Around, "judge", stores_meanwhile)
    shop.evaluate(shop.hour(500))
    assert stored == [True]


def test_two_watches_at_once_give_the_same_as_one(make_shop, shop):
    rows = month(shop)
    expected = finished(make_shop, rows, 500)
    hour = [24]
    stop = threading.Event()
    watches = [
        threading.Thread(target=loop.run, args=(shop.store, lambda: shop.hour(hour[0]), stop, 0.01))
        for _ in range(2)
    ]
    for watch in watches:
        watch.start()
    for day in range(0, 500, 24):
        shop.send([row for row in rows if shop.hour(day) <= row[0] < shop.hour(day + 24)])
        hour[0] = min(day + 24, 500)
    until(lambda: not shop.rows(StaleHour) and _evaluated(shop, 1) == shop.hour(500))
    stop.set()
    for watch in watches:
        watch.join(DEADLINE_S)
        assert not watch.is_alive()
    assert shop.computed() == expected


def _evaluated(shop, place):
    with shop.store.session() as session:
        verdict = session.get(Verdict, ("place", place))
        return None if verdict is None else verdict.evaluated_at


def test_a_watch_that_comes_second_is_told_so_and_catches_up(shop):
    shop.send(month(shop))
    second = Watch(shop.store)
    second.bring_up_to_date(shop.hour(100))
    shop.evaluate(shop.hour(200))
    second.bring_up_to_date(shop.hour(300))
    assert _evaluated(shop, 1) == shop.hour(300)
    with ledger.reading(shop.store) as bulk:
        counts = ledger.read_counts(bulk)
    with (
        pytest.raises(ledger.Overtaken),
        ledger.writing(shop.store, ledger.Counts(counts.watch - 1, counts.book, counts.air)),
    ):
        pytest.fail("an old watch may not write")


PROGRAM = """
import sys, threading
from datetime import datetime
from model.records.store import Store
from model.watch.run import loop
store = Store(sys.argv[1])
at = datetime.fromisoformat(sys.argv[2])
print("ready", flush=True)
loop.run(store, lambda: at, threading.Event(), 0.001)
"""


def test_killed_for_real_it_goes_on_where_it_was(make_shop, shop):
    rows = month(shop)
    expected = finished(make_shop, rows, 500)
    # Each time further into its work: before it reads, when it has written once, when nothing is left.
    moments = (lambda: True, lambda: shop.rows(AirHour), lambda: not shop.rows(StaleHour))
    for batch, seen in enumerate(moments):
        shop.send(rows[batch * 130 : (batch + 1) * 130])
        command = [sys.executable, "-c", PROGRAM, str(shop.store.url), shop.hour(500).isoformat()]
        watch = subprocess.Popen(
            command, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": os.getcwd()}
        )
        try:
            assert watch.stdout is not None
            assert watch.stdout.readline() == b"ready\n"
            until(lambda seen=seen, watch=watch: seen() or watch.poll() is not None)
            assert watch.poll() is None, "the watch ended by itself"
        finally:
            watch.send_signal(signal.SIGKILL)
            watch.wait()
    shop.send(rows)
    shop.evaluate(shop.hour(500))
    assert shop.computed() == expected


def test_the_loop_wakes_for_readings_for_the_book_and_for_the_clock_and_gives_signs_of_life(shop):
    hour = [10]
    stop = threading.Event()
    watch = threading.Thread(target=loop.run, args=(shop.store, lambda: shop.hour(hour[0]), stop, 0.01))
    watch.start()
    try:
        until(lambda: _evaluated(shop, 1) == shop.hour(10))
        shop.send(shop.hourly(10, 20.0, 40.0))
        until(lambda: shop.verdict("place", 1).verdict == "clear")
        shop.stack()
        until(lambda: _stack_is_judged(shop))
        hour[0] = 11
        until(lambda: _evaluated(shop, 1) == shop.hour(11))
        until(lambda: [row.part for row in shop.rows(Pulse)] == ["watch"])
        assert shop.rows(Pulse)[0].detail["as_of"].startswith("2026-01-05T1")
    finally:
        stop.set()
        watch.join(DEADLINE_S)
    assert not watch.is_alive()


def test_readings_that_come_right_after_an_evaluation_are_looked_at_too(shop):
    """They may leave the same marks, with the same counts, as those just worked off."""
    first, rest = shop.hourly(10, 20.0, 40.0)[:10], shop.hourly(10, 24.0, 60.0)
    shop.send(first)
    marks = [(row.sensor_id, row.hour_at, row.revision) for row in shop.rows(StaleHour)]
    sent = []

    def send_again(_at):
        if not shop.rows(StaleHour) and not sent:
            shop.send([(row[0] + timedelta(minutes=5), *row[1:]) for row in rest])
            assert [(row.sensor_id, row.hour_at, row.revision) for row in shop.rows(StaleHour)] == marks
            sent.append(True)

    stop = threading.Event()
    arguments = (shop.store, lambda: shop.hour(12), stop, 0.01, (send_again,))
    watch = threading.Thread(target=loop.run, args=arguments)
    watch.start()
    try:
        until(lambda: sent and not shop.rows(StaleHour))
    finally:
        stop.set()
        watch.join(DEADLINE_S)
    assert {round(row.n_readings) for row in shop.rows(AirHour) if row.basis == "measured"} == {2}


def _stack_is_judged(shop):
    with shop.store.session() as session:
        return session.query(Verdict).filter(Verdict.subject_kind == "stack").count() == 1


def test_a_database_that_fails_is_waited_for(shop, monkeypatch, caplog):
    failures = [0]
    signs = loop._signs

    def sometimes(*asked):
        failures[0] += 1
        if failures[0] == 1:
            raise loop.DBAPIError("SELECT 1", {}, RuntimeError("the disk is asleep"))
        return signs(*asked)

    monkeypatch.setattr(loop, "_signs", sometimes)
    monkeypatch.setattr(loop, "LONGEST_WAIT_S", 0.05)
    stop = threading.Event()
    watch = threading.Thread(target=loop.run, args=(shop.store, lambda: shop.hour(5), stop, 0.01))
    watch.start()
    try:
        until(lambda: _evaluated(shop, 1) == shop.hour(5))
    finally:
        stop.set()
        watch.join(DEADLINE_S)
    assert "the disk is asleep" in caplog.text


def test_while_it_computes_it_says_so_between_one_piece_and_the_next(shop, monkeypatch):
    """A year imported for sixty pieces takes minutes; silence would read as a watch that has ended."""
    shop.send(month(shop))
    shop.piece(shop.cabinet.replace("Wall cabinet", "Its neighbour"))
    monkeypatch.setattr(tasks, "BODY_HOURS_AT_ONCE", 1)
    monkeypatch.setattr(loop, "BUSY_PULSE_EVERY_S", 0.0)
    compute, told = evaluation.compute, []

    def look_first(*arguments):
        told.extend("computing_since" in pulse.detail for pulse in shop.rows(Pulse))
        return compute(*arguments)

    monkeypatch.setattr(evaluation, "compute", look_first)
    stop = threading.Event()
    watch = threading.Thread(target=loop.run, args=(shop.store, lambda: shop.hour(500), stop, 0.01))
    watch.start()
    try:
        until(lambda: any("as_of" in pulse.detail for pulse in shop.rows(Pulse)))
    finally:
        stop.set()
        watch.join(DEADLINE_S)
    assert len(told) > 1
    assert all(told)
    (pulse,) = shop.rows(Pulse)
    assert "computing_since" not in pulse.detail
