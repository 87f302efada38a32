"""The compiled step of moisture through the thickness: a block of sixteen members at a time.

`tests/oracles/moisture_reference.py` states the same arithmetic plainly, one line of numpy for one line of
algebra; read that first. Here the members of a block lie side by side in the lanes of a vector, layer after
layer.

Flat float64 tables hand the air and the members over; the columns are named below.
"""

import sys
from typing import Any

import numpy as np

from model.wood.moisture import diffusion as _diffusion_module
from model.wood.moisture import lane_laws as _laws_module
from model.wood.moisture import layers as _layers_module
from model.wood.moisture.lane_laws import diffusion, surface
from model.wood.moisture.lanes import LANES, compiled, gather, kept, load, lower, spread, stamp_of, store
from model.wood.moisture.layers import (
    CELLS,
    CORE_INNER,
    CORE_OUTER,
    DISTANCES,
    FACE_LATER,
    FACE_LAYER,
    FACE_OUTER,
    FACE_SECOND,
    LATER_FAR,
    LATER_NEAR,
    WIDTHS,
)

# Columns of the air table: relative humidity (fraction), saturation pressure [Pa], constants of eq. 4-5, and
# the moisture content the air leads to [%].
AIR_COLUMNS = 7
HUMIDITY, SATURATION, SORPTION_SCALE, SORPTION_K, SORPTION_K1, SORPTION_K1_K2, SETTLED = range(AIR_COLUMNS)
# Columns of the wood table: what temperature does to the diffusion coefficient D = FACTOR exp(RISE M) ...
WOOD_COLUMNS = 2
WOOD_FACTOR, WOOD_RISE = range(WOOD_COLUMNS)
# Rows of a block's constants, each of LANES values.
MEMBER_ROWS = 5
(
    SHARE_DRY,  # share of cell wall at 0 % MC
    SHARE_RISE,  # and what one percent adds
    INVERSE_SQUARE,  # scale / thickness^2 [1/m2]
    FACE_SUPPLY,  # 100 permeance / (oven-dry density x thickness) [% of dry mass per s and Pa]
    BACK_SUPPLY,
) = range(MEMBER_ROWS)

_WIDTHS, _PER_DISTANCE = WIDTHS.copy(), 1.0 / DISTANCES
_LATER_NEAR, _LATER_FAR = LATER_NEAR.copy(), LATER_FAR.copy()
# What stands on the diagonal times the rate: a layer's width and what its two interfaces take off.
_HOLDS = WIDTHS.copy()
_HOLDS[:-1] += LATER_NEAR
_HOLDS[1:] -= LATER_FAR
_ROOM = float(WIDTHS[0] - FACE_LATER)
_FACE_LATER = float(FACE_LATER)
_SURFACE = float(FACE_OUTER + FACE_SECOND)
_SURFACE_OUTER = float(FACE_OUTER / (FACE_OUTER + FACE_SECOND))
_SURFACE_SECOND = float(FACE_SECOND / (FACE_OUTER + FACE_SECOND))
_FACE_LAYER = float(FACE_LAYER)
_CORE_INNER, _CORE_OUTER = float(CORE_INNER) / 2.0, float(CORE_OUTER) / 2.0
_BLOCK = CELLS * LANES
_MIDDLE = CELLS // 2
_LAST = CELLS - 1


@compiled
def _field(table: Any, offsets: Any, first: int, shared: bool, field: int) -> Any:
    if shared:
        return spread(table[offsets[first] + field])
    return gather(table, offsets, first, field)


