"""Moisture through the thickness of solid wood, for many members at once.

Each board is divided into sixteen layers between its two faces (`layers`). Between layers moisture diffuses
with a coefficient that depends on the wood, the temperature and the local moisture content (`diffusion`);
through each face passes the permeance of finish and air in series times the difference of vapour pressure
between the air and the surface, whose own vapour pressure follows from its moisture content by the sorption
curve. What the layers gain is what the faces let in, to rounding.

Each step is taken once whole and once as two halves, implicitly, and the two are combined so that the error
of first order cancels; thin boards divide a step further. Air and temperature hold from one row to the next.

`kernel` is the compiled form; `tests/oracles/moisture_reference.py` is the same in plain numpy.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.wood.errors import BadInput
from model.wood.moisture import kernel
from model.wood.moisture.air_tables import AirTables, tables
from model.wood.moisture.blocks import Blocks, Pool, cores
from model.wood.moisture.diffusion import AIR_PERMEANCE_KG_M2_S_PA, DIFFUSION_SCALE, permeance_in_series
from model.wood.moisture.lanes import LANES
from model.wood.moisture.layers import CELLS, CENTRES, CORE_INNER, CORE_OUTER, WIDTHS

__all__ = [
    "AIR_PERMEANCE_KG_M2_S_PA",
    "CELLS",
    "DIFFUSION_SCALE",
    "Advance",
    "Batch",
    "Constants",
    "Summary",
    "advance",
    "profile_moment",
    "summary",
    "uniform_profile",
]

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

WETTEST_PCT = 200.0
"""Highest moisture content a profile may hold: above fibre saturation the model only drains it slowly."""
PART_S_PER_M2 = 3e7
"""Longest part of a step is this times thickness squared: 1080 s for 6 mm, a whole hour from 11 mm up."""
MOST_PARTS = 64
ROWS_AT_ONCE = 60_000
VALUES_AT_ONCE = 1_000_000
"""Rows of air tabulated at a time, and values of each kind gathered, so that years of air for many places or
members don't fill the memory twice."""


class Constants(NamedTuple):
    """What the solver needs to know of one member: a row of `Batch`."""

    thickness_mm: float
    specific_gravity: float
    oven_dry_density_kg_m3: float
    face_permeance: float
    back_permeance: float
    diffusion_scale: float


