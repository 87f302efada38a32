"""One watch beside two that divide the places, on PostgreSQL: one new hour for every place.

    python -m tests.bench.bench_watches [--places 400] [--pieces 2] [--hours 5]

The watches are processes, as in life. An hour is timed from when its readings are there and the
clock strikes, until every verdict is of that hour. Beside the ratio stands the processor time of watches and
database, and the ratio that two cores leave room for.

Then, with one watch in this process, what a look in between costs, what six hours at once do after an outage,
and the outlook of a piece: the figures that `simulate_scale.py` goes by.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from statistics import median

import numpy as np
from sqlalchemy import func, insert, select

from model.records.book import add_piece
from model.records.hangings import hang_sensor
from model.records.partitions import keep_months
from model.records.places import add_place
from model.records.store import Store
from model.records.tables import Reading, Sensor, StaleHour, Verdict
from model.watch.division import watches_at_work
from model.watch.evaluation import Watch
from model.watch.outlook_run import Outlooks
from model.watch.shares import SHARES
from model.wood.piece import read_piece
from tests.bench.bench_shared import processor_s
from tests.bench.bench_watch import HOUR, PIECE, START
from tests.bench.soak_world import World, wait_for

BEFORE_H = 30
A_READING = timedelta(minutes=10)
PROGRAM = """
import sys, threading
from datetime import datetime
from pathlib import Path
from model.records.store import Store
from model.watch import loop
from tests.bench.smoke import parsed

