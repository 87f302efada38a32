"""What an outlook costs beside the bare solver, and how far short events move a part.

    python -m tests.bench.bench_outlook [FILE] [--smoke]

FILE holds readings (``timestamp_utc,sensor,temperature_c,rh_pct``): on every day of each sensor's record, how
far a one-hour spike to 100 % and a day of stove heat move a varnished part 19 mm thick. How good the outlook
is: `outlook_skill`.
"""

import argparse
import tempfile
import time
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import delete

from model.records.schema.tables import Outlook
from model.records.store import Store
from model.watch.air.climate_prior import seasons_of
from model.watch.run import watch_sql as ledger
from model.watch.run.evaluation import Watch
from model.watch.state.outlook import DAYS, YEARS, batch_of
from model.watch.state.outlook_request import surroundings_on_book
from model.watch.state.outlook_store import Outlooks
from model.wood.design.rehearsal import DAY_S
from model.wood.moisture import solver as moisture
from tests.bench.bench_watch import START, build
from tests.bench.outlook_backtest import Room, rooms_of, varnished_part
from tests.bench.smoke import parsed


def false_alarms(found: list[Room]) -> None:
    """What a one-hour spike to 100 % and a day beside a hot stove do to the member, at their worst."""
    print("worst change of the member's moisture, in points, over every day of the record")
    for room in found:
        worst = []
        for hours, temperature_c, rh_pct in ((1, None, 100.0), (8, 26.0, 25.0)):
            temperature = room.air.temperature_c.reshape(-1, 24)[1:].copy()
            humidity = room.air.rh_pct.reshape(-1, 24)[1:].copy()
            columns = np.arange(len(humidity))
            humidity[:, 8 : 8 + hours] = rh_pct
            if temperature_c is not None:
                temperature[:, 8 : 8 + hours] = temperature_c
            done = moisture.advance(
                room.profiles[1:], varnished_part(len(humidity)), temperature.T, humidity.T, columns, columns
            )
            worst.append(np.abs(done.mc_mean_pct[-1] - room.mc_pct[1:]).max())
        print(f"{room.name:38s} spike {worst[0]:.3f}  stove {worst[1]:.3f}")
    print()


def speed(members: int, rounds: int) -> None:
    """A year's outlook of a book's pieces, read, computed and written, beside the solver on the same airs."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{folder}/book.sqlite")
        build(store, members // 3 * 3, 60)
        now = START + timedelta(days=60)
        Watch(store).bring_up_to_date(now)
        keeper = Outlooks(store)
        with ledger.reading(store) as bulk:
            due, _ = keeper._due(bulk, int(now.timestamp()) // 3600)
            airs = ledger.read_airs(bulk)
        surroundings = surroundings_on_book(store)
        bodies = [body for one in due for body in one.owner.bodies]
        profiles = np.concatenate([np.repeat(one.states.profile, YEARS, axis=0) for one in due])
        columns = {id_: k for k, id_ in enumerate(sorted(airs))}
        drawn = [
            seasons_of(surroundings[id_], airs[id_], [due[0].hour])[0].years(DAYS, YEARS, id_)
            for id_ in sorted(airs)
        ]
        chosen = np.concatenate(
            [columns[one.place_id] * YEARS + np.arange(YEARS) for one in due for _ in one.owner.bodies]
        )
        temperature_c = np.concatenate([air.temperature_c for air in drawn], axis=1)
        rh_pct = np.concatenate([air.rh_pct for air in drawn], axis=1)
        batch = batch_of(bodies, due[0].hour, YEARS)
        ratios = []
        for _ in range(rounds):
            began = time.perf_counter()
            moisture.advance(profiles, batch, temperature_c, rh_pct, chosen, chosen, DAY_S)
            raw = time.perf_counter() - began
            with store.session() as session:
                session.execute(delete(Outlook))
            began = time.perf_counter()
            pieces = Outlooks(store).refresh(now)
            whole = time.perf_counter() - began
            ratios.append(whole / raw)
            print(
                f"{len(bodies)} members in {pieces} pieces x {YEARS} years: {whole:.2f} s, solver {raw:.2f} s"
            )
        print(f"whole / solver {np.median(ratios):.2f} (at most 2)\n")
        store.close()


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("file", type=Path, nargs="?")
    parser.add_argument("--members", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parsed(parser, arguments, members=12, rounds=1)
    if asked.file is not None:
        false_alarms(list(rooms_of(asked.file)))
    speed(asked.members, asked.rounds)


if __name__ == "__main__":
    main()
