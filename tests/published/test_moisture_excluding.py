"""The published moisture-excluding table, run on the shape of its specimens.

Wood Handbook (FPL-GTR-190, 2010) Table 16-3 and the longer table of earlier editions as quoted elsewhere;
`provenance` in the data says how each row was read. Rows from memory are calibrated and not tested against.

Each finish has one permeance fitted to its three figures, so that what a fit leaves is a regression and no
proof. The true tests are further down: a figure foretold from the other two, a row foretold from its
neighbours, and films measured elsewhere that were never fitted.
"""

import csv
from importlib import resources

import numpy as np
import pytest

from model.wood.material.finish import permeance_of
from model.wood.moisture import solver as moisture
from model.wood.moisture.diffusion import AIR_PERMEANCE_KG_M2_S_PA, DIFFUSION_SCALE
from tests.oracles import calibrate
from tests.oracles.calibrate_shapes import box_means

pytestmark = pytest.mark.slow

ROWS = [row for row in calibrate.published() if row.provenance != "memory"]
FILMS = [row for row in ROWS if row.film]


@pytest.fixture(scope="module")
def fitted():
    return calibrate.fit(ROWS)


def rms(left):
    return np.sqrt(np.nanmean(np.square(left), axis=0))


# ---- regressions: what the fit leaves


def test_regression_of_the_fit_film_finishes_within_a_point_and_a_half_rms(fitted):
    films = [one for one in fitted if one.row.film]
    assert len(films) >= 36
    left, worst = calibrate.left_over(films)
    assert left <= 1.5
    assert worst <= 5.0
    one_day = [one.residual_pct[0] for one in films]
    assert abs(np.nanmean(one_day)) < 1.0


def test_regression_of_the_fit_rows_read_on_the_handbooks_own_page(fitted):
    left, worst = calibrate.left_over(one for one in fitted if one.row.film and one.row.provenance == "read")
    assert left <= 1.75
    assert worst <= 5.0


# ---- true tests: what was not fitted


def test_a_figure_is_foretold_from_the_other_two():
    # On a slab with the scale of 3.5 used before, rms was 3.05, 2.66 and 2.14 points at 1, 7 and 14 days.
    left = rms(calibrate.predicted(FILMS))
    print("foretold, rms at 1/7/14 days", left)
    assert np.all(left <= [3.0, 2.6, 2.1])


def test_a_row_held_out_is_foretold_from_a_coat_less_and_a_coat_more(fitted):
    # That each further coat divides by the same is our own rule between coats that were tested: common
    # practice, no source. First coats soak in and are films only in part, so a second coat is foretold
    # worst (spar varnish by 13 points); the third and later ones come within 5.
    by_row = {(one.row.name, one.row.coats): one for one in fitted if one.row.film}
    left = {}
    for (name, coats), row in by_row.items():
        beside = [by_row.get((name, coats + step)) for step in (-1, 1)]
        if all(beside) and np.isfinite(row.row.mee_pct).all():
            between = np.sqrt(beside[0].permeance_kg_m2_s_pa * beside[1].permeance_kg_m2_s_pa)
            left[name, coats] = calibrate.effectiveness([between])[:, 0] - np.array(row.row.mee_pct)
    print(left)
    assert len(left) >= 9
    assert np.all(rms(list(left.values())) <= 6.0)
    later = [apart for (_, coats), apart in left.items() if coats > 3]
    assert len(later) >= 2
    assert np.all(np.abs(later) <= 2.0)


# Water vapour resistance of nine free films of exterior paint (alkyds, emulsions, acrylics) by the wet cup,
# as the thickness of still air that resists as much: 0.453 to 1.350 m in three layers, 0.690 to 2.250 m in
# six. Rossebø and Kvande, Buildings 14 (2024) 2202, abstract. Still air passes 2.0e-10 kg/(m s Pa) at 23
# °C.
STILL_AIR_KG_M_S_PA = 2.0e-10


@pytest.mark.parametrize(
    ("name", "coats"),
    [("acrylic latex flat house paint", 3), ("alkyd gloss enamel", 2), ("oil-based house paint", 3)],
)
def test_house_paints_resist_as_free_films_measured_elsewhere(name, coats):
    still_air_m = STILL_AIR_KG_M_S_PA / permeance_of(name, coats).permeance
    print(name, still_air_m)
    assert 0.453 / 1.1 <= still_air_m <= 1.350 * 1.1


# ---- the shape of the specimens


def test_a_box_that_is_wide_and_long_is_the_slab_of_the_solver():
    for film in (np.nan, 2e-10):
        total = (
            AIR_PERMEANCE_KG_M2_S_PA
            if np.isnan(film)
            else 1.0 / (1.0 / AIR_PERMEANCE_KG_M2_S_PA + 1.0 / film)
        )
        box = box_means((16.0, 5_000.0, 20_000.0), 0.40, total, 26.7, 30.0, 90.0, 14, DIFFUSION_SCALE)
        batch = moisture.Batch(*(np.array([x]) for x in (16.0, 0.4, 400.0, film, film)))
        start = calibrate.equilibrium_moisture_content(26.7, 30.0)
        air = np.full((24 * 14, 1), 26.7), np.full((24 * 14, 1), 90.0)
        run = moisture.advance(moisture.uniform_profile([start]), batch, *air, 0, 0, every=24)
        gained, expected = box - start, run.mc_mean_pct[:, 0] - start
        assert gained == pytest.approx(expected, rel=0.015)


