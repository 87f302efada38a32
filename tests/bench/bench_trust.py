"""What a look of the watch costs where many sensors speak often: time and memory, beside reading it all.

    python -m tests.bench.bench_trust [--sensors 200] [--hours 0.25 6 48] [--interval 1] [--url URL]

For each length of history: the first look of a watch that knows nothing, and the looks that follow while each
sensor sends once more, with the air of the hour that follows from them. Beside both stands the bare fetch of
what a judge reads who keeps nothing between two looks: the readings of the last two and a half days. On a
SQLite book of its own, or on an empty PostgreSQL database.
"""

import argparse
import gc
import os
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
from sqlalchemy import text

from model.records.acts.hangings import hang_sensor
from model.records.acts.invalidation import mark_hours
from model.records.acts.places import add_place
from model.records.schema.tables import Place, Sensor
from model.records.schema.types import from_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS, hours_to_compute, measured_hours, read_trust
from model.watch.run import watch_sql as ledger
from model.watch.trust.judge import CONTEXT_MS, REACH_MS, Judge
from tests.bench.smoke import parsed

END_HOUR = 491_400  # in January 2026
PER_PLACE = 10
LOOKS = 7
Column = np.ndarray[Any, np.dtype[np.float64]]


def air_of(sensor: int, at_s: Column) -> tuple[Column, Column]:
    """Quiet air with a day's swing, to a tenth, as a working sensor sends it."""
    rng = np.random.default_rng(sensor)
    swing = np.sin(at_s * 2.0 * np.pi / 86_400.0)
    temperature_c = 20.0 + 1.5 * swing + 0.1 * rng.standard_normal(len(at_s))
    rh_pct = 45.0 - 4.0 * swing + 0.3 * rng.standard_normal(len(at_s))
    return np.round(temperature_c, 1), np.round(rh_pct, 1)


def register(store: Store, sensors: int) -> None:
    long_ago = from_epoch_ms((END_HOUR - 24 * 30) * HOUR_MS)
    with store.session() as session:
        for number in range(sensors):
            if number % PER_PLACE == 0:
                add_place(session, f"home {number // PER_PLACE}", "home")
                session.flush()
            sensor = Sensor(name=f"s{number}", accepted_at=long_ago)
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, session.get_one(Place, number // PER_PLACE + 1), long_ago)


def fill(store: Store, sensors: int, first_s: float, end_s: float, interval_s: float) -> int:
    """Readings of all sensors over a span, and no mark but of the last hour; how many."""
    at_s = np.arange(first_s, end_s, interval_s)
    at_ms = np.round(at_s * 1000.0).astype(np.int64)
    columns = "(sensor_id, observed_at, received_at, temperature_c, rh_pct, clock)"
    for number in range(1, sensors + 1):
        temperature_c, rh_pct = (column.tolist() for column in air_of(number, at_s))
        with store.engine.begin() as connection:
            cursor: Any = connection.connection.cursor()
            if store.is_sqlite:
                cursor.executemany(
                    f"INSERT INTO reading {columns} VALUES ({number}, ?, ?, ?, ?, 'device')",
                    zip(at_ms.tolist(), at_ms.tolist(), temperature_c, rh_pct, strict=True),
                )
            else:
                with cursor.copy(f"COPY reading {columns} FROM STDIN") as copy:
                    moments = np.datetime_as_string(at_ms.astype("datetime64[ms]"), timezone="UTC").tolist()
                    copy.write(
                        "".join(
                            f"{number}\t{at}\t{at}\t{t}\t{h}\tdevice\n"
                            for at, t, h in zip(moments, temperature_c, rh_pct, strict=True)
                        )
                    )
        last = from_epoch_ms(int(at_ms[-1]))
        with store.session() as session:
            mark_hours(session, [number], last, last)
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("ANALYZE"))
    return sensors * len(at_s)