@dataclass(frozen=True)
class Batch:
    """Constants of n members, one array of length n each.

    Attributes
    ----------
    thickness_mm : array
        Between the two faces [mm], above 0 and up to 1000: twice what wood has, for `quicker`.
    specific_gravity : array
        Oven-dry mass over the mass of water in the volume, about 12 % MC [-], 0.1 to 1.4.
    oven_dry_density_kg_m3 : array
        Oven-dry mass per volume [kg/m3], 25 to 3100: twice and half of what woods have, for `quicker`.
    face_permeance, back_permeance : array
        Permeance of the finish on each face [kg/(m2 s Pa)]: NaN for a bare face, 0 for a sealed one.
    diffusion_scale : array, optional
        Factor on Siau's diffusion coefficient [-], 0.01 to 100, as `diffusion.diffusion_scale_at` gives it
        for a ring angle; one number is that of all. Else that of an unknown ring angle, `DIFFUSION_SCALE`.

    Raises
    ------
    BadInput
        If lengths differ or a value lies outside its range, naming the first member at fault.
    """

    thickness_mm: Floats
    specific_gravity: Floats
    oven_dry_density_kg_m3: Floats
    face_permeance: Floats
    back_permeance: Floats
    diffusion_scale: Floats = field(default_factory=lambda: np.array(DIFFUSION_SCALE))

    def __post_init__(self) -> None:
        length = np.size(self.thickness_mm)
        if np.ndim(self.diffusion_scale) == 0:
            object.__setattr__(self, "diffusion_scale", np.full(length, self.diffusion_scale))
        for name, low, high, bare in (
            ("thickness_mm", 0.0, 1000.0, False),
            ("specific_gravity", 0.1, 1.4, False),
            ("oven_dry_density_kg_m3", 25.0, 3100.0, False),
            ("face_permeance", 0.0, np.inf, True),
            ("back_permeance", 0.0, np.inf, True),
            ("diffusion_scale", 0.01, 100.0, False),
        ):
            values = np.ascontiguousarray(np.atleast_1d(getattr(self, name)), dtype=np.float64)
            if values.shape != (length,):
                raise BadInput("", name, f"must hold {length} values, one a member", values.shape)
            good = (values > low if name == "thickness_mm" else values >= low) & (values <= high)
            good |= bare & np.isnan(values)
            if not np.all(good):
                at = int(np.argmin(good))
                rule = f"must lie in {low:g} to {high:g}" + (" or be NaN for a bare face" if bare else "")
                raise BadInput(f"member {at}", name, rule, float(values[at]))
            values.setflags(write=False)
            object.__setattr__(self, name, values)

    @classmethod
    def of(cls, members: Sequence[Constants]) -> "Batch":
        return cls(*np.array(members, dtype=np.float64).reshape(-1, len(Constants._fields)).T)

    def __len__(self) -> int:
        return len(self.thickness_mm)

    def constants(self) -> list[Constants]:
        """One entry a member."""
        columns = (getattr(self, name).tolist() for name in Constants._fields)
        return [Constants(*row) for row in zip(*columns, strict=True)]

    def take(self, rows: Integers) -> "Batch":
        """The members of these rows, in their order; a row may come more than once."""
        return Batch(*(getattr(self, name)[rows] for name in Constants._fields))

    def finished_where(self, finished: NDArray[np.bool_]) -> "Batch":
        """The same members, bare where their finish is not on."""
        face, back = (np.where(finished, film, np.nan) for film in (self.face_permeance, self.back_permeance))
        return replace(self, face_permeance=face, back_permeance=back)

    def quicker(self, rate: Floats) -> "Batch":
        """The same members, so many times as quick: diffusion goes with thickness squared, what passes a
        face with thickness times density."""
        root = np.sqrt(rate)
        return replace(
            self,
            thickness_mm=self.thickness_mm / root,
            oven_dry_density_kg_m3=self.oven_dry_density_kg_m3 / root,
        )


class Summary(NamedTuple):
    """Moisture contents of n members [%]."""

    mc_mean_pct: Floats
    mc_face_pct: Floats
    mc_core_pct: Floats
    mc_back_pct: Floats


@dataclass(frozen=True)
class Advance:
    """What a stretch of air did to n members.

    Attributes
    ----------
    profile : (n, CELLS)
        Moisture content of each layer at the end, face to back [%]: the whole state.
    mc_mean_pct, mc_face_pct, mc_core_pct, mc_back_pct : (steps // every, n)
        Mean over the thickness, surface of the face, mid-thickness and surface of the back, at the end of
        each `every` steps [%].
    gained_face_pct, gained_back_pct : (n,)
        What came in through each face over the whole stretch [% of the member's oven-dry mass]. Their sum is
        the change of the mean, to rounding; times density and thickness over 100 it is kg/m2.
    """

    profile: Floats
    mc_mean_pct: Floats
    mc_face_pct: Floats
    mc_core_pct: Floats
    mc_back_pct: Floats
    gained_face_pct: Floats
    gained_back_pct: Floats


def uniform_profile(mc_pct: ArrayLike) -> Floats:
    """Profiles of members that hold one moisture content right through, shape (n, CELLS) [%]."""
    values = np.atleast_1d(np.asarray(mc_pct, dtype=np.float64))
    return _checked_profile(np.repeat(values[:, None], CELLS, axis=1), len(values))


def _checked_profile(profile: ArrayLike, members: int) -> Floats:
    values = np.array(profile, dtype=np.float64, order="C", ndmin=2)
    if values.shape != (members, CELLS):
        raise BadInput("", "profile", f"must have shape ({members}, {CELLS})", values.shape)
    good = (values >= -1.0) & (values <= WETTEST_PCT)
    if not np.all(good):
        member, layer = np.argwhere(~good)[0]
        rule = f"must lie in 0 to {WETTEST_PCT:g} % MC"
        raise BadInput(f"member {member}, layer {layer}", "profile", rule, float(values[member, layer]))
    return values


