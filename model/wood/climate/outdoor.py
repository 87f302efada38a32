"""A year of outdoor air, from twelve monthly means or from a weather file, and the year indoors that follows.

The year is an ordinary one of 365 days in local standard time, hour after hour; a leap day takes the air of
the day before it. It stands for a typical year and is laid over any calendar year by month, day and hour.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import TYPE_CHECKING

import numpy as np

from model.wood.air.psychrometrics import (
    relative_humidity_from_pressure,
    vapour_pressure,
)
from model.wood.climate.indoor import OUTDOOR_TEMPERATURE, IndoorScheme, indoor_air, scheme_named
from model.wood.errors import BadInput
from model.wood.units import Floats, Range

if TYPE_CHECKING:
    import pandas as pd

HOURS, DAYS = 8760, 365
DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTH_OF_DAY = np.repeat(np.arange(12), DAYS_IN_MONTH)
MONTH_OF_HOUR = np.repeat(MONTH_OF_DAY, 24)
FIRST_DAY_OF_MONTH = np.concatenate([[0], np.cumsum(DAYS_IN_MONTH)[:-1]])

ZONE = Range("zone_h", -12.0, 14.0, "h")
MONTHLY_HUMIDITY = Range("rh_pct", 0.0, 100.0, "%")

# A mild temperate year, January first (common practice, no source; no particular town).
TEMPERATE_C = (0.0, 1.0, 5.0, 9.5, 14.0, 17.5, 19.5, 19.0, 15.0, 10.0, 5.0, 1.5)
TEMPERATE_RH_PCT = (85.0, 81.0, 76.0, 71.0, 71.0, 72.0, 72.0, 74.0, 78.0, 82.0, 86.0, 87.0)
HALF_A_YEAR = 6


@dataclass(frozen=True, eq=False)
class OutdoorClimate:
    """A typical year of outdoor air.

    Attributes
    ----------
    name : str
        Of the place.
    temperature_c, rh_pct : array (8760,)
        Hour by hour from 1 January 00:00 local standard time [°C, %]; row k holds from hour k to k + 1.
    zone_h : float
        Local standard time less UTC [h].
    source : str
        Where it comes from, for people.
    filled_hours : int
        Hours that were missing and were filled in a straight line.

    Raises
    ------
    BadInput
        If a year is not 8760 hours long, holds a gap or air that does not exist.
    """

    name: str
    temperature_c: Floats
    rh_pct: Floats
    zone_h: float = 0.0
    source: str = ""
    filled_hours: int = 0

    def __post_init__(self) -> None:
        for what, limits in (("temperature_c", OUTDOOR_TEMPERATURE), ("rh_pct", MONTHLY_HUMIDITY)):
            values = np.array(getattr(self, what), dtype=np.float64)
            if values.shape != (HOURS,):
                raise BadInput(self.name, what, f"must hold {HOURS} hours", values.shape)
            bad = np.flatnonzero(~((values >= limits.low) & (values <= limits.high)))
            if bad.size:
                rule = f"of hour {bad[0]} of the year {limits.rule}"
                raise BadInput(self.name, what, rule, float(values[bad[0]]))
            values.flags.writeable = False
            object.__setattr__(self, what, values)
        ZONE.check(self.zone_h)

    @classmethod
    def from_monthly_means(
        cls,
        name: str,
        temperature_c: Sequence[float],
        rh_pct: Sequence[float],
        zone_h: float = 0.0,
        source: str = "twelve monthly means, typed in",
    ) -> "OutdoorClimate":
        """A smooth year whose months have these means.

        The smoothest one there is: daily values, joined in straight lines at noon, with the least change of
        slope from day to day round the year, under the condition that the hours of each month average to
        its mean. Days and nights are alike in it: the wood of a house knows no difference.

        Parameters
        ----------
        name : str
        temperature_c, rh_pct : 12 numbers, January to December
            Monthly means outdoors [°C], -60 to 60, and [%], 0 to 100.
        zone_h : float
            Local standard time less UTC [h].

        Raises
        ------
        BadInput
            If there are not twelve of each, or one lies outside its range, naming the month.
        """
        temperature = _smooth_year(_twelve(name, "temperature_c", temperature_c, OUTDOOR_TEMPERATURE))
        humidity = _smooth_year(_twelve(name, "rh_pct", rh_pct, MONTHLY_HUMIDITY), 0.0, 100.0)
        return cls(name, temperature, humidity, zone_h, source)

    @cached_property
    def daily(self) -> Mapping[str, Floats]:
        """Daily means: temperature_c, rh_pct (of the mean vapour pressure), 365 each."""
        temperature = self.temperature_c.reshape(DAYS, 24).mean(axis=1)
        pressure = vapour_pressure(self.temperature_c, self.rh_pct).reshape(DAYS, 24).mean(axis=1)
        return {"temperature_c": temperature, "rh_pct": _humidity(temperature, pressure)}

    def indoors(self, scheme: IndoorScheme | str, at: "pd.DatetimeIndex") -> "pd.DataFrame":
        """Air of a room in this climate at each instant, by a scheme of `indoors`.

        The outdoor air of each hour is the mean of the 24 hours about it, as the schemes want a daily mean.

        Parameters
        ----------
        scheme : IndoorScheme or str
        at : DatetimeIndex
            Aware instants, any zone.

        Returns
        -------
        DataFrame
            Index `at`; columns temperature_c, rh_pct.
        """
        import pandas as pd

        way = scheme_named(scheme) if isinstance(scheme, str) else scheme
        room = indoor_air(*self._day_about, way)
        rows = hour_of_year(at, self.zone_h)
        return pd.DataFrame(
            {"temperature_c": room.temperature_c[rows], "rh_pct": room.rh_pct[rows]}, index=at
        )

    @cached_property
    def _day_about(self) -> tuple[Floats, Floats]:
        temperature = _mean_of_day_about(self.temperature_c)
        pressure = _mean_of_day_about(vapour_pressure(self.temperature_c, self.rh_pct))
        return temperature, _humidity(temperature, pressure)


@cache
def temperate(southern: bool = False) -> OutdoorClimate:
    """The general temperate climate, half a year later south of the equator."""
    turn = HALF_A_YEAR if southern else 0
    return OutdoorClimate.from_monthly_means(
        "general temperate climate",
        TEMPERATE_C[turn:] + TEMPERATE_C[:turn],
        TEMPERATE_RH_PCT[turn:] + TEMPERATE_RH_PCT[:turn],
        source="common practice, no source",
    )


def hour_of_year(at: "pd.DatetimeIndex", zone_h: float = 0.0) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Row 0 to 8759 of a typical year for each instant; 29 February takes the rows of the 28th.

    Raises
    ------
    BadInput
        If the instants carry no zone.
    """
    import pandas as pd

    if at.tz is None:
        raise BadInput("", "at", "must hold instants with a time zone", str(at[:1].tolist()))
    local = at.tz_convert("UTC") + pd.Timedelta(hours=zone_h)
    day_in_month = np.minimum(local.day, np.array(DAYS_IN_MONTH)[local.month - 1])
    day = FIRST_DAY_OF_MONTH[local.month - 1] + day_in_month - 1
    return np.asarray(day * 24 + local.hour, dtype=np.int64)


