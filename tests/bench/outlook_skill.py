"""How good the outlook is on any file of readings.

    python -m tests.bench.outlook_skill FILE [--sensor S ...] [--outdoor T1,...,T12/RH1,...,RH12]
    python -m tests.bench.outlook_skill [FILE] --unheated N
    python -m tests.bench.outlook_skill --smoke

FILE has the columns ``timestamp_utc,sensor,temperature_c,rh_pct`` (.csv or .csv.gz). Each indoor sensor is
one room. With `--unheated` the rooms are N unheated places simulated from each outdoor sensor of the file, or
from the invented valley without one (`outlook_sheds`). The truth is the moisture content of a varnished part
19 mm thick that the solver follows through the recorded hours. From every fourteenth day of the record the
product's own seasonal model and solver forecast it, once for each length of history: the days before the cut
are hidden, and without history only the outdoor climate is left, with which no outlook is given. The state of
the wood on the day and its rate are taken as known: the forecast of the air is judged.

Printed by history and horizon, with the 90 % interval of a block bootstrap (blocks of 84 days of one sensor):

* coverage of p10 to p90 [%], its width [points], the bias of the median (forecast less truth) [points];
* the continuous ranked probability score (CRPS) [points] of the outlook, and of three baselines that see the
  same history: persistence (today's moisture and the changes over that horizon in the history), climatology
  (the history's days within 15 days of the date, or all of them), and harmonics (a yearly and a half-yearly
  wave fitted to the history, with blocks of its residuals drawn again).

Then the reliability of crossing chances: for limits half a point to two points either side of today's
moisture, the share of plausible years that pass it within the horizon against how often it was passed.
"""

import argparse
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.watch.air.climate_prior import Surroundings, surroundings_of
from model.watch.state.outlook import spread
from model.watch.state.roster import PlaceOnBook
from model.wood.climate.outdoor import TEMPERATE_C, TEMPERATE_RH_PCT
from tests.bench.outlook_backtest import HORIZONS, Forecast, Room, forecasts_of, rooms_of
from tests.bench.outlook_sheds import sheds_of, surroundings_of_sheds
from tests.bench.smoke import parsed

Floats = NDArray[np.float64]

HISTORIES = (0, 30, 90, 180, 365, 730)
LIMITS_PCT = (-2.0, -1.5, -1.0, -0.5, 0.5, 1.0, 1.5, 2.0)
CHANCES_PCT = (0, 10, 30, 50, 70, 90, 100)
STEP_DAYS = 14
RESAMPLES = 500


def crps(ensemble: Floats, truth: float) -> float:
    """Continuous ranked probability score of an ensemble, in the unit of the truth.

    ``E|X - y| - E|X - X'| / 2`` (Gneiting and Raftery, J. Am. Stat. Assoc. 102, 2007, eq. 21).
    """
    ordered = np.sort(ensemble)
    n = len(ordered)
    between = np.sum((2.0 * np.arange(n) - n + 1.0) * ordered) / n**2
    return float(np.mean(np.abs(ordered - truth)) - between)


@dataclass(frozen=True)
class Score:
    """One forecast at one horizon."""

    block: str
    history_days: int
    horizon_days: int
    covered: float
    width: float
    bias: float
    crps: dict[str, float]


@dataclass(frozen=True)
class Crossing:
    """The chance that a limit is passed within a horizon, beside whether it was."""

    block: str
    history_days: int
    horizon_days: int
    chance_pct: float
    passed: bool


def scores_of(forecast: Forecast) -> Iterator[Score]:
    low, middle, high = spread(forecast.years)
    for horizon in HORIZONS:
        day = horizon - 1
        if day >= len(forecast.truth) or np.isnan(forecast.truth[day]):
            continue
        truth = float(forecast.truth[day])
        found = {"outlook": crps(forecast.years[day], truth)}
        found |= {name: crps(ensemble(horizon), truth) for name, ensemble in forecast.baselines.items()}
        yield Score(
            forecast.block,
            forecast.history_days,
            horizon,
            float(low[day] <= truth <= high[day]),
            float(high[day] - low[day]),
            float(middle[day] - truth),
            found,
        )


def crossings_of(forecast: Forecast) -> Iterator[Crossing]:
    for horizon in HORIZONS:
        truth = forecast.truth[:horizon]
        if len(truth) < horizon or np.isnan(truth).any():
            continue
        years = forecast.years[:horizon]
        for limit in LIMITS_PCT:
            sign = np.sign(limit)
            at = forecast.today_pct + limit
            chance = 100.0 * float((sign * years > sign * at).any(axis=0).mean())
            yield Crossing(
                forecast.block, forecast.history_days, horizon, chance, bool((sign * truth > sign * at).any())
            )


def interval(blocks: Sequence[str], values: Floats, weights: Floats | None = None) -> tuple[float, float]:
    """5th and 95th percentile of a mean, or of a ratio of means, when whole blocks are drawn again."""
    names, which = np.unique(blocks, return_inverse=True)
    below = np.ones(len(values)) if weights is None else weights
    top, bottom = np.bincount(which, weights=values), np.bincount(which, weights=below)
    drawn = np.random.default_rng(0).integers(0, len(names), (RESAMPLES, len(names)))
    means = top[drawn].sum(axis=1) / bottom[drawn].sum(axis=1)
    low, high = np.percentile(means, [5.0, 95.0])
    return float(low), float(high)


COLUMNS = (
    "history",
    "horizon",
    "n",
    "coverage (90 % interval)",
    "width",
    "bias",
    "CRPS",
    "persistence",
    "climatology",
    "harmonics",
    "outlook / best other (90 % interval)",
)