def parts_of(thickness_mm: Floats, step_s: float) -> Integers:
    """Into how many equal parts a member divides a step: a matter of its own thickness only."""
    longest = PART_S_PER_M2 * (np.asarray(thickness_mm) * 1e-3) ** 2
    return np.clip(np.ceil(step_s / longest - 1e-9), 1, MOST_PARTS).astype(np.int64)


def _members(batch: Batch, blocks: Blocks) -> Floats:
    rows = np.empty((len(blocks), kernel.MEMBER_ROWS, LANES))
    thickness_m = batch.thickness_mm * 1e-3
    per_pa = 100.0 / (batch.oven_dry_density_kg_m3 * thickness_m)
    for row, values in (
        (kernel.SHARE_DRY, 0.667 * batch.specific_gravity),
        (kernel.SHARE_RISE, 0.01 * batch.specific_gravity),
        (kernel.INVERSE_SQUARE, batch.diffusion_scale / thickness_m**2),
        (kernel.FACE_SUPPLY, permeance_in_series(batch.face_permeance) * per_pa),
        (kernel.BACK_SUPPLY, permeance_in_series(batch.back_permeance) * per_pa),
    ):
        rows[:, row, :] = blocks.spread(values).reshape(len(blocks), LANES)
    return rows.ravel()


_POOL = Pool()


def _chosen_air(indices: ArrayLike, what: str, members: int, airs: int) -> Integers:
    chosen = np.broadcast_to(np.asarray(indices), (members,)).astype(np.int64)
    wrong = (chosen < 0) | (chosen >= airs)
    if np.any(wrong):
        at = int(np.argmax(wrong))
        raise BadInput(f"member {at}", what, f"must be a column of the air, 0 to {airs - 1}", int(chosen[at]))
    return chosen


