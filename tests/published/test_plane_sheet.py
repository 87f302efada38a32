"""Diffusion into a plane sheet against the series of the textbooks.

Series: Crank, "The Mathematics of Diffusion" (plane sheet, with and without surface evaporation; Newman
1931). Written from memory of these works and confirmed by a finite-volume program other than ours; the
figures below were computed independently from the series with 30 digits. Notation: half thickness l,
Fo = D t / l^2, L = S l / D, E the share of the final change.

The solver is held to the series twice: `advance_plainly` with a constant coefficient and a straight sorption
line, and the compiled solver as it is, in a change so small that wood is straight too.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from model.wood.air.psychrometrics import saturation_vapour_pressure
from model.wood.air.sorption import equilibrium_moisture_content, relative_humidity_for, sorption_slope
from model.wood.moisture import solver as moisture
from model.wood.moisture.diffusion import AIR_PERMEANCE_KG_M2_S_PA, transverse_diffusion
from tests.oracles.moisture_reference import advance_plainly, linear

pytestmark = pytest.mark.slow

INFINITE = np.inf


def roots_alike(big_l, count):
    def condition(b):
        return b * np.sin(b) - big_l * np.cos(b)

    return np.array([brentq(condition, n * np.pi, n * np.pi + np.pi / 2, xtol=1e-15) for n in range(count)])


def uptake(big_l, fo, count=80):
    if np.isinf(big_l):
        odd = 2 * np.arange(count) + 1
        return 1 - 8 / np.pi**2 * np.sum(np.exp(-(odd**2) * np.pi**2 * fo / 4) / odd**2)
    b = roots_alike(big_l, count)
    return 1 - np.sum(2 * big_l**2 * np.exp(-(b**2) * fo) / (b**2 * (b**2 + big_l**2 + big_l)))


def local(big_l, fo, place, count=80):
    b = roots_alike(big_l, count)
    terms = 2 * big_l * np.cos(b * place) * np.exp(-(b**2) * fo)
    return 1 - np.sum(terms / ((b**2 + big_l**2 + big_l) * np.cos(b)))


def roots_unequal(l1, l2, count):
    def condition(b):
        return (b**2 - l1 * l2) * np.sin(b) - b * (l1 + l2) * np.cos(b)

    steps = np.linspace(1e-9, (count + 1) * np.pi, 400 * (count + 1))
    signs = np.sign(condition(steps))
    at = np.flatnonzero(signs[1:] * signs[:-1] < 0)[:count]
    return np.array([brentq(condition, steps[i], steps[i + 1], xtol=1e-15) for i in at])


def uptake_unequal(l1, l2, fo, count=80):
    b = roots_unequal(l1, l2, count)
    whole = np.sin(b) / b + l1 / b**2 * (1 - np.cos(b))
    squared = (
        0.5 * (1 + np.sin(2 * b) / (2 * b))
        + l1 / b**2 * np.sin(b) ** 2
        + (l1 / b) ** 2 * 0.5 * (1 - np.sin(2 * b) / (2 * b))
    )
    return 1 - np.sum(whole**2 / squared * np.exp(-(b**2) * fo))


# ---- the series themselves, at the figures computed independently


UPTAKE = {  # Fo: E for L = inf, 0.5, 1, 2, 5, 10
    0.1: (0.356823, 0.0446233, 0.0804033, 0.133628, 0.218583, 0.273882),
    0.5: (0.763950, 0.195672, 0.318895, 0.460384, 0.614825, 0.684984),
    1.0: (0.931260, 0.350240, 0.529603, 0.697841, 0.837519, 0.886504),
    2.0: (0.994170, 0.575955, 0.775606, 0.905245, 0.971084, 0.985267),
    5.0: (0.999996, 0.882134, 0.975641, 0.997078, 0.999837, 0.999968),
}
BIOT = (INFINITE, 0.5, 1.0, 2.0, 5.0, 10.0)
CASES = [(fo, big_l, e) for fo, row in UPTAKE.items() for big_l, e in zip(BIOT, row, strict=True)]
UNEQUAL = [  # L1, L2 and Fo on the full thickness, E
    (1.0, 5.0, 0.2, 0.486382),
    (0.2, 2.0, 1.0, 0.768292),
    (0.05, 5.0, 0.5, 0.629500),
    (0.0, 4.0, 0.5, 0.583535),
    (10.0, 10.0, 0.05, 0.350983),
]


@pytest.mark.parametrize(("fo", "big_l", "e"), CASES)
def test_series_alike_at_independent_figures(fo, big_l, e):
    assert uptake(big_l, fo) == pytest.approx(e, abs=2e-6)


@pytest.mark.parametrize(("fo", "e"), [(0.01, 0.112838), (0.2, 0.504088)])
def test_series_without_resistance_at_short_times(fo, e):
    assert uptake(INFINITE, fo) == pytest.approx(e, abs=2e-6)
    if fo < 0.1:
        assert 2 * np.sqrt(fo / np.pi) == pytest.approx(e, abs=2e-6)


@pytest.mark.parametrize(
    ("big_l", "first_three"),
    [
        (0.5, (0.653271, 3.292310, 6.361620)),
        (1.0, (0.860334, 3.425618, 6.437298)),
        (5.0, (1.313838, 4.033568, 6.909596)),
        (10.0, (1.428870, 4.305801, 7.228110)),
    ],
)
def test_roots_at_independent_figures(big_l, first_three):
    assert roots_alike(big_l, 3) == pytest.approx(first_three, abs=2e-6)


@pytest.mark.parametrize(
    ("big_l", "fo", "middle", "surface"), [(1.0, 0.5, 0.227474, 0.495478), (5.0, 0.3, 0.263672, 0.810565)]
)
def test_local_series_at_independent_figures(big_l, fo, middle, surface):
    assert local(big_l, fo, 0.0) == pytest.approx(middle, abs=2e-6)
    assert local(big_l, fo, 1.0) == pytest.approx(surface, abs=2e-6)


@pytest.mark.parametrize(("l1", "l2", "fo", "e"), UNEQUAL)
def test_series_unequal_at_independent_figures(l1, l2, fo, e):
    assert uptake_unequal(l1, l2, fo) == pytest.approx(e, abs=5e-6)


# ---- the solver's linear core


L_MM = 9.5
D_M2_S = 3.4e-11
DENSITY = 500.0
TEMPERATURE_C = 21.0
SLOPE = 16.0  # % MC per unit of humidity


def film_for(surface_coefficient_m_s, density=DENSITY, slope=SLOPE):
    """Permeance of the film that gives a surface coefficient, the air's own being in series; NaN if none."""
    if np.isinf(surface_coefficient_m_s):
        return np.nan
    per_fraction = 100.0 / slope
    permeance = surface_coefficient_m_s * density / (saturation_vapour_pressure(TEMPERATURE_C) * per_fraction)
    if permeance == 0.0:
        return 0.0
    return 1.0 / (1.0 / permeance - 1.0 / AIR_PERMEANCE_KG_M2_S_PA)


