"""What judging costs: a year of one reading a minute from two sensors of a place, and one reading more.

Run as `python -m tests.bench.bench_trust [--days D]`. Each figure stands beside the bare fetch of the same
readings from the same database, measured in the same run.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

import numpy as np
from sqlalchemy import text

from model.records.book import add_place
from model.records.hangings import hang_sensor
from model.records.rewind import mark_hours
from model.records.store import Store
from model.records.tables import Sensor
from model.records.types import to_epoch_ms
from model.watch import ledger
from model.watch.trust.judge import REACH_MS, Judge

START = datetime(2025, 1, 6, tzinfo=UTC)
START_MS = to_epoch_ms(START)
MINUTE_MS, HOUR_MS = 60_000, 3_600_000
SENSORS = 2


def fill(store: Store, days: int) -> int:
    """Two working sensors at one place; returns the hour after the last reading, since 1970."""
    minutes = np.arange(days * 1440)
    with store.session() as session:
        place = add_place(session, "shop", "shop")
        for number in range(SENSORS):
            sensor = Sensor(name=f"s{number}", accepted_at=START)
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, place, START)
    for number in range(1, SENSORS + 1):
        rng = np.random.default_rng(number)
        daily, season = np.sin(minutes * 2 * np.pi / 1440), np.sin(minutes * 2 * np.pi / 525_600)
        temperature = np.round(18 + 5 * season + 2 * daily + 0.1 * rng.standard_normal(len(minutes)), 1)
        rh = np.round(48 + 10 * season - 5 * daily + 0.3 * rng.standard_normal(len(minutes)), 1)
        rows = zip((START_MS + minutes * MINUTE_MS).tolist(), temperature.tolist(), rh.tolist(), strict=True)
        with store.engine.begin() as connection:
            connection.connection.cursor().executemany(
                "INSERT INTO reading (sensor_id, observed_at, received_at, temperature_c, rh_pct, clock) "
                f"VALUES ({number}, ?, ?, ?, ?, 'device')",
                ((at, at, t, h) for at, t, h in rows),
            )
        with store.session() as session:
            mark_hours(session, [number], START)
    return START_MS // HOUR_MS + days * 24


def timed(work: Callable[[], object], times: int = 3) -> float:
    taken = []
    for _ in range(times):
        before = time.perf_counter()
        work()
        taken.append(time.perf_counter() - before)
    return median(taken)


def fetch(store: Store, since_ms: int) -> None:
    with ledger.reading(store) as bulk:
        for number in range(1, SENSORS + 1):
            rows = bulk.rows(
                "SELECT observed_at, temperature_c, rh_pct FROM reading "
                "WHERE sensor_id = ? AND observed_at >= ? ORDER BY observed_at",
                (number, since_ms),
            )
            np.array(rows, dtype=np.float64)


def judge(store: Store, judge_: Judge, hour: int) -> None:
    with ledger.reading(store) as bulk:
        judge_.judge(bulk, hour, hour * HOUR_MS)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=365)
    days = parser.parse_args().days
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'book.sqlite'}")
        store.bring_up_to_date()
        hour = fill(store, days)
        print(f"{SENSORS} sensors, {days} days of one reading a minute: {SENSORS * days * 1440} readings")
        bare = timed(lambda: fetch(store, 0))
        whole = timed(lambda: judge(store, Judge(store), hour), 2)
        print(f"everything judged {whole:.2f} s, bare fetch {bare:.2f} s, ratio {whole / bare:.1f}")
        judge_ = Judge(store)
        judge(store, judge_, hour)
        with store.engine.begin() as connection:
            connection.execute(text("DELETE FROM stale_hour"))
            connection.execute(
                text("INSERT INTO stale_hour VALUES (1, :at, 1)"), {"at": (hour - 1) * HOUR_MS}
            )

        def one_more() -> None:
            with store.engine.begin() as connection:
                connection.execute(text("UPDATE stale_hour SET revision = revision + 1"))
            judge(store, judge_, hour)

        one = timed(one_more, 15)
        near = timed(lambda: fetch(store, hour * HOUR_MS - 2 * REACH_MS), 15)
        print(f"one more reading judged {1e3 * one:.1f} ms, bare fetch of three days {1e3 * near:.1f} ms")
        store.close()


if __name__ == "__main__":
    main()