def advance(
    profile: ArrayLike,
    batch: Batch,
    temperature_c: ArrayLike,
    rh_pct: ArrayLike,
    face_air: ArrayLike,
    back_air: ArrayLike,
    step_s: float = 3600.0,
    every: int = 1,
    *,
    threads: int | None = None,
) -> Advance:
    """Carry members through rows of air.

    Parameters
    ----------
    profile : (n, CELLS)
        Moisture content of each layer, face to back [%], as `uniform_profile` or an earlier call gave it.
    batch : Batch
    temperature_c : (steps, airs)
        Air temperature [°C], -40 to 60. Row k holds from its instant until `step_s` later. The wood has the
        temperature of the air; where its two faces meet different airs, each face that of its own air and
        the inside the mean.
    rh_pct : (steps, airs)
        Relative humidity [%], 0 to 100.
    face_air, back_air : (n,) or one number
        Column of the air each face stands in.
    step_s : float
        Length of a step [s]: an hour, a day, at most 40 days. Beyond a day boards under 3 mm stay stable, but
        may end a jump to saturated air up to 2 points too wet.
    every : int
        Rows of result are kept at the end of each `every` steps.
    threads : int, optional
        Threads to use; else one for each core this process may use. The result does not depend on it.

    Returns
    -------
    Advance

    Raises
    ------
    BadInput
        If air or profile holds a NaN or a value outside its range (the row and column are named), or shapes
        do not fit.
    """
    n = len(batch)
    state = _checked_profile(profile, n)
    if not (np.isfinite(step_s) and 0.0 < step_s <= 40 * 86400.0):
        raise BadInput("", "step_s", "must be above 0 and at most 40 days", step_s)
    if every < 1:
        raise BadInput("", "every", "must be at least 1", every)
    air = AirTables.checked(temperature_c, rh_pct)
    face = _chosen_air(face_air, "face_air", n, air.airs)
    back = _chosen_air(back_air, "back_air", n, air.airs)
    rows = air.steps // every
    if n == 0:
        empty = np.empty((rows, 0))
        return Advance(state, empty, empty, empty, empty, np.empty(0), np.empty(0))
    pairs, pair = np.unique(np.stack([face, back], axis=1), axis=0, return_inverse=True)
    blocks = Blocks.of(parts_of(batch.thickness_mm, step_s), face, back)
    lanes = len(blocks) * LANES
    held = blocks.spread(state).reshape(len(blocks), LANES, CELLS).transpose(0, 2, 1).ravel()
    gained = np.zeros(len(blocks) * 2 * LANES)
    members = _members(batch, blocks)
    columns = [
        blocks.spread(values.reshape(-1)) * width
        for values, width in (
            (face, kernel.AIR_COLUMNS),
            (back, kernel.AIR_COLUMNS),
            (pair, kernel.WOOD_COLUMNS),
        )
    ]
    found = [np.empty((rows, n)) for _ in range(4)]
    at_once = max(1, min(ROWS_AT_ONCE // (air.airs + len(pairs)), VALUES_AT_ONCE // lanes))
    for first in range(0, air.steps, at_once):
        last = min(first + at_once, air.steps)
        air_table, wood_table = tables(air, pairs, first, last)
        kept = slice(first // every, last // every)
        filled = [np.empty((len(blocks), kept.stop - kept.start, LANES)) for _ in found]

        def work(
            a: int,
            b: int,
            steps: int = last - first,
            done: int = first,
            air_table: Floats = air_table,
            wood_table: Floats = wood_table,
            filled: list[Floats] = filled,
        ) -> None:
            kernel.advance_blocks(
                held,
                gained,
                members,
                air_table,
                wood_table,
                *columns,
                blocks.shared,
                blocks.parts,
                a,
                b,
                steps,
                air.airs,
                len(pairs),
                float(step_s),
                every,
                done,
                filled[0].shape[1],
                *(values.reshape(-1) for values in filled),
            )

        _POOL.run(work, len(blocks), threads or cores())
        for values, into in zip(filled, found, strict=True):
            by_row = values.transpose(1, 0, 2).reshape(-1, lanes)
            np.take(by_row, blocks.lane_of, axis=1, out=into[kept], mode="clip")
    ending = held.reshape(len(blocks), CELLS, LANES).transpose(0, 2, 1).reshape(lanes, CELLS)
    came = gained.reshape(len(blocks), 2, LANES).transpose(1, 0, 2).reshape(2, lanes)
    mean, faces, core, backs = found
    return Advance(
        np.ascontiguousarray(ending[blocks.lane_of]),
        mean,
        faces,
        core,
        backs,
        came[0, blocks.lane_of],
        came[1, blocks.lane_of],
    )


def summary(profile: ArrayLike) -> Summary:
    """Mean, face, core and back of each member from its profile alone [%].

    Where the air is not known the two surfaces are read off the profile: a straight line through the
    middles of the two outer layers, held within a layer's own difference. `advance` gives the surfaces the
    air had.
    """
    layers = _checked_profile(profile, len(np.atleast_2d(profile)))
    reach = 0.5 * WIDTHS[0] / (0.5 * (WIDTHS[0] + WIDTHS[1]))
    half = CELLS // 2
    inner = 0.5 * (layers[:, half - 1] + layers[:, half])
    outer = 0.5 * (layers[:, half - 2] + layers[:, half + 1])
    return Summary(
        layers @ WIDTHS,
        layers[:, 0] + reach * (layers[:, 0] - layers[:, 1]),
        CORE_INNER * inner + CORE_OUTER * outer,
        layers[:, -1] + reach * (layers[:, -1] - layers[:, -2]),
    )


def profile_moment(profile: ArrayLike, batch: Batch) -> Floats:
    """Even slope of moisture from back to face that bends a free board as its own profile does [% per mm].

    `(12/h^3) ∫ (M - mean) z dz` over the thickness h, z from mid-thickness towards the face: positive when
    the face is the wetter side, which then becomes the convex one. A straight profile gives its own slope, a
    profile alike on both sides nought. Times the movement coefficient it is the curvature [1/mm].
    """
    layers = _checked_profile(profile, len(batch))
    towards_face = -CENTRES * WIDTHS
    lever = np.sum(CENTRES**2 * WIDTHS)
    return (layers @ towards_face) / (lever * batch.thickness_mm)
