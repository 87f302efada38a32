"""How long the watch takes: one new hour for 1,000 members, a rewind of 30 days for 100, a first year.

Run as `python -m tests.bench.bench_watch [--members N] [--days D] [--outlook]`. Each figure stands beside the
raw solver's for the same bodies and hours, measured in the same run. With `--outlook` the hour after midnight
is told as well, without the outlook and with it, and what the outlook of every piece then costs.
"""

import argparse
import gc
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

import numpy as np
from sqlalchemy import insert

from model.records.acts.book import add_piece
from model.records.acts.hangings import hang_sensor
from model.records.acts.invalidation import mark_hours
from model.records.acts.places import add_place
from model.records.schema.tables import Place, Reading, Sensor
from model.records.store import Store
from model.watch.run.evaluation import Evaluation, Watch
from model.watch.state.outlook_store import Outlooks
from model.wood.moisture import solver as moisture
from model.wood.piece import moisture_batch, read_piece
from tests.bench.smoke import parsed

START = datetime(2025, 11, 1, tzinfo=UTC)
HOUR = timedelta(hours=1)
PLACES = 10

# Three members and three fits: as a cabinet with a door has them.
PIECE = """
[piece]
name = "{name}"
[part.panel]
species = "black walnut"
cut = "flat-sawn"
width = "{panel}mm"
mc_pct = 8.0
thickness = "16mm"
finish = {{ face = "oil-modified urethane varnish", coats = 2 }}
[part.front]
species = "hard maple"
cut = "quarter-sawn"
width = "180mm"
mc_pct = 7.5
thickness = "19mm"
finish = {{ face = "oil-modified urethane varnish", coats = 2, back = "none" }}
[part.back]
species = "white ash"
cut = "flat-sawn"
width = "310mm"
mc_pct = 8.0
thickness = "8mm"
[fit.panel]
kind = "panel-in-groove"
part = "panel"
held = "centre"
sight_width = "{sight}mm"
groove_depth = "10mm"
[fit.front]
kind = "front-in-opening"
parts = "front"
gap = "1.6mm"
[fit.back]
kind = "panel-in-groove"
part = "back"
held = "centre"
sight_width = "298mm"
groove_depth = "9mm"
"""


