"""Stock as it lies: the air between boards of a stack, surface checks, and the water of a glue line."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from .errors import BadInput
from .restraint import SplitRisk, surface_check_risk
from .units import Range

if TYPE_CHECKING:
    from .species import Species

DAY_S = 86_400.0

STICKERED_PERMEANCE_KG_M2_S_PA = 9e-10
"""Of the air between stickered boards, from each face to the shop [kg/(m2 s Pa)].

A board in a stack is no lone board: between boards 19 mm apart the air is not the shop's. Fitted with the
diffusion scale to eleven times of acclimation and air drying (`calibrate_evidence.STACK_TIMES`). It is what
some 20 cm of still air lets through: a small stack has so much on its way out."""


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
