"""Diffusion of moisture through wood across the grain, and the permeance of its faces.

Across the grain below fibre saturation moisture moves as bound water through the cell walls, the lumens
offering next to no resistance. Siau's model of that [1]_ gives the coefficient from specific gravity,
temperature and the local moisture content. Its constants are from memory of the book, unverified, and
measured coefficients scatter by a factor of two about any such model (`DOUBT_FACTOR`). The solver
multiplies it by `diffusion_scale_at`: `DIFFUSION_SCALE`, chosen from three lines of evidence
(`tests/oracles/calibrate_evidence.py`), shared out between the radial and the tangential direction by
`RADIAL_TO_TANGENTIAL`.

References
----------
.. [1] Siau, J. F., "Transport Processes in Wood", Springer, Berlin, 1984 (from memory, unverified).
"""

from typing import Any

import numpy as np

from model.wood.errors import OutsideValidity
from model.wood.material.ring_angle import RING_ANGLE

DIFFUSION_SCALE = 2.0
"""Factor on Siau's coefficient at an unknown ring angle, one for all woods; see `calibrate_evidence`."""
RADIAL_TO_TANGENTIAL = 1.2
"""Diffusion along the rays over that along the rings.

Radial is the faster (Siau 1984 and Eitelberger et al. 2011, as quoted in Wood Science and Technology 2018,
doi 10.1007/s00226-018-1003-4; "somewhat", Langrish and Walker 1993, as quoted elsewhere), by 20 to 50 %
(handbooks of kiln drying, from memory, unverified). One measurement has spruce the other way, 0.94
(Sánchez-Ferrer and Engelhardt, Scientific Reports 2026, abstract). Taken is the low end of the range."""
DOUBT_FACTOR = 2.0
"""By which the speed of any one board may be more or less: what published coefficients scatter by."""

GAS_CONSTANT = 8.314  # J/(mol K)
KELVIN = 273.15
CELL_WALL_M2_S = 7e-6
ACTIVATION_J_MOL = 38_500.0
ACTIVATION_PER_PCT_J_MOL = 290.0
SATURATED_PCT = 30.0
"""Above fibre saturation the lumens hold liquid water and the model ends: the coefficient of 30 % is kept."""
FULLEST_CELL_WALL = 0.99
"""Highest share of cell wall in the cross-section. Only woods of specific gravity above about 1 reach it."""
AIR_PERMEANCE_KG_M2_S_PA = 2e-8
"""Vapour permeance of the still air at a bare face: about 7e-9 times a convective coefficient of 2.5 to
3.5 W/(m2 K) (Lewis relation, from memory); with the diffusion scale it also fits best (`calibrate_evidence`).
EN 15026's form gives a third of it in quite still air."""
STICKERED_PERMEANCE_KG_M2_S_PA = 9e-10
"""Of the air between stickered boards, from each face to the shop.

A board in a stack is no lone board: between boards 19 mm apart the air is not the shop's. Fitted with the
diffusion scale to eleven times of acclimation and air drying (`calibrate_evidence.STACK_TIMES`). It is what
some 20 cm of still air lets through: a small stack has so much on its way out."""


def cell_wall_diffusion(temperature_c: Any, mc_pct: Any) -> Any:
    """Bound-water diffusion coefficient of the cell wall across the grain [m2/s].

    `7e-6 exp(-(38500 - 290 M)/(R T))`, Siau 1984 (from memory, unverified); 5 to 25 % MC, 0 to 60 °C. The
    moisture content is held within 0 and 30 %.
    """
    mc = np.clip(mc_pct, 0.0, SATURATED_PCT)
    energy = GAS_CONSTANT * (np.asarray(temperature_c) + KELVIN)
    return CELL_WALL_M2_S * np.exp(-(ACTIVATION_J_MOL - ACTIVATION_PER_PCT_J_MOL * mc) / energy)


def cell_wall_share(specific_gravity: Any, mc_pct: Any) -> Any:
    """Share of a cross-section that is cell wall, `G (0.667 + 0.01 M)`: one less Siau's porosity [-]."""
    mc = np.clip(mc_pct, 0.0, SATURATED_PCT)
    return np.minimum(np.asarray(specific_gravity) * (0.667 + 0.01 * mc), FULLEST_CELL_WALL)


def transverse_diffusion(temperature_c: Any, mc_pct: Any, specific_gravity: Any) -> Any:
    """Diffusion coefficient of wood across the grain, Siau's simplified form [m2/s].

    Parameters
    ----------
    temperature_c : float or array
        Temperature of the wood [°C]; the source holds from 0 to 60, below it this extrapolates.
    mc_pct : float or array
        Moisture content [%]; held within 0 and 30, the source holds from 5 to 25.
    specific_gravity : float or array
        Oven-dry mass over the mass of water in the volume at this moisture content, 0.1 to 1.4.

    Returns
    -------
    float or array
        `D_BT / ((1 - a^2)(1 - a))` with `1 - a^2` the share of cell wall, before any scale.

    Raises
    ------
    OutsideValidity
        If a specific gravity lies outside its range.

    References
    ----------
    Siau 1984, simplified form; neglects vapour in the lumens, under 1 % below 12 % MC.

    Examples
    --------
    >>> round(float(transverse_diffusion(21.0, 8.0, 0.50)) * 1e11, 3)
    3.379
    """
    gravity = np.asarray(specific_gravity, dtype=float)
    if not np.all((gravity >= 0.1) & (gravity <= 1.4)):
        raise OutsideValidity("specific_gravity", "must lie in 0.1 to 1.4", specific_gravity)
    share = cell_wall_share(gravity, mc_pct)
    # (1 - a^2)(1 - a) = (1 - a^2)^2 / (1 + a): the same, without the loss of digits as a nears 1.
    return cell_wall_diffusion(temperature_c, mc_pct) * (1.0 + np.sqrt(1.0 - share)) / share**2


def diffusion_scale_at(ring_angle_deg: Any) -> Any:
    """Factor on Siau's coefficient through the thickness of a board of this ring angle [-].

    Moisture goes through the thickness of a flat-sawn board (0°) along the rays, of a quarter-sawn one (90°)
    along the rings: `D_R cos² + D_T sin²`, with the mean of the two directions `DIFFUSION_SCALE`.

    Examples
    --------
    >>> [round(float(diffusion_scale_at(angle)), 2) for angle in (0.0, 45.0, 90.0)]
    [2.18, 2.0, 1.82]
    """
    turned = np.sin(np.radians(RING_ANGLE.check(ring_angle_deg))) ** 2
    tangential = 2.0 * DIFFUSION_SCALE / (1.0 + RADIAL_TO_TANGENTIAL)
    return tangential * (RADIAL_TO_TANGENTIAL * (1.0 - turned) + turned)


def permeance_in_series(film_kg_m2_s_pa: Any) -> Any:
    """Permeance of a face: air and film in series, `1/(1/W_air + 1/W_film)`; NaN stands for a bare face."""
    film = np.asarray(film_kg_m2_s_pa, dtype=float)
    bare = np.isnan(film)
    both = film * AIR_PERMEANCE_KG_M2_S_PA / (film + AIR_PERMEANCE_KG_M2_S_PA)
    return np.where(bare, AIR_PERMEANCE_KG_M2_S_PA, both)
