"""The moisture solver in plain numpy: what the compiled kernel computes, to be read and tested against.

Notation: a board of thickness h is divided into layers of relative width w_i. With M the moisture content of
each layer in percent, D its diffusion coefficient, and everything divided by h,

    w_i dM_i/dt = g_i (M_{i+1} - M_i) - g_{i-1} (M_i - M_{i-1}),      g_i = D / (h^2 x distance)

and at each face, instead of a neighbour, the flux J that the air gives and the outer half layer conducts:

    J = q (h_air - h_s) = g_s (EMC(h_s) - M_1),    q = 100 W p_ws / (rho0 h),   g_s = D_s / (h^2 w_1 / 2)

h_s is the humidity at the surface, found by Newton's method; D_s belongs to the mean of surface and layer.

`Physics` holds the two laws that can be exchanged. With a constant coefficient and a straight sorption line
the problem is that of the textbooks, whose series solutions the tests use.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.moisture import lane_laws as laws
from model.wood.moisture.air_tables import sorption_constants
from model.wood.moisture.diffusion import permeance_in_series, transverse_diffusion
from model.wood.moisture.layers import (
    CELLS,
    DISTANCES,
    FACE_LATER,
    FACE_LAYER,
    FACE_OUTER,
    FACE_SECOND,
    LATER_FAR,
    LATER_NEAR,
    WIDTHS,
)
from model.wood.moisture.solver import Batch, parts_of

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Physics:
    """The laws of wood and air.

    Attributes
    ----------
    diffusion : callable (temperature_c, mc_pct, specific_gravity) -> m2/s
        Before the member's diffusion scale.
    sorption : callable (temperature_c, h) -> (mc_pct, slope)
        Moisture content at relative humidity h, a fraction, and its slope.
    opening : callable (temperature_c, mc_pct) -> h
        Roughly the inverse, to start Newton's method from.
    """

    diffusion: Callable[[Floats, Floats, Floats], Floats]
    sorption: Callable[[Floats, Floats], tuple[Floats, Floats]]
    opening: Callable[[Floats, Floats], Floats]


def _sorption(temperature_c: Floats, h: Floats) -> tuple[Floats, Floats]:
    scale, k, k1, k12 = sorption_constants(temperature_c)
    x = k * h
    below = 1.0 + k1 * x + k12 * x**2
    mc = scale * (x / (1.0 - x) + (k1 * x + 2.0 * k12 * x**2) / below)
    slope = scale * k * (1.0 / (1.0 - x) ** 2 + (k1 + 4.0 * k12 * x + k1 * k12 * x**2) / below**2)
    return mc, slope


def _opening(temperature_c: Floats, mc_pct: Floats) -> Floats:
    scale, k, _k1, _k12 = sorption_constants(temperature_c)
    m = mc_pct / scale
    a, b, c = laws.OPENING
    return m * (m + a) / (m**2 + b * m + c) / k


WOOD = Physics(transverse_diffusion, _sorption, _opening)


def linear(diffusion_m2_s: float, moisture_per_humidity: float) -> Physics:
    """A constant diffusion coefficient and a straight sorption line through nought: the textbook's wood."""

    def constant(temperature_c: Floats, mc_pct: Floats, specific_gravity: Floats) -> Floats:
        return np.full(np.shape(mc_pct), diffusion_m2_s)

    def straight(temperature_c: Floats, h: Floats) -> tuple[Floats, Floats]:
        return moisture_per_humidity * h, np.full(np.shape(h), moisture_per_humidity)

    return Physics(constant, straight, lambda temperature_c, mc_pct: mc_pct / moisture_per_humidity)


@dataclass(frozen=True)
class _Side:
    """The air at one face of every member for one row of air."""

    temperature_c: Floats
    h: Floats
    supply: Floats  # q
    settled: Floats  # EMC of the air


@dataclass(frozen=True)
class _Face:
    flux: Floats  # J
    tangent: Floats  # slope of J over the layer's moisture content here
    chord: Floats  # and from here to where the air leads
    passes_on: Floats  # share of what the outer layer asks for that J gives
    mc_pct: Floats  # at the surface


