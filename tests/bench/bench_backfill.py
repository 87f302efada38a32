"""What a piece costs that enters the book late, beside the bare solver over the same hours.

    python -m tests.bench.bench_backfill [--smoke]

A ten-part piece that stays near its limits, entered with ten and a half months of readings, and one part in a
house last heard sixteen years ago: each brought up to date once, outlook and all.
"""

import argparse
import tempfile
import time
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
from sqlalchemy import insert

from deploy.wiring import evaluate_once
from model.records.acts import book, hangings, places
from model.records.acts.invalidation import mark_hours
from model.records.schema.tables import Place, Reading, Sensor
from model.records.store import Store
from model.watch.run import watch_sql as ledger
from model.watch.state.roster_reader import RosterReader
from model.watch.state.states import States, run
from model.wood.piece import read_piece
from tests.bench.smoke import parsed

START = datetime(2026, 1, 1, tzinfo=UTC)
HOUR = timedelta(hours=1)

PART = """
[part.{name}]
species = "white ash"
cut = "flat-sawn"
width = "400mm"
mc_pct = 8.0
thickness = "12mm"
finish = {{ face = "oil-modified urethane varnish", coats = 2 }}
[fit.{name}]
kind = "panel-in-groove"
part = "{name}"
held = "centre"
sight_width = "397.2mm"
groove_depth = "2.6mm"
finished = "before assembly"
"""
"""A panel with little play either way: near one of its limits for most of a year, and past it for some."""


def measure(name: str, parts: int, heard_days: int, age_days: int) -> None:
    """One piece, its place heard from its first day on for so many days, brought up to date at so many."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{folder}/book.sqlite")
        store.bring_up_to_date()
        with store.session() as session:
            place = places.add_place(session, "House", "home")
            sensor = Sensor(name="hall", accepted_at=START)
            session.add(sensor)
            session.flush()
            hangings.hang_sensor(session, sensor, session.get_one(Place, place.id), START)
            piece = "[piece]\nname = 'Chest'\n" + "".join(PART.format(name=f"p{k}") for k in range(parts))
            book.add_piece(session, read_piece(piece), place, START)
            hours = np.arange(24 * heard_days)
            season = np.cos(2.0 * np.pi * (hours / 24.0 - 200.0) / 365.0)
            rh_pct = 45.0 + 8.0 * season + 2.0 * np.sin(hours / 37.0)
            session.execute(
                insert(Reading),
                [
                    {
                        "sensor_id": sensor.id,
                        "observed_at": START + (hour + 0.5) * HOUR,
                        "received_at": START + (hour + 0.5) * HOUR,
                        "temperature_c": 20.0 + 0.2 * float(np.sin(1.9 * hour)),
                        "rh_pct": float(rh),
                        "clock": "device",
                    }
                    for hour, rh in zip(hours.tolist(), rh_pct, strict=True)
                ],
            )
            mark_hours(session, [sensor.id], START)
        at = START + timedelta(days=age_days)
        began = time.process_time()
        evaluate_once(store, at)
        whole_s = time.process_time() - began
        with ledger.reading(store) as bulk:
            (owner,) = RosterReader().read(bulk).owners
            airs = ledger.read_airs(bulk)
        began = time.process_time()
        run([owner], States.blank(parts), airs, min(air.end for air in airs.values()))
        solver_s = time.process_time() - began
        print(f"{name}: {whole_s:.2f} s of processor, the wood alone {solver_s:.2f} s")
        store.close()


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--days", type=int, default=320)
    parser.add_argument("--silent-years", type=int, default=16)
    asked = parsed(parser, arguments, days=6, silent_years=1)
    measure("warm-up", 1, 3, 3)
    measure("ten parts near their limits", 10, asked.days, asked.days)
    measure("one part in a silent house", 1, min(asked.days, 30), 365 * asked.silent_years)


if __name__ == "__main__":
    main()
