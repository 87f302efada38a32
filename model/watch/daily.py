"""A place's air day by day: what stands between the hours that wood follows and what people are told.

A day is from midnight to midnight UTC and complete. Its means depend on its own hours alone, so that they are
the same whatever else is known.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.watch.bridge import Air
from model.watch.state import COLDEST_C, WARMEST_C
from model.wood.sorption import equilibrium_moisture_content

Floats = NDArray[np.float64]

DAY_H = 24
LEAST_MEASURED_H = 12
"""Fewer measured hours make no day's mean."""


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


def days_of(air: Air, hour: int) -> Days:
    """The complete days of a place's air up to an hour."""
    first = air.first // DAY_H
    rows = max(min(hour // DAY_H * DAY_H, air.end) - air.first, 0)
    day = (air.first + np.arange(rows)) // DAY_H - first
    count = int(day[-1]) + 1 if rows else 0
    temperature_c = np.clip(air.temperature_c[:rows], COLDEST_C, WARMEST_C)
    rh_pct = air.rh_pct[:rows]
    emc_pct = np.asarray(equilibrium_moisture_content(temperature_c, rh_pct)) if rows else np.empty(0)
    measured = air.measured[:rows]
    known = np.bincount(day[measured], minlength=count)
    found = []
    for values in (emc_pct, rh_pct):
        sums = np.bincount(day[measured], weights=values[measured], minlength=count)
        found.append(np.where(known >= LEAST_MEASURED_H, sums / np.maximum(known, 1), np.nan))
    hours = np.bincount(day, minlength=count)
    return Days(first, np.bincount(day, weights=emc_pct, minlength=count) / np.maximum(hours, 1), *found)
