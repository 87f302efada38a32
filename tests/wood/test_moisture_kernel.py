"""The parts of the compiled solver, each against the plain function it stands for."""

import os
import subprocess
import sys

import numba
import numpy as np
import pytest
from scipy.optimize import brentq

from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.air.sorption import equilibrium_moisture_content, sorption_slope
from model.wood.errors import BadInput
from model.wood.moisture import kernel, lane_laws
from model.wood.moisture.air_tables import AirTables, sorption_constants, tables
from model.wood.moisture.diffusion import transverse_diffusion
from model.wood.moisture.lanes import LANES, load, lower, spread, square_root, store, upper, where_less
from model.wood.moisture.layers import (
    CENTRES,
    CORE_INNER,
    CORE_OUTER,
    FACE_LAYER,
    LATER_FAR,
    LATER_NEAR,
    WIDTHS,
)


@numba.njit
def _exponentials(x, out):
    for i in range(0, len(x), LANES):
        store(out, i, lane_laws.exponential(load(x, i)))


@numba.njit
def _equilibria(h, scale, k, k1, k12, mc, slope):
    for i in range(0, len(h), LANES):
        a, b = lane_laws.equilibrium(load(h, i), spread(scale), spread(k), spread(k1), spread(k12))
        store(mc, i, a)
        store(slope, i, b)


@numba.njit
def _diffusions(mc, factor, rise, dry, per_pct, out):
    for i in range(0, len(mc), LANES):
        d = lane_laws.diffusion(load(mc, i), spread(factor), spread(rise), spread(dry), spread(per_pct))
        store(out, i, d)


@numba.njit
def _surfaces(mc, supply, h_air, air, wood, out):
    for i in range(0, len(mc), LANES):
        dry, per_pct = spread(0.667 * 0.5), spread(0.01 * 0.5)
        factor, rise = spread(wood[0]), spread(wood[1])
        d = lane_laws.diffusion(load(mc, i), factor, rise, dry, per_pct)
        flux, _tangent, _chord, _passes, at_surface = lane_laws.surface(
            load(mc, i),
            wood[2],
            d,
            load(supply, i),
            load(h_air, i),
            spread(air[2]),
            spread(air[3]),
            spread(air[4]),
            spread(air[5]),
            spread(air[6]),
            factor,
            rise,
            dry,
            per_pct,
        )
        store(out, i, flux)
        store(out, len(mc) + i, at_surface)


@numba.njit
def _arithmetic(a, b, out):
    x, y = load(a, 0), load(b, 0)
    store(out, 0, (x + y) * 2.0 - y / x)
    store(out, LANES, lower(x, y))
    store(out, 2 * LANES, upper(x, 0.5))
    store(out, 3 * LANES, square_root(x))
    store(out, 4 * LANES, where_less(x, y, 1.0, x))


def test_lanes_work_each_for_itself():
    rng = np.random.default_rng(0)
    a, b = rng.random(LANES) + 0.1, rng.random(LANES)
    out = np.empty(5 * LANES)
    _arithmetic(a, b, out)
    found = out.reshape(5, LANES)
    np.testing.assert_allclose(found[0], (a + b) * 2.0 - b / a, rtol=1e-14)
    assert np.array_equal(found[1], np.minimum(a, b))
    assert np.array_equal(found[2], np.maximum(a, 0.5))
    assert np.array_equal(found[3], np.sqrt(a))
    assert np.array_equal(found[4], np.where(a < b, 1.0, a))


def test_exponential_is_good_to_ten_digits():
    x = np.linspace(0.0, 4.5, 160 * LANES)
    out = np.empty_like(x)
    _exponentials(x, out)
    np.testing.assert_allclose(out, np.exp(x), rtol=1e-10)


@pytest.mark.parametrize("temperature_c", [-40.0, -10.0, 0.0, 21.0, 45.0, 60.0])
def test_equilibrium_and_slope_are_those_of_sorption(temperature_c):
    h = np.linspace(0.0, 1.0, 20 * LANES)
    constants = [float(x) for x in sorption_constants(np.asarray(temperature_c))]
    mc, slope = np.empty_like(h), np.empty_like(h)
    _equilibria(h, *constants, mc, slope)
    np.testing.assert_allclose(mc, equilibrium_moisture_content(temperature_c, 100.0 * h), rtol=0, atol=1e-9)
    np.testing.assert_allclose(slope, sorption_slope(temperature_c, 100.0 * h), rtol=1e-9)


@pytest.mark.parametrize(("temperature_c", "gravity"), [(-30.0, 0.35), (21.0, 0.5), (55.0, 1.1)])
def test_diffusion_is_that_of_the_plain_function(temperature_c, gravity):
    mc = np.linspace(-1.0, 45.0, 10 * LANES)
    air = AirTables.checked([[temperature_c]], [[50.0]])
    _, wood = tables(air, np.array([[0, 0]]), 0, 1)
    out = np.empty_like(mc)
    _diffusions(mc, wood[0], wood[1], 0.667 * gravity, 0.01 * gravity, out)
    np.testing.assert_allclose(out, transverse_diffusion(temperature_c, mc, gravity), rtol=1e-10)