def test_edges_and_ends_let_in_what_the_product_of_three_slabs_says():
    # Newman's product rule (Crank, The Mathematics of Diffusion; from memory): what is left of a step in a
    # box is the product of what is left in three slabs. Early on each share goes with the root of the
    # coefficient over the length, here twelve times as quick along the grain.
    start, end = (calibrate.equilibrium_moisture_content(26.7, rh) for rh in (30.0, 90.0))
    case = 0.40, 1e-5, 26.7, 30.0, 90.0, 1, 0.2
    slab = (box_means((16.0, 5_000.0, 20_000.0), *case)[0] - start) / (end - start)
    box = (box_means(calibrate.SPECIMEN_MM, *case)[0] - start) / (end - start)
    edges, ends = slab * 16.0 / 76.0, slab * np.sqrt(12.0) * 16.0 / 127.0
    assert box == pytest.approx(1.0 - (1.0 - slab) * (1.0 - edges) * (1.0 - ends), rel=0.05)
    assert box > 1.3 * slab


def test_a_slower_wood_fits_worse_than_the_scale_in_use(fitted):
    in_use = calibrate.left_over([one for one in fitted if one.row.film])[0]
    assert calibrate.left_over(calibrate.fit(FILMS, 1.0))[0] > 2.0 * in_use


def test_weak_finishes_are_nearly_bare_wood(fitted):
    # Below 10 % at 7 days a finish is no film: its permeance is at least a tenth of the bare face's.
    weak = [one for one in fitted if not one.row.film]
    assert weak
    for one in weak:
        assert one.permeance_kg_m2_s_pa > 2e-9


@pytest.mark.parametrize("name", ["oil-modified urethane varnish", "shellac", "two-part epoxy"])
def test_stored_permeances_are_what_the_calibration_gives(name, fitted):
    text = resources.files("model.wood").joinpath("data/finish_permeance.csv").read_text(encoding="utf-8")
    stored = {
        (row["name"], int(row["coats"])): float(row["permeance_kg_m2_s_pa"])
        for row in csv.DictReader(text.splitlines())
    }
    again = [one for one in fitted if one.row.name == name]
    assert again
    for one in again:
        assert one.permeance_kg_m2_s_pa == pytest.approx(stored[name, one.row.coats], rel=0.01)


def test_more_coats_pass_less(fitted):
    by_name = {}
    for one in fitted:
        by_name.setdefault(one.row.name, []).append((one.row.coats, one.permeance_kg_m2_s_pa))
    for coats in by_name.values():
        permeances = [permeance for _, permeance in sorted(coats)]
        assert permeances == sorted(permeances, reverse=True)


def test_effectiveness_falls_as_the_test_goes_on_and_the_end_is_the_same():
    # A finish slows the change and does not alter where it ends: Wood Handbook ch. 16.
    mee = calibrate.effectiveness([1e-10, 5e-10, 2e-9])
    assert np.all(np.diff(mee, axis=0) < 0.0)
    batch = moisture.Batch(
        np.full(2, 16.0), np.full(2, 0.4), np.full(2, 400.0), *2 * [np.array([np.nan, 1e-10])]
    )
    run = moisture.advance(
        moisture.uniform_profile([6.0, 6.0]),
        batch,
        np.full((3000, 1), 26.7),
        np.full((3000, 1), 90.0),
        0,
        0,
        step_s=86400.0,
        every=3000,
    )
    assert run.mc_mean_pct[0, 0] == pytest.approx(run.mc_mean_pct[0, 1], abs=0.01)


def test_three_coats_of_varnish_keep_most_of_a_year_and_delay_it_by_weeks():
    # Computed independently for a 19 mm cherry panel: 0.89 of the annual movement, 26 days late, with D from
    # 0.5 to 2 times 3.4e-11 giving 0.82 to 0.93. Ours, with its own scale, must stay on that side of things.
    film = 2.1e-10
    batch = moisture.Batch(
        np.full(2, 19.0), np.full(2, 0.5), np.full(2, 500.0), *2 * [np.array([film, np.nan])]
    )
    days = np.arange(3 * 365)
    emc_like = 42.0 + 10.0 * np.sin(2 * np.pi * (days + 0.5) / 365.0)
    run = moisture.advance(
        moisture.uniform_profile([8.0, 8.0]),
        batch,
        np.full((len(days), 1), 21.0),
        emc_like[:, None],
        0,
        0,
        step_s=86400.0,
    )
    last = run.mc_mean_pct[-365:]
    wave = np.column_stack(
        [f(2 * np.pi * (days[-365:] + 1.0) / 365.0) for f in (np.sin, np.cos, np.ones_like)]
    )
    sine, cosine, _ = np.linalg.lstsq(wave, last, rcond=None)[0]
    amplitude, late_d = np.hypot(sine, cosine), np.arctan2(-cosine, sine) / (2 * np.pi) * 365.0
    swing = 10.0 * 0.157  # slope of eq. 4-5 at 42 % RH, points of MC per % RH
    assert 0.82 < amplitude[0] / swing < 0.95
    assert 15.0 < late_d[0] < 35.0
    assert amplitude[1] / swing > 0.97
    assert late_d[1] < 10.0
