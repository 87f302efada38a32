"""Readings as the detectors look at them: one sensor's in order, and the hours of those beside it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from model.watch.trust.findings import HOUR_MS
from model.wood.air.psychrometrics import saturation_vapour_pressure, vapour_pressure

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Hourly:
    """Means of hours: hours since 1970, temperature [°C], vapour pressure [Pa] and relative humidity [%]."""

    hours: Ints
    temperature_c: Floats
    pressure_pa: Floats

    def rh_at(self, temperature_c: Floats) -> Floats:
        """Its air's relative humidity at other temperatures (hours,)."""
        result: Floats = 100.0 * self.pressure_pa / saturation_vapour_pressure(temperature_c)
        return result


@dataclass(frozen=True)
class SensorSeries:
    """One sensor's readings in the order of their instants.

    Attributes
    ----------
    name : str
        The sensor's, for sentences.
    at_ms : (n,) array
        Rising, ms since 1970.
    temperature_c : (n,) array
        NaN where it is not known within half an hour.
    rh_pct : (n,) array
        As it came, NaN where the reading had none.
    true_rh_pct : (n,) array
        With the salt check's correction.
    measured_c : (n,) array
        The temperature that came with the reading itself, NaN where it came with another.
    to_the_last : bool
        Whether the last of them is the last there is.
    """

    name: str
    at_ms: Ints
    temperature_c: Floats
    rh_pct: Floats
    true_rh_pct: Floats
    measured_c: Floats
    to_the_last: bool = True

    def __len__(self) -> int:
        return len(self.at_ms)

    @cached_property
    def hours(self) -> Hourly:
        """The means of the hours in which it knew both quantities."""
        whole = ~np.isnan(self.temperature_c) & ~np.isnan(self.true_rh_pct)
        hours, group = np.unique(self.at_ms[whole] // HOUR_MS, return_inverse=True)
        count = np.bincount(group)
        temperature_c = self.temperature_c[whole]
        pressure_pa = vapour_pressure(temperature_c, self.true_rh_pct[whole])
        return Hourly(
            hours,
            np.bincount(group, weights=temperature_c) / count,
            np.bincount(group, weights=pressure_pa) / count,
        )

    def where(self, keep: Bools) -> "SensorSeries":
        """The readings that are kept."""
        if keep.all():
            return self
        last = bool(len(keep)) and bool(keep[-1])
        return SensorSeries(
            self.name,
            self.at_ms[keep],
            self.temperature_c[keep],
            self.rh_pct[keep],
            self.true_rh_pct[keep],
            self.measured_c[keep],
            self.to_the_last and last,
        )


@dataclass(frozen=True)
class Nearby:
    """The sensors that hung at the same place at the same time, each with the readings of that time."""

    others: Sequence[SensorSeries] = ()

    @cached_property
    def hours(self) -> Hourly:
        """Median over the sensors, at each hour in which at least one of them was heard."""
        return _median([other.hours for other in self.others])

    @property
    def names(self) -> str:
        return " and ".join(other.name for other in self.others)

    def between(self, since_ms: int, until_ms: int) -> Hourly:
        """The hours that a span touches."""
        a = np.searchsorted(self.hours.hours, since_ms // HOUR_MS)
        b = np.searchsorted(self.hours.hours, until_ms // HOUR_MS, side="right")
        hours = self.hours
        return Hourly(hours.hours[a:b], hours.temperature_c[a:b], hours.pressure_pa[a:b])


def _median(all_hours: Sequence[Hourly]) -> Hourly:
    if not all_hours:
        return Hourly(np.empty(0, dtype=np.int64), np.empty(0), np.empty(0))
    if len(all_hours) == 1:
        return all_hours[0]
    hours = np.unique(np.concatenate([one.hours for one in all_hours]))
    table = np.full((2, len(all_hours), len(hours)), np.nan)
    for row, one in enumerate(all_hours):
        column = np.searchsorted(hours, one.hours)
        table[0, row, column], table[1, row, column] = one.temperature_c, one.pressure_pa
    temperature_c, pressure_pa = np.nanmedian(table, axis=1)
    return Hourly(hours, temperature_c, pressure_pa)


def common(own: Hourly, beside: Hourly) -> tuple[Hourly, Hourly]:
    """Both at the hours that both have."""
    hours, a, b = np.intersect1d(own.hours, beside.hours, assume_unique=True, return_indices=True)
    return (
        Hourly(hours, own.temperature_c[a], own.pressure_pa[a]),
        Hourly(hours, beside.temperature_c[b], beside.pressure_pa[b]),
    )


def runs(changes: Bools) -> tuple[Ints, Ints]:
    """First and last index of each run in a sequence; `changes[k]` when item k + 1 begins another run."""
    edges = np.flatnonzero(changes).astype(np.int64)
    zero, last = np.zeros(1, dtype=np.int64), np.full(1, len(changes), dtype=np.int64)
    return np.concatenate([zero, edges + 1]), np.concatenate([edges, last])
