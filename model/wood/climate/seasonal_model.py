"""Yearly cycle of a place's air with its spread: learned from daily means, and carried on into years to come.

Temperature and humidity (as its logit, so that it stays within 0 and 100 %) are each taken as the sum of

* what was expected of the place before anything was measured (a typical year, `Expectation`),
* a yearly and a half-yearly wave about it, which change a little from year to year,
* a slow departure, which goes on for a while the way it is going, and a fast one of first order: a mild
  winter, a spell of weather.

A Kalman filter learns all of them together, day by day, with a hole in the record being a day on which
nothing is learned. So a place without history is its expectation with all of its uncertainty, a place with
some weeks of it knows its level and its weather but not yet its seasons, and a place with years knows
itself; what lies between is weighted as far as it is known, without a rule of its own. How large the
departures are, and how far one year differs from the next, is not known either: a bank of filters with
different sizes runs side by side, and each counts as much as it predicted the days that came. An unheated
place has the weather outdoors, so other sizes are tried for it.

Years to come are drawn from what the filters know on the last day, so the first days go on from its air.
The sizes that are tried, and how far a house may lie from its typical year, are common practice, no source:
wide enough for a damp cellar and a flat with a humidifier, and such that the middle four fifths of the years
drawn hold about four fifths of what came in recorded houses (`tests/bench/outlook_skill.py`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.wood.climate.kalman_bank import HEATED, UNHEATED, FilterState, filtered
from model.wood.errors import BadInput

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

LEAST_YEARS = 2
LEAST_MEASURED_H = 12
"""Fewer measured hours make no day's mean."""
LOWEST_RH_PCT, HIGHEST_RH_PCT = 1.0, 99.0
COLDEST_C, WARMEST_C = -40.0, 60.0


@dataclass(frozen=True, eq=False)
class Expectation:
    """The year expected of a place before anything is measured there.

    Attributes
    ----------
    temperature_c, rh_pct : (365,)
        A typical year of daily means, from 1 January.
    source : str
        Where it comes from, for people.
    unsureness : float
        Factor on how far the place may lie from it: 1 for a house whose climate is known.
    heated : bool
        Whether heating steadies its air; else its weather is that outdoors.

    Raises
    ------
    BadInput
        If a year is not 365 days long or holds air that does not exist.
    """

    temperature_c: Floats
    rh_pct: Floats
    source: str = ""
    unsureness: float = 1.0
    heated: bool = True

    def __post_init__(self) -> None:
        for name, low, high in (
            ("temperature_c", COLDEST_C, WARMEST_C),
            ("rh_pct", LOWEST_RH_PCT, HIGHEST_RH_PCT),
        ):
            values = np.array(getattr(self, name), dtype=np.float64)
            if values.shape != (365,):
                raise BadInput("expectation", name, "must hold 365 days", values.shape)
            if not np.all((values >= low) & (values <= high)):
                worst = float(values[np.argmax(~((values >= low) & (values <= high)))])
                raise BadInput("expectation", name, f"must lie in {low:g} to {high:g}", worst)
            values.flags.writeable = False
            object.__setattr__(self, name, values)

    def on(self, days: Integers) -> tuple[Floats, Floats]:
        """Temperature [°C] and logit of humidity on days since 1970."""
        row = row_of_year(days)
        return self.temperature_c[row], logit(self.rh_pct[row])


@dataclass(frozen=True, eq=False)
class Air:
    """Days of air: arrays of days by years, or of days."""

    temperature_c: Floats
    rh_pct: Floats


@dataclass(frozen=True, eq=False)
class Season:
    """A place's air as known at the end of a day, and the days that may follow.

    Attributes
    ----------
    day : int
        The last day that may be known, days since 1970.
    seen_days : int
        Different days of the year on which something was measured, 0 to 365.
    measured_days : int
        Days measured in all.
    """

    day: int
    expectation: Expectation
    temperature: FilterState
    humidity: FilterState
    seen_days: int = 0
    measured_days: int = 0

    @property
    def seen_share(self) -> float:
        """How much of the year has been seen, 0 to 1."""
        return self.seen_days / 365.0

    def middle(self, days: int) -> Air:
        """The next days without chance, arrays (days,)."""
        ahead = self.day + 1 + np.arange(days)
        temperature, humidity = self.expectation.on(ahead)
        return _air(
            temperature + self.temperature.middle(self.day, ahead),
            humidity + self.humidity.middle(self.day, ahead),
        )

    def years(self, days: int, years: int, seed: int) -> Air:
        """Plausible air of the next days: arrays (days, years).

        Parameters
        ----------
        days : int
            From the day after `day` on.
        years : int
            How many to draw, even and at least two: they come in mirrored pairs.
        seed : int
            The same seed meets the same chance, so that two days in a row draw nearly the same years.
        """
        if years < LEAST_YEARS or years % 2:
            raise BadInput("season", "years", "must be an even number of at least 2", years)
        ahead = self.day + 1 + np.arange(days)
        temperature, humidity = self.expectation.on(ahead)
        warm, damp, mixed = np.random.SeedSequence(seed).spawn(3)
        # Mirrored in one quantity must not mean mirrored in the other.
        order = np.random.default_rng(mixed).permutation(years)
        drawn_c = self.temperature.drawn(self.day, ahead, years, warm)[:, order]
        drawn_rh = self.humidity.drawn(self.day, ahead, years, damp)
        return _air(temperature[:, None] + drawn_c, humidity[:, None] + drawn_rh)


