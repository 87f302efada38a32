"""Recorded rooms, the product's forecasts from each day of theirs, and baselines from the same history."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.watch.air.climate_prior import Surroundings, seasons_of
from model.watch.air.gap_fill import HourlyAir
from model.watch.state.outlook import YEARS
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.design.rehearsal import DAY_S
from model.wood.material.finish import permeance_of
from model.wood.moisture import solver as moisture

Floats = NDArray[np.float64]

HORIZONS = (7, 14, 30, 60, 90, 180, 365)
BLOCK_DAYS = 84
RESIDUAL_BLOCK_DAYS = 14
SEASON_DAYS = 15
THICKNESS_MM = 19.0
COLDEST_ROOM_C = 5.0


@dataclass(frozen=True, eq=False)
class Room:
    """One sensor's record in whole UTC days, and the moisture content of the part that stood in it.

    Attributes
    ----------
    profiles : (days, layers)
        Moisture content through the thickness before each day [%].
    mc_pct : (days,)
        Mean moisture content at the end of each day [%].
    measured_days : (days,) of bool
        Whether at least half of the day's hours were measured.
    """

    name: str
    air: HourlyAir
    profiles: Floats
    mc_pct: Floats
    measured_days: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Forecast:
    """One day's forecast of one room beside what came.

    Attributes
    ----------
    block : str
        Sensor and stretch of the record that are drawn together by the bootstrap.
    years : (days, years)
        Moisture content in each plausible year [%].
    truth : (days,)
        What came [%]; NaN where the air was not measured.
    """

    block: str
    history_days: int
    today_pct: float
    years: Floats
    truth: Floats
    baselines: dict[str, Callable[[int], Floats]]


def varnished_part(n: int) -> moisture.Batch:
    """n varnished parts 19 mm thick, of a wood between cherry and walnut."""
    film = permeance_of("oil-modified urethane varnish", 2).permeance
    values = (THICKNESS_MM, 0.50, 450.0, film, film)
    return moisture.Batch(*(np.full(n, value) for value in values))


def hours_of_file(path: Path) -> Iterator[tuple[str, pd.DataFrame]]:
    """Each sensor's whole days by the hour, NaN where nothing was measured."""
    frame = pd.read_csv(path, parse_dates=["timestamp_utc"])
    for name in frame["sensor"].unique():
        rows = frame[frame["sensor"] == name].set_index("timestamp_utc").sort_index()
        hours = rows[["temperature_c", "rh_pct"]].resample("1h").mean()
        hours = hours[hours.index >= hours.index[0].ceil("D")]
        yield str(name), hours[: len(hours) // 24 * 24]


def is_outdoor(hours: pd.DataFrame) -> bool:
    """Whether a sensor hangs outdoors: colder than any room one hour in twenty."""
    return bool(hours["temperature_c"].quantile(0.05) < COLDEST_ROOM_C)


def rooms_of(path: Path, sensors: Sequence[str] = (), least_days: int = 60) -> Iterator[Room]:
    """Every indoor sensor of a file with at least so many days of record, or those named."""
    found = dict(hours_of_file(path))
    for name in sensors:
        if name not in found:
            raise SystemExit(f"{path.name}: there is no sensor {name!r}; it has {', '.join(found)}")
    for name in sensors or found:
        hours = found[name]
        if len(hours) // 24 >= least_days and (sensors or not is_outdoor(hours)):
            yield room_of(name, hours)


def room_of(name: str, hours: pd.DataFrame) -> Room:
    """A room from its hours of air, gaps filled by straight lines, with the part that stood in it."""
    measured = hours.notna().all(axis=1).to_numpy()
    filled = hours.interpolate(limit_direction="both")
    air = HourlyAir(
        int(filled.index[0].timestamp()) // 3600,
        filled["temperature_c"].to_numpy(),
        filled["rh_pct"].to_numpy(),
        measured.astype(np.int64),
    )
    return Room(name, air, *followed(air), measured.reshape(-1, 24).mean(axis=1) >= 0.5)


def followed(air: HourlyAir) -> tuple[Floats, Floats]:
    """The part's profile before each day, and its mean at the end of each, through recorded hours."""
    settled = equilibrium_moisture_content(air.temperature_c[:72].mean(), air.rh_pct[:72].mean())
    profile = moisture.uniform_profile([settled])
    profiles, means = [], []
    for day in range(len(air) // 24):
        hours = slice(24 * day, 24 * day + 24)
        profiles.append(profile[0])
        done = moisture.advance(
            profile, varnished_part(1), air.temperature_c[hours, None], air.rh_pct[hours, None], 0, 0
        )
        profile = done.profile
        means.append(done.mc_mean_pct[-1, 0])
    return np.array(profiles), np.array(means)


def forecasts_of(
    room: Room, surroundings: Surroundings, histories: Sequence[int], step_days: int
) -> Iterator[Forecast]:
    """Forecasts from every so many days of a room's record, for each length of history it allows."""
    days = len(room.mc_pct)
    truth = np.where(room.measured_days, room.mc_pct, np.nan)
    for start in range(step_days, days - min(HORIZONS), step_days):
        ahead = min(max(HORIZONS), days - start)
        for history in histories:
            if history > start:
                continue
            yield Forecast(
                f"{room.name} {start // BLOCK_DAYS}",
                history,
                float(room.mc_pct[start - 1]),
                plausible_mc(room, surroundings, start, history, ahead),
                truth[start : start + ahead],
                baselines_of(room, start, history),
            )


def plausible_mc(room: Room, surroundings: Surroundings, start: int, history: int, days: int) -> Floats:
    """Moisture content (days, years) in the plausible years from a day of the record on."""
    seen = slice(24 * (start - history), 24 * start)
    air = room.air
    first = air.first + 24 * (start - history)
    known = HourlyAir(first, air.temperature_c[seen], air.rh_pct[seen], air.n_readings[seen])
    (season,) = seasons_of(surroundings, known, [air.first + 24 * start])
    years = season.years(days, YEARS, 1)
    columns = np.arange(YEARS)
    profile = np.repeat(room.profiles[start][None, :], YEARS, axis=0)
    batch = varnished_part(YEARS)
    done = moisture.advance(profile, batch, years.temperature_c, years.rh_pct, columns, columns, DAY_S)
    return np.asarray(done.mc_mean_pct)


def baselines_of(room: Room, start: int, history: int) -> dict[str, Callable[[int], Floats]]:
    """Each baseline's ensemble for a horizon in days, from the same history as the outlook."""
    seen = room.mc_pct[start - history : start]
    today = float(room.mc_pct[start - 1])

    def persistence(horizon: int) -> Floats:
        if len(seen) <= horizon + 1:
            return np.array([today])
        return np.asarray(today + seen[horizon:] - seen[:-horizon])

    def climatology(horizon: int) -> Floats:
        if not len(seen):
            return np.array([today])
        age = start - 1 + horizon - np.arange(start - history, start)
        near = np.abs((age + SEASON_DAYS) % 365 - SEASON_DAYS) <= SEASON_DAYS
        return np.asarray(seen[near] if near.any() else seen)

    wave = harmonics_of(seen) if history >= 30 else None

    def harmonics(horizon: int) -> Floats:
        return np.array([today]) if wave is None else wave(horizon)

    return {"persistence": persistence, "climatology": climatology, "harmonics": harmonics}


def harmonics_of(seen: Floats) -> Callable[[int], Floats]:
    """Waves fitted to a history by least squares, and its residuals drawn again in blocks, as an ensemble.

    A yearly wave wants half a year of history and a half-yearly one a year; less is taken by its mean.
    """
    count = len(seen)
    waves = 2 if count >= 365 else 1 if count >= 180 else 0

    def design(day: Floats) -> Floats:
        turn = 2.0 * np.pi * day / 365.25
        columns = [np.ones_like(day)]
        for k in range(1, waves + 1):
            columns += [np.cos(k * turn), np.sin(k * turn)]
        return np.stack(columns, axis=1)

    rows = design(np.arange(count, dtype=np.float64))
    fitted, *_ = np.linalg.lstsq(rows, seen, rcond=None)
    residuals = seen - rows @ fitted
    rng = np.random.default_rng(0)
    firsts = rng.integers(0, max(count - RESIDUAL_BLOCK_DAYS, 1), YEARS)
    drawn = residuals[np.minimum(firsts + rng.integers(0, RESIDUAL_BLOCK_DAYS, YEARS), count - 1)]

    def ensemble(horizon: int) -> Floats:
        return np.asarray(design(np.array([count - 1.0 + horizon])) @ fitted + drawn)

    return ensemble
