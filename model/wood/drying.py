"""How long stock takes to come to its air, and whether its surface checks on the way.

Dates come from the solver of `moisture`, so that the date of a stack and its course as it is followed
agree. They are given as a range: published diffusion coefficients scatter by a factor of two
(`DOUBT_FACTOR`), and what the air between the boards lets through is known no better. Plan by the slow end.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from .diffusion import DIFFUSION_SCALE, DOUBT_FACTOR
from .errors import BadInput
from .readiness import TOLERANCE_PCT
from .restraint import SplitRisk, surface_check_risk
from .sorption import equilibrium_moisture_content
from .units import Floats, Range

if TYPE_CHECKING:
    from .species import Species

DAY_S = 86_400.0
STEP_S = DAY_S / 4.0
STEPS_A_DAY = 4
LONGEST_DAYS = 1_000
"""Beyond this no date is given."""

STICKERED_PERMEANCE_KG_M2_S_PA = 9e-10
"""Of the air between stickered boards, from each face to the shop [kg/(m2 s Pa)].

A board in a stack is no lone board: between boards 19 mm apart the air is not the shop's. Fitted with the
diffusion scale to eleven times of acclimation and air drying (`calibrate_evidence.STACK_TIMES`). It is what
some 20 cm of still air lets through: a small stack has so much on its way out."""

TIGHT_PACKAGE_PCT_MONTH = 0.2
"""What dry 3/4 in lumber gains or loses at most in a tight package: Wood Handbook ch. 13."""

MOISTURE = Range("mc_pct", 0.0, 60.0, "%")
THICKNESS = Range("thickness_mm", 0.5, 300.0, "mm")

Stacking = Literal["stickered", "one face", "dead-piled"]


class DayRange(NamedTuple):
    """Days, or points, with the fast, middle and slow figures; None where it isn't reached."""

    fast: float | None
    middle: float | None
    slow: float | None


@dataclass(frozen=True)
class Acclimation:
    """What becomes of stock in steady air.

    Attributes
    ----------
    mc_pct, emc_pct, target_pct : float
        Where it is, where this air takes it, and where it should be [%].
    days : DayRange
        Until its mean is within the tolerance of the target; zero when it is already.
    stays : bool
        Whether it stays there in this air: whether the air's own moisture content lies within the tolerance.
    first_week_pct : DayRange
        Change of the mean in the first seven days [points].
    daily_pct : array (days + 1,)
        Mean with the middle figures at the end of each day, from today [%].
    says : str
        One sentence.
    """

    mc_pct: float
    emc_pct: float
    target_pct: float
    days: DayRange
    stays: bool
    first_week_pct: DayRange
    daily_pct: Floats
    says: str

    @property
    def ready_now(self) -> bool:
        return self.days.slow == 0.0