def straight_wood(thickness_mm, s_face, s_back):
    """One member for each pair of surface coefficients."""
    faces, backs = np.broadcast_arrays(np.atleast_1d(s_face), np.atleast_1d(s_back))
    return moisture.Batch(
        np.full(len(faces), thickness_mm),
        np.full(len(faces), 0.5),
        np.full(len(faces), DENSITY),
        np.array([film_for(s) for s in faces]),
        np.array([film_for(s) for s in backs]),
        np.ones(len(faces)),
    )


def share_after(batch, fo, length_mm, steps=60, d=D_M2_S):
    seconds = fo * (length_mm * 1e-3) ** 2 / d
    temperature = np.full((steps, 1), TEMPERATURE_C)
    run = advance_plainly(
        moisture.uniform_profile(np.full(len(batch), 0.2 * SLOPE)),
        batch,
        temperature,
        np.full((steps, 1), 70.0),
        step_s=seconds / steps,
        physics=linear(d, SLOPE),
    )
    return run, lambda mc: (mc - 0.2 * SLOPE) / (0.5 * SLOPE)


@pytest.mark.parametrize("fo", UPTAKE)
def test_linear_core_follows_the_series_alike(fo):
    s = np.array(BIOT[1:]) * D_M2_S / (L_MM * 1e-3)
    run, share = share_after(straight_wood(2 * L_MM, s, s), fo, L_MM)
    assert share(run.mc_mean_pct[-1]) == pytest.approx(np.array(UPTAKE[fo][1:]), abs=2e-4)


