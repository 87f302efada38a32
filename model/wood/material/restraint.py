"""Wood that wants to move and may not: stress across the grain, and how likely it splits.

Two limits are asked and both are shown, because neither is sure. One is a strain: about 0.4 % across the
grain is what wood held fast takes before it sets or splits. The other is a stress: stiffness times strain,
less what creep relaxes, against the strength in tension across the grain, which falls with the time the
load lasts. Small clear specimens carry more than boards with knots, checks and end grain, and relaxation is
known to a factor of two, so the answer is a band and a word, never a promise.

Where a wood's stiffness or strength is not printed the stress is unknown; the strain remains.
"""

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

from model.wood.errors import BadInput
from model.wood.fits.limit import RESTRAINED_STRAIN
from model.wood.material.movement import movement_of, strain
from model.wood.material.ring_angle import RING_ANGLE
from model.wood.material.species_record import Species
from model.wood.units import Numbers, Range, apply

SHEAR_ALLOWANCE = 1.1
"""Bending moduli are some 10 % below those in plain tension: Wood Handbook ch. 5, from memory, unverified."""
RELAXATION_LEAST = 0.5
"""Least share of the elastic stress that is left over weeks and months, 0.5 to 0.7. Wood Handbook ch. 5 for
the fact (creep reaches the elastic deflection in a few years), the figures from memory."""
STRENGTH_SCATTER = 0.3
"""Strength of a board against the printed mean, either way (common practice, no source)."""
STRAIN_SURE = 1.5
"""Times the strain limit at which a split is called likely from strain alone (common practice, no source)."""
SEASON_S = 60.0 * 86_400.0
"""How long the stress of a heating season lasts."""

Likelihood = Literal["none", "unlikely", "possible", "likely"]


# --- stiffness, stress and strength ----------------------------------------------------------------


def modulus_across(species: Species, ring_angle_deg: float = 0.0) -> float | None:
    """Stiffness across the grain at a ring angle [MPa]; None where it isn't known.

    `ratio x 1.1 x bending modulus`, tangential at 0 degrees and radial at 90. Between the two it is taken
    as `E_T cos² + E_R sin²`, which is too stiff: wood shears easily in that plane. For a stress that is the
    cautious side.

    Parameters
    ----------
    species : Species
        Its `moe_mpa`, `et_el` and `er_el`; any may be None.
    ring_angle_deg : float
        Of the face along which the board is held [degrees], 0 to 90.

    Examples
    --------
    >>> from model.wood.material.species import find_species
    >>> round(modulus_across(find_species("black cherry")), 1)
    974.4
    """
    angle = math.radians(float(RING_ANGLE.check(ring_angle_deg)))
    along, tangential, radial = species.moe_mpa, species.et_el, species.er_el
    flat, quartered = math.cos(angle) ** 2, math.sin(angle) ** 2
    if along is None or (tangential is None and flat > 1e-9) or (radial is None and quartered > 1e-9):
        return None
    return SHEAR_ALLOWANCE * along * ((tangential or 0.0) * flat + (radial or 0.0) * quartered)


def load_duration_share(duration_s: Numbers) -> Any:
    """Strength under a load that lasts, as a share of that in a test of 7.5 minutes.

    `(18.3 + 108.4 t^-0.04635) / 100`, Wood, FPL report 1916, 1951 (from memory, unverified).

    Parameters
    ----------
    duration_s : float or array
        1 s to 100 years [s].

    Examples
    --------
    >>> round(load_duration_share(365.25 * 86400.0), 3)
    0.67
    """
    limits = Range("duration_s", 1.0, 3.2e9, "s")
    return apply(lambda t: (18.3 + 108.4 * t**-0.04635) / 100.0, (limits, duration_s))


# --- risk as a band ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class SplitRisk:
    """How near a held board is to splitting, by both limits.

    Attributes
    ----------
    likelihood : str
        "none" (it is not pulled), "unlikely", "possible", "likely".
    strain, strain_limit : float
        Denied strain, drying positive, and what wood takes.
    stress_low_mpa, stress_high_mpa : float or None
        With most relaxation and with none [MPa]; None where stiffness is not known.
    strength_low_mpa, strength_high_mpa : float or None
        Printed strength less and more its scatter, for the time the stress lasts [MPa].
    """

    likelihood: Likelihood
    strain: float
    strain_limit: float
    stress_low_mpa: float | None
    stress_high_mpa: float | None
    strength_low_mpa: float | None
    strength_high_mpa: float | None

    @property
    def of_strain_limit(self) -> float:
        """Strain as a share of its limit."""
        return self.strain / self.strain_limit

    @property
    def of_strength(self) -> tuple[float, float] | None:
        """Stress as a share of strength, kindest and harshest reading; None where either isn't known."""
        if self.stress_low_mpa is None or self.stress_high_mpa is None:
            return None
        if self.strength_low_mpa is None or self.strength_high_mpa is None:
            return None
        return self.stress_low_mpa / self.strength_high_mpa, self.stress_high_mpa / self.strength_low_mpa


def split_risk(species: Species, ring_angle_deg: float, mc_held_pct: float, mc_now_pct: float) -> SplitRisk:
    """Whether a board fixed fast across its grain splits after a season's change of moisture.

    Parameters
    ----------
    species : Species
    ring_angle_deg : float
        [degrees], 0 to 90.
    mc_held_pct, mc_now_pct : float
        Moisture content when it was fixed, and now [%], 0 to fibre saturation; BadInput outside.

    Examples
    --------
    >>> from model.wood.material.species import find_species
    >>> risk = split_risk(find_species("black cherry"), 0.0, 9.0, 6.0)
    >>> risk.likelihood, round(risk.stress_high_mpa, 1)
    ('likely', 7.3)
    """
    movement = movement_of(species, ring_angle_deg)
    start, end = strain(movement, mc_held_pct), strain(movement, mc_now_pct)
    denied = (start - end) / (1.0 + start)
    if not math.isfinite(denied):
        raise BadInput("", "moisture content", "must be a number", denied)
    low = high = weakest = strongest = None
    modulus = modulus_across(species, ring_angle_deg)
    if modulus is not None:
        elastic = modulus * denied
        low, high = sorted((RELAXATION_LEAST * elastic, elastic))
    if species.tension_perp_kpa is not None:
        lasting = load_duration_share(SEASON_S) * species.tension_perp_kpa / 1000.0
        weakest, strongest = (1.0 - STRENGTH_SCATTER) * lasting, (1.0 + STRENGTH_SCATTER) * lasting
    risk = SplitRisk("none", denied, RESTRAINED_STRAIN, low, high, weakest, strongest)
    return replace(risk, likelihood=_likelihood(risk))


def _likelihood(risk: SplitRisk) -> Likelihood:
    if risk.strain <= 0.0:
        return "none"
    kindest, harshest = risk.of_strength or (0.0, 0.0)
    if risk.of_strain_limit >= STRAIN_SURE or kindest >= 1.0:
        return "likely"
    if risk.of_strain_limit >= 1.0 or harshest >= 1.0:
        return "possible"
    return "unlikely"
