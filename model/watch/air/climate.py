"""A place with its air: the age of its last reading, its mean EMC, and its season."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from model.watch.air.climate_prior import seasons_of, surroundings_of
from model.watch.air.gap_fill import NO_AIR, HourlyAir
from model.watch.state.roster import PlaceOnBook
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.climate.seasonal_model import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

SILENT_AFTER_H = {"shop": 24, "storage": 24, "home": 72}
"""For how long a place may be without a reading (common practice, no source)."""

NEVER_H = 1 << 40
SETTLING_H = 72
LEAST_SETTLING_H = 24
YEAR_DAYS = 365
YEAR_H = 24 * YEAR_DAYS
LEAST_MEASURED_H = int(0.9 * YEAR_H)
"""Of a year's hours, so many measured make it a measured year."""


@dataclass(frozen=True)
class Climate:
    """A place and its air."""

    place: PlaceOnBook
    air: HourlyAir = NO_AIR
    _asked: dict[tuple[int, int], tuple[Flags, Floats]] = field(default_factory=dict, compare=False)
    _years: dict[int, float] = field(default_factory=dict, compare=False)
    _seasons: dict[int, Season] = field(default_factory=dict, compare=False)

    def through(self, first: int, last: int) -> tuple[Flags, Floats]:
        """At each hour from first to last: whether the air is unknown, and its EMC [%].

        Kept, since everything that stands here asks the same.
        """
        if (first, last) not in self._asked:
            hours = np.arange(first, last + 1, dtype=np.int64)
            unknown = self.age_h(hours) > self.silent_after_h
            self._asked[first, last] = unknown, self.emc_pct(hours)
        return self._asked[first, last]

    @property
    def silent_after_h(self) -> int:
        return SILENT_AFTER_H[self.place.kind]

    def age_h(self, hours: Ints) -> Ints:
        """At each of these instants: how long since the last measured hour ended; `NEVER_H` without one."""
        measured = self.air.measured_hours
        if len(measured) == 0:
            return np.full(len(hours), NEVER_H, dtype=np.int64)
        before = np.searchsorted(measured, hours)
        last = measured[np.maximum(before - 1, 0)] + 1
        return np.where(before > 0, hours - last, NEVER_H)

    def heard_since(self) -> int:
        """The first measured hour after the last silence longer than allowed."""
        measured = self.air.measured_hours
        silences = np.flatnonzero(np.diff(measured) > self.silent_after_h)
        return int(measured[silences[-1] + 1 if len(silences) else 0])

    def mean_emc_pct(self, since: int, until: int, least_h: int = 1) -> float:
        """Mean EMC of the hours from one to another; NaN where fewer than `least_h` are known."""
        rows = slice(max(since - self.air.first, 0), max(until - self.air.first, 0))
        if len(self.air.rh_pct[rows]) < least_h:
            return float("nan")
        return float(np.mean(self.air.emc_pct(rows)))

    def emc_pct(self, hours: Ints) -> Floats:
        """At each of these instants: the mean EMC of the three days before its midnight, NaN if unknown."""
        days, row = np.unique(hours // 24, return_inverse=True)
        means = [
            self.mean_emc_pct(day * 24 - SETTLING_H, day * 24, LEAST_SETTLING_H) for day in days.tolist()
        ]
        return np.array(means)[row]

    def season(self, midnight: int) -> Season:
        """What is known of the place's air up to a midnight, and what may come after it."""
        if midnight not in self._seasons:
            (self._seasons[midnight],) = seasons_of(surroundings_of(self.place), self.air, [midnight])
        return self._seasons[midnight]

    def year_emc_pct(self, midnights: Iterable[int]) -> list[float]:
        """Mean EMC of a year, as known at each of some midnights [%].

        As measured over the year before, where nearly all of it was; else as predicted for the year to come:
        what the place does in seasons not yet seen is what is expected of it, and without any reading that
        is all. Kept, since every stack that goes there asks the same.
        """
        asked = list(midnights)
        new = sorted(set(asked) - self._years.keys())
        measured = self._measured_years(np.array(new, dtype=np.int64))
        self._years.update(
            (at, mean) for at, mean in zip(new, measured.tolist(), strict=True) if mean == mean
        )
        predicted = [at for at in new if at not in self._years]
        if predicted:
            seasons = seasons_of(surroundings_of(self.place), self.air, predicted)
            for midnight, known in zip(predicted, seasons, strict=True):
                air = known.middle(YEAR_DAYS)
                emc_pct = equilibrium_moisture_content(air.temperature_c, air.rh_pct)
                self._years[midnight] = float(np.mean(emc_pct))
        return [self._years[midnight] for midnight in asked]

    def _measured_years(self, midnights: Ints) -> Floats:
        """Mean EMC of the measured hours of the year before each midnight; NaN where they are too few."""
        hours = self.air.measured_hours
        if len(hours) < LEAST_MEASURED_H:
            return np.full(len(midnights), np.nan)
        emc_pct = self.air.emc_pct(slice(None))[hours - self.air.first]
        valid = np.isfinite(emc_pct)
        hours, total = hours[valid], np.concatenate([[0.0], np.cumsum(emc_pct[valid])])
        ends, starts = (np.searchsorted(hours, midnights - back) for back in (0, YEAR_H))
        count = ends - starts
        mean = (total[ends] - total[starts]) / np.maximum(count, 1)
        return np.where(count >= LEAST_MEASURED_H, mean, np.nan)