def build(store: Store, members: int, days: int) -> None:
    """A book of three-member pieces over ten places, with an hourly reading everywhere."""
    store.bring_up_to_date()
    rng = np.random.default_rng(7)
    hours = days * 24
    with store.session() as session:
        places = [add_place(session, f"place {k}", "shop" if k == 0 else "home") for k in range(PLACES)]
        for k, place in enumerate(places):
            sensor = Sensor(name=f"sensor {k}", accepted_at=START)
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, place, START)
            season = 42 - 12 * np.sin(2 * np.pi * np.arange(hours) / 8766 + k)
            rh_pct = np.clip(season + 4 * rng.standard_normal(hours), 5, 95)
            temperature_c = 20 + 2 * np.sin(2 * np.pi * np.arange(hours) / 24)
            session.execute(
                insert(Reading),
                [
                    _reading(sensor.id, n, t, h)
                    for n, (t, h) in enumerate(zip(temperature_c, rh_pct, strict=True))
                ],
            )
            mark_hours(session, [sensor.id], START)
        for k in range(members // 3):
            width = 250 + k % 60
            text = PIECE.format(name=f"piece {k}", panel=width + 12, sight=width)
            add_piece(session, read_piece(text), places[k % PLACES], START)


def _reading(sensor_id: int, hour: int, temperature_c: float, rh_pct: float) -> dict[str, object]:
    at = START + (hour + 0.5) * HOUR
    return {
        "sensor_id": sensor_id, "observed_at": at, "received_at": at, "temperature_c": float(temperature_c),
        "rh_pct": float(rh_pct), "clock": "device",
    }  # fmt: skip


def send(store: Store, sensors: list[int], hour: int, rh_pct: float) -> None:
    """One more reading from some sensors."""
    with store.session() as session:
        for sensor in sensors:
            session.execute(insert(Reading), [_reading(sensor, hour, 20.0, rh_pct)])
            mark_hours(session, [sensor], START + hour * HOUR, START + hour * HOUR)


def raw_solver_s(members: int, hours: int, repeats: int = 5) -> float:
    """The bare solver over the same kind of bodies and as many hours, one day a call as the watch does."""
    piece = read_piece(PIECE.format(name="x", panel=262, sight=250))
    batch = moisture_batch(list(piece.members.values()) * (members // 3))
    profile = moisture.uniform_profile(np.full(len(batch), 8.0))
    air_of = np.repeat(np.arange(len(batch) // 3) % PLACES, 3)
    temperature_c, rh_pct = np.full((hours, PLACES), 20.0), np.full((hours, PLACES), 45.0)

    def solve() -> None:
        moisture.advance(profile, batch, temperature_c, rh_pct, air_of, air_of)

    return _timed(solve, repeats)


def _timed(run: Callable[[], object], repeats: int) -> float:
    run()
    found = []
    for _ in range(repeats):
        began = time.perf_counter()
        run()
        found.append(time.perf_counter() - began)
    return median(found)


def _say(what: str, seconds: float, raw_s: float, evaluation: Evaluation) -> None:
    parts = ", ".join(f"{name} {1000 * value:.0f}" for name, value in evaluation.durations_s.items())
    print(
        f"{what:<44} {1000 * seconds:9.1f} ms   solver {1000 * raw_s:8.1f} ms   ratio {seconds / raw_s:6.1f}"
    )
    print(f"    [ms] {parts}")


def after_midnight(store: Store, watch: Watch, midnight: int, what: str, raw_s: float) -> None:
    """The hour from 23:00 to midnight, at which days are closed and warned of."""
    sensors = list(range(1, PLACES + 1))
    watch.bring_up_to_date(START + (midnight - 1) * HOUR)
    send(store, sensors, midnight - 1, 43.0)
    began = time.perf_counter()
    done = watch.bring_up_to_date(START + midnight * HOUR)
    _say(f"the hour at midnight, {what}", time.perf_counter() - began, raw_s, done)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--members", type=int, default=1000)
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--outlook", action="store_true", help="measure the hour after midnight, too")
    asked = parsed(parser, members=30, days=32)
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'book.sqlite'}")
        build(store, asked.members, asked.days)
        now = asked.days * 24
        watch = Watch(store)
        watch.bring_up_to_date(START + HOUR)  # compiles, and reads the book
        began = time.perf_counter()
        done = watch.bring_up_to_date(START + now * HOUR)
        took = time.perf_counter() - began
        _say(
            f"first {asked.days} days, {asked.members} members",
            took,
            raw_solver_s(asked.members, now, 1),
            done,
        )

        gc.collect()
        gc.freeze()  # as the watch's own process does once it has read the book
        raw = raw_solver_s(asked.members, 1, 20)
        times, busy = [], []
        for k in range(16):
            send(store, list(range(1, PLACES + 1)), now + k, 40.0 + 0.3 * k)
            began, worked = time.perf_counter(), time.thread_time()
            done = watch.bring_up_to_date(START + (now + k + 1) * HOUR)
            times.append(time.perf_counter() - began)
            busy.append(time.thread_time() - worked)
        _say(f"one new hour, {asked.members} members", median(times), raw, done)
        print(
            f"    of which its own processor time, without waiting for others: {1000 * median(busy):.0f} ms"
        )

        # A late reading at one place, 30 days back: its hundred members are computed again.
        now += 16
        late = START + (now - 30 * 24) * HOUR + 5 * timedelta(minutes=1)
        with store.session() as session:
            place = session.get_one(Place, 2)
            session.add(
                Reading(
                    sensor_id=place.id, observed_at=late, received_at=late, temperature_c=20.0, rh_pct=46.0
                )
            )
            mark_hours(session, [2], late, late)
        began = time.perf_counter()
        done = watch.bring_up_to_date(START + now * HOUR)
        took = time.perf_counter() - began
        bodies = done.counts["bodies"]
        _say(f"rewind of 30 days, {bodies} members", took, raw_solver_s(bodies // 3 * 3, 30 * 24, 3), done)
        if asked.outlook:
            midnight = now // 24 * 24 + 24
            after_midnight(store, watch, midnight, "days closed", raw)
            for what in ("the outlook of every piece, first", "the same a day later"):
                midnight += 24
                watch.bring_up_to_date(START + midnight * HOUR)
                began = time.perf_counter()
                pieces = Outlooks(store).refresh(START + midnight * HOUR)
                print(f"{what:<44} {time.perf_counter() - began:9.1f} s    {pieces} pieces, afterwards")
        store.close()


if __name__ == "__main__":
    main()
