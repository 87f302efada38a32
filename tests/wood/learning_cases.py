"""Parts whose true factors are known, in invented air, and what was measured of them.

The air is a room's: damp in late summer, dry in late winter, with weather. Each part is a flat-sawn panel of
white ash, bare. Its meter and its rule are off by chance, and so are its first moisture content, where its
wood settles, and what the model makes of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from model.watch.state.states import MODEL_SD_PCT
from model.wood.air.sorption import SETTLES_SD_PCT
from model.wood.design.rehearsal import simulate
from model.wood.learning import RATES, Course, PartMeasurement
from model.wood.material.member import Member
from model.wood.material.species import find_species
from model.wood.moisture import solver as moisture
from model.wood.moisture.time_constant import time_constant_h
from model.wood.piece import moisture_batch

START_PCT, START_SD = 9.0, 0.8
METER_SD, RULE_SD_MM, SIZE_SD_MM = 0.5, 0.2, 0.3
DAYS = 360
DAY_H = 24

PANEL = Member("panel", find_species("white ash"), 20.0, 420.0, START_PCT, 16.0)
(CONSTANTS,) = moisture_batch([PANEL]).constants()


def air(days: int = DAYS) -> tuple[np.ndarray, np.ndarray]:
    """Temperature [°C] and humidity [%] of each hour; the same through a day."""
    day = np.arange(days)
    weather = np.random.default_rng(7).normal(0.0, 5.0, 2000)[:days]
    rh_pct = 42.0 + 13.0 * np.cos(2.0 * np.pi * day / 365.0) + weather
    return np.full(days * DAY_H, 20.0), np.repeat(rh_pct, DAY_H)


def lanes(rates: np.ndarray, start: np.ndarray, days: int = DAYS) -> np.ndarray:
    """Mean moisture of the panel at several speeds at the end of each day, (days + 1, speeds)."""
    batch = moisture.Batch.of([CONSTANTS] * len(rates)).quicker(rates)
    return simulate(batch, air(days), start).mc_mean_pct[::DAY_H]


def course_of(days: Sequence[int]) -> Course:
    """The panel by the book, as the watch gives it: the variance settles at the pace of the wood."""
    mc = lanes(RATES, np.full(len(RATES), START_PCT), max(days))
    constants_h = time_constant_h(CONSTANTS) / RATES
    at = np.array((0, *days))
    left = np.exp(-2.0 * DAY_H * at[:, None] / constants_h)
    variance = MODEL_SD_PCT**2 + (START_SD**2 - MODEL_SD_PCT**2) * left
    return Course((DAY_H * at).tolist(), mc[at], variance, constants_h)


def width_of(mc_pct: np.ndarray, factor: float) -> np.ndarray:
    return np.asarray(PANEL.moving_by(factor).width_at(mc_pct))


@dataclass(frozen=True)
class TruePart:
    """What one part really does: moisture and width at the end of each day; and what was measured."""

    mc_pct: np.ndarray
    width_mm: np.ndarray
    measured: list[PartMeasurement]


def true_parts(
    rng: np.random.Generator,
    movement: np.ndarray,
    rate: np.ndarray,
    measured_on: Sequence[int],
    days: int = DAYS,
) -> list[TruePart]:
    """Parts of these factors, each metered and measured on some days."""
    n = len(rate)
    off, settles = rng.normal(0.0, START_SD, n), rng.normal(0.0, SETTLES_SD_PCT, n)
    # Wood that settles a point higher takes the course of other wood that starts a point lower.
    mc = lanes(rate, START_PCT + off - settles, days) + settles
    left = np.exp(-DAY_H * rate / time_constant_h(CONSTANTS))
    wander = np.zeros((days + 1, n))
    for day in range(1, days + 1):
        wander[day] = left * wander[day - 1] + MODEL_SD_PCT * np.sqrt(1.0 - left**2) * rng.standard_normal(n)
    found = []
    for k in range(n):
        held = mc[:, k] + wander[:, k]
        built = PANEL.moving_by(float(movement[k]))
        width = np.asarray(built.width_at(held)) * PANEL.width_mm / float(built.width_at(START_PCT + off[k]))
        width = width + rng.normal(0.0, SIZE_SD_MM)
        measured = []
        for day in measured_on:
            value_pct, value_mm = (
                held[day] + rng.normal(0.0, METER_SD),
                width[day] + rng.normal(0.0, RULE_SD_MM),
            )
            measured.append(PartMeasurement(DAY_H * day, float(value_pct), METER_SD))
            measured.append(PartMeasurement(DAY_H * day, float(value_mm), RULE_SD_MM, width_of, "width"))
        found.append(TruePart(held, width, measured))
    return found
