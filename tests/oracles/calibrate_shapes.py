"""Wood in the shape of a box, for calibration only.

The solver of `moisture` follows a board through its thickness. Specimens of published tests are small, so
that moisture also came in through edges and ends. Here the same laws of wood and air, tabulated for one
temperature, run on a box along all three axes. Steps are explicit and short: slow, plain and used for nothing
but calibration. A very wide and long box gives what the slab gives, which the tests hold it to.
"""

from typing import Any, NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.moisture.diffusion import transverse_diffusion
from model.wood.moisture.layers import relative_widths

Floats = NDArray[np.float64]

LONGITUDINAL_RATIO = 12.0
"""Diffusion along the grain over that across it: up to 12 in spruce and 15 in beech (Sonderegger, Vecellio,
Zwicker and Niemz, Holzforschung 65 (2011) 819), 13 in beech (Skaar, Yale thesis 1958)."""
_LAW_TOP_PCT, _LAW_ROWS = 32.0, 3201


class Laws(NamedTuple):
    """Laws at one temperature, tabulated evenly from 0 to 32 % moisture content."""

    diffusion_m2_s: Floats
    humidity: Floats  # over the wood, as a fraction
    saturation_pa: float


def laws_at(temperature_c: float, specific_gravity: float, diffusion_scale: float) -> Laws:
    """Diffusion coefficient across the grain and humidity over the wood, by moisture content."""
    moisture = np.linspace(0.0, _LAW_TOP_PCT, _LAW_ROWS)
    rh = np.concatenate([np.linspace(0.0, 95.0, 4000), np.linspace(95.0, 100.0, 2000)[1:]])
    settled = np.asarray(equilibrium_moisture_content(np.full(len(rh), temperature_c), rh))
    return Laws(
        diffusion_scale * np.asarray(transverse_diffusion(temperature_c, moisture, specific_gravity)),
        np.interp(moisture, settled, rh / 100.0),
        float(saturation_vapour_pressure(temperature_c)),
    )


@numba.njit(cache=False)
def _law(table: Any, mc: float) -> float:
    place = min(max(mc, 0.0), _LAW_TOP_PCT - 0.011) * (_LAW_ROWS - 1) / _LAW_TOP_PCT
    low = int(place)
    return table[low] + (place - low) * (table[low + 1] - table[low])


@numba.njit(cache=False)
def _inflow(mc: float, half_m: float, d: Any, h: Any, supply: float, h_air: float) -> float:
    """Flux through a face into its outer cell [% m/s]: air and film, then half the cell, in series."""
    surface, here, flux = mc, _law(h, mc), 0.0
    for _ in range(4):
        conducts = _law(d, 0.5 * (mc + surface)) / half_m
        if abs(surface - mc) > 1e-4:
            slope = (_law(h, surface) - here) / (surface - mc)
        else:
            slope = (_law(h, mc + 0.01) - _law(h, mc - 0.01)) / 0.02
        flux = (h_air - here) / (1.0 / supply + slope / conducts)
        surface = mc + flux / conducts
    return flux


@numba.njit(cache=False)
def _gains(mc: Any, gain: Any, widths: Any, d: Any, h: Any, supply: float, h_air: float) -> None:
    """Rate of change of each cell of an octant [%/s]; index 0 of an axis is the face, the last the middle."""
    gain[:] = 0.0
    shape = mc.shape
    for axis in range(3):
        w, own = widths[axis], d[axis]
        for i in range(shape[0]):
            for j in range(shape[1]):
                for k in range(shape[2]):
                    at = (i, j, k)[axis]
                    m = mc[i, j, k]
                    if at == 0:
                        gain[i, j, k] += _inflow(m, 0.5 * w[0], own, h, supply, h_air) / w[0]
                    if at == shape[axis] - 1:
                        continue
                    i2, j2, k2 = i + (axis == 0), j + (axis == 1), k + (axis == 2)
                    other = mc[i2, j2, k2]
                    flux = _law(own, 0.5 * (m + other)) * (other - m) / (0.5 * (w[at] + w[at + 1]))
                    gain[i, j, k] += flux / w[at]
                    gain[i2, j2, k2] -= flux / w[at + 1]


@numba.njit(cache=False, nogil=True)
def _run_box(
    start: float, wx: Any, wy: Any, wz: Any, dx: Any, dy: Any, dz: Any, h: Any, supply: float, h_air: float,
    step_s: float, steps: int, every: int,
) -> Any:  # fmt: skip
    widths, d = (wx, wy, wz), (dx, dy, dz)
    mc = np.full((len(wx), len(wy), len(wz)), start)
    gain = np.zeros_like(mc)
    means = np.empty(steps // every)
    for step in range(steps):
        _gains(mc, gain, widths, d, h, supply, h_air)
        mc += step_s * gain
        if (step + 1) % every == 0:
            total = 0.0
            for i in range(len(wx)):
                for j in range(len(wy)):
                    for k in range(len(wz)):
                        total += mc[i, j, k] * wx[i] * wy[j] * wz[k]
            means[(step + 1) // every - 1] = total / (wx.sum() * wy.sum() * wz.sum())
    return means


CELLS_OF_BOX = (6, 6, 7)
DAY_S = 86_400.0


def _half_widths(size_mm: float, cells: int) -> Floats:
    """Cells from a face to the middle, thin at the face [m]."""
    widths = relative_widths(2 * cells, 1.5)[:cells]
    return np.asarray(widths / widths.sum() * 0.5e-3 * size_mm)


def box_means(
    size_mm: tuple[float, float, float],
    specific_gravity: float,
    permeance_kg_m2_s_pa: float,
    temperature_c: float,
    before_rh_pct: float,
    after_rh_pct: float,
    days: int,
    diffusion_scale: float,
    longitudinal_ratio: float = LONGITUDINAL_RATIO,
) -> Floats:
    """Mean moisture content of a box at the end of each day after its air has changed once, (days,) [%].

    Parameters
    ----------
    size_mm : (float, float, float)
        Thickness, width and length along the grain [mm].
    permeance_kg_m2_s_pa : float
        Of film and air together, alike on all six faces.
    diffusion_scale : float
        Factor on Siau's coefficient across the grain, alike in thickness and width.
    """
    laws = laws_at(temperature_c, specific_gravity, diffusion_scale)
    start = float(equilibrium_moisture_content(temperature_c, before_rh_pct))
    widths = [_half_widths(size, cells) for size, cells in zip(size_mm, CELLS_OF_BOX, strict=True)]
    along = np.ascontiguousarray(laws.diffusion_m2_s * longitudinal_ratio)
    wettest = float(equilibrium_moisture_content(temperature_c, after_rh_pct))
    fastest = float(np.interp(wettest, np.linspace(0.0, _LAW_TOP_PCT, _LAW_ROWS), laws.diffusion_m2_s))
    # The outermost cell of a corner gives to a neighbour and to the face along each axis: four of its widths.
    rate = sum(
        4.0 * fastest * factor / w[0] ** 2
        for w, factor in zip(widths, (1.0, 1.0, longitudinal_ratio), strict=True)
    )
    every = int(np.ceil(DAY_S * rate / 0.9))
    supply = permeance_kg_m2_s_pa * laws.saturation_pa * 100.0 / (1000.0 * specific_gravity)
    means: Floats = _run_box(
        start, widths[0], widths[1], widths[2], laws.diffusion_m2_s, laws.diffusion_m2_s, along,
        laws.humidity, supply, after_rh_pct / 100.0, DAY_S / every, days * every, every,
    )  # fmt: skip
    return means
