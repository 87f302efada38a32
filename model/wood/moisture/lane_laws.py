"""The laws of wood and air for sixteen members side by side: what `kernel` computes with.

Each is the plain function of the same idea (`diffusion`, `sorption`) in lanes.
"""

from math import exp
from typing import Any

from model.wood.moisture.diffusion import FULLEST_CELL_WALL, SATURATED_PCT
from model.wood.moisture.lanes import compiled, lower, spread, square_root, upper, where_less

NEWTON_ROUNDS = 4
SETTLING_ROUNDS = 2
"""Rounds to find a surface, and in how many of them its diffusion coefficient is settled as well."""

_MIDDLE_EXPONENT = 4.4 / 16.0 / 2.0  # e^x is wanted for x up to 290 x 30 / (R x 233 K), about 4.5
_E_MIDDLE = exp(_MIDDLE_EXPONENT)
# Opening guess of the inverse of eq. 4-5: x = K h from m = M / (1800/W), fitted at 20 °C, good to 0.02 in x.
# Newton's rounds make it exact; it only has to be near.
OPENING = (0.31268, 0.61035, 5.79451)
_GUESS_A, _GUESS_B, _GUESS_C = OPENING
TYPICAL_SLOPE = 16.0  # % MC per unit of humidity, between 30 and 50 % RH
AT_REST = 1e-12  # square of a moisture difference too small to draw a chord through [%^2]
LOWEST_HUMIDITY = -0.05  # a layer a hair below 0 % MC still has a surface


@compiled
def exponential(x: Any) -> Any:
    """e^x for 0 <= x < 4.5, to 1e-10: a polynomial for e^(x/16), squared four times."""
    r = x * (1.0 / 16.0) - _MIDDLE_EXPONENT
    p = spread(1.0 / 5040.0) * r + 1.0 / 720.0
    p = p * r + 1.0 / 120.0
    p = p * r + 1.0 / 24.0
    p = p * r + 1.0 / 6.0
    p = p * r + 0.5
    p = p * r + 1.0
    p = p * r + 1.0
    p = p * _E_MIDDLE
    p = p * p
    p = p * p
    p = p * p
    return p * p


@compiled
def diffusion(mc: Any, factor: Any, rise: Any, dry: Any, per_pct: Any) -> Any:
    """Diffusion coefficient over thickness squared at a moisture content [1/s]."""
    held = lower(upper(mc, 0.0), SATURATED_PCT)
    share = lower(dry + per_pct * held, FULLEST_CELL_WALL)
    return factor * exponential(rise * held) * (square_root(1.0 - share) + 1.0) / (share * share)


@compiled
def equilibrium(h: Any, scale: Any, k: Any, k1: Any, k12: Any) -> Any:
    """Eq. 4-5: moisture content at relative humidity `h` and its slope."""
    x = k * h
    free = 1.0 / (1.0 - x)
    below = 1.0 / ((k12 * x + k1) * x + 1.0)
    mc = scale * (x * free + (2.0 * k12 * x + k1) * x * below)
    # Constants K1 (1 + 4 K2 x + K1 K2 x^2) of the slope, as in `sorption`.
    slope = scale * k * (free * free + (k1 + (k12 * 4.0 + k1 * k12 * x) * x) * (below * below))
    return mc, slope


@compiled
def surface(
    mc: Any,
    per_diffusion: float,
    d_near: Any,
    supply: Any,
    h_air: Any,
    scale: Any,
    k: Any,
    k1: Any,
    k12: Any,
    settled: Any,
    factor: Any,
    rise: Any,
    dry: Any,
    per_pct: Any,
) -> Any:
    """Where a face settles between its air and its first layer.

    Finds the surface humidity h at which what the air gives, `supply (h_air - h)`, is what half a layer
    conducts, `g (EMC(h) - mc)`; both in percent of the board's dry mass per second. `g` is `per_diffusion`
    times the coefficient at the mean of surface and layer; `d_near`, the one just inside, opens the search.

    Returns
    -------
    flux, slope of the tangent of flux over the layer's moisture content, slope of the chord from here to
    where the air leads, share of what the layer asks for that the flux gives, surface moisture content
    """
    g = d_near * per_diffusion
    m = mc / scale
    x = m * (m + _GUESS_A) / ((m + _GUESS_B) * m + _GUESS_C)
    by_slope = g * TYPICAL_SLOPE
    h = (supply * h_air + by_slope * (x / k)) / (supply + by_slope)
    h = lower(upper(h, LOWEST_HUMIDITY), 1.0)
    for round_ in range(NEWTON_ROUNDS):
        here, slope = equilibrium(h, scale, k, k1, k12)
        following = h + (supply * (h_air - h) - g * (here - mc)) / (supply + g * slope)
        following = lower(upper(following, LOWEST_HUMIDITY), 1.0)
        if round_ < SETTLING_ROUNDS:
            at_surface = here + slope * (following - h)
            g = diffusion((at_surface + mc) * 0.5, factor, rise, dry, per_pct) * per_diffusion
        h = following
    flux = supply * (h_air - h)
    # A layer wetter than wood can be in saturated air keeps its surface at saturation, whatever it holds.
    tangent = where_less(h, 1.0, 0.0 - supply * g / (supply + g * slope), 0.0)
    away = mc - settled
    chord = where_less(away * away, AT_REST, 0.0, flux / where_less(away * away, AT_REST, 1.0, away))
    return flux, tangent, chord, (0.0 - tangent) / g, mc + flux / g