def calendar_year(year: int) -> "pd.DatetimeIndex":
    """Every hour of a calendar year in UTC."""
    import pandas as pd

    return pd.date_range(f"{year}-01-01", f"{year + 1}-01-01", freq="h", tz="UTC", inclusive="left")


def _humidity(temperature_c: Floats, pressure_pa: Floats) -> Floats:
    return np.minimum(np.asarray(relative_humidity_from_pressure(temperature_c, pressure_pa)), 100.0)


def _mean_of_day_about(hours: Floats) -> Floats:
    """Mean of the 24 hours about each, the two outermost by half, round the year."""
    padded = np.concatenate([hours[-12:], hours, hours[:12]])
    weights = np.full(25, 1.0 / 24.0)
    weights[[0, -1]] /= 2.0
    return np.convolve(padded, weights, mode="valid")


def _twelve(where: str, what: str, values: Sequence[float], limits: Range) -> Floats:
    try:
        months = np.array([float(value) for value in values])
    except (TypeError, ValueError):
        raise BadInput(where, what, "must hold numbers only", values) from None
    if months.shape != (12,):
        raise BadInput(where, what, "must hold twelve monthly means, January to December", len(months))
    for number, value in enumerate(months, start=1):
        if not limits.low <= value <= limits.high:
            raise BadInput(where, what, f"of month {number} {limits.rule}", float(value))
    return months


def _hours_between(noons: Floats) -> Floats:
    """The middle of each hour of the year, in a straight line between the noons beside it."""
    middles = (np.arange(HOURS) + 0.5) / 24.0
    return np.asarray(np.interp(middles, np.arange(DAYS) + 0.5, noons, period=DAYS), dtype=np.float64)


@cache
def _smoothest() -> Floats:
    """Noons of the smoothest year from its twelve monthly means: weights, (365, 12).

    The least sum of squared changes of slope from day to day, under the twelve conditions that the hours of a
    month average to its mean.
    """
    each_noon = np.array([_hours_between(noon) for noon in np.eye(DAYS)])
    monthly = np.array([each_noon[:, month == MONTH_OF_HOUR].mean(axis=1) for month in range(12)])
    one_day = np.roll(np.eye(DAYS), 1, axis=1)
    bend = one_day - 2.0 * np.eye(DAYS) + one_day.T
    system = np.block([[bend.T @ bend, monthly.T], [monthly, np.zeros((12, 12))]])
    wanted = np.vstack([np.zeros((DAYS, 12)), np.eye(12)])
    return np.asarray(np.linalg.solve(system, wanted)[:DAYS], dtype=np.float64)


def _smooth_year(means: Floats, low: float = -np.inf, high: float = np.inf) -> Floats:
    """Hours of the year with these monthly means and the least change of slope, kept within two ends."""
    hours = _hours_between(_smoothest() @ means)
    for month, mean in enumerate(means):
        # A month near an end overshoots it: it is flattened about its mean until it does not.
        swing = hours[month == MONTH_OF_HOUR] - mean
        room = min(
            1.0,
            (high - mean) / max(float(swing.max()), 1e-12),
            (mean - low) / max(-float(swing.min()), 1e-12),
        )
        hours[month == MONTH_OF_HOUR] = np.clip(mean + room * swing, low, high)
    return np.asarray(hours, dtype=np.float64)
