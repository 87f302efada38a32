"""Unheated places, simulated from outdoor air: a shed, an attic, a cold shop, a garage.

The outdoor air is that of a recorded outdoor sensor, or of the invented valley through three years whose
weather differs. A place follows it with a lag of hours to two days, a little warmer and a little damper
than outdoors. How far is invented; no measured shed is at hand.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.watch.air.climate_prior import Surroundings, surroundings_of
from model.watch.state.roster import PlaceOnBook
from model.wood.air.psychrometrics import relative_humidity_from_pressure, vapour_pressure
from model.wood.climate.outdoor import DAYS_IN_MONTH, HOURS
from sample_readings.climate import outdoors
from tests.bench.outlook_backtest import Room, hours_of_file, is_outdoor, room_of

Floats = NDArray[np.float64]

VALLEY_YEARS = 3
YEAR_SD_C = 0.7
SMOOTH_H = 60 * 24


def sheds_of(path: Path | None, sensors: Sequence[str], count: int, seed: int = 1) -> Iterator[Room]:
    """So many unheated places from each outdoor sensor of a file (or those named), or from the valley."""
    random = np.random.default_rng(seed)
    if path is None:
        for number in range(count):
            at = pd.date_range(datetime(2023, 1, 1, tzinfo=UTC), periods=VALLEY_YEARS * HOURS, freq="h")
            yield shed(f"valley {number}", at, *valley_air(random), random)
        return
    for name, hours in hours_of_file(path):
        if is_outdoor(hours) and (not sensors or name in sensors):
            filled = hours.interpolate(limit_direction="both")
            air = filled["temperature_c"].to_numpy(), filled["rh_pct"].to_numpy()
            for number in range(count):
                yield shed(f"{name} {number}", filled.index, *air, random)


def shed(
    name: str, at: pd.DatetimeIndex, temperature_c: Floats, rh_pct: Floats, random: np.random.Generator
) -> Room:
    """A place that follows outdoor air with a lag of its own."""
    inside_c = lagged(temperature_c, random.uniform(3.0, 48.0)) + random.uniform(0.0, 2.0)
    pressure = lagged(np.asarray(vapour_pressure(temperature_c, rh_pct)), random.uniform(3.0, 24.0))
    humidity = np.asarray(relative_humidity_from_pressure(inside_c, pressure + random.uniform(0.0, 60.0)))
    frame = {"temperature_c": inside_c, "rh_pct": np.clip(humidity, 5.0, 97.0)}
    return room_of(name, pd.DataFrame(frame, index=at))


def lagged(values: Floats, hours: float) -> Floats:
    """Values as something follows them that comes within 37 % of a step in so many hours."""
    return pd.Series(values).ewm(alpha=1.0 - np.exp(-1.0 / hours)).mean().to_numpy()


def valley_air(random: np.random.Generator) -> tuple[Floats, Floats]:
    """Three years of the valley: its season, with the weather of other weeks laid over each, and milder or
    colder years."""
    once = outdoors(np.arange(HOURS, dtype=np.float64))
    logit = np.log(once.rh_pct / (100.0 - once.rh_pct))
    years: list[list[Floats]] = [[], []]
    for _ in range(VALLEY_YEARS):
        # Whole days, so that noon stays noon.
        by = 24 * int(random.integers(0, 365))
        off = random.normal(0.0, YEAR_SD_C), 0.0
        for into, values, more in zip(years, (once.temperature_c, logit), off, strict=True):
            season = _season(values)
            into.append(season + np.roll(values - season, by) + more)
    return np.concatenate(years[0]), 100.0 / (1.0 + np.exp(-np.concatenate(years[1])))


def _season(values: Floats) -> Floats:
    """A year smoothed over two months, round its end."""
    half = SMOOTH_H // 2
    padded = np.concatenate([values[-half:], values, values[: half - 1]])
    return np.convolve(padded, np.ones(SMOOTH_H) / SMOOTH_H, "valid")


def surroundings_of_sheds(valley: bool) -> Surroundings:
    """What the product expects of an unheated place; of the valley its outdoor year is known."""
    climate: dict[str, object] | None = None
    if valley:
        once = outdoors(np.arange(HOURS, dtype=np.float64))
        month = np.repeat(np.arange(12), 24 * np.array(DAYS_IN_MONTH))
        climate = {
            "name": "valley",
            "temperature_c": [float(once.temperature_c[month == k].mean()) for k in range(12)],
            "rh_pct": [float(once.rh_pct[month == k].mean()) for k in range(12)],
        }
    return surroundings_of(PlaceOnBook(1, "shed", "storage", climate))
