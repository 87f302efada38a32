"""The outdoor climate of the sample shop's valley: invented, seeded, and the same every year.

A sum of sines whose periods divide 8760 hours, so it can be asked for any instant and the year's end meets
its beginning without a step: a season, a day, and weather fronts that last from two days to a month. A few
named spells are laid over them for the story the demo tells.
"""

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from model.wood.air.psychrometrics import dew_point, saturation_vapour_pressure

Hours = NDArray[np.float64]
Flags = NDArray[np.bool_]

SEED = 20250203
YEAR_ZERO = datetime(2025, 1, 1, tzinfo=UTC)
HOURS_A_YEAR = 8760
LOCAL_HOURS_BEHIND_UTC = 5.0  # the valley's sun and its working day; no summer time, for plainness

MEAN_C, SEASON_C, COLDEST_DAY = 7.8, 11.2, 20.0
SATURATED = 0.98  # air outdoors never holds more than this share of saturation


@dataclass(frozen=True)
class Spell:
    """A few days of weather of a kind, every year at the same date.

    Parameters
    ----------
    middle_day : float
        Days since the first of January, UTC.
    sigma_days : float
        About a third of its whole length.
    warmer_c, damper_c : float
        Added to the air's temperature, and taken from the spread between temperature and dew point.
    """

    middle_day: float
    sigma_days: float
    warmer_c: float
    damper_c: float

    def strength(self, hours: Hours) -> Hours:
        half = HOURS_A_YEAR / 2
        away_h = (hours - self.middle_day * 24.0 + half) % HOURS_A_YEAR - half
        shape: Hours = np.exp(-0.5 * (away_h / (24.0 * self.sigma_days)) ** 2)
        return shape


SPELLS = (
    Spell(35.2, 2.0, -6.5, -1.5),  # early February: a cold snap, very dry indoors
    Spell(42.5, 3.0, 9.5, 2.5),  # then a thaw with rain and fog
    Spell(160.0, 4.0, 0.0, 3.0),  # a wet week in June
    Spell(205.0, 7.0, 2.0, 3.0),  # muggy late July
    Spell(298.0, 4.0, 2.0, 3.0),  # autumn fog in the valley
    Spell(352.0, 3.0, -5.0, -1.0),  # the first hard frost, before Christmas
)


@dataclass(frozen=True)
class Outdoors:
    """Outdoor air at given hours: dry-bulb temperature [°C], vapour pressure [Pa] and sun, 0 to 1."""

    temperature_c: Hours
    vapour_pressure_pa: Hours
    sun: Hours

    @property
    def dew_point_c(self) -> Hours:
        """Dew point [°C]."""
        saturated = saturation_vapour_pressure(self.temperature_c)
        return np.asarray(dew_point(self.temperature_c, 100.0 * self.vapour_pressure_pa / saturated))

    @property
    def rh_pct(self) -> Hours:
        """Relative humidity over water [%]."""
        return np.asarray(100.0 * self.vapour_pressure_pa / saturation_vapour_pressure(self.temperature_c))


def hours_since_year_zero(at: datetime) -> float:
    """Hours from the first of January 2025, 00:00 UTC, to an aware instant."""
    return (at - YEAR_ZERO).total_seconds() / 3600.0


def local_hour(hours: Hours) -> Hours:
    """Hour of the day by the valley's sun, 0 to 24."""
    return np.mod(hours - LOCAL_HOURS_BEHIND_UTC, 24.0)


def outdoors(hours: Hours) -> Outdoors:
    """The valley's air.

    Parameters
    ----------
    hours : (n,) array
        Hours since `YEAR_ZERO`, any real numbers.

    Returns
    -------
    Outdoors
        Arrays (n,). The same 8760 hours later.
    """
    hours = np.asarray(hours, dtype=np.float64)
    season = np.cos(2 * np.pi * (hours / 24.0 - COLDEST_DAY) / 365.0)  # 1 in the depth of winter
    warm_fronts = _fronts("warm", hours)
    dry_fronts = _fronts("dry", hours)
    clear = np.clip(0.5 + 0.35 * dry_fronts, 0.0, 1.0)
    warmer_c = np.zeros_like(hours)
    damper_c = np.zeros_like(hours)
    for spell in SPELLS:
        strength = spell.strength(hours)
        warmer_c += spell.warmer_c * strength
        damper_c += spell.damper_c * strength

    day_mean_c = MEAN_C - SEASON_C * season + (3.2 + 0.9 * season) * warm_fronts + warmer_c
    swing_c = (3.6 - 1.2 * season) * (0.35 + 0.9 * clear)
    sun_angle = 2 * np.pi * (local_hour(hours) - 15.0) / 24.0
    temperature_c = day_mean_c + swing_c * np.cos(sun_angle)

    spread_c = np.logaddexp(0.0, 4.6 - 1.6 * season + 1.7 * dry_fronts - damper_c)  # never below nothing
    vapour_pa = np.minimum(
        saturation_vapour_pressure(day_mean_c - spread_c),
        SATURATED * saturation_vapour_pressure(temperature_c),
    )
    daylight = np.clip(np.cos(2 * np.pi * (local_hour(hours) - 12.5) / 24.0) - 0.25 * season, 0.0, 1.0)
    return Outdoors(temperature_c, np.asarray(vapour_pa, dtype=np.float64), daylight * clear)


def _fronts(kind: str, hours: Hours) -> Hours:
    """A weather signal of mean 0 and standard deviation 1, periods from 30 days down to 2."""
    cycles_a_year = np.arange(12, 183)
    stream = np.random.default_rng([SEED, *kind.encode()])
    weight = 1.0 / (1.0 + (cycles_a_year / 60.0) ** 2)
    cosines = stream.standard_normal(cycles_a_year.size) * weight
    sines = stream.standard_normal(cycles_a_year.size) * weight
    power = np.sqrt(0.5 * np.sum(cosines**2 + sines**2))
    signal = np.zeros_like(hours)
    for cycles, cosine, sine in zip(cycles_a_year, cosines / power, sines / power, strict=True):
        phase = 2 * np.pi * cycles * hours / HOURS_A_YEAR
        signal += cosine * np.cos(phase) + sine * np.sin(phase)
    return signal