ROOT = Path(__file__).resolve().parents[2]
clock = Path(sys.argv[2])
loop.run(Store(sys.argv[1]), lambda: datetime.fromisoformat(clock.read_text()), threading.Event(), 0.02)
"""


def furnish(store: Store, places: int, pieces: int) -> None:
    """Homes with a sensor each, and pieces of three members and three fits in them."""
    with store.session() as session:
        for number in range(places):
            place = add_place(session, f"home {number}", "home")
            sensor = Sensor(name=f"sensor {number}", accepted_at=START)
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, place, START)
            for each in range(pieces):
                width = 250 + (number + each) % 60
                name = f"piece {number}.{each}"
                text_of = PIECE.format(name=name, panel=width + 12, sight=width)
                add_piece(session, read_piece(text_of), place, START)


def send(store: Store, sensors: list[int], first: int, until: int) -> None:
    """Readings every ten minutes of these hours from every sensor, and their marks."""
    per_hour = HOUR // A_READING
    rows = []
    for sensor in sensors:
        rng = np.random.default_rng((sensor, first))
        count = (until - first) * per_hour
        rh_pct = 42.0 + 3.0 * np.sin(sensor) + rng.normal(0.0, 0.5, count)
        temperature_c = 20.0 + rng.normal(0.0, 0.1, count)
        for k in range(count):
            at = START + first * HOUR + (k + 0.5) * A_READING
            rows.append(
                {"sensor_id": sensor, "observed_at": at, "received_at": at, "clock": "device",
                 "temperature_c": float(temperature_c[k]), "rh_pct": float(rh_pct[k])}
            )  # fmt: skip
    marks = [
        {"sensor_id": sensor, "hour_at": START + hour * HOUR, "revision": 1}
        for sensor in sensors
        for hour in range(first, until)
    ]
    with store.session() as session:
        session.execute(insert(Reading), rows)
        session.execute(insert(StaleHour), marks)


def set_clock(clock: Path, hour: int) -> None:
    """At once, so that nobody reads half of it."""
    new = clock.with_suffix(".new")
    new.write_text((START + hour * HOUR).isoformat())
    new.replace(clock)


def is_done(store: Store, hour: int) -> bool:
    with store.session() as session:
        if session.scalar(select(func.count()).select_from(StaleHour)):
            return False
        oldest = session.scalar(select(func.min(Verdict.evaluated_at)))
    return oldest is not None and oldest >= START + hour * HOUR


@contextmanager
def watches(url: str, clock: Path, count: int, log: Path) -> Iterator["list[subprocess.Popen[bytes]]"]:
    with log.open("ab") as out:
        started = [
            subprocess.Popen(
                [sys.executable, "-c", PROGRAM, url, str(clock)], cwd=ROOT, stdout=out, stderr=out
            )
            for _ in range(count)
        ]
    try:
        yield started
    finally:
        for process in started:
            process.kill()
            process.wait(20)


def one_watch(store: Store, database: int, sensors: list[int], hour: int, pieces: int) -> None:
    """What single steps cost a watch and its database, in processor time."""
    watch = Watch(store)
    now = START + hour * HOUR
    watch.bring_up_to_date(now)
    places = len(sensors)

    def costs(what: str, step: Callable[[], object], by: int, unit: str) -> None:
        own, other = time.process_time(), processor_s(database)
        step()
        own, other = time.process_time() - own, processor_s(database) - other
        print(f"{what}: watch {1000 * own / by:.2f} ms, database {1000 * other / by:.2f} ms {unit}")

    def mark(some: list[int]) -> None:
        with store.session() as session:
            marks = [{"sensor_id": sensor, "hour_at": now, "revision": 1} for sensor in some]
            session.execute(insert(StaleHour), marks)

    def looks(some: list[int]) -> None:
        for _ in range(5):
            mark(some)
            watch.bring_up_to_date(now)

    costs("a look with one sensor heard", lambda: looks(sensors[:1]), 5 * places, "a place")
    costs("a look with all sensors heard", lambda: looks(sensors), 5 * places, "a place")
    send(store, sensors, hour, hour + 6)
    costs("six hours at once", lambda: watch.bring_up_to_date(now + 6 * HOUR), places, "a place")
    count = min(20, places * pieces)
    outlooks = Outlooks(store, at_once=count)
    costs("an outlook", lambda: outlooks.refresh(now + 6 * HOUR), count, "a piece")


def main() -> None:
    import psycopg

    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0] if __doc__ else None)
    parser.add_argument("--places", type=int, default=400)
    parser.add_argument("--pieces", type=int, default=2, help="at each place, of three members each")
    parser.add_argument("--hours", type=int, default=5, help="timed for one watch and for two")
    given = parsed(parser, places=4, pieces=1, hours=1)
    took: dict[int, list[float]] = {1: [], 2: []}
    spent: dict[int, list[tuple[float, float]]] = {1: [], 2: []}
    with tempfile.TemporaryDirectory(prefix="paneltide-watches-") as folder:
        world = World(Path(folder))
        world.parts["database"].start()
        try:
            wait_for(world.database_answers, 60, "PostgreSQL")
            admin = f"host=127.0.0.1 port={world.sql_port} user=paneltide dbname=postgres"
            with psycopg.connect(admin, autocommit=True) as connection:
                connection.execute("CREATE DATABASE book")
            store = Store(world.url)
            store.bring_up_to_date()
            keep_months(store, START)
            furnish(store, given.places, given.pieces)
            sensors = list(range(1, given.places + 1))
            send(store, sensors, 0, BEFORE_H)
            database = world.parts["database"].process
            assert database is not None
            clock, log = Path(folder) / "clock", Path(folder) / "watches.log"
            hour = BEFORE_H
            for count in (1, 2):
                set_clock(clock, hour)
                with watches(world.url, clock, count, log) as running:

                    def divided(count: int = count) -> bool:
                        with store.engine.connect() as connection:
                            return (
                                sorted(n for _, n in watches_at_work(connection)) == [SHARES // count] * count
                            )

                    wait_for(divided, 60, "the division")
                    for number in range(given.hours + 1):  # the first is not timed: it reads the book
                        busy = [-sum(processor_s(p.pid) for p in running), -processor_s(database.pid)]
                        send(store, sensors, hour, hour + 1)
                        hour += 1
                        began = time.monotonic()
                        set_clock(clock, hour)
                        wait_for(lambda hour=hour: is_done(store, hour), 300, "the hour")  # type: ignore[misc]
                        if number:
                            took[count].append(time.monotonic() - began)
                            busy[0] += sum(processor_s(p.pid) for p in running)
                            busy[1] += processor_s(database.pid)
                            spent[count].append((busy[0], busy[1]))
            one_watch(store, database.pid, sensors, hour, given.pieces)
            store.close()
        finally:
            world.stop()
    members = 3 * given.pieces * given.places
    load = f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    print(f"{given.places} places, {members} members, {given.hours} new hours each; {load}")
    for count, times in took.items():
        of_watches, of_database = (median(values) for values in zip(*spent[count], strict=True))
        print(
            f"{count} watch(es): {1000 * median(times):6.0f} ms an hour ({1000 * min(times):.0f} to "
            f"{1000 * max(times):.0f}); processor: watches {1000 * of_watches:.0f} ms, database "
            f"{1000 * of_database:.0f} ms"
        )
    print(f"ratio one to two: {median(took[1]) / median(took[2]):.2f}")
    for count, times in took.items():
        busy = sum(watch + database for watch, database in spent[count])
        print(f"cores that {count} and the database had: {busy / sum(times):.2f}")
    both = sum(median(values) for values in zip(*spent[2], strict=True))
    print(f"two cores leave room for at most {median(took[1]) / (both / 2):.2f}")


if __name__ == "__main__":
    main()