def acclimation(
    species: "Species",
    thickness_mm: float,
    mc_pct: float,
    temperature_c: float,
    rh_pct: float,
    target_pct: float | None = None,
    tolerance_pct: float = TOLERANCE_PCT,
    stacking: Stacking = "stickered",
    permeance_kg_m2_s_pa: float = math.nan,
    profile: ArrayLike | None = None,
) -> Acclimation:
    """How long stock takes to come within a tolerance of a target in steady air.

    Parameters
    ----------
    species : Species
    thickness_mm : float
        0.5 to 300.
    mc_pct : float
        Moisture content now, right through unless `profile` is given [%], 0 to 60.
    temperature_c, rh_pct : float
        The air it lies in; ranges as `sorption.equilibrium_moisture_content`.
    target_pct : float, optional
        Where it should be, such as the moisture content of the home it goes to [%]; else that of this air.
    tolerance_pct : float
        How near is near enough [points], 0.1 to 5.
    stacking : str
        "stickered" with the air of a stack on both faces, "one face" (the other shut off), or "dead-piled".
    permeance_kg_m2_s_pa : float
        Of a finish on its faces; NaN for bare wood.
    profile : (1, CELLS), optional
        Moisture through the thickness, as the solver keeps it.

    Returns
    -------
    Acclimation

    Raises
    ------
    BadInput
        If a number lies outside its range, or for another way of stacking.
    """
    from .moisture import Batch, advance, summary, uniform_profile

    mc = float(MOISTURE.check(mc_pct))
    thickness = float(THICKNESS.check(thickness_mm))
    tolerance = float(Range("tolerance_pct", 0.1, 5.0, "points").check(tolerance_pct))
    if stacking not in ("stickered", "one face", "dead-piled"):
        raise BadInput("", "stacking", "must be stickered, one face or dead-piled", stacking)
    emc = equilibrium_moisture_content(temperature_c, rh_pct)
    target = emc if target_pct is None else float(Range("target_pct", 0.0, 60.0, "%").check(target_pct))
    if any(math.isnan(value) for value in (mc, thickness, emc, target)):
        raise BadInput("", "stock and air", "must be numbers", (mc_pct, thickness_mm, emc, target_pct))
    stays = abs(emc - target) <= tolerance
    gravity = species.specific_gravity_12pct

    def batch_at(factor: float) -> Batch:
        open_face = factor * STICKERED_PERMEANCE_KG_M2_S_PA
        if not math.isnan(permeance_kg_m2_s_pa):  # the finish and that air in series
            open_face *= permeance_kg_m2_s_pa / (open_face + permeance_kg_m2_s_pa)
        back = 0.0 if stacking == "one face" else open_face
        values = thickness, gravity, 1000.0 * gravity, open_face, back, factor * DIFFUSION_SCALE
        return Batch(*(np.array([value], dtype=np.float64) for value in values))

    start = uniform_profile([mc]) if profile is None else np.asarray(profile, dtype=np.float64)
    now = float(summary(start, batch_at(1.0)).mc_mean_pct[0])
    if stacking == "dead-piled":
        return _dead_piled(now, emc, target, tolerance, stays)

    def run(factor: float, days: int) -> Floats:
        air = np.full((days * STEPS_A_DAY, 1), temperature_c), np.full((days * STEPS_A_DAY, 1), rh_pct)
        done = advance(start, batch_at(factor), *air, 0, 0, step_s=STEP_S)
        return np.concatenate([[now], done.mc_mean_pct[:, 0]])

    reaches = stays or min(now, emc) <= target <= max(now, emc)
    days, weeks = [], []
    middle = np.empty(0)
    for factor in (DOUBT_FACTOR, 1.0, 1.0 / DOUBT_FACTOR):
        length = 30
        means = run(factor, length)
        while reaches and length < LONGEST_DAYS and _first_within(means, target, tolerance) is None:
            length = min(3 * length, LONGEST_DAYS)
            means = run(factor, length)
        days.append(_first_within(means, target, tolerance))
        weeks.append(float(means[7 * STEPS_A_DAY] - now))
        if factor == 1.0:
            middle = means[::STEPS_A_DAY]
    found = DayRange(*days)
    return Acclimation(
        now,
        emc,
        target,
        found,
        stays,
        DayRange(*weeks),
        middle,
        _says(now, emc, target, tolerance, found, stays),
    )


def _first_within(means: Floats, target: float, tolerance: float) -> float | None:
    """Days until the mean first comes within the tolerance, in a straight line between steps."""
    off = np.abs(means - target) - tolerance
    inside = np.flatnonzero(off <= 1e-12)
    if inside.size == 0:
        return None
    first = int(inside[0])
    if first == 0:
        return 0.0
    share = off[first - 1] / (off[first - 1] - off[first])
    return float((first - 1 + share) / STEPS_A_DAY)


