"""The outlook put to the proof on recorded houses, and its cost beside the bare solver.

    python tests/bench/bench_outlook.py FOLDER [--outdoor T1,...,T12/RH1,...,RH12]

FOLDER holds files ``*.csv`` or ``*.csv.gz`` with the columns ``timestamp_utc,sensor,temperature_c,rh_pct``;
each sensor with more than a year of readings is a house of its own. After a year of history the moisture of
a varnished member of 19 mm is foretold day by day for the rest of the record, with `season` and `outlook` as
the product uses them, and compared with what the solver makes of the hours that came. Without history the
same is done from the outdoor climate alone, indoors by EN 15026.

``--outdoor`` gives the monthly means outdoors where the houses stand; without it the general temperate
climate is taken. Nothing in the product was fitted to any one record.

Then how far a one-hour spike to 100 % and a day of stove heat, on any day of the record, move the member.
"""

import argparse
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
import pandas as pd
from sqlalchemy import delete

from model.records.store import Store
from model.records.tables import Outlook
from model.watch import ledger
from model.watch.bridge import Air
from model.watch.evaluation import Watch
from model.watch.foresight import surroundings_on_book
from model.watch.outlook import DAY_S, DAYS, YEARS, batch_of, spread
from model.watch.outlook_run import Outlooks
from model.watch.plausible_air import seasons_of, surroundings_of
from model.watch.roster import PlaceOnBook
from model.wood import moisture
from model.wood.finish import permeance_of
from model.wood.outdoor import TEMPERATE_C, TEMPERATE_RH_PCT
from model.wood.sorption import equilibrium_moisture_content
from tests.bench.bench_watch import START, build

HISTORY_DAYS = 365
LEAST_DAYS = 30
THICKNESS_MM = 19.0
LINE = "{:4.0f} %  {:5.2f}   {:5.2f}  {:8.2f}  {:11.2f}"


@dataclass(frozen=True)
class House:
    """A sensor's record, whole UTC days of hours, and what a member makes of it."""

    name: str
    air: Air
    profiles: np.ndarray  # before each day
    mc_pct: np.ndarray  # at the end of each day

    @property
    def days(self) -> int:
        return len(self.mc_pct)


def member(n: int) -> moisture.Batch:
    """n varnished members of 19 mm, of a wood between cherry and walnut."""
    film = permeance_of("oil-modified urethane varnish", 2).permeance
    values = (THICKNESS_MM, 0.50, 450.0, film, film)
    return moisture.Batch(*(np.full(n, value) for value in values))


