"""The air of the sample shop and of its clients' homes, hour by hour: invented, physically sensible.

Each room is a small balance. Its temperature is pulled towards what the walls, the sun and the outdoors make
of it, and held up by its heating. Its vapour comes with the outdoor air that leaks in, from what is done in
the room, and from the wood and plaster that take moisture up and give it back. Humidity follows from the two.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from model.wood.air.psychrometrics import saturation_vapour_pressure
from sample_readings.climate import (
    HOURS_A_YEAR,
    LOCAL_HOURS_BEHIND_UTC,
    SEED,
    Flags,
    Hours,
    local_hour,
    outdoors,
)

SPIN_UP_HOURS = 90 * 24  # what a room remembers of its start after this is far below a sensor's last digit
WALL_MEMORY_H = 60.0
FABRIC_MEMORY_H = 150.0
HEATING_H = 1.6  # how fast a stove or radiator brings a room to its setting
GROUND_C, GROUND_SEASON_C, GROUND_COLDEST_DAY = 10.5, 4.0, 55.0


@dataclass(frozen=True)
class Regime:
    """What is done in a room, hour by hour; arrays (n,).

    Attributes
    ----------
    setting_c : array
        Temperature the heating holds at least [°C]; NaN while it is off.
    gain_pa : array
        How far people, cooking, washing or damp ground would lift the vapour pressure above the outdoor one.
    changes_per_h : array
        Outdoor air coming in, room volumes an hour.
    least_rh_pct, most_rh_pct : array
        What a humidifier or a dehumidifier keeps to, 0 and 97 without one.
    """

    setting_c: Hours
    gain_pa: Hours
    changes_per_h: Hours
    least_rh_pct: Hours
    most_rh_pct: Hours


@dataclass(frozen=True)
class SampleRoom:
    """A room's fabric, and the regime kept in it."""

    name: str
    outdoor_share: float  # of the temperature it drifts to; the rest is the ground's or the neighbours'
    neighbours_c: float | None  # what the rest is, when it isn't the ground
    sun_c: float  # how far full sun lifts it
    cooling_h: float  # how fast it drifts there
    fabric_per_h: float  # exchange with wood and plaster, as room volumes an hour
    regime: Callable[[Hours], Regime]


@dataclass(frozen=True)
class RoomAir:
    """A room's air at successive hours: arrays (n,)."""

    temperature_c: Hours
    rh_pct: Hours


@dataclass(frozen=True)
class _State:
    temperature_c: float
    wall_c: float
    vapour_pa: float
    fabric_rh: float


def room_air(name: str, first_hour: int, hours: int) -> RoomAir:
    """A room's air at whole hours since `climate.YEAR_ZERO`.

    Parameters
    ----------
    name : str
        A room of `ROOMS`.
    first_hour : int
        0 or more.
    hours : int
        How many.

    Returns
    -------
    RoomAir
        Temperature [°C] and relative humidity [%], (hours,). The answer for an hour never depends on
        the span that was asked for.
    """
    if first_hour < 0 or hours < 0:
        raise ValueError(f"hours are counted from the first of January 2025, got {first_hour} and {hours}")
    first_year, last_year = (
        first_hour // HOURS_A_YEAR,
        max(first_hour, first_hour + hours - 1) // HOURS_A_YEAR,
    )
    years = [_year(name, year)[0] for year in range(first_year, last_year + 1)]
    start = first_hour - first_year * HOURS_A_YEAR
    span = slice(start, start + hours)
    return RoomAir(
        np.concatenate([year.temperature_c for year in years])[span],
        np.concatenate([year.rh_pct for year in years])[span],
    )


@lru_cache(maxsize=64)
def _year(name: str, year: int) -> tuple[RoomAir, _State]:
    """One year of a room, carried on from the year before it."""
    room = ROOMS[name]
    if year == 0:
        spin_up = np.arange(-SPIN_UP_HOURS, 0, dtype=np.float64)
        _, state = _run(room, spin_up, _State(15.0, 5.0, 800.0, 0.5))
    else:
        state = _year(name, year - 1)[1]
    return _run(room, np.arange(HOURS_A_YEAR, dtype=np.float64) + year * HOURS_A_YEAR, state)


def _run(room: SampleRoom, hours: Hours, state: _State) -> tuple[RoomAir, _State]:
    regime = room.regime(hours)
    out = outdoors(hours)
    rest_c = (
        ground_temperature(hours) if room.neighbours_c is None else np.full_like(hours, room.neighbours_c)
    )
    temperature, wall = state.temperature_c, state.wall_c
    to_wall, to_drift = 1 - np.exp(-1 / WALL_MEMORY_H), 1 - np.exp(-1 / room.cooling_h)
    to_setting = 1 - np.exp(-1 / HEATING_H)
    temperatures, humidities = np.empty_like(hours), np.empty_like(hours)
    for hour in range(hours.size):
        wall += to_wall * (out.temperature_c[hour] - wall)
        outside = 0.6 * wall + 0.4 * out.temperature_c[hour]
        drift = room.outdoor_share * outside + (1 - room.outdoor_share) * rest_c[hour]
        temperature += to_drift * (drift + room.sun_c * out.sun[hour] - temperature)
        setting = regime.setting_c[hour]
        if setting > temperature:  # false while the setting is NaN
            temperature += to_setting * (setting - temperature)
        temperatures[hour] = temperature

    vapour, fabric = state.vapour_pa, state.fabric_rh
    saturated = np.asarray(saturation_vapour_pressure(temperatures))
    supply = regime.changes_per_h * (out.vapour_pressure_pa + regime.gain_pa)
    exchange = regime.changes_per_h + room.fabric_per_h
    reached = 1 - np.exp(-exchange)
    to_fabric = 1 - np.exp(-1 / FABRIC_MEMORY_H)
    for hour in range(hours.size):
        towards = (supply[hour] + room.fabric_per_h * fabric * saturated[hour]) / exchange[hour]
        vapour += reached[hour] * (towards - vapour)
        rh = vapour / saturated[hour]
        rh = min(max(rh, regime.least_rh_pct[hour] / 100), regime.most_rh_pct[hour] / 100)
        vapour = rh * saturated[hour]
        fabric += to_fabric * (rh - fabric)
        humidities[hour] = 100 * rh
    return RoomAir(temperatures, humidities), _State(
        float(temperature), float(wall), float(vapour), float(fabric)
    )