def _dead_piled(now: float, emc: float, target: float, tolerance: float, stays: bool) -> Acclimation:
    month = 30.4375
    moves = math.copysign(TIGHT_PACKAGE_PCT_MONTH, emc - now) if emc != now else 0.0
    off = abs(now - target) - tolerance
    at_most = DayRange(*(0.0,) * 3) if off <= 0.0 else DayRange(None, None, None)
    week = math.copysign(min(abs(moves) * 7.0 / month, abs(emc - now)), moves) if moves else 0.0
    daily = now + np.sign(emc - now) * np.minimum(
        np.arange(31) * TIGHT_PACKAGE_PCT_MONTH / month, abs(emc - now)
    )
    says = (
        f"dead-piled stock moves {TIGHT_PACKAGE_PCT_MONTH:g} point a month at most: it lies steady at "
        f"{now:.1f} % and does not come to its air; sticker it"
    )
    return Acclimation(now, emc, target, at_most, stays, DayRange(week, week, week), daily, says)


def _says(now: float, emc: float, target: float, tolerance: float, days: DayRange, stays: bool) -> str:
    if days.slow == 0.0:
        rest = "" if stays else f", but this air takes it on to {emc:.1f} %"
        return f"at {now:.1f} % it is where it should be ({target:.1f} %){rest}"
    if days.middle is None and not stays:
        return f"never in this air: it leads to {emc:.1f} % and the wood should be at {target:.1f} %"
    ends = [
        f"{value:.0f}" if value is not None else f"more than {LONGEST_DAYS}"
        for value in (days.fast, days.slow)
    ]
    span = f"{ends[0]} to {ends[1]} days" if ends[0] != ends[1] else f"{ends[0]} days"
    rest = "" if stays else f", and then it must be moved: this air takes it on to {emc:.1f} %"
    return f"from {now:.1f} % to within {tolerance:g} of {target:.1f} % in {span}{rest}"


# --- surface checks and glue -------------------------------------------------------------------------------


def worst_surface_check(
    species: "Species",
    ring_angle_deg: float,
    mc_mean_pct: ArrayLike,
    mc_surface_pct: ArrayLike,
    duration_s: float = 3.0 * DAY_S,
) -> tuple[int, SplitRisk]:
    """The moment at which a drying surface is likeliest to check, and how likely.

    Parameters
    ----------
    species : Species
    ring_angle_deg : float
        Of the face [degrees].
    mc_mean_pct, mc_surface_pct : (steps,)
        Mean and surface of one member through time, as `moisture.advance` gives them [%].
    duration_s : float
        How long the surface stays so [s].

    Returns
    -------
    int, SplitRisk
        Row of the largest difference, and its risk.

    Raises
    ------
    BadInput
        If the two are empty, hold a gap or differ in length.
    """
    mean, surface = (np.asarray(values, dtype=np.float64) for values in (mc_mean_pct, mc_surface_pct))
    gap: Any = mean - surface if mean.shape == surface.shape else np.empty(0)
    if gap.ndim != 1 or gap.size == 0 or not np.isfinite(gap).all():
        raise BadInput("", "mc_surface_pct", "must hold a number for each mean", surface.shape)
    worst = int(np.argmax(gap))
    risk = surface_check_risk(species, ring_angle_deg, float(mean[worst]), float(surface[worst]), duration_s)
    return worst, risk


def glue_water_pct(water_g_m2: float, lamella_mm: float, oven_dry_density_kg_m3: float) -> float:
    """Points of moisture that the water of one glue line brings to the lamella that shares it.

    `100 g / (t rho0)`: what 100 g/m2 of water does to 20 mm at 500 kg/m3 is one point, to a strip 100 mm
    wide a fifth.

    Parameters
    ----------
    water_g_m2 : float
        Water in the glue line [g/m2], 0 to 1000.
    lamella_mm : float
        Of wood to each glue line, square to it: the thickness of a lamella, the width of a strip [mm].
    oven_dry_density_kg_m3 : float
        50 to 1500.

    Examples
    --------
    >>> glue_water_pct(100.0, 20.0, 500.0)
    1.0
    """
    water = float(Range("water_g_m2", 0.0, 1000.0, "g/m2").check(water_g_m2))
    lamella = float(Range("lamella_mm", 0.5, 2000.0, "mm").check(lamella_mm))
    density = float(Range("oven_dry_density_kg_m3", 50.0, 1500.0, "kg/m3").check(oven_dry_density_kg_m3))
    return 100.0 * (water / 1000.0) / (lamella / 1000.0 * density)