def print_scores(scores: Sequence[Score]) -> None:
    """By history and horizon, then all histories together; an outlook is given from the first weeks on."""
    print("Wanted: coverage 70 to 90 %, CRPS below each of the others.\n")
    rows = []
    histories = sorted({score.history_days for score in scores})
    for named, kept in [*((f"{one} d", {one}) for one in histories), ("any", set(histories) - {0})]:
        for horizon in HORIZONS:
            ones = [one for one in scores if one.history_days in kept and one.horizon_days == horizon]
            if ones:
                rows.append([named, f"{horizon} d", str(len(ones)), *row_of(ones)])
    print(pd.DataFrame(rows, columns=COLUMNS).to_string(index=False))
    print()


def row_of(ones: Sequence[Score]) -> list[str]:
    """The figures of one history and one horizon, as text."""
    blocks = [one.block for one in ones]
    covered = np.array([100.0 * one.covered for one in ones])
    means = {name: float(np.mean([one.crps[name] for one in ones])) for name in ones[0].crps}
    best = min((name for name in means if name != "outlook"), key=lambda name: means[name])
    ours, other = (np.array([one.crps[name] for one in ones]) for name in ("outlook", best))
    low, high = interval(blocks, covered)
    least, most = interval(blocks, ours, other)
    return [
        f"{covered.mean():.0f} % ({low:.0f} to {high:.0f})",
        f"{np.mean([one.width for one in ones]):.2f}",
        f"{np.mean([one.bias for one in ones]):+.2f}",
        *(f"{means[name]:.3f}" for name in ("outlook", "persistence", "climatology", "harmonics")),
        f"{ours.mean() / other.mean():.2f} ({least:.2f} to {most:.2f})",
    ]


def print_reliability(crossings: Sequence[Crossing]) -> None:
    rows = []
    for low, high in pairwise(CHANCES_PCT):
        ones = [one for one in crossings if low <= one.chance_pct < high or one.chance_pct == high == 100]
        if ones:
            passed = np.array([100.0 * one.passed for one in ones])
            least, most = interval([one.block for one in ones], passed)
            said = np.mean([one.chance_pct for one in ones])
            rows.append(
                [
                    f"{low} to {high} %",
                    str(len(ones)),
                    f"{said:.1f} %",
                    f"{passed.mean():.1f} % ({least:.0f} to {most:.0f})",
                ]
            )
    print("Crossing chances: what was said, and how often the limit was passed (90 % interval)\n")
    print(pd.DataFrame(rows, columns=("chance", "n", "said", "passed")).to_string(index=False))


def surroundings(outdoor: str | None) -> Surroundings:
    """What the product expects of a home: its outdoor year as given, else the general temperate one."""
    climate: dict[str, object] = {"temperature_c": TEMPERATE_C, "rh_pct": TEMPERATE_RH_PCT}
    if outdoor:
        temperatures, _, humidities = outdoor.partition("/")
        climate = {"temperature_c": [float(value) for value in temperatures.split(",")]}
        if humidities:
            climate["rh_pct"] = [float(value) for value in humidities.split(",")]
    return surroundings_of(PlaceOnBook(1, "room", "home", climate))


def smoke_file(folder: Path) -> Path:
    """Seventy days of invented readings of one room, for a run in seconds."""
    at = pd.date_range("2025-01-01", periods=70 * 24, freq="h", tz="UTC")
    turn = np.arange(len(at)) / 24.0
    frame = pd.DataFrame(
        {
            "timestamp_utc": at,
            "sensor": "room",
            "temperature_c": 20.0 + np.sin(turn),
            "rh_pct": 45.0 + 5.0 * np.sin(turn / 9.0),
        }
    )
    path = folder / "invented.csv"
    frame.to_csv(path, index=False)
    return path


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("file", type=Path, nargs="?")
    parser.add_argument(
        "--sensor", action="append", default=[], help="one sensor of the file; may be repeated"
    )
    parser.add_argument("--outdoor", help="twelve monthly temperatures / twelve humidities, comma-separated")
    parser.add_argument("--step-days", type=int, default=STEP_DAYS, help="days from one forecast to the next")
    parser.add_argument("--unheated", type=int, metavar="N", help="unheated places, simulated")
    asked = parsed(parser, arguments)
    if asked.smoke:
        with tempfile.TemporaryDirectory() as folder:
            report(rooms_of(smoke_file(Path(folder))), surroundings(None), 21)
    elif asked.unheated:
        around = surroundings_of_sheds(valley=asked.file is None)
        report(sheds_of(asked.file, asked.sensor, asked.unheated), around, asked.step_days)
    elif asked.file is None:
        parser.error("give a file of readings, --unheated or --smoke")
    else:
        report(rooms_of(asked.file, asked.sensor), surroundings(asked.outdoor), asked.step_days)


def report(found: Iterable[Room], around: Surroundings, step_days: int) -> None:
    """Run and print the whole evaluation of some rooms."""
    scores: list[Score] = []
    crossings: list[Crossing] = []
    rooms = 0
    for room in found:
        rooms += 1
        for forecast in forecasts_of(room, around, HISTORIES, step_days):
            scores += scores_of(forecast)
            crossings += crossings_of(forecast)
    if not scores:
        raise SystemExit("no sensor has 60 days of readings")
    print(f"{rooms} rooms, a forecast every {step_days} days\n")
    print_scores(scores)
    print_reliability([one for one in crossings if one.history_days > 0])


if __name__ == "__main__":
    main()
