"""A fleet computed anew: bodies by hours a second of one core, and with Dask's workers beside it.

    python -m tests.bench.bench_fleet [--homes 30] [--days 730] [--workers 1 2] [--outlooks 300]

From what is measured follows what thousands of homes and ten years take, printed with it.
"""

import argparse
import hashlib
import os
import tempfile
import time
from datetime import timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import delete, select

from model.records.schema.tables import Outlook
from model.records.store import Store
from model.watch.air.gap_fill import HourlyAir
from model.watch.run import watch_sql as ledger
from model.watch.run.evaluation import Watch
from model.watch.run.fleet import BODY_HOURS_A_TASK, courses, given, portions
from model.watch.run.workers import connected, spread
from model.watch.state.outlook_store import PIECES_A_TASK, Outlooks
from model.watch.state.roster import Roster
from model.watch.state.roster_reader import RosterReader
from tests.bench.bench_watch import START, build
from tests.bench.smoke import parsed


def air_of(first: int, hours: int, seed: int) -> HourlyAir:
    """Invented air with a season, a day and weather."""
    rng = np.random.default_rng(seed)
    at = np.arange(hours)
    weather = np.cumsum(rng.standard_normal(hours)) * 0.1
    rh_pct = 45 - 15 * np.cos(2 * np.pi * at / 8766 + seed) + weather - np.linspace(0, weather[-1], hours)
    temperature_c = 20 + 2 * np.sin(2 * np.pi * at / 24)
    return HourlyAir(first, temperature_c, np.clip(rh_pct, 5, 95), np.ones(hours, dtype=np.int64))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0] if __doc__ else None)
    parser.add_argument("--homes", type=int, default=30, help="pieces of three members each")
    parser.add_argument("--days", type=int, default=730)
    parser.add_argument("--workers", type=int, nargs="*", default=[], help="Dask workers, one run for each")
    parser.add_argument("--outlooks", type=int, default=0, help="pieces whose coming year is computed")
    asked = parsed(parser, homes=2, days=3)
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'book.sqlite'}")
        build(store, 3 * asked.homes, 1)
        with ledger.reading(store) as bulk:
            roster = RosterReader().read(bulk)
        store.close()
    first, hours = int(START.timestamp()) // 3600, asked.days * 24
    airs = {place: air_of(first, hours, place) for place in roster.places}
    body_hours = 3 * asked.homes * hours
    courses(roster.owners[:1], roster.places, airs, first + 48)  # compiles
    began, spent = time.perf_counter(), time.process_time()
    done = courses(roster.owners, roster.places, airs, first + hours)
    took_s, spent_s = time.perf_counter() - began, time.process_time() - spent
    assert len(done) == asked.homes
    a_core = body_hours / spent_s
    load = f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    print(f"{asked.homes} homes, {3 * asked.homes} members, {asked.days} days; {load}")
    print(f"plain: {took_s:.2f} s, {a_core / 1e6:.2f} million member-hours a second of one core")
    for homes in (1_000, 5_000):
        total = homes * 30 * 10 * 8766
        print(f"  {homes} homes x 30 members x 10 years: {total / a_core / 3600:.1f} core-hours")
    for workers in asked.workers:
        on_workers(roster, airs, first + hours, workers, body_hours, took_s)
    if asked.outlooks:
        outlooks(asked.outlooks, asked.workers or [1, 2])


def on_workers(
    roster: Roster, airs: dict[int, HourlyAir], until: int, workers: int, body_hours: int, plain_s: float
) -> None:
    with connected(workers=workers) as client:
        assert client is not None
        tasks = portions(roster, until, min(BODY_HOURS_A_TASK, body_hours // workers))
        client.run(courses, roster.owners[:1], roster.places, airs, until)  # workers load the solver
        began = time.perf_counter()
        list(spread(client, courses, given(tasks, roster, airs, until)))
        took_s = time.perf_counter() - began
    print(f"{workers} worker(s), {len(tasks)} tasks: {took_s:.2f} s, ratio to plain {plain_s / took_s:.2f}")


def outlooks(pieces: int, workers: list[int]) -> None:
    """The coming year of a book's pieces, on so many workers each time: how long, and whether alike."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'book.sqlite'}")
        build(store, 3 * pieces, 60)
        at = START + timedelta(days=60)
        Watch(store).bring_up_to_date(at)
        first_s, first_rows = 0.0, ""
        for number in workers:
            with connected(workers=number) as client:
                assert client is not None
                keeper = Outlooks(store, scheduler=str(client.scheduler.address))
                warming = Outlooks(store, at_once=PIECES_A_TASK, scheduler=str(client.scheduler.address))
                warming.refresh(at)  # a task for each worker, which loads the solver
                warming.close()
                with store.session() as session:
                    session.execute(delete(Outlook))
                began = time.perf_counter()
                done = keeper.refresh(at)
                took_s = time.perf_counter() - began
                keeper.close()
            with store.session() as session:
                columns = [column for column in Outlook.__table__.columns if column.name != "id"]
                found = sorted(map(repr, session.execute(select(*columns))))
                session.execute(delete(Outlook))
            digest = hashlib.sha256("".join(found).encode()).hexdigest()[:16]
            first_s, first_rows = first_s or took_s, first_rows or digest
            alike = "the same bits" if digest == first_rows else "OTHER BITS"
            print(
                f"outlook of {done} pieces on {number} worker(s): {took_s:.1f} s, "
                f"{first_s / took_s:.2f} x the first; {alike} ({digest})"
            )
        store.close()


if __name__ == "__main__":
    main()