def learn(
    first_day: int,
    temperature_c: ArrayLike,
    rh_pct: ArrayLike,
    expectation: Expectation,
    at: ArrayLike,
) -> list[Season]:
    """The season of a place as known at the end of each of some days.

    Parameters
    ----------
    first_day : int
        Day of the first row, days since 1970.
    temperature_c, rh_pct : (days,)
        Daily means, NaN where none was measured.
    expectation : Expectation
    at : sequence of int
        Rising days since 1970; one before the record begins knows the expectation only, one after its end
        what the record leaves known.

    Returns
    -------
    list of Season
        What each knows follows from the rows up to its day alone.
    """
    warm = np.asarray(temperature_c, dtype=np.float64)
    damp = np.asarray(rh_pct, dtype=np.float64)
    if warm.shape != damp.shape or warm.ndim != 1:
        raise BadInput("season", "rh_pct", f"must have the shape of temperature_c, {warm.shape}", damp.shape)
    asked = np.asarray(at, dtype=np.int64)
    last = int(max(asked.max(initial=first_day - 1), first_day - 1))
    # A record that ends before the last day asked for goes on with days on which nothing was measured.
    days = np.arange(first_day, last + 1)
    warm, damp = (_to_length(values, len(days)) for values in (warm, damp))
    usual_c, usual_logit = expectation.on(days)
    wanted = np.clip(asked - first_day + 1, 0, len(days))
    scale = expectation.unsureness
    noise = HEATED if expectation.heated else UNHEATED
    temperature = filtered(noise.temperature, scale, days, warm - usual_c, wanted)
    humidity = filtered(
        noise.humidity, scale, days, logit(np.clip(damp, LOWEST_RH_PCT, HIGHEST_RH_PCT)) - usual_logit, wanted
    )
    measured = np.isfinite(damp)
    rows = row_of_year(days)
    found = []
    for position, day in enumerate(asked.tolist()):
        known = measured[: wanted[position]]
        found.append(
            Season(
                day,
                expectation,
                temperature[position],
                humidity[position],
                len(np.unique(rows[: wanted[position]][known])),
                int(known.sum()),
            )
        )
    return found


def daily_means(first_hour: int, measured: ArrayLike, *hourly: ArrayLike) -> tuple[int, list[Floats]]:
    """Daily means of hours of air, NaN on days with fewer than `LEAST_MEASURED_H` measured hours.

    Parameters
    ----------
    first_hour : int
        Of row 0, hours since 1970 UTC.
    measured : (hours,) of bool
    hourly : (hours,) each

    Returns
    -------
    first day (days since 1970), the means of each
    """
    is_measured = np.asarray(measured, dtype=bool)
    first_day = first_hour // 24
    day = (first_hour + np.flatnonzero(is_measured)) // 24 - first_day
    count = np.bincount(day, minlength=-(-(first_hour + len(is_measured)) // 24) - first_day)
    means = []
    for values in hourly:
        kept = np.asarray(values, dtype=np.float64)[is_measured]
        total = np.bincount(day, weights=kept, minlength=len(count))
        means.append(np.where(count >= LEAST_MEASURED_H, total / np.maximum(count, 1), np.nan))
    return first_day, means


def logit(rh_pct: Floats) -> Floats:
    return np.asarray(np.log(rh_pct / (100.0 - rh_pct)))


def humidity_of(logits: Floats) -> Floats:
    return np.asarray(100.0 / (1.0 + np.exp(-logits)))


def row_of_year(days: Integers) -> Integers:
    """Row 0 to 364 of a typical year for days since 1970; 29 February takes the row of the 28th."""
    dates = np.asarray(days, dtype="datetime64[D]")
    months = dates.astype("datetime64[M]")
    month = months.astype(np.int64) % 12
    in_month = (dates - months).astype(np.int64)
    in_month = np.minimum(in_month, _DAYS_IN_MONTH[month] - 1)
    return np.asarray(_FIRST_OF_MONTH[month] + in_month)


_DAYS_IN_MONTH = np.array((31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31))
_FIRST_OF_MONTH = np.concatenate([[0], np.cumsum(_DAYS_IN_MONTH)[:-1]])


def _air(temperature_c: Floats, humidity: Floats) -> Air:
    return Air(
        np.clip(temperature_c, COLDEST_C, WARMEST_C),
        np.clip(humidity_of(humidity), LOWEST_RH_PCT, HIGHEST_RH_PCT),
    )


def _to_length(values: Floats, length: int) -> Floats:
    return np.concatenate([values[:length], np.full(max(length - len(values), 0), np.nan)])