@pytest.mark.parametrize(("fo", "e"), [(fo, row[0]) for fo, row in UPTAKE.items()])
def test_linear_core_follows_the_series_without_resistance(fo, e):
    # Diffusion so slow that the air film is nothing beside it: L = S l / D over 5000.
    run, share = share_after(straight_wood(2 * L_MM, INFINITE, INFINITE), fo, L_MM, steps=6, d=1e-12)
    assert share(run.mc_mean_pct[-1, 0]) == pytest.approx(e, abs=2e-4)


@pytest.mark.parametrize(("l1", "l2", "fo", "e"), UNEQUAL)
def test_linear_core_follows_the_series_unequal(l1, l2, fo, e):
    per_l = D_M2_S / (2 * L_MM * 1e-3)
    run, share = share_after(straight_wood(2 * L_MM, l1 * per_l, l2 * per_l), fo, 2 * L_MM)
    assert share(run.mc_mean_pct[-1, 0]) == pytest.approx(e, abs=2e-4)


def test_linear_core_gives_the_surface_of_the_series():
    big_l, fo = 5.0, 0.3
    s = big_l * D_M2_S / (L_MM * 1e-3)
    run, share = share_after(straight_wood(2 * L_MM, s, s), fo, L_MM)
    assert share(run.mc_face_pct[-1, 0]) == pytest.approx(0.810565, abs=5e-4)
    core = moisture.summary(run.profile).mc_core_pct[0]
    assert share(core) == pytest.approx(0.263672, abs=5e-4)


def test_a_board_sealed_on_one_face_is_half_of_one_twice_as_thick():
    s = 2.0 * D_M2_S / (L_MM * 1e-3)
    half, share = share_after(straight_wood(L_MM, s, 0.0), 0.5, L_MM)
    assert share(half.mc_mean_pct[-1, 0]) == pytest.approx(uptake(2.0, 0.5), abs=2e-4)
    assert half.gained_back_pct[0] == 0.0


# One face sealed, the other in a step of air: kappa h / (C dM), from the series moment, computed
# independently; L and Fo on the full thickness.
MOMENTS = [
    (2.0, 0.1, 0.406408),
    (2.0, 0.3, 0.435385),
    (2.0, 1.0, 0.198218),
    (20.0, 0.1, 0.864086),
    (0.5, 0.5, 0.178323),
]


@pytest.mark.parametrize(("big_l", "fo", "moment"), MOMENTS)
def test_profile_moment_follows_the_series(big_l, fo, moment):
    batch = straight_wood(L_MM, big_l * D_M2_S / (L_MM * 1e-3), 0.0)
    run, _share = share_after(batch, fo, L_MM)
    per_step = moisture.profile_moment(run.profile, batch)[0] * L_MM / (0.5 * SLOPE)
    assert per_step == pytest.approx(moment, abs=2e-3)


# ---- a year as a sine, `A = tanh q / (q (1 + q tanh q / L))` with `q = sqrt(i w l^2 / D)`


def response(omega, big_l):
    q = np.sqrt(1j * omega)
    through = 0.0 if np.isinf(big_l) else q * np.tanh(q) / big_l
    return np.tanh(q) / (q * (1 + through))


@pytest.mark.parametrize(
    ("omega", "big_l", "ratio", "lag_deg"),
    [
        (0.1, INFINITE, 0.999223, 1.90861),
        (0.5, 0.5, 0.649349, 49.2358),
        (0.5, 1.0, 0.828967, 33.5336),
        (1.0, 5.0, 0.868180, 27.4652),
        (2.0, INFINITE, 0.790171, 30.9254),
        (2.0, 5.0, 0.661986, 44.0547),
        (5.0, 1.0, 0.151145, 77.3386),
        (10.0, 5.0, 0.208592, 63.0321),
        (50.0, 1.0, 0.0181072, 84.8062),
    ],
)
def test_sine_at_independent_figures(omega, big_l, ratio, lag_deg):
    amplitude = response(omega, big_l)
    assert abs(amplitude) == pytest.approx(ratio, abs=2e-6)
    assert -np.degrees(np.angle(amplitude)) == pytest.approx(lag_deg, abs=2e-4)


