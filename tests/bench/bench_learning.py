"""What learning from measurements brings, and what it costs.

    python -m tests.bench.bench_learning [--parts 40] [--members 1000] [--days 365]

Invented panels (`tests/wood/learning_cases.py`) are metered and measured every 20 days of a year. From
the fourth month on the outlook foretells them, in the air that came, with what was learned by then and
without: mean CRPS of width [mm] and
moisture [points], lower is better. Once for panels that move 1.3 times as much and follow half as fast as the
book says, once for panels that scatter about the book as it says they do. Then the book of `bench_watch`: one
part of all is metered and measured, and the time of that evaluation stands beside that of one without
learning.
"""

import argparse
import tempfile
import time
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from model.records.acts.learning_switch import set_learning
from model.records.acts.measured import record_measurement
from model.records.schema.tables import MemberRow
from model.records.store import Store
from model.watch.air.gap_fill import HourlyAir
from model.watch.run.evaluation import Watch
from model.watch.state.learn import with_steps
from model.watch.state.outlook import YEARS, look_ahead
from model.watch.state.outlook_request import OutlookRequest
from model.watch.state.roster import FOREVER, Assembly, OnWood, PlacedSpan, SolverMember
from model.watch.state.states import States, run
from model.wood.climate.seasonal_model import Air, Season
from model.wood.learning import RATE_SD
from tests.bench.bench_watch import START, build
from tests.bench.outlook_skill import crps
from tests.bench.smoke import parsed
from tests.wood import learning_cases as cases
from tests.wood.learning_cases import TruePart

HORIZONS = (7, 14, 30, 60, 90, 180)
MEASURED_ON = tuple(range(20, 361, 20))
LAST = MEASURED_ON[-1]
FORETOLD_ON = (120, 160, 200, 240, 280, 320, 360)
PLACE = 1
Floats = np.ndarray[Any, np.dtype[np.float64]]


class _AirThatCame(Season):
    """A season whose every year is what came after a day."""

    def __init__(self, day: int) -> None:
        object.__setattr__(self, "day", day)

    def years(self, days: int, years: int, seed: int) -> Air:
        temperature_c, rh_pct = cases.air(self.day + days)
        ahead = slice(self.day * 24, None, 24)
        return Air(*(np.repeat(one[ahead][:, None], years, axis=1) for one in (temperature_c, rh_pct)))


def owner_of(number: int, part: TruePart) -> Assembly:
    """A piece of one panel, recorded with what was measured of it."""
    on_wood = [
        OnWood(one.hour, "width_mm" if one.size else "mc_pct", None, one.value, one.sd)
        for one in part.measured
    ]
    body = SolverMember(
        number, "panel", cases.PANEL, 0, cases.START_PCT, cases.START_SD**2, cases.CONSTANTS, 0,
        moistures=tuple((one.hour, one.value, one.sd**2) for one in on_wood if one.quantity == "mc_pct"),
        widths=tuple((one.hour, one.value) for one in on_wood if one.quantity == "width_mm"),
        on_wood=tuple(on_wood),
    )  # fmt: skip
    return Assembly("piece", number, f"piece {number}", (body,), (), (PlacedSpan(0, FOREVER, PLACE),))