def houses(folder: Path) -> Iterator[House]:
    for path in sorted([*folder.glob("*.csv"), *folder.glob("*.csv.gz")]):
        frame = pd.read_csv(path, parse_dates=["timestamp_utc"])
        for sensor, rows in frame.groupby("sensor"):
            hours = rows.set_index("timestamp_utc").sort_index()[["temperature_c", "rh_pct"]]
            hours = hours.resample("1h").mean()
            hours = hours[hours.index >= hours.index[0].ceil("D")]
            hours = hours[: len(hours) // 24 * 24]
            if len(hours) // 24 < HISTORY_DAYS + LEAST_DAYS:
                continue
            measured = hours.notna().all(axis=1).to_numpy().astype(np.int64)
            hours = hours.interpolate(limit_direction="both")
            temperature, humidity = hours["temperature_c"].to_numpy(), hours["rh_pct"].to_numpy()
            air = Air(int(hours.index[0].timestamp()) // 3600, temperature, humidity, measured)
            yield House(f"{path.name.split('.')[0]} {sensor}", air, *followed(air))


def followed(air: Air) -> tuple[np.ndarray, np.ndarray]:
    """The member's profile before each day, and its mean at the end of each, in recorded hours."""
    settled = equilibrium_moisture_content(air.temperature_c[:72].mean(), air.rh_pct[:72].mean())
    profile = moisture.uniform_profile([settled])
    profiles, means = [], []
    for day in range(len(air) // 24):
        hours = slice(24 * day, 24 * day + 24)
        profiles.append(profile[0])
        done = moisture.advance(
            profile, member(1), air.temperature_c[hours, None], air.rh_pct[hours, None], 0, 0
        )
        profile = done.profile
        means.append(done.mc_mean_pct[-1, 0])
    return np.array(profiles), np.array(means)


def foretold(house: House, place: PlaceOnBook, known: Air, start: int, days: int) -> np.ndarray:
    """Moisture (3, days): 10th, 50th and 90th percentile from the day `start` of the record on."""
    (season,) = seasons_of(surroundings_of(place), known, [house.air.first + 24 * start])
    air = season.years(days, YEARS, place.id)
    columns = np.arange(YEARS)
    profile = np.repeat(house.profiles[start][None, :], YEARS, axis=0)
    done = moisture.advance(profile, member(YEARS), air.temperature_c, air.rh_pct, columns, columns, DAY_S)
    return spread(done.mc_mean_pct)


def back_test(found: list[House], place: PlaceOnBook, with_history: bool) -> None:
    print(f"{'house':38s} days  cover  width   error  as today  yearly mean")
    rows = []
    for house in found:
        start = HISTORY_DAYS
        days = min(house.days - start, 365)
        nothing = Air(house.air.first, *(np.empty(0),) * 2, np.empty(0, dtype=np.int64))
        low, middle, high = foretold(house, place, house.air if with_history else nothing, start, days)
        truth = house.mc_pct[start : start + days]
        row = (
            100.0 * np.mean((truth >= low) & (truth <= high)),
            np.mean(high - low),
            np.mean(np.abs(middle - truth)),
            np.mean(np.abs(house.mc_pct[start - 1] - truth)),
            np.mean(np.abs(house.mc_pct[start - HISTORY_DAYS : start].mean() - truth)),
        )
        rows.append(row)
        print(f"{house.name:38s} {days:4d}  {LINE.format(*row)}")
    mean = np.mean(rows, axis=0)
    print(f"{'mean':38s}       {LINE.format(*mean)}")
    print(f"error: {mean[2] / mean[3]:.2f} x as today, {mean[2] / mean[4]:.2f} x the yearly mean\n")


def false_alarms(found: list[House]) -> None:
    """What a one-hour spike to 100 % and a day beside a hot stove do to the member, at their worst."""
    print("worst change of the member's moisture, in points, over every day of the record")
    for house in found:
        worst = []
        for hours, temperature_c, rh_pct in ((1, None, 100.0), (8, 26.0, 25.0)):
            temperature = house.air.temperature_c.reshape(-1, 24)[1:].copy()
            humidity = house.air.rh_pct.reshape(-1, 24)[1:].copy()
            columns = np.arange(len(humidity))
            humidity[:, 8 : 8 + hours] = rh_pct
            if temperature_c is not None:
                temperature[:, 8 : 8 + hours] = temperature_c
            done = moisture.advance(
                house.profiles[1:], member(len(humidity)), temperature.T, humidity.T, columns, columns
            )
            worst.append(np.abs(done.mc_mean_pct[-1] - house.mc_pct[1:]).max())
        print(f"{house.name:38s} spike {worst[0]:.3f}  stove {worst[1]:.3f}")
    print()


def speed(members: int = 200) -> None:
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
        batch = batch_of(bodies, [due[0].hour] * len(bodies), [np.ones(YEARS)] * len(bodies))
        ratios = []
        for _ in range(3):
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


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--outdoor", help="twelve monthly temperatures / twelve humidities, comma-separated")
    asked = parser.parse_args()
    if asked.folder is not None:
        climate: dict[str, object] = {"temperature_c": TEMPERATE_C, "rh_pct": TEMPERATE_RH_PCT}
        if asked.outdoor:
            temperatures, _, humidities = asked.outdoor.partition("/")
            climate = {"temperature_c": [float(value) for value in temperatures.split(",")]}
            if humidities:
                climate["rh_pct"] = [float(value) for value in humidities.split(",")]
        place = PlaceOnBook(1, "house", "home", climate)
        found = list(houses(asked.folder))
        print(f"{len(found)} records of more than {HISTORY_DAYS + LEAST_DAYS} days\n")
        print("after a year of history")
        back_test(found, place, with_history=True)
        print("with no history, from the outdoor climate and EN 15026 (state known)")
        back_test(found, place, with_history=False)
        false_alarms(found)
    speed()


if __name__ == "__main__":
    main()
