"""What a sensor on wood says: a scale under a board, a probe in it, a gauge across a gap or on an edge.

Each turns a raw value (g, %, Ω or mm) into moisture content, width or gap with its doubt, a ± from the 10th
to the 90th percentile. What it takes for that stands in its terms, a document kept with what binds it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from model.wood.errors import BadInput
from model.wood.material.instruments import METER_UNCERTAINTY_PCT, MOISTURE, WitnessBoard
from model.wood.material.meter_resistance import LEAST_DOUBT_PCT, TABLE_C, has_resistance, moisture_at
from model.wood.material.metering import CORRECTION_PCT_PER_C, NEUTRAL_C, PIN, Metered

Floats = NDArray[np.float64]

WEIGHT, PROBE, RESISTANCE, LENGTH = "weight", "moisture", "resistance", "length"
QUANTITIES = (WEIGHT, PROBE, RESISTANCE, LENGTH)
UNITS = {WEIGHT: "g", PROBE: "%", RESISTANCE: "Ω", LENGTH: "mm"}

GOOD_TO = {WEIGHT: 1.0, LENGTH: 0.1}
"""A load cell of some kilograms [g] and a plain displacement gauge [mm] (common practice, no source)."""
USUAL_C, USUAL_C_DOUBT = 20.0, 5.0
"""Of wood whose temperature no message tells: a room, and how far it is off (common practice, no source)."""
MOST_MC_PCT = 60.0


@dataclass(frozen=True)
class Said:
    """What a raw value comes to, and the ± of it."""

    value: float
    uncertainty: float


class WoodSensor(Protocol):
    """One of the three, bound to its wood."""

    @property
    def quantity(self) -> str:
        """What is measured: mc_pct, width_mm or gap_mm."""

    @property
    def how(self) -> str:
        """By what, in plain words."""

    def said(self, value: float, wood_c: float | None) -> Said | None:
        """What one raw value comes to; none where no wood can give it."""

    def roughly(self, values: Floats) -> Floats:
        """Many raw values in the unit of what is measured, without corrections: for telling how they move."""


@dataclass(frozen=True)
class BoardScale:
    """A load cell under a board, whose weight was once known together with its moisture content.

    Attributes
    ----------
    mass_g, mc_pct, mc_uncertainty_pct : float
        What it weighed at which moisture content, and how sure that is; at 0 %, the oven-dry weight.
    zero_g : float
        What the scale shows with nothing on it.
    good_to_g : float
        A ± of each reading.

    Examples
    --------
    >>> scale = BoardScale(1240.0, 8.0, 1.0)
    >>> found = scale.said(1224.0, None)
    >>> round(found.value, 1), round(found.uncertainty, 1)
    (6.6, 1.0)
    """

    mass_g: float
    mc_pct: float
    mc_uncertainty_pct: float = METER_UNCERTAINTY_PCT
    zero_g: float = 0.0
    good_to_g: float = GOOD_TO[WEIGHT]
    quantity: str = "mc_pct"
    how: str = "the board's scale"

    @cached_property
    def board(self) -> WitnessBoard:
        return WitnessBoard(self.mass_g, self.mc_pct, self.mc_uncertainty_pct)

    def said(self, value: float, wood_c: float | None) -> Said | None:
        try:
            found = self.board.moisture(value - self.zero_g, self.good_to_g)
        except BadInput:
            return None
        return Said(found.mc_pct, found.uncertainty_pct) if found.mc_pct <= MOST_MC_PCT else None

    def roughly(self, values: Floats) -> Floats:
        rough: Floats = 100.0 * ((values - self.zero_g) / self.board.oven_dry_g - 1.0)
        return rough


@dataclass(frozen=True)
class PinProbe:
    """Pins in the wood that report a moisture content, or the resistance between them.

    Attributes
    ----------
    wood : str
        As `find_species` names it.
    thickness_mm : float
    set_for : str
        The wood it is set for where that is another; empty where it is set for this one.
    wood_c : float, optional
        The wood's temperature where messages don't tell it [°C].
    is_resistance : bool
        Whether it reports ohms, turned into moisture content by the wood's own rows, not a percentage.

    Examples
    --------
    >>> probe = PinProbe("sugar maple", 25.4, wood_c=10.0, is_resistance=True)
    >>> round(probe.said(690e6, None).value, 1)
    11.5
    """

    wood: str
    thickness_mm: float
    set_for: str = ""
    wood_c: float | None = None
    is_resistance: bool = False
    quantity: str = "mc_pct"

    @property
    def how(self) -> str:
        return "resistance probe" if self.is_resistance else "pin probe"

    def said(self, value: float, wood_c: float | None) -> Said | None:
        shown = float(self.roughly(np.array([value]))[0])
        if not 0.0 <= shown <= MOST_MC_PCT:  # NaN neither
            return None
        known = next(one for one in (wood_c, self.wood_c, USUAL_C) if one is not None)
        if self.is_resistance:
            known -= TABLE_C - NEUTRAL_C  # the rows are of warmer wood than a meter's scale
        found = Metered((shown,), self.thickness_mm, PIN, wood_c=known, wood=self.wood, set_for=self.set_for)
        unsure = 0.0 if wood_c is not None else USUAL_C_DOUBT * CORRECTION_PCT_PER_C
        rows = LEAST_DOUBT_PCT if self.is_resistance else 0.0
        return Said(found.mc_pct, math.hypot(found.doubt_pct, unsure, rows))

    def roughly(self, values: Floats) -> Floats:
        return moisture_at(self.wood, values) if self.is_resistance else values


@dataclass(frozen=True)
class Gauge:
    """A displacement gauge across a gap, or on the edge of a panel.

    Attributes
    ----------
    zero_mm : float
        What it showed when the gap or width was `at_mm`.
    at_mm : float
    sign : int
        1 where its reading grows as what is measured grows, -1 where it falls.
    quantity : str
        ``gap_mm`` or ``width_mm``.
    good_to_mm, at_uncertainty_mm : float
        A ± of its readings, and of `at_mm`.

    Examples
    --------
    >>> Gauge(12.0, 2.0, -1, "gap_mm").said(11.5, None).value
    2.5
    """

    zero_mm: float
    at_mm: float
    sign: int
    quantity: str
    good_to_mm: float = GOOD_TO[LENGTH]
    at_uncertainty_mm: float = 0.1

    @property
    def how(self) -> str:
        return "gap gauge" if self.quantity == "gap_mm" else "edge gauge"

    def said(self, value: float, wood_c: float | None) -> Said | None:
        found = self.at_mm + self.sign * (value - self.zero_mm)
        return Said(found, math.hypot(self.good_to_mm, self.at_uncertainty_mm)) if found >= 0.0 else None

    def roughly(self, values: Floats) -> Floats:
        rough: Floats = self.at_mm + self.sign * (values - self.zero_mm)
        return rough


def sensor_on(
    quantity: str, terms: Mapping[str, Any], wood: str, thickness_mm: float, measures: str
) -> WoodSensor:
    """The sensor that reports a quantity, on a board of some wood and thickness, by its terms.

    Parameters
    ----------
    quantity : str
        One of `QUANTITIES`.
    measures : str
        What a length is of: ``gap_mm`` or ``width_mm``.

    Raises
    ------
    BadInput
        If it can't work so: a weight without water in it, a wood whose resistance isn't known.
    """
    match quantity:
        case "weight":
            scale = BoardScale(**terms)
            MOISTURE.check(scale.board.mc_pct)
            return scale
        case "length":
            return Gauge(quantity=measures, **terms)
        case _:
            probe = PinProbe(wood, thickness_mm, is_resistance=quantity == RESISTANCE, **terms)
            if probe.is_resistance and not has_resistance(wood):
                rule = "must be one whose resistance is known; else let the probe send a moisture content"
                raise BadInput("", "the wood", rule, wood)
            return probe


# ---------------------------------------------------------------- thinning

HOUR_MS, DAY_H = 3_600_000, 24


@dataclass(frozen=True)
class HourSaid:
    """What a sensor said in one hour, by the median of its readings; the hour since 1970."""

    hour: int
    value: float
    uncertainty: float


def hours_said(
    sensor: WoodSensor, at_ms: NDArray[np.int64], values: Floats, wood_c: Floats
) -> list[HourSaid]:
    """The median of each hour's readings, as what it comes to; in any order they make the same.

    Parameters
    ----------
    at_ms, values, wood_c : (n,) arrays
        Instants since 1970, raw values, temperatures of the wood [°C], NaN where unknown.
    """
    hours = at_ms // HOUR_MS
    order = np.lexsort((values, hours))
    hours, values, wood_c = hours[order], values[order], wood_c[order]
    found = []
    for of_hour in np.split(np.arange(len(hours)), np.flatnonzero(np.diff(hours)) + 1):
        if not len(of_hour):
            continue
        warm = wood_c[of_hour]
        known = None if np.isnan(warm).all() else float(np.nanmedian(warm))
        said = sensor.said(float(np.median(values[of_hour])), known)
        if said is not None:
            found.append(HourSaid(int(hours[of_hour[0]]), said.value, said.uncertainty))
    return found


def thinned(hours: list[HourSaid]) -> list[HourSaid]:
    """The first hour of each UTC day, and every other that differs from the one kept before it that day by
    more than its uncertainty.

    No change is lost: whatever is left out lies within the uncertainty of what was kept before it. A day
    keeps 24 at most, and mostly one.

    Examples
    --------
    >>> said = [HourSaid(hour, 8.0 + 0.3 * hour, 1.0) for hour in range(24)]
    >>> [one.hour for one in thinned(said)]
    [0, 4, 8, 12, 16, 20]
    """
    kept: list[HourSaid] = []
    for one in hours:
        last = kept[-1] if kept else None
        is_new_day = last is None or one.hour // DAY_H != last.hour // DAY_H
        if is_new_day or last is None or abs(one.value - last.value) > one.uncertainty:
            kept.append(one)
    return kept


SHARED_H = 30 * DAY_H


def shared_variances(hours: list[int], variances: list[float], model_variance: float) -> list[float]:
    """The variances of a sensor's measurements, widened for the error that they have in common.

    A scale that is half a point off today is so tomorrow: a month of its days is not thirty opinions. One
    that is surer than the model is followed all the same; one that is less sure says little more each time.

    Parameters
    ----------
    hours, variances : list
        Of each, in order.
    model_variance : float
        Of what they are weighed against.

    Examples
    --------
    >>> [round(one, 3) for one in shared_variances([0, 24, 48, 2000], [0.6, 0.6, 0.6, 0.6], 0.25)]
    [0.6, 1.024, 1.447, 0.6]
    >>> [round(one, 3) for one in shared_variances([0, 24, 48], [0.01, 0.01, 0.01], 0.25)]
    [0.01, 0.01, 0.011]
    """
    found = []
    for k, (hour, variance) in enumerate(zip(hours, variances, strict=True)):
        before = sum(hour - SHARED_H < other for other in hours[:k])
        found.append(variance * (1.0 + before * variance / (variance + model_variance)))
    return found
