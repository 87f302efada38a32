"""The homes of a year lived, and what is true of the chests and stacks that stand in them.

The air of files is real. Simulated homes, wood and sensors are invented: movement lies about the table by a
normal spread of 15 % (a fifth from the middle to the 90th percentile), rate by a log-normal spread of a
factor of two either way, and a meter is off by a point. Woods settle 0.7 point about equation 4-5, and each
somewhere between the branches of wetting and drying, 0.9 either way (the ten woods with published isotherms
that the science page names). A sensor is off by 1.5 % and drifts, is silent for spells of days, and hands
half of them in late.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.watch.questions.ready import CASEWORK_MOST_PCT
from model.watch.questions.ready_rule import fulfils, slopes, uneven_pct
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.material.member import Member
from model.wood.material.species import find_species
from model.wood.moisture import solver as moisture
from model.wood.moisture.diffusion import STICKERED_PERMEANCE_KG_M2_S_PA
from model.wood.piece import Piece, moisture_batch, read_piece
from sample_readings.climate import hours_since_year_zero, outdoors
from tests.bench.outlook_backtest import hours_of_file, is_outdoor

Floats = NDArray[np.float64]
HOUR = timedelta(hours=1)
P10_TO_P90 = 2.0 * 1.2816  # standard deviations of a normal spread
MOVEMENT_SD = 0.15
RATE_SD = np.log(2.0 / 0.5) / P10_TO_P90
METER_SD_PCT = 2.0 / P10_TO_P90
WOODS_SD_PCT, BRANCH_PCT = 0.7, 0.9
SENSOR_SD_PCT, DRIFT_SD_PCT_A_YEAR = 1.5, 1.0
SPELLS_A_YEAR, LONGEST_SPELL_DAYS = 6, 6
BEFORE_DAYS = 42  # the sensor hangs there six weeks before the piece comes
STACK_EVERY_DAYS = 91  # a stack comes and stays a day less
FIVE_DAYS_H = 120

CHEST = """
[piece]
name = "Chest {number}"
[part.side]
species = "{species}"
cut = "flat-sawn"
width = "368mm"
mc_pct = {mc}
thickness = "19mm"
finish = {{ face = "oil-modified urethane varnish", coats = 2 }}
[part.front]
species = "{species}"
cut = "flat-sawn"
width = "200mm"
mc_pct = {mc}
thickness = "19mm"
finish = {{ face = "shellac", coats = 2, back = "none" }}
[fit.side_panel]
kind = "panel-in-groove"
part = "side"
held = "centre"
sight_width = "356mm"
groove_depth = "{groove}mm"
finished = "before assembly"
[fit.drawer]
kind = "front-in-opening"
parts = ["front"]
construction = "slab"
gap = "{gap}mm"
[fit.runner]
kind = "cross-grain-fixing"
part = "side"
distance = "330mm"
slot_length = "{slot}mm"
screw_diameter = "4mm"
"""
SPECIES = ("black walnut", "white ash", "hard maple", "sycamore")
CHEST_MC_PCT = 8.0


@dataclass(frozen=True)
class Home:
    """A home's true air by the hour, from its sensor's first hour on."""

    name: str
    start_at: datetime
    temperature_c: Floats
    rh_pct: Floats

    @property
    def emc_pct(self) -> Floats:
        return np.asarray(equilibrium_moisture_content(self.temperature_c, self.rh_pct))


@dataclass(frozen=True)
class Chest:
    """A chest as it is recorded, and what is true of it.

    Attributes
    ----------
    past_hour : by fit and limit
        The hour of the home's record in which the limit is passed first; None where it never is.
    severity : by fit and limit
    """

    recorded: Piece
    past_hour: dict[tuple[str, str], int | None]
    severity: dict[tuple[str, str], str]


@dataclass(frozen=True)
class Lot:
    """A stack of lumber as it is recorded, and what is true of it.

    Attributes
    ----------
    came_hour, ready_hour : int
        Hours of the home's record; `ready_hour` is None where the stack never was ready in its time.
    for_home : bool
        Whether it is held against the year of the home; else against the air it stands in.
    """

    name: str
    document: dict[str, object]
    came_hour: int
    ready_hour: int | None
    for_home: bool


def homes_of_file(path: Path, days: int, sensors: Sequence[str] = ()) -> Iterator[Home]:
    """Each indoor sensor of a file whose record is long enough, gaps filled by straight lines."""
    for name, hours in hours_of_file(path):
        if sensors and name not in sensors:
            continue
        if len(hours) >= 24 * (days + BEFORE_DAYS + 1) and not is_outdoor(hours):
            filled = hours.interpolate(limit_direction="both")
            air = filled["temperature_c"].to_numpy(), filled["rh_pct"].to_numpy()
            yield Home(f"{path.stem.split('.')[0]} {name}", filled.index[0].to_pydatetime(), *air)


def side_by_side(homes: Sequence[Home], start: datetime, days: int) -> list[Home]:
    """The records cut to one span; a home whose record doesn't hold it is left out."""
    found = []
    for home in homes:
        first = round((start - home.start_at) / HOUR)
        span = slice(first, first + 24 * (days + BEFORE_DAYS))
        if first >= 0 and span.stop <= len(home.rh_pct):
            found.append(Home(home.name, start, home.temperature_c[span], home.rh_pct[span]))
    return found