@pytest.mark.parametrize("temperature_c", [-38.0, -15.0, 20.0, 58.0])
def test_a_surface_settles_where_a_bracketing_search_says(temperature_c):
    rng = np.random.default_rng(3)
    n = 40 * LANES
    h_air = np.concatenate([rng.random(n - 2 * LANES), np.zeros(LANES), np.ones(LANES)])
    mc = rng.uniform(0.0, 28.0, n)
    thickness_m, density = 0.019, 500.0
    permeance = 10.0 ** rng.uniform(-12.0, np.log10(2e-8), n)
    air_table, wood_table = tables(AirTables.checked([[temperature_c]], [[50.0]]), np.array([[0, 0]]), 0, 1)
    supply = permeance * 100.0 / (density * thickness_m) * air_table[kernel.SATURATION]
    wood = np.array([3.5 * wood_table[0] / thickness_m**2, wood_table[1], FACE_LAYER])
    out = np.empty(2 * n)
    _surfaces(mc, supply, h_air, air_table, wood, out)
    flux, at_surface = out[:n], out[n:]
    h = h_air - flux / supply
    settled = (h > 1e-9) & (h < 1.0 - 1e-9)
    assert np.count_nonzero(settled) > 0.8 * n
    # Newton's rounds have found the humidity that gives this flux ...
    found = equilibrium_moisture_content(temperature_c, 100.0 * h[settled])
    np.testing.assert_allclose(at_surface[settled], found, rtol=0, atol=1e-3)
    # ... and a bracketing search finds the same surface, where it lies within five points of its layer. The
    # coefficient of the half layer is settled in one round, which is what the remaining hundredths are.
    compared = 0
    for i in np.flatnonzero(settled & (np.abs(at_surface - mc) < 5.0))[::5]:

        def balance(h, i=i):
            surface_mc = equilibrium_moisture_content(temperature_c, 100.0 * h)
            middle = 0.5 * (surface_mc + mc[i])
            d = 3.5 * float(transverse_diffusion(temperature_c, middle, 0.5)) / thickness_m**2
            return supply[i] * (h_air[i] - h) - d * FACE_LAYER * (surface_mc - mc[i])

        exact = equilibrium_moisture_content(temperature_c, 100.0 * brentq(balance, 0.0, 1.0, xtol=1e-14))
        assert at_surface[i] == pytest.approx(exact, abs=0.05)
        compared += 1
    assert compared > 20


def test_saturation_pressure_in_the_table_is_that_of_air():
    temperature = np.array([[-20.0, 0.0, 0.01, 21.0]])
    air_table, _ = tables(AirTables.checked(temperature, np.full((1, 4), 40.0)), np.array([[0, 1]]), 0, 1)
    table = air_table.reshape(4, kernel.AIR_COLUMNS)
    assert np.array_equal(table[:, kernel.SATURATION], saturation_vapour_pressure(temperature[0]))
    np.testing.assert_allclose(
        table[:, kernel.SETTLED], equilibrium_moisture_content(temperature[0], 40.0), rtol=1e-12
    )


def test_air_is_checked_before_it_is_tabulated():
    with pytest.raises(BadInput, match="air row 1, column 0: rh_pct"):
        AirTables.checked([[20.0], [20.0]], [[50.0], [np.nan]])


def test_layers_fill_the_thickness_alike_from_both_faces():
    assert WIDTHS.sum() == pytest.approx(1.0, abs=1e-15)
    assert np.array_equal(WIDTHS, WIDTHS[::-1])
    assert np.array_equal(CENTRES, -CENTRES[::-1])
    # What an interface takes off is the same seen from either side.
    np.testing.assert_allclose(LATER_NEAR, -LATER_FAR[::-1], rtol=0, atol=1e-16)
    weights = CORE_INNER + CORE_OUTER
    assert weights == pytest.approx(1.0, abs=1e-14)


WITHOUT_A_FOLDER = """
import numpy as np
from model.wood.moisture import solver as moisture
batch = moisture.Batch(*(np.array([x]) for x in (19.0, 0.5, 500.0, np.nan, np.nan)))
run = moisture.advance(moisture.uniform_profile(8.0), batch, [[20.0]], [[40.0]], 0, 0)
print(run.mc_mean_pct[0, 0])
"""


def test_it_runs_where_nothing_may_be_kept(tmp_path):
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("")
    outcome = subprocess.run(
        [sys.executable, "-c", WITHOUT_A_FOLDER],
        env={**os.environ, "NUMBA_CACHE_DIR": str(blocked / "cache")},
        capture_output=True,
        text=True,
        timeout=240,
        check=True,
    )
    assert 7.9 < float(outcome.stdout) < 8.0
