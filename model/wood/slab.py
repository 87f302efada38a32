"""A slab in steady air, reckoned by hand: how far the mean has come, and how long it takes.

One coefficient throughout, both faces alike. It checks the solver and gives a first idea; the solver of
`moisture` knows better, because a real coefficient follows moisture and temperature.
"""

import math
from functools import lru_cache
from typing import TYPE_CHECKING

from .diffusion import transverse_diffusion
from .errors import BadInput
from .units import Range

if TYPE_CHECKING:
    from .species import Species

DAY_S = 86_400.0
THICKNESS = Range("thickness_mm", 0.5, 300.0, "mm")


def slab_uptake(fourier: float, biot: float = math.inf) -> float:
    """Share of the way that the mean of a slab has gone after a step of the air, 0 to 1.

    Plane sheet, both faces alike, constant coefficient: Crank, "The Mathematics of Diffusion", and Newman
    1931 (from memory; confirmed by an independent solver).

    Parameters
    ----------
    fourier : float
        `D t / l²`, l half the thickness; 0 or more.
    biot : float
        `S l / D`, how easily the face passes moisture; infinite for none in the way.

    Examples
    --------
    >>> round(slab_uptake(0.5), 6), round(slab_uptake(0.5, 1.0), 6)
    (0.76395, 0.318895)
    """
    if not 0.0 <= fourier < math.inf:
        raise BadInput("", "fourier", "must be 0 or more", fourier)
    if not biot > 0.0:
        raise BadInput("", "biot", "must be above 0", biot)
    if fourier == 0.0:
        return 0.0
    left = 0.0
    for root in _roots(biot):
        if math.isinf(biot):
            size = 2.0 / root**2
        else:
            size = 2.0 * biot**2 / (root**2 * (root**2 + biot**2 + biot))
        left += size * math.exp(-(root**2) * fourier)
    return min(max(1.0 - left, 0.0), 1.0)


@lru_cache(maxsize=64)
def _roots(biot: float, count: int = 400) -> tuple[float, ...]:
    """Roots of `b tan b = L`, one in each of the first intervals of pi."""
    if math.isinf(biot):
        return tuple((n + 0.5) * math.pi for n in range(count))
    from scipy.optimize import brentq  # here: half a second of every start otherwise

    tiny = 1e-13
    return tuple(
        brentq(
            lambda b: b * math.sin(b) - biot * math.cos(b),
            n * math.pi + tiny,
            (n + 0.5) * math.pi - tiny * (n > 0),
            xtol=1e-14,
        )
        for n in range(count)
    )


def days_to_share(share: float, thickness_mm: float, diffusion_m2_s: float, biot: float = math.inf) -> float:
    """Days until a board with both faces in steady air has gone a share of the way.

    Parameters
    ----------
    share : float
        0 to below 1: 0.9 for nine tenths.
    thickness_mm : float
        0.5 to 300.
    diffusion_m2_s : float
        Coefficient across the grain, above 0 [m2/s].
    biot : float
        As in `slab_uptake`.
    """
    wanted = float(Range("share", 0.0, 0.999999, "as a share").check(share))
    half_m = float(THICKNESS.check(thickness_mm)) / 2000.0
    if not 0.0 < diffusion_m2_s < math.inf:
        raise BadInput("", "diffusion_m2_s", "must be above 0 m2/s", diffusion_m2_s)
    if wanted == 0.0:
        return 0.0
    from scipy.optimize import brentq  # here: half a second of every start otherwise

    most = 1.0
    while slab_uptake(most, biot) < wanted:
        most *= 2.0
    fourier = brentq(lambda fo: slab_uptake(fo, biot) - wanted, 0.0, most, xtol=1e-12)
    return float(fourier) * half_m**2 / diffusion_m2_s / DAY_S


def days_by_hand(
    species: "Species", thickness_mm: float, share: float, temperature_c: float, mc_pct: float
) -> float:
    """Days until a bare stickered board has gone a share of the way, by Siau's coefficient as it stands.

    Nothing resists at its faces. The coefficient is that of one temperature [°C] and one moisture content
    [%]; specific gravity at 12 % is taken as that of the wood as it is. A slow reckoning: see `drying`.
    """
    coefficient = transverse_diffusion(temperature_c, mc_pct, species.specific_gravity_12pct)
    return days_to_share(share, thickness_mm, float(coefficient))
