"""The solver against an independent one: scipy's BDF on a fine grid, of equations written out anew here.

Nothing of the solver is imported but its entrance. Equations: Wood Handbook (FPL-GTR-190) eq. 4-5, ASHRAE
Fundamentals (Hyland and Wexler) saturation pressures, Siau's simplified diffusion coefficient (constants from
memory of Siau 1984: this test holds the numerical method to the equation, not the equation to wood).
"""

import numba
import numpy as np
import pytest
from scipy.integrate import ode

from model.wood.moisture import solver as moisture

pytestmark = pytest.mark.slow

FINE = 200
HOUR_S = 3600.0


@numba.njit
def settles_at(h, t):
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    second = (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    return 1800 / w * (kh / (1 - kh) + second)


@numba.njit
def saturation(t):
    c = t + 273.15
    if t > 0.01:
        return np.exp(
            -5.8002206e3 / c
            + 1.3914993
            - 4.8640239e-2 * c
            + 4.1764768e-5 * c**2
            - 1.4452093e-8 * c**3
            + 6.5459673 * np.log(c)
        )
    return np.exp(
        -5.6745359e3 / c
        + 6.3925247
        - 9.677843e-3 * c
        + 6.2215701e-7 * c**2
        + 2.0747825e-9 * c**3
        - 9.484024e-13 * c**4
        + 4.1635019 * np.log(c)
    )


@numba.njit
def creeps(m, t, g, scale):
    m = min(max(m, 0.0), 30.0)
    porosity = 1 - g * (0.667 + 0.01 * m)
    a = np.sqrt(porosity)
    wall = 7e-6 * np.exp(-(38500 - 290 * m) / (8.314 * (t + 273.15)))
    return scale * wall / ((1 - porosity) * (1 - a))


@numba.njit
def surface(m, half_layer, t, rh, permeance, density, g, scale):
    """Surface moisture content and flux [kg/(m2 s)] by bisection, the half layer at its middle moisture."""
    p = saturation(t)
    low, high = 0.0, 1.0
    for _ in range(60):
        h = (low + high) / 2
        ms = settles_at(h, t)
        conducts = density / 100 * creeps((ms + m) / 2, t, g, scale) * (ms - m) / half_layer
        if permeance * p * (rh / 100 - h) > conducts:
            low = h
        else:
            high = h
    flux = permeance * p * (rh / 100 - h)
    if h > 1 - 1e-9:  # wetter than saturated air can make it: the surface stays at saturated vapour pressure
        return m + 100 * flux * half_layer / (density * creeps(m, t, g, scale)), flux
    return settles_at(h, t), flux


@numba.njit
def rates(m, widths, t, rh, permeances, density, g, scale):
    out = np.zeros(len(m))
    _, j0 = surface(m[0], widths[0] / 2, t, rh, permeances[0], density, g, scale)
    _, j1 = surface(m[-1], widths[-1] / 2, t, rh, permeances[1], density, g, scale)
    out[0] += 100 * j0 / density
    out[-1] += 100 * j1 / density
    for i in range(len(m) - 1):
        between = (m[i] + m[i + 1]) / 2
        flux = creeps(between, t, g, scale) * (m[i + 1] - m[i]) / ((widths[i] + widths[i + 1]) / 2)
        out[i] += flux
        out[i + 1] -= flux
    return out / widths


def fine_widths(thickness_m):
    half = 1.04 ** np.arange(FINE // 2)
    both = np.concatenate([half, half[::-1]])
    return both / both.sum() * thickness_m


def integrate(board, air, start_pct):
    """Mean and face moisture content at the end of each hour."""
    thickness_mm, g, density, face, back, scale = board
    widths = fine_widths(thickness_mm / 1000)
    permeances = np.array([2e-8 if np.isnan(w) else 1 / (1 / 2e-8 + 1 / w) for w in (face, back)])
    solver = ode(lambda _t, m, row: rates(m, widths, row[0], row[1], permeances, density, g, scale))
    # Against rtol 1e-8 on 300 layers this leaves 5e-5 in the mean, at a tenth of the time.
    solver.set_integrator("vode", method="bdf", rtol=1e-4, atol=1e-4, lband=1, uband=1, nsteps=20_000)
    m = np.full(FINE, float(start_pct))
    means, faces = [], []
    for row in air:
        solver.set_initial_value(m, 0.0).set_f_params(row)  # the air jumps: start afresh
        m = solver.integrate(HOUR_S)
        assert solver.successful()
        means.append(m @ widths / widths.sum())
        faces.append(surface(m[0], widths[0] / 2, row[0], row[1], permeances[0], density, g, scale)[0])
    return np.array(means), np.array(faces)


def rough_air(days, seed, mean_c=20.0, mean_rh=45.0, swing_c=2.0, roughness=1.5, damp_hours=0.02):
    """Hourly air of a lived-in room: days, spells of a week, hourly jitter, and hours of steam."""
    rng = np.random.default_rng(seed)
    hours = np.arange(24 * days)
    spell = np.zeros(len(hours))
    for i in range(1, len(hours)):
        spell[i] = 0.99 * spell[i - 1] + rng.normal(0, 1.2)
    temperature = mean_c + swing_c * np.sin(2 * np.pi * hours / 24) + rng.normal(0, 0.3, len(hours))
    rh = mean_rh + spell + 3 * np.cos(2 * np.pi * hours / 24) + rng.normal(0, roughness, len(hours))
    rh += np.where(rng.random(len(hours)) < damp_hours, rng.uniform(5, 30, len(hours)), 0.0)
    return np.column_stack([temperature, np.clip(rh, 2.0, 100.0)])


BARE = np.nan
SCALE = moisture.DIFFUSION_SCALE
# thickness, specific gravity, density, permeance of the film on face and back, diffusion scale
THIN_SOFT = (6.0, 0.40, 400.0, BARE, BARE, SCALE)
PANEL = (19.0, 0.55, 550.0, BARE, 4.7e-10, SCALE)
VARNISHED = (19.0, 0.55, 550.0, 2.1e-10, 2.1e-10, SCALE)
THICK = (50.0, 0.65, 650.0, BARE, BARE, SCALE)
OILED = (9.0, 0.40, 400.0, 1e-9, 5e-9, SCALE)


def run_solver(boards, air, start_pct):
    columns = np.array(boards).T
    return moisture.advance(
        moisture.uniform_profile(np.full(len(boards), start_pct)),
        moisture.Batch(*columns),
        air[:, :1],
        air[:, 1:],
        0,
        0,
    )


def test_a_year_of_hourly_air_agrees_to_0_02_points_of_mean_moisture():
    air = rough_air(365, seed=7, roughness=1.0)
    run = run_solver([PANEL], air, 8.0)
    means, faces = integrate(PANEL, air, 8.0)
    assert np.ptp(means) > 2.0  # the year does something
    np.testing.assert_allclose(run.mc_mean_pct[:, 0], means, rtol=0, atol=0.02)
    np.testing.assert_allclose(run.mc_face_pct[:, 0], faces, rtol=0, atol=0.15)


@pytest.mark.parametrize(
    "board",
    [THIN_SOFT, VARNISHED, THICK, OILED],
    ids=["bare 6 mm", "varnished 19 mm", "bare 50 mm", "oiled 9 mm"],
)
def test_two_months_of_rough_air_agree(board):
    air = rough_air(60, seed=11, roughness=2.0)
    run = run_solver([board], air, 8.0)
    means, faces = integrate(board, air, 8.0)
    np.testing.assert_allclose(run.mc_mean_pct[:, 0], means, rtol=0, atol=0.02)
    np.testing.assert_allclose(run.mc_face_pct[:, 0], faces, rtol=0, atol=0.15)


def test_frozen_and_damp_outdoor_air_agrees():
    air = rough_air(40, seed=5, mean_c=-6.0, mean_rh=80.0, swing_c=8.0, roughness=3.0)
    assert air[:, 0].min() < -13
    assert air[:, 1].max() == 100.0
    run = run_solver([PANEL], air, 14.0)
    means, faces = integrate(PANEL, air, 14.0)
    np.testing.assert_allclose(run.mc_mean_pct[:, 0], means, rtol=0, atol=0.02)
    np.testing.assert_allclose(run.mc_face_pct[:, 0], faces, rtol=0, atol=0.15)


@pytest.mark.parametrize("scale", [1.0, 2.0, 6.0])
def test_it_agrees_at_other_diffusion_scales(scale):
    board = (*PANEL[:5], scale)
    air = rough_air(20, seed=3)
    run = run_solver([board], air, 8.0)
    means, _faces = integrate(board, air, 8.0)
    np.testing.assert_allclose(run.mc_mean_pct[:, 0], means, rtol=0, atol=0.02)


def test_wood_above_fibre_saturation_dries_as_the_fine_grid_says():
    # Fresh-sawn stock put into a dry room: surfaces held at saturation by what is behind them.
    board = (12.0, 0.45, 450.0, BARE, 1e-9, SCALE)
    air = np.tile([20.0, 40.0], (24 * 14, 1))
    run = run_solver([board], air, 45.0)
    means, _faces = integrate(board, air, 45.0)
    assert means[-1] < 20.0
    # A drop of 37 points behind a steep front: four thousandths of it rather than 0.02.
    np.testing.assert_allclose(run.mc_mean_pct[:, 0], means, rtol=0, atol=0.15)