def forecast_crps(
    parts: Sequence[TruePart],
    learning: bool,
    years: int = YEARS,
    foretold_on: Sequence[int] = FORETOLD_ON,
) -> Floats:
    """Mean CRPS at each of `HORIZONS`, of width [mm] and of moisture [points]: (2, horizons)."""
    now = LAST * 24
    temperature_c, rh_pct = cases.air(LAST)
    airs = {PLACE: HourlyAir(0, temperature_c, rh_pct, np.ones(now, dtype=np.int64))}
    owners = [owner_of(number, part) for number, part in enumerate(parts, 1)]
    if learning:
        owners = [with_steps(owner, {}, None, now, airs) for owner in owners]
    done = run(owners, States.blank(len(owners)), airs, now)
    states = {record.hour: record.states for record in done.records}
    score = np.zeros((2, len(HORIZONS)))
    for day in foretold_on:
        requests = []
        for row, owner in enumerate(owners):
            learned = owner.bodies[0].learned_by(day * 24)
            requests.append(
                OutlookRequest(
                    owner.as_learned({} if learned is None else {owner.bodies[0].id: learned}),
                    day * 24,
                    PLACE,
                    {"panel": states[day * 24].profile[row]},
                    airs,
                    {"panel": float(states[day * 24].variance_pct2[row])},
                    lambda body_id, hour: float(done.mc_pct[body_id - 1, hour - done.first]),
                )
            )
        seasons = [_AirThatCame(day)] * len(requests)
        for ahead, part in zip(look_ahead(requests, seasons, HORIZONS[-1], years), parts, strict=True):
            for column, days in enumerate(HORIZONS):
                score[0, column] += crps(ahead.width_mm["panel"][days - 1], part.width_mm[day + days])
                score[1, column] += crps(ahead.mc_pct["panel"][days - 1], part.mc_pct[day + days])
    return score / len(parts) / len(foretold_on)


def lively_and_slow(count: int, seed: int = 1) -> list[TruePart]:
    """Panels that move 1.3 times as much as the book says and follow half as fast."""
    factors = np.full(count, 1.3), np.full(count, 0.5)
    return cases.true_parts(np.random.default_rng(seed), *factors, MEASURED_ON, LAST + HORIZONS[-1])


def by_the_book(count: int, seed: int = 2) -> list[TruePart]:
    """Panels that scatter about the book by a fifth and by a factor of two."""
    rng = np.random.default_rng(seed)
    factors = 1.0 + rng.normal(0.0, 0.156, count), np.exp(rng.normal(0.0, RATE_SD, count))
    return cases.true_parts(rng, *factors, MEASURED_ON, LAST + HORIZONS[-1])


def show_forecasts(count: int) -> None:
    for said, parts in (
        ("move × 1.3, follow × 0.5", lively_and_slow(count)),
        ("scatter about the book", by_the_book(count)),
    ):
        without, learned = (forecast_crps(parts, learning) for learning in (False, True))
        print(f"{count} panels that {said}; mean CRPS")
        print("days ahead   width, mm: book  learned    moisture, points: book  learned")
        for column, days in enumerate(HORIZONS):
            cells = [*(one[row, column] for row in (0, 1) for one in (without, learned))]
            print("{:>10}{:>17.3f}{:>9.3f}{:>27.3f}{:>9.3f}".format(days, *cells))


def show_time(members: int, days: int) -> None:
    """One new measurement of one part of a shop."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'book.sqlite'}")
        build(store, members, days)
        now, watch = START + timedelta(days=days), Watch(store)
        watch.bring_up_to_date(now)
        for learns in (False, True):
            with store.session() as session:
                set_learning(session, learns)
            watch.bring_up_to_date(now)
            for number in (1, 4, 7):
                with store.session() as session:
                    part = session.get_one(MemberRow, number + 30 * learns)
                    record_measurement(session, part, "mc_pct", 7.4, now - timedelta(hours=2))
                    record_measurement(session, part, "width_mm", 255.0, now - timedelta(hours=2))
                begun = time.perf_counter()
                spent = watch.bring_up_to_date(now).durations_s
                took = time.perf_counter() - begun
                print(
                    f"{members} parts, {days} days, one measured{'' if learns else ', not learned'}: "
                    f"{took:.2f} s, of which learning {spent.get('learned', 0.0):.2f} s"
                )
        store.close()


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--parts", type=int, default=40)
    parser.add_argument("--members", type=int, default=1000)
    parser.add_argument("--days", type=int, default=365)
    given = parsed(parser, arguments, parts=2, members=60, days=4)
    show_forecasts(given.parts)
    show_time(given.members, given.days)


if __name__ == "__main__":
    main()
