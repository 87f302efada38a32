"""Parts whose true factors are known, in an invented year of air, and what was measured of them."""

from dataclasses import dataclass

import numpy as np

from model.wood.design.rehearsal import DAY_S, simulate
from model.wood.learning import RATES, Course, PartMeasurement
from model.wood.material.member import Member
from model.wood.material.species import find_species
from model.wood.moisture import solver as moisture
from model.wood.moisture.time_constant import time_constant_h
from model.wood.piece import moisture_batch

START_PCT = 9.0
METER_SD, RULE_SD_MM = 0.5, 0.2
SIZE_SD_MM = 0.3
MODEL_SD = 0.5
DAYS = 360
METERED = tuple(range(20, DAYS + 1, 20))

PANEL = Member("panel", find_species("white ash"), 20.0, 420.0, START_PCT, 16.0)
(CONSTANTS,) = moisture_batch([PANEL]).constants()


def air(days: int = DAYS) -> tuple[np.ndarray, np.ndarray]:
    """A room from autumn on: 55 % in late summer, 30 % in late winter, and weather."""
    day = np.arange(days)
    weather = np.random.default_rng(7).normal(0.0, 5.0, days)
    return np.full(days, 20.0), 42.0 + 13.0 * np.cos(2 * np.pi * day / 365.0) + weather


def lanes(rates: np.ndarray, start: np.ndarray, days: int = DAYS) -> np.ndarray:
    """Daily mean moisture of the panel at several speeds, (days + 1, speeds)."""
    batch = moisture.Batch.of([CONSTANTS] * len(rates)).quicker(rates)
    return simulate(batch, air(days), start, step_s=DAY_S).mc_mean_pct


def course_of(mc: np.ndarray, days: tuple[int, ...], start_sd: float = 0.8) -> Course:
    """As the watch would give it: the variance of the mean settles at the pace of the wood."""
    tau = time_constant_h(CONSTANTS) / RATES
    at = np.array((0, *days))
    variance = MODEL_SD**2 + (start_sd**2 - MODEL_SD**2) * np.exp(-2.0 * 24.0 * at[:, None] / tau)
    return Course([24 * day for day in at.tolist()], mc[at], variance, tau)


def width_of(mc: np.ndarray, factor: float) -> np.ndarray:
    return np.asarray(PANEL.moving_by(factor).width_at(mc))


@dataclass(frozen=True)
class TruePart:
    """What one part really does: daily moisture and width."""

    mc_pct: np.ndarray
    width_mm: np.ndarray
    measured: list[PartMeasurement]


def true_parts(
    rng: np.random.Generator, movement: np.ndarray, rate: np.ndarray, days: tuple[int, ...] = METERED
) -> list[TruePart]:
    """Parts of these factors; meter, rule, first moisture and where the wood settles are off by chance."""
    n = len(rate)
    off, settles = rng.normal(0.0, 0.8, n), rng.normal(0.0, 0.8, n)
    mc = lanes(rate, START_PCT + off - settles) + settles
    mc[0] = START_PCT + off
    found = []
    for k in range(n):
        tau = time_constant_h(CONSTANTS) / rate[k] / 24.0
        wander = np.zeros(DAYS + 1)
        for day in range(1, DAYS + 1):
            left = np.exp(-1.0 / tau)
            wander[day] = left * wander[day - 1] + rng.normal(0.0, MODEL_SD * np.sqrt(1.0 - left**2))
        held = mc[:, k] + wander
        built = PANEL.moving_by(float(movement[k]))
        width = np.asarray(built.width_at(held)) * PANEL.width_mm / float(built.width_at(START_PCT + off[k]))
        width = width + rng.normal(0.0, SIZE_SD_MM)
        measured = []
        for day in days:
            measured.append(PartMeasurement(24 * day, held[day] + rng.normal(0.0, METER_SD), METER_SD))
            value = width[day] + rng.normal(0.0, RULE_SD_MM)
            measured.append(PartMeasurement(24 * day, value, RULE_SD_MM, width_of, "width"))
        found.append(TruePart(held, width, measured))
    return found