@dataclass(frozen=True)
class _Boards:
    """What the members of one call have in common."""

    batch: Batch
    physics: Physics

    def diffusion(self, temperature_c: Floats, mc: Floats) -> Floats:
        """D / h^2 [1/s], members along the last axis."""
        thickness_m = self.batch.thickness_mm * 1e-3
        gravity = self.batch.specific_gravity
        scale = self.batch.diffusion_scale
        return scale * self.physics.diffusion(temperature_c, mc, gravity) / thickness_m**2

    def side(self, temperature_c: Floats, rh_pct: Floats, film: Floats) -> _Side:
        h = rh_pct / 100.0
        per_pa = 100.0 / (self.batch.oven_dry_density_kg_m3 * self.batch.thickness_mm * 1e-3)
        supply = permeance_in_series(film) * per_pa * saturation_vapour_pressure(temperature_c)
        return _Side(temperature_c, h, supply, self.physics.sorption(temperature_c, h)[0])

    def face(
        self, side: _Side, wood_c: Floats, mc: Floats, d_near: Floats, per_diffusion: float = FACE_LAYER
    ) -> _Face:
        """Where a surface settles between its air and the moisture content that it conducts from.

        `d_near` is the coefficient just inside, to open with.
        """
        g = d_near * per_diffusion
        by_slope = g * laws.TYPICAL_SLOPE
        h = side.supply * side.h + by_slope * self.physics.opening(side.temperature_c, mc)
        h = np.clip(h / (side.supply + by_slope), laws.LOWEST_HUMIDITY, 1.0)
        for round_ in range(laws.NEWTON_ROUNDS):
            here, slope = self.physics.sorption(side.temperature_c, h)
            step = (side.supply * (side.h - h) - g * (here - mc)) / (side.supply + g * slope)
            following = np.clip(h + step, laws.LOWEST_HUMIDITY, 1.0)
            if round_ < laws.SETTLING_ROUNDS:
                at_surface = here + slope * (following - h)
                g = self.diffusion(wood_c, 0.5 * (at_surface + mc)) * per_diffusion
            h = following
        flux = side.supply * (side.h - h)
        tangent = np.where(h < 1.0, -side.supply * g / (side.supply + g * slope), 0.0)
        away = mc - side.settled
        resting = away**2 < laws.AT_REST
        chord = np.where(resting, 0.0, flux / np.where(resting, 1.0, away))
        return _Face(flux, tangent, chord, -tangent / g, mc + flux / g)

    def surface(self, side: _Side, wood_c: Floats, outer: Floats, second: Floats) -> Floats:
        """Moisture content at a surface, on a parabola through the two outer layers."""
        per_diffusion = FACE_OUTER + FACE_SECOND
        conducts_from = (FACE_OUTER * outer + FACE_SECOND * second) / per_diffusion
        d_near = self.diffusion(wood_c, 0.5 * (outer + second))
        return self.face(side, wood_c, conducts_from, d_near, per_diffusion).mc_pct

    def implicit(
        self, mc: Floats, duration_s: float, face: _Side, back: _Side, wood_c: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """One implicit step: change of each layer, and what came in at face and back."""
        d = self.diffusion(wood_c, 0.5 * (mc[1:] + mc[:-1]))
        between = d / DISTANCES[:, None]
        crossing = between * (mc[1:] - mc[:-1])
        one, other = self.face(face, wood_c, mc[0], d[0]), self.face(back, wood_c, mc[-1], d[-1])
        rate = 1.0 / duration_s
        slope_one, slope_other = self._slope(one, rate), self._slope(other, rate)
        source = np.zeros_like(mc)
        source[:-1] += crossing
        source[1:] -= crossing
        source[0] += one.flux
        source[-1] += other.flux
        near, far = LATER_NEAR[:, None] * rate, LATER_FAR[:, None] * rate
        diagonal = np.repeat(WIDTHS[:, None] * rate, mc.shape[1], axis=1)
        diagonal[:-1] += between + near
        diagonal[1:] += between - far
        diagonal[0] -= slope_one
        diagonal[-1] -= slope_other
        change = _solve(diagonal, between + near, between - far, source)
        came_face = duration_s * (one.flux + slope_one * change[0])
        came_back = duration_s * (other.flux + slope_other * change[-1])
        return change, came_face, came_back

    def _slope(self, face: _Face, rate: float) -> Floats:
        """What one percent more in the outer layer does to a face's flux, over one implicit step."""
        room = WIDTHS[0] - FACE_LATER
        return np.minimum(face.tangent, face.chord + room * rate) + face.passes_on * FACE_LATER * rate


def _solve(diagonal: Floats, below: Floats, above: Floats, source: Floats) -> Floats:
    """Tridiagonal systems, one a column, with `-below` and `-above` beside the diagonal."""
    pivot, carried = diagonal.copy(), source.copy()
    for i in range(1, len(pivot)):
        pivot[i] -= below[i - 1] * above[i - 1] / pivot[i - 1]
        carried[i] += below[i - 1] * carried[i - 1] / pivot[i - 1]
    carried[-1] /= pivot[-1]
    for i in range(len(pivot) - 2, -1, -1):
        carried[i] = (carried[i] + above[i] * carried[i + 1]) / pivot[i]
    return carried


@dataclass(frozen=True)
class PlainAdvance:
    """As `moisture.Advance`, at the end of every step."""

    profile: Floats
    mc_mean_pct: Floats
    mc_face_pct: Floats
    mc_back_pct: Floats
    gained_face_pct: Floats
    gained_back_pct: Floats


def advance_plainly(
    profile: ArrayLike,
    batch: Batch,
    temperature_c: Floats,
    rh_pct: Floats,
    face_air: ArrayLike = 0,
    back_air: ArrayLike = 0,
    step_s: float = 3600.0,
    *,
    physics: Physics = WOOD,
) -> PlainAdvance:
    """`moisture.advance` without its checks, its blocks and its threads; same arguments.

    All members must divide a step alike (`parts_of` their thickness).
    """
    members = len(batch)
    (parts,) = np.unique(parts_of(batch.thickness_mm, step_s))
    boards = _Boards(batch, physics)
    face_at = np.broadcast_to(np.asarray(face_air), (members,))
    back_at = np.broadcast_to(np.asarray(back_air), (members,))
    mc = np.asarray(profile, dtype=np.float64).T.copy()
    assert mc.shape == (CELLS, members)
    came_face, came_back = np.zeros(members), np.zeros(members)
    means, faces, backs = [], [], []
    part_s = step_s / parts
    for temperature, rh in zip(np.asarray(temperature_c), np.asarray(rh_pct), strict=True):
        face = boards.side(temperature[face_at], rh[face_at], batch.face_permeance)
        back = boards.side(temperature[back_at], rh[back_at], batch.back_permeance)
        wood_c = 0.5 * (face.temperature_c + back.temperature_c)
        for _ in range(parts):
            whole, whole_face, whole_back = boards.implicit(mc, part_s, face, back, wood_c)
            first, first_face, first_back = boards.implicit(mc, part_s / 2.0, face, back, wood_c)
            then, then_face, then_back = boards.implicit(mc + first, part_s / 2.0, face, back, wood_c)
            # Twice the two halves less the whole cancels the error of first order.
            mc = mc + 2.0 * (first + then) - whole
            came_face += 2.0 * (first_face + then_face) - whole_face
            came_back += 2.0 * (first_back + then_back) - whole_back
        means.append(WIDTHS @ mc)
        faces.append(boards.surface(face, wood_c, mc[0], mc[1]))
        backs.append(boards.surface(back, wood_c, mc[-1], mc[-2]))
    return PlainAdvance(
        np.ascontiguousarray(mc.T), np.array(means), np.array(faces), np.array(backs), came_face, came_back
    )
