"""Daily means of a place's air.

A day is complete, from midnight to midnight UTC; its means depend on its own hours alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.watch.air.gap_fill import HourlyAir
from model.wood.climate.seasonal_model import daily_means

Floats = NDArray[np.float64]

DAY_H = 24


@dataclass(frozen=True)
class Days:
    """Complete days of a place, one entry a day.

    Attributes
    ----------
    first : int
        Day of entry 0, since 1970 UTC.
    emc_pct : (days,)
        Mean EMC of all hours, estimated ones too [%].
    measured_emc_pct, measured_rh_pct : (days,)
        Means of the measured hours [%]; NaN where fewer than `LEAST_MEASURED_H` are.
    """

    first: int
    emc_pct: Floats
    measured_emc_pct: Floats
    measured_rh_pct: Floats

    @property
    def end(self) -> int:
        return self.first + len(self.emc_pct)

    def mean_emc_pct(self, since: int, until: int, least: int = 1) -> float:
        """Mean EMC from one day to before another; NaN where fewer than `least` days are known."""
        own = self.emc_pct[max(since - self.first, 0) : max(until - self.first, 0)]
        return float(np.mean(own)) if len(own) >= least else float("nan")


def days_of(air: HourlyAir, hour: int) -> Days:
    """The complete days of a place's air up to an hour."""
    rows = slice(max(min(hour // DAY_H * DAY_H, air.end) - air.first, 0))
    rh_pct, measured = air.rh_pct[rows], air.measured[rows]
    if not len(rh_pct):
        return Days(air.first // DAY_H, np.empty(0), np.empty(0), np.empty(0))
    emc_pct = air.emc_pct(rows)
    first, measured_means = daily_means(air.first, measured, emc_pct, rh_pct)
    day = (air.first + np.arange(len(rh_pct))) // DAY_H - first
    return Days(first, np.bincount(day, weights=emc_pct) / np.bincount(day), *measured_means)
