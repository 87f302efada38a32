"""The published moisture-excluding table, run by the solver.

Wood Handbook (FPL-GTR-190, 2010) Table 16-3 and the longer table of earlier editions as quoted elsewhere;
`provenance` in the data says how each row was read. Rows from memory are calibrated and not tested against.
"""

import csv
from importlib import resources

import numpy as np
import pytest

from model.wood import calibrate, moisture
from model.wood.moisture_reference import advance_plainly

ROWS = [row for row in calibrate.published() if row.provenance != "memory"]
FILMS = [row for row in ROWS if row.film]


@pytest.fixture(scope="module")
def fitted():
    return calibrate.fit(ROWS)


def test_film_finishes_come_within_two_points_rms_and_six_at_worst(fitted):
    films = [one for one in fitted if one.row.film]
    print(f"\n{'finish':38s} coats    printed 1/7/14 d     left over")
    for one in films:
        printed = "/".join("-" if np.isnan(x) else f"{x:.0f}" for x in one.row.mee_pct)
        left = " ".join("    -" if np.isnan(x) else f"{x:+5.1f}" for x in one.residual_pct)
        print(f"{one.row.name:38s} {one.row.coats:5d} {printed:>18s}   {left}")
    rms, worst = calibrate.left_over(films)
    print(f"rms {rms:.2f}, worst {worst:.1f} points over {len(films)} rows")
    assert len(films) >= 36
    assert rms <= 2.0
    assert worst <= 6.0


def test_rows_read_on_the_handbooks_own_page_alone_do_too(fitted):
    rms, worst = calibrate.left_over(one for one in fitted if one.row.film and one.row.provenance == "read")
    assert rms <= 2.0
    assert worst <= 6.0


def test_weak_finishes_are_nearly_bare_wood(fitted):
    # Below 10 % at 7 days a finish is no film: its permeance is at least a tenth of the bare face's.
    weak = [one for one in fitted if not one.row.film]
    assert weak
    for one in weak:
        assert one.permeance_kg_m2_s_pa > 2e-9


def test_a_smaller_scale_fits_worse():
    assert calibrate.left_over(calibrate.fit(FILMS, 2.0))[0] > 3.0
    assert calibrate.left_over(calibrate.fit(FILMS, 3.0))[0] > 2.0


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


def test_the_plain_solver_gives_the_same_effectiveness():
    films = np.array([np.nan, 2e-10])
    batch = moisture.Batch(np.full(2, 16.0), np.full(2, 0.4), np.full(2, 400.0), films, films)
    start = calibrate.equilibrium_moisture_content(calibrate.TEST_TEMPERATURE_C, 30.0)
    air = np.full((24 * 7, 1), calibrate.TEST_TEMPERATURE_C), np.full((24 * 7, 1), 90.0)
    run = advance_plainly(moisture.uniform_profile(np.full(2, start)), batch, *air)
    gain = run.mc_mean_pct[[23, 167]] - start
    mee = 100.0 * (1.0 - gain[:, 1] / gain[:, 0])
    assert mee == pytest.approx(calibrate.effectiveness([2e-10])[:2, 0], abs=1e-6)