def simulated_home(number: int, start: datetime, days: int, random: np.random.Generator) -> Home:
    """A home heated to about 20 °C in an invented valley, with moisture of its own and weeks that differ."""
    count = 24 * (days + BEFORE_DAYS)
    offset = hours_since_year_zero(start)
    out = outdoors(offset + np.arange(count, dtype=float))
    inside_c = np.maximum(random.normal(20.0, 1.0), out.temperature_c * 0.7 + 6.0)
    weeks = np.repeat(random.normal(0.0, 90.0, count // 168 + 1), 168)[:count]
    smooth = np.convolve(np.r_[weeks[:84], weeks, weeks[-84:]], np.ones(168) / 168.0, "same")[84:-84]
    pressure = out.vapour_pressure_pa + random.uniform(150.0, 500.0) + smooth
    saturated = 610.94 * np.exp(17.625 * inside_c / (inside_c + 243.04))
    return Home(f"home {number}", start, inside_c, np.clip(100.0 * pressure / saturated, 8.0, 90.0))


def metered(mc_pct: float, random: np.random.Generator) -> float:
    """What the wood truly has where a meter reads this [%]."""
    return float(np.clip(mc_pct + random.normal(0.0, METER_SD_PCT), 4.0, 20.0))


def rate_of(random: np.random.Generator) -> float:
    """How many times as fast as the tables this wood follows its air."""
    return float(np.exp(random.normal(0.0, RATE_SD)))


def settles_at(random: np.random.Generator) -> float:
    """How far above equation 4-5 this wood settles [points], drawn beside all else that is drawn."""
    (own,) = random.spawn(1)
    return float(own.normal(0.0, WOODS_SD_PCT) + own.uniform(-BRANCH_PCT, BRANCH_PCT))


def chest_in(home: Home, number: int, random: np.random.Generator) -> Chest:
    """A chest whose fits have usual sizes, some too tight, its true wood run through the true air."""
    text = CHEST.format(
        number=number,
        species=SPECIES[number % len(SPECIES)],
        mc=CHEST_MC_PCT,
        groove=round(random.uniform(8.0, 11.0), 1),
        gap=round(random.uniform(0.6, 2.4), 1),
        slot=round(random.uniform(5.5, 10.0), 1),
    )
    recorded = read_piece(text)
    movement = float(np.clip(random.normal(1.0, MOVEMENT_SD), 0.5, 1.6))
    mc_pct, rate, higher = metered(CHEST_MC_PCT, random), rate_of(random), settles_at(random)

    def true(member: Member) -> Member:
        return replace(member, mc_pct=mc_pct, movement_factor=movement)

    piece = recorded.with_members(true)
    members = list(piece.members.values())
    since = 24 * BEFORE_DAYS
    # Wood that settles a point higher takes the course of other wood that starts a point lower.
    run = moisture.advance(
        moisture.uniform_profile([mc_pct - higher] * len(members)),
        moisture_batch(members).quicker(np.full(len(members), rate)),
        home.temperature_c[since:, None], home.rh_pct[since:, None], 0, 0,
    )  # fmt: skip
    mc = {member.name: run.mc_mean_pct[:, k] + higher for k, member in enumerate(members)}
    past: dict[tuple[str, str], int | None] = {}
    severity = {}
    for name, fit in piece.fits.items():
        for limit in fit.limits(mc):
            below = np.flatnonzero(np.broadcast_to(limit.margin_mm, (len(run.mc_mean_pct),)) < 0.0)
            past[name, limit.name] = int(below[0]) + since if len(below) else None
            severity[name, limit.name] = limit.severity
    return Chest(recorded, past, severity)


def lots_in(home: Home, number: int, days: int, random: np.random.Generator) -> list[Lot]:
    """Stickered stacks that come to a home one after the other, kiln-dried or damp from the yard."""
    found = []
    for k, day in enumerate(range(0, days - STACK_EVERY_DAYS + 1, STACK_EVERY_DAYS)):
        species = SPECIES[(number + k) % len(SPECIES)]
        thickness_mm = float(random.choice([26.0, 52.0]))
        mc_pct = round(float(random.choice([random.uniform(5.5, 8.0), random.uniform(10.0, 14.0)])), 1)
        document = {"species": species, "thickness_mm": thickness_mm, "mc_pct": mc_pct}
        came, for_home = 24 * (BEFORE_DAYS + day), (number + k) % 2 == 0
        true_pct, rate = metered(mc_pct, random) - settles_at(random), rate_of(random)
        board = Member("board", find_species(species), 45.0, 150.0, true_pct, thickness_mm)
        batch = replace(
            moisture_batch([board]),
            face_permeance=np.array([STICKERED_PERMEANCE_KG_M2_S_PA]),
            back_permeance=np.array([STICKERED_PERMEANCE_KG_M2_S_PA]),
        ).quicker(np.array([rate]))
        span = slice(came, came + 24 * (STACK_EVERY_DAYS - 1))
        run = moisture.advance(
            moisture.uniform_profile([true_pct]), batch,
            home.temperature_c[span, None], home.rh_pct[span, None], 0, 0, every=24,
        )  # fmt: skip
        ready = truly_ready(home, came, run.mc_mean_pct[:, 0], run.mc_core_pct[:, 0], for_home)
        found.append(Lot(f"Lot {number}-{k}", document, came, ready, for_home))
    return found


def truly_ready(home: Home, came: int, mean_pct: Floats, core_pct: Floats, for_home: bool) -> int | None:
    """The hour of the first midnight at which a stack is what a maker accepts, by its true air and wood."""
    emc_pct = home.emc_pct
    if for_home:
        target = np.full(len(mean_pct), min(float(emc_pct[-8760:].mean()), CASEWORK_MOST_PCT))
    else:
        total = np.concatenate([[0.0], np.cumsum(emc_pct)])
        ends = came + 24 * (1 + np.arange(len(mean_pct)))
        target = (total[ends] - total[ends - FIVE_DAYS_H]) / FIVE_DAYS_H
    moves = slopes(np.concatenate([np.full(7, np.nan), mean_pct]))[7:]
    good = np.flatnonzero(fulfils(mean_pct - target, moves, uneven_pct(mean_pct, core_pct)))
    return came + 24 * (int(good[0]) + 1) if len(good) else None


def messages_of(home: Home, random: np.random.Generator) -> dict[int, list[tuple[int, float, float]]]:
    """By the hour they arrive: the hour they speak of, temperature and humidity as the sensor has them."""
    count = len(home.rh_pct)
    years = np.arange(count) / 8760.0
    off = random.normal(0.0, SENSOR_SD_PCT) + random.normal(0.0, DRIFT_SD_PCT_A_YEAR) * years
    rh = np.clip(home.rh_pct + off + random.normal(0.0, 0.3, count), 0.0, 100.0)
    arrives: list[int | None] = list(range(count))
    for _ in range(int(SPELLS_A_YEAR * count / 8760)):
        first = int(random.integers(24 * BEFORE_DAYS, count))
        last = min(first + int(random.integers(6, 24 * LONGEST_SPELL_DAYS)), count)
        arrives[first:last] = [last if random.random() < 0.5 else None] * (last - first)
    found: dict[int, list[tuple[int, float, float]]] = {}
    for hour, at in enumerate(arrives):
        if at is not None:
            found.setdefault(at, []).append((hour, float(home.temperature_c[hour]), float(rh[hour])))
    return found