@compiled
def _advance_blocks(
    state: Any,
    gained: Any,
    members: Any,
    air: Any,
    wood: Any,
    face_air: Any,
    back_air: Any,
    pair: Any,
    shared: Any,
    parts: Any,
    first_block: int,
    last_block: int,
    steps: int,
    airs: int,
    pairs: int,
    step_s: float,
    every: int,
    done: int,
    rows: int,
    means: Any,
    faces: Any,
    cores: Any,
    backs: Any,
) -> None:
    """Carry blocks `first_block` to `last_block` through `steps` rows of air.

    Parameters
    ----------
    state : (blocks x CELLS x LANES,)
        Moisture contents [%], changed in place.
    gained : (blocks x 2 x LANES,)
        Added to: what came in through face and back [% of the board's dry mass].
    members : (blocks x MEMBER_ROWS x LANES,)
    air : (steps x airs x AIR_COLUMNS,), wood : (steps x pairs x WOOD_COLUMNS,)
    face_air, back_air, pair : (blocks x LANES,) int64
        Which air and which pair of airs, already times the number of columns.
    shared : (blocks,) int64
        1 where all members of the block stand in the same airs.
    parts : (blocks,) int64
        Equal parts into which each step is divided.
    every, done : int
        A row of output at the end of each `every` steps, `done` steps having gone before.
    rows : int
        Rows of output that these steps fill.
    means, faces, cores, backs : (blocks x rows x LANES,)
    """
    at_air = np.empty(2 * LANES, np.int64)
    at_wood = np.empty(LANES, np.int64)
    held = np.empty(_BLOCK)
    half = np.empty(_BLOCK)
    conduct = np.empty(_BLOCK)
    c_whole = np.empty(_BLOCK)
    r_whole = np.empty(_BLOCK)
    c_half = np.empty(_BLOCK)
    r_half = np.empty(_BLOCK)
    for block in range(first_block, last_block):
        base = block * _BLOCK
        for i in range(_BLOCK):
            held[i] = state[base + i]
        row = block * MEMBER_ROWS * LANES
        dry = load(members, row + SHARE_DRY * LANES)
        per_pct = load(members, row + SHARE_RISE * LANES)
        inverse_square = load(members, row + INVERSE_SQUARE * LANES)
        supply_face = load(members, row + FACE_SUPPLY * LANES)
        supply_back = load(members, row + BACK_SUPPLY * LANES)
        in_face = load(gained, block * 2 * LANES)
        in_back = load(gained, block * 2 * LANES + LANES)
        together = shared[block] == 1
        rate = parts[block] / step_s
        room = _ROOM * rate
        later = _FACE_LATER * rate
        tau = step_s / parts[block]
        for step in range(steps):
            for lane in range(LANES):
                at_air[lane] = step * airs * AIR_COLUMNS + face_air[block * LANES + lane]
                at_air[LANES + lane] = step * airs * AIR_COLUMNS + back_air[block * LANES + lane]
                at_wood[lane] = step * pairs * WOOD_COLUMNS + pair[block * LANES + lane]
            factor = _field(wood, at_wood, 0, together, WOOD_FACTOR) * inverse_square
            rise = _field(wood, at_wood, 0, together, WOOD_RISE)
            h1 = _field(air, at_air, 0, together, HUMIDITY)
            q1 = _field(air, at_air, 0, together, SATURATION) * supply_face
            s1 = _field(air, at_air, 0, together, SORPTION_SCALE)
            k1 = _field(air, at_air, 0, together, SORPTION_K)
            a1 = _field(air, at_air, 0, together, SORPTION_K1)
            b1 = _field(air, at_air, 0, together, SORPTION_K1_K2)
            e1 = _field(air, at_air, 0, together, SETTLED)
            h2 = _field(air, at_air, LANES, together, HUMIDITY)
            q2 = _field(air, at_air, LANES, together, SATURATION) * supply_back
            s2 = _field(air, at_air, LANES, together, SORPTION_SCALE)
            k2 = _field(air, at_air, LANES, together, SORPTION_K)
            a2 = _field(air, at_air, LANES, together, SORPTION_K1)
            b2 = _field(air, at_air, LANES, together, SORPTION_K1_K2)
            e2 = _field(air, at_air, LANES, together, SETTLED)
            for _ in range(parts[block]):
                # A face's flux is linearised by its tangent, steepened where a step of the outer layer alone
                # would otherwise carry it past where the air leads: near saturation the tangent is that flat.
                # Whole part and its first half share everything but the length of time.
                mc = load(held, 0)
                middle = 0.5 * (mc + load(held, LANES))
                d = diffusion(middle, factor, rise, dry, per_pct)
                j1, tangent1, chord1, passes1, _s = surface(
                    mc, _FACE_LAYER, d, q1, h1, s1, k1, a1, b1, e1, factor, rise, dry, per_pct
                )
                came = j1
                f1 = lower(tangent1, chord1 + room) + passes1 * later
                f1_half = lower(tangent1, chord1 + 2.0 * room) + passes1 * (2.0 * later)
                before_whole = 0.0 - f1
                before_half = 0.0 - f1_half
                below_whole = spread(0.0)
                below_half = spread(0.0)
                carry_whole = spread(0.0)
                carry_half = spread(0.0)
                for i in range(_LAST):
                    mc_next = load(held, (i + 1) * LANES)
                    d = diffusion(0.5 * (mc + mc_next), factor, rise, dry, per_pct)
                    onward = d * _PER_DISTANCE[i]
                    crossing = onward * (mc_next - mc)
                    source = came + crossing
                    holds = _HOLDS[i] * rate
                    near = _LATER_NEAR[i] * rate
                    far = _LATER_FAR[i] * rate
                    pivot = 1.0 / (before_whole + onward + holds)
                    share = (onward - far) * pivot
                    carry_whole = (source + below_whole * carry_whole) * pivot
                    store(c_whole, i * LANES, share)
                    store(r_whole, i * LANES, carry_whole)
                    below_whole = onward + near
                    before_whole = onward - below_whole * share
                    pivot = 1.0 / (before_half + onward + 2.0 * holds)
                    share = (onward - 2.0 * far) * pivot
                    carry_half = (source + below_half * carry_half) * pivot
                    store(c_half, i * LANES, share)
                    store(r_half, i * LANES, carry_half)
                    below_half = onward + 2.0 * near
                    before_half = onward - below_half * share
                    came = 0.0 - crossing
                    mc = mc_next
                j2, tangent2, chord2, passes2, _s = surface(
                    mc, _FACE_LAYER, d, q2, h2, s2, k2, a2, b2, e2, factor, rise, dry, per_pct
                )
                holds = _HOLDS[_LAST] * rate
                f2 = lower(tangent2, chord2 + room) + passes2 * later
                f2_half = lower(tangent2, chord2 + 2.0 * room) + passes2 * (2.0 * later)
                source = came + j2
                up_whole = (source + below_whole * carry_whole) / (before_whole - f2 + holds)
                up_half = (source + below_half * carry_half) / (before_half - f2_half + 2.0 * holds)
                flow_back = f2_half * up_half - f2 * up_whole
                store(r_whole, _LAST * LANES, up_whole)
                store(half, _LAST * LANES, mc + up_half)
                store(r_half, _LAST * LANES, up_half)
                for j in range(_LAST):
                    i = _LAST - 1 - j
                    up_whole = load(r_whole, i * LANES) + load(c_whole, i * LANES) * up_whole
                    up_half = load(r_half, i * LANES) + load(c_half, i * LANES) * up_half
                    store(r_whole, i * LANES, up_whole)
                    store(r_half, i * LANES, up_half)
                    store(half, i * LANES, load(held, i * LANES) + up_half)
                flow_face = f1_half * up_half - f1 * up_whole

                # The second half starts from the first.
                mc = load(half, 0)
                middle = 0.5 * (mc + load(half, LANES))
                d = diffusion(middle, factor, rise, dry, per_pct)
                j1, tangent1, chord1, passes1, _s = surface(
                    mc, _FACE_LAYER, d, q1, h1, s1, k1, a1, b1, e1, factor, rise, dry, per_pct
                )
                came = j1
                f1 = lower(tangent1, chord1 + 2.0 * room) + passes1 * (2.0 * later)
                before_half = 0.0 - f1
                below_half = spread(0.0)
                carry_half = spread(0.0)
                for i in range(_LAST):
                    mc_next = load(half, (i + 1) * LANES)
                    d = diffusion(0.5 * (mc + mc_next), factor, rise, dry, per_pct)
                    onward = d * _PER_DISTANCE[i]
                    crossing = onward * (mc_next - mc)
                    near = 2.0 * rate * _LATER_NEAR[i]
                    far = 2.0 * rate * _LATER_FAR[i]
                    pivot = 1.0 / (before_half + onward + 2.0 * rate * _HOLDS[i])
                    share = (onward - far) * pivot
                    carry_half = (came + crossing + below_half * carry_half) * pivot
                    store(c_half, i * LANES, share)
                    store(conduct, i * LANES, carry_half)
                    below_half = onward + near
                    before_half = onward - below_half * share
                    came = 0.0 - crossing
                    mc = mc_next
                j2, tangent2, chord2, passes2, _s = surface(
                    mc, _FACE_LAYER, d, q2, h2, s2, k2, a2, b2, e2, factor, rise, dry, per_pct
                )
                f2 = lower(tangent2, chord2 + 2.0 * room) + passes2 * (2.0 * later)
                holds = 2.0 * rate * _HOLDS[_LAST]
                up_half = (came + j2 + below_half * carry_half) / (before_half - f2 + holds)
                flow_back = flow_back + j2 + f2 * up_half
                for j in range(CELLS):
                    i = _LAST - j
                    if j > 0:
                        up_half = load(conduct, i * LANES) + load(c_half, i * LANES) * up_half
                    first = load(r_half, i * LANES)
                    whole = load(r_whole, i * LANES)
                    # Twice the two halves less the whole cancels the error of first order.
                    store(held, i * LANES, load(held, i * LANES) + 2.0 * (first + up_half) - whole)
                flow_face = flow_face + j1 + f1 * up_half
                in_face = in_face + flow_face * tau
                in_back = in_back + flow_back * tau
            if (done + step + 1) % every == 0:
                at = (block * rows + (done + step + 1) // every - 1 - done // every) * LANES
                mean = spread(0.0)
                for i in range(CELLS):
                    mean = mean + load(held, i * LANES) * _WIDTHS[i]
                store(means, at, mean)
                inner = load(held, (_MIDDLE - 1) * LANES) + load(held, _MIDDLE * LANES)
                outer = load(held, (_MIDDLE - 2) * LANES) + load(held, (_MIDDLE + 1) * LANES)
                store(cores, at, inner * _CORE_INNER + outer * _CORE_OUTER)
                outer = load(held, 0)
                second = load(held, LANES)
                mc = outer * _SURFACE_OUTER + second * _SURFACE_SECOND
                d = diffusion(0.5 * (outer + second), factor, rise, dry, per_pct)
                _j, _t, _c, _p, at_surface = surface(
                    mc, _SURFACE, d, q1, h1, s1, k1, a1, b1, e1, factor, rise, dry, per_pct
                )
                store(faces, at, at_surface)
                outer = load(held, _LAST * LANES)
                second = load(held, (_LAST - 1) * LANES)
                mc = outer * _SURFACE_OUTER + second * _SURFACE_SECOND
                d = diffusion(0.5 * (outer + second), factor, rise, dry, per_pct)
                _j, _t, _c, _p, at_surface = surface(
                    mc, _SURFACE, d, q2, h2, s2, k2, a2, b2, e2, factor, rise, dry, per_pct
                )
                store(backs, at, at_surface)
        for i in range(_BLOCK):
            state[base + i] = held[i]
        store(gained, block * 2 * LANES, in_face)
        store(gained, block * 2 * LANES + LANES, in_back)


def _entrance(stamp: int) -> Any:
    def advance_blocks(*arguments):  # type: ignore[no-untyped-def]
        if stamp >= 0:  # always; enclosed so that the code kept on disk belongs to this text
            _advance_blocks(*arguments)

    return kept(advance_blocks)


advance_blocks = _entrance(stamp_of(sys.modules[__name__], _laws_module, _layers_module, _diffusion_module))
"""As `_advance_blocks`, kept on disk from one process to the next."""