def send(store: Store, sensors: int, at_ms: int) -> None:
    """One reading more of every sensor."""
    with store.session() as session:
        for number in range(1, sensors + 1):
            temperature_c, rh_pct = (
                float(column[0]) for column in air_of(number, np.array([at_ms / 1000.0]))
            )
            session.execute(
                text(
                    "INSERT INTO reading (sensor_id, observed_at, received_at, temperature_c, rh_pct, clock) "
                    "VALUES (:sensor, :at, :at, :t, :h, 'device')"
                ),
                {
                    "sensor": number, "at": at_ms if store.is_sqlite else from_epoch_ms(at_ms),
                    "t": temperature_c, "h": rh_pct,
                },
            )  # fmt: skip
        hour_ms = at_ms // HOUR_MS * HOUR_MS
        for number in range(1, sensors + 1):
            session.execute(
                text(
                    "INSERT INTO stale_hour (sensor_id, hour_at, revision) VALUES (:sensor, :hour, 1) "
                    "ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1"
                ),
                {"sensor": number, "hour": hour_ms if store.is_sqlite else from_epoch_ms(hour_ms)},
            )


def look(store: Store, judge: Judge, hour: int) -> tuple[float, float]:
    """Seconds of processor that judging took, and the air of the hours that were marked."""
    with ledger.reading(store) as bulk:
        began = time.thread_time()
        marks = judge.judge(bulk, hour, hour * HOUR_MS)
        judged = time.thread_time()
        trust = read_trust(bulk)
        asked = hours_to_compute(bulk, trust, [(sensor, at) for sensor, at, _ in marks])
        found = measured_hours(bulk, trust, asked, judge.caches.around)
        ended = time.thread_time()
    assert sum(len(one.hours) for one in found.values()) >= len(found) > 0
    return judged - began, ended - judged


def fetch(store: Store, sensors: int, since_ms: int) -> float:
    """Seconds of processor that handing out every reading since then takes."""
    began = time.thread_time()
    with ledger.reading(store) as bulk:
        for number in range(1, sensors + 1):
            rows = bulk.rows(
                f"SELECT {bulk.instant_of('observed_at')}, temperature_c, rh_pct FROM reading "
                "WHERE sensor_id = ? AND observed_at >= ? ORDER BY observed_at",
                (number, bulk.instant(since_ms)),
            )
            np.array(rows, dtype=np.float64)
    return time.thread_time() - began


def resident_mb() -> float:
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def measure(make_store: Callable[[], Store], sensors: int, hours: float, interval_s: float) -> None:
    store = make_store()
    register(store, sensors)
    end_s = END_HOUR * 3600.0 + 1800.0  # halfway through an hour
    n = fill(store, sensors, end_s - hours * 3600.0, end_s, interval_s)
    print(f"{sensors} sensors, {hours:g} hours of one reading in {interval_s:g} s: {n} readings", flush=True)
    before_mb = resident_mb()
    judge = Judge(store)
    first, first_air = look(store, judge, END_HOUR)
    took = []
    for number in range(LOOKS):
        send(store, sensors, round(1000.0 * (end_s + number * interval_s)))
        took.append(look(store, judge, END_HOUR))
    after_mb = resident_mb()
    judged, air = (median(each) for each in zip(*took, strict=True))
    bare = fetch(store, sensors, (END_HOUR * HOUR_MS) - REACH_MS - CONTEXT_MS)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(
        f"  a look with one reading more of each: judged in {judged:.3f} s, air in {air:.3f} s\n"
        f"  the first look: judged in {first:.2f} s, air in {first_air:.2f} s\n"
        f"  bare fetch of two and a half days: {bare:.2f} s, {bare / (judged + air):.0f} looks\n"
        f"  kept {judge.caches.size_bytes / 1e6:.0f} MB; process {before_mb:.0f} MB before, "
        f"{after_mb:.0f} MB after the looks, {peak_mb:.0f} MB at most with the fetch",
        flush=True,
    )
    store.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sensors", type=int, default=200)
    parser.add_argument("--hours", type=float, nargs="+", default=[0.25, 6.0, 48.0])
    parser.add_argument("--interval", type=float, default=1.0, help="seconds between readings of a sensor")
    parser.add_argument("--url", help="an empty PostgreSQL database; its schema is made anew each time")
    given = parsed(parser, sensors=3, hours=[0.25], interval=30.0)
    for hours in given.hours:
        with tempfile.TemporaryDirectory() as folder:

            def make_store(folder: str = folder) -> Store:
                store = Store(given.url or f"sqlite:///{Path(folder) / 'book.sqlite'}")
                if given.url:
                    with store.engine.begin() as connection:
                        connection.execute(text("DROP SCHEMA public CASCADE"))
                        connection.execute(text("CREATE SCHEMA public"))
                store.bring_up_to_date()
                return store

            measure(make_store, given.sensors, hours, given.interval)


if __name__ == "__main__":
    main()