@pytest.mark.parametrize(
    ("d", "l_mm", "s", "ratio", "lag_d"),
    [  # annual, computed independently
        (3.4e-11, 9.5, 6e-9, 0.89314, 26.395),
        (2.0e-11, 12.5, 6e-9, 0.71347, 41.928),
    ],
)
def test_a_year_comes_through_a_finish_as_the_sine_says(d, l_mm, s, ratio, lag_d):
    year_s = 365.25 * 86400
    amplitude = response(2 * np.pi / year_s * (l_mm * 1e-3) ** 2 / d, s * l_mm * 1e-3 / d)
    assert abs(amplitude) == pytest.approx(ratio, abs=1e-5)
    assert -np.angle(amplitude) / (2 * np.pi) * 365.25 == pytest.approx(lag_d, abs=2e-3)

    days = np.arange(2 * 365)
    rh = 45.0 + 10.0 * np.sin(2 * np.pi * (days + 0.5) * 86400 / year_s)
    run = advance_plainly(
        moisture.uniform_profile(0.45 * SLOPE),
        straight_wood(2 * l_mm, s, s),
        np.full((len(days), 1), TEMPERATURE_C),
        rh[:, None],
        step_s=86400.0,
        physics=linear(d, SLOPE),
    )
    t = (days + 1.0) * 86400 / year_s
    last = slice(-366, None)
    wave = np.column_stack([np.sin(2 * np.pi * t), np.cos(2 * np.pi * t), np.ones(len(t))])[last]
    fitted = np.linalg.lstsq(wave, run.mc_mean_pct[last, 0], rcond=None)[0]
    assert np.hypot(fitted[0], fitted[1]) / (0.1 * SLOPE) == pytest.approx(ratio, abs=1e-3)
    assert np.arctan2(-fitted[1], fitted[0]) / (2 * np.pi) * 365.25 == pytest.approx(lag_d, abs=0.3)


# ---- the compiled solver in a change so small that wood is straight


SMALL_PCT = 1e-3


@pytest.mark.parametrize(
    ("l1", "l2", "fo"),
    [(0.5, 0.5, 1.0), (5.0, 5.0, 0.3), (0.2, 2.0, 1.0), (0.0, 4.0, 0.5), (40.0, 40.0, 0.05)],
)
def test_compiled_solver_follows_the_series_in_small_changes(l1, l2, fo):
    mc, gravity, thickness_mm = 9.0, 0.55, 2 * L_MM
    d = moisture.DIFFUSION_SCALE * float(transverse_diffusion(TEMPERATURE_C, mc, gravity))
    rh = relative_humidity_for(TEMPERATURE_C, mc)
    slope = sorption_slope(TEMPERATURE_C, rh)
    films = [film_for(big_l * d / (thickness_mm * 1e-3), slope=slope) for big_l in (l1, l2)]
    batch = moisture.Batch(
        np.array([thickness_mm]),
        np.array([gravity]),
        np.array([DENSITY]),
        np.array(films[:1]),
        np.array(films[1:]),
    )
    steps = 200
    to = relative_humidity_for(TEMPERATURE_C, mc + SMALL_PCT)
    assert equilibrium_moisture_content(TEMPERATURE_C, to) == pytest.approx(mc + SMALL_PCT, abs=1e-9)
    run = moisture.advance(
        moisture.uniform_profile(mc),
        batch,
        np.full((steps, 1), TEMPERATURE_C),
        np.full((steps, 1), to),
        0,
        0,
        step_s=fo * (thickness_mm * 1e-3) ** 2 / d / steps,
    )
    # The series takes L and Fo on the full thickness; so does the pair of equal faces.
    assert (run.mc_mean_pct[-1, 0] - mc) / SMALL_PCT == pytest.approx(uptake_unequal(l1, l2, fo), abs=5e-4)