def ground_temperature(hours: Hours) -> Hours:
    """Temperature of the ground the valley's houses stand in [°C], late by a month and a half."""
    season = np.cos(2 * np.pi * (hours / 24.0 - GROUND_COLDEST_DAY) / 365.0)
    ground: Hours = GROUND_C - GROUND_SEASON_C * season
    return ground


# ---------------------------------------------------------------- who does what when


def day_of_year(hours: Hours) -> Hours:
    """Local day of the sample year, 0 to 364."""
    return np.floor(np.mod(hours - LOCAL_HOURS_BEHIND_UTC, HOURS_A_YEAR) / 24.0)


def weekday(hours: Hours) -> Hours:
    """0 on Mondays, 6 on Sundays, by the valley's sun; the first of January 2025 was a Wednesday."""
    return np.mod(np.floor((hours - LOCAL_HOURS_BEHIND_UTC) / 24.0) + 2.0, 7.0)


def _chance(tag: str, hours: Hours) -> Hours:
    """A number in 0 to 1 for each local day, the same for all of its hours."""
    days = np.floor((hours - LOCAL_HOURS_BEHIND_UTC) / 24.0).astype(np.int64)
    first, last = int(days.min()), int(days.max())
    drawn = np.array(
        [
            np.random.default_rng([SEED, day + 100_000, *tag.encode()]).random()
            for day in range(first, last + 1)
        ]
    )
    return drawn[days - first]


def heating_season(hours: Hours) -> Flags:
    """True from early October to the first days of May."""
    day = day_of_year(hours)
    return (day >= 278) | (day < 122)


def _between(hour: Hours, first: float, last: float) -> Flags:
    return (hour >= first) & (hour < last)


def _shop(hours: Hours) -> Regime:
    hour, day = local_hour(hours), weekday(hours)
    working = (day < 5) & _between(hour, 7.0, 17.0)
    stove = working & (hour < 16.0) & heating_season(hours)
    # The frost guard keeps glue and finishes from freezing, and nothing more.
    setting = np.where(stove, 18.5, 3.0)
    wet_sanding = (day < 5) & (_chance("wet sanding", hours) < 0.08) & _between(hour, 13.0, 15.0)
    doors = np.where(heating_season(hours), np.where(working, 0.9, 0.4), np.where(working, 2.0, 0.4))
    gain = np.where(working, 120.0, 70.0) + 500.0 * wet_sanding
    return Regime(setting, gain, doors, np.zeros_like(hours), np.full_like(hours, 95.0))


def _dry_flat(hours: Hours) -> Regime:
    heated = heating_season(hours)
    awake = _between(local_hour(hours), 6.0, 23.0)
    setting = np.where(heated, np.where(awake, 23.0, 21.5), np.nan)
    gain = np.where(awake, 230.0, 170.0)
    return Regime(setting, gain, np.full_like(hours, 0.6), np.zeros_like(hours), np.full_like(hours, 70.0))


def _orchard_house(hours: Hours) -> Regime:
    awake = _between(local_hour(hours), 6.5, 22.5)
    setting = np.where(heating_season(hours), np.where(awake, 20.5, 18.5), 18.0)
    gain = np.where(awake, 320.0, 220.0)
    drift = 1.5 * np.sin(2 * np.pi * hours / (24.0 * 36.5))
    return Regime(setting, gain, np.full_like(hours, 0.35), 40.0 + drift, 53.5 + drift)


def in_use(hours: Hours) -> Flags:
    """Whether somebody is at the lake house: most summer weekends from May on, all of July and August."""
    day, week_day = day_of_year(hours), weekday(hours)
    high_summer = _between(day, 181.0, 243.0)
    weekend = (week_day >= 5) | ((week_day == 4) & (local_hour(hours) >= 18.0))
    # One draw for a Friday, Saturday and Sunday together.
    friday = hours - 24.0 * np.mod(week_day - 4.0, 7.0)
    comes = _chance("weekend", friday) < 0.75
    return high_summer | (_between(day, 120.0, 285.0) & weekend & comes)


def _lake_house(hours: Hours) -> Regime:
    there = in_use(hours)
    setting = np.where(there, 20.0, 1.5)  # shut, a frost guard keeps the pipes whole
    gain = np.where(there, 200.0, 95.0)
    changes = np.where(there, 1.0, 0.15)
    return Regime(setting, gain, changes, np.zeros_like(hours), np.full_like(hours, 88.0))


ROOMS = {
    room.name: room
    for room in (
        SampleRoom("Shop", 0.85, None, 9.0, 14.0, 1.2, _shop),
        SampleRoom("Dry flat", 0.35, 24.0, 2.0, 30.0, 0.25, _dry_flat),
        SampleRoom("Lake house", 0.65, None, 5.0, 48.0, 0.9, _lake_house),
        SampleRoom("Orchard house", 0.55, 21.0, 2.5, 30.0, 0.5, _orchard_house),
    )
}
