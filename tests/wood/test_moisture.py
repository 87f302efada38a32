"""Moisture through the thickness: what must hold whatever the wood, the air and the company."""

import multiprocessing
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.moisture import solver as moisture
from model.wood.moisture.layers import CELLS, CENTRES, WIDTHS
from tests.oracles.moisture_reference import advance_plainly

BARE = np.nan


def batch_of(rows):
    """Rows of thickness, specific gravity, face and back permeance."""
    table = np.array(rows, dtype=float)
    return moisture.Batch(table[:, 0], table[:, 1], 1000.0 * table[:, 1], table[:, 2], table[:, 3])


def some_of(batch, members):
    return moisture.Batch(
        batch.thickness_mm[members],
        batch.specific_gravity[members],
        batch.oven_dry_density_kg_m3[members],
        batch.face_permeance[members],
        batch.back_permeance[members],
        batch.diffusion_scale[members],
    )


MIXED = batch_of(
    list(product([3.0, 6.0, 12.0, 19.0, 50.0], [0.35, 0.6, 1.05], [BARE, 1e-9, 1e-10, 0.0], [BARE, 2e-10]))
)
START = np.tile([0.0, 5.0, 8.0, 12.0, 26.0, 60.0], 20)


def mixed_air(steps, airs=3, seed=1):
    rng = np.random.default_rng(seed)
    temperature = 18.0 + rng.normal(0.0, 6.0, (steps, airs))
    rh = np.clip(50.0 + rng.normal(0.0, 25.0, (steps, airs)), 0.0, 100.0)
    places = rng.integers(0, airs, (2, len(MIXED)))
    return temperature, rh, places[0], places[1]


def test_what_the_faces_let_in_is_what_the_board_gains():
    temperature, rh, face, back = mixed_air(500)
    run = moisture.advance(moisture.uniform_profile(START), MIXED, temperature, rh, face, back)
    gained = run.gained_face_pct + run.gained_back_pct
    np.testing.assert_allclose(run.mc_mean_pct[-1] - START, gained, rtol=0, atol=1e-11)
    np.testing.assert_allclose(run.profile @ WIDTHS, run.mc_mean_pct[-1], rtol=0, atol=1e-12)


def test_a_sealed_face_lets_nothing_in():
    batch = batch_of([[19.0, 0.5, 0.0, BARE], [19.0, 0.5, 0.0, 0.0]])
    run = moisture.advance(
        moisture.uniform_profile([8.0, 8.0]), batch, np.full((100, 1), 20.0), np.full((100, 1), 80.0), 0, 0
    )
    assert run.gained_face_pct.tolist() == [0.0, 0.0]
    assert run.gained_back_pct[0] > 0.1
    assert run.mc_mean_pct[-1, 1] == pytest.approx(8.0, abs=1e-12)


def test_resuming_gives_the_same_bits():
    temperature, rh, face, back = mixed_air(200)
    start = moisture.uniform_profile(START)
    whole = moisture.advance(start, MIXED, temperature, rh, face, back)
    first = moisture.advance(start, MIXED, temperature[:77], rh[:77], face, back)
    stored = np.frombuffer(first.profile.astype("<f8").tobytes(), dtype="<f8").reshape(-1, CELLS)
    rest = moisture.advance(stored, MIXED, temperature[77:], rh[77:], face, back)
    assert np.array_equal(rest.profile, whole.profile)
    assert np.array_equal(rest.mc_face_pct, whole.mc_face_pct[77:])
    assert np.array_equal(first.mc_core_pct, whole.mc_core_pct[:77])


def test_a_member_alone_is_the_same_as_among_others_to_the_bit():
    temperature, rh, face, back = mixed_air(120)
    start = moisture.uniform_profile(START)
    together = moisture.advance(start, MIXED, temperature, rh, face, back)
    for member in (0, 7, 31, 63, 118):
        one = [member]
        alone = moisture.advance(
            start[one], some_of(MIXED, one), temperature, rh, face[one], back[one], threads=1
        )
        assert np.array_equal(alone.profile[0], together.profile[member])
        assert np.array_equal(alone.mc_back_pct[:, 0], together.mc_back_pct[:, member])
    shuffled = np.random.default_rng(4).permutation(len(MIXED))
    other = moisture.advance(
        start[shuffled], some_of(MIXED, shuffled), temperature, rh, face[shuffled], back[shuffled], threads=3
    )
    assert np.array_equal(other.profile, together.profile[shuffled])
    assert np.array_equal(other.gained_face_pct, together.gained_face_pct[shuffled])


def test_its_own_column_of_air_or_a_shared_one_is_the_same_to_the_bit():
    temperature, rh, _face, _back = mixed_air(60, airs=1)
    start = moisture.uniform_profile(START)
    shared = moisture.advance(start, MIXED, temperature, rh, 0, 0)
    columns = np.arange(len(MIXED))
    own = moisture.advance(
        start,
        MIXED,
        np.repeat(temperature, len(MIXED), axis=1),
        np.repeat(rh, len(MIXED), axis=1),
        columns,
        columns,
    )
    assert np.array_equal(own.profile, shared.profile)


def test_air_tabulated_in_pieces_is_the_same_to_the_bit(monkeypatch):
    temperature, rh, face, back = mixed_air(50)
    start = moisture.uniform_profile(START)
    whole = moisture.advance(start, MIXED, temperature, rh, face, back, every=7)
    monkeypatch.setattr(moisture, "ROWS_AT_ONCE", 40)
    pieces = moisture.advance(start, MIXED, temperature, rh, face, back, every=7)
    assert np.array_equal(pieces.profile, whole.profile)
    assert np.array_equal(pieces.mc_mean_pct, whole.mc_mean_pct)


@pytest.mark.slow
def test_the_plain_numpy_twin_agrees():
    start = moisture.uniform_profile(START)
    for step_s, rows in ((3600.0, 24), (86400.0, 4)):
        temperature, rh, face, back = mixed_air(rows)
        temperature[: rows // 4] -= 35.0  # frozen
        rh[rows // 4] = 100.0
        rh[rows // 2] = 0.0
        run = moisture.advance(start, MIXED, temperature, rh, face, back, step_s=step_s)
        parts = moisture.parts_of(MIXED.thickness_mm, step_s)
        for value in np.unique(parts):
            members = np.flatnonzero(parts == value)
            plain = advance_plainly(
                start[members],
                some_of(MIXED, members),
                temperature,
                rh,
                face[members],
                back[members],
                step_s,
            )
            for name in ("profile", "gained_face_pct", "gained_back_pct"):
                found = getattr(run, name)[members]
                np.testing.assert_allclose(found, getattr(plain, name), rtol=1e-9, atol=1e-9)
            for name in ("mc_mean_pct", "mc_face_pct", "mc_back_pct"):
                found = getattr(run, name)[:, members]
                np.testing.assert_allclose(found, getattr(plain, name), rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize(
    ("temperature_c", "rh_pct"), [(20.0, 45.0), (-10.0, 80.0), (35.0, 20.0), (20.0, 0.0)]
)
def test_steady_air_is_reached_and_kept(temperature_c, rh_pct):
    emc = equilibrium_moisture_content(temperature_c, rh_pct)
    batch = batch_of([[6.0, 0.4, BARE, BARE], [19.0, 0.55, 1e-9, BARE], [12.0, 0.7, 2e-9, 2e-9]])
    air = np.full((400, 1), temperature_c), np.full((400, 1), rh_pct)
    reached = moisture.advance(
        moisture.uniform_profile([12.0, 2.0, 9.0]), batch, *air, 0, 0, step_s=10 * 86400.0
    )
    np.testing.assert_allclose(reached.profile, emc, rtol=0, atol=1e-5)
    kept = moisture.advance(moisture.uniform_profile(np.full(3, emc)), batch, *air, 0, 0)
    np.testing.assert_allclose(kept.profile, emc, rtol=0, atol=1e-10)
    np.testing.assert_allclose(kept.mc_face_pct, emc, rtol=0, atol=1e-8)


def test_one_long_step_is_many_short_ones():
    batch = batch_of([[6.0, 0.4, BARE, BARE], [19.0, 0.55, BARE, 5e-10], [50.0, 0.65, 2e-10, 2e-10]])
    rng = np.random.default_rng(6)
    daily = np.full((90, 1), 21.0), 45.0 + 8.0 * rng.normal(size=(90, 1))
    long = moisture.advance(moisture.uniform_profile(np.full(3, 8.0)), batch, *daily, 0, 0, step_s=86400.0)
    short = moisture.advance(
        moisture.uniform_profile(np.full(3, 8.0)),
        batch,
        *(np.repeat(values, 24, axis=0) for values in daily),
        0,
        0,
        every=24,
    )
    assert np.ptp(short.mc_mean_pct[:, 0]) > 2.0
    np.testing.assert_allclose(long.mc_mean_pct, short.mc_mean_pct, rtol=0, atol=0.02)
    np.testing.assert_allclose(long.mc_core_pct, short.mc_core_pct, rtol=0, atol=0.02)


def test_thin_boards_divide_an_hour():
    thickness_mm = np.array([50.0, 19.0, 8.5, 6.0, 3.0, 0.5])
    assert moisture.parts_of(thickness_mm, 3600.0).tolist() == [1, 1, 2, 4, 14, 64]


@settings(max_examples=60)
@given(
    thickness=st.floats(1.0, 80.0),
    gravity=st.floats(0.2, 1.1),
    face=st.one_of(st.just(BARE), st.floats(1e-12, 1e-7)),
    back=st.one_of(st.just(BARE), st.floats(0.0, 1e-7)),
    start=st.floats(0.0, 28.0),
    temperature=st.floats(-40.0, 60.0),
    rh=st.floats(0.0, 100.0),
    step=st.sampled_from([3600.0, 21600.0, 86400.0]),
)
def test_wood_stays_between_where_it_was_and_where_its_air_leads(
    thickness, gravity, face, back, start, temperature, rh, step
):
    run = moisture.advance(
        moisture.uniform_profile(start),
        batch_of([[thickness, gravity, face, back]]),
        np.full((20, 1), temperature),
        np.full((20, 1), rh),
        0,
        0,
        step_s=step,
    )
    emc = equilibrium_moisture_content(temperature, rh)
    # A steep front may overshoot inside by a hundredth of the jump; the mean may not.
    slack = 0.02 * abs(emc - start) + 1e-9
    assert np.all(run.profile >= min(start, emc) - slack)
    assert np.all(run.profile <= max(start, emc) + slack)
    assert np.all(run.mc_mean_pct >= min(start, emc) - 1e-6)
    assert np.all(run.mc_mean_pct <= max(start, emc) + 1e-6)
    change = np.diff(run.mc_mean_pct[:, 0]) * np.sign(emc - start)
    assert np.all(change >= -1e-3 * abs(emc - start) - 1e-9)


def test_drier_air_never_leaves_wetter_wood():
    rows = [[19.0, 0.5, BARE, 1e-10]] * 5
    columns = np.arange(5)
    rng = np.random.default_rng(9)
    base = np.clip(45.0 + 10.0 * rng.normal(size=(300, 1)), 5.0, 90.0)
    run = moisture.advance(
        moisture.uniform_profile(np.full(5, 8.0)),
        batch_of(rows),
        np.full((300, 5), 20.0),
        base + np.array([-4.0, -2.0, 0.0, 2.0, 4.0]),
        columns,
        columns,
    )
    assert np.all(np.diff(run.mc_mean_pct, axis=1) > 0.0)


def test_dry_air_on_one_face_bends_the_profile_towards_the_other():
    batch = batch_of([[19.0, 0.5, BARE, BARE]])
    run = moisture.advance(
        moisture.uniform_profile(8.0),
        batch,
        np.full((3000, 2), 20.0),
        np.tile([60.0, 30.0], (3000, 1)),
        0,
        1,
        step_s=86400.0,
    )
    assert np.all(np.diff(run.profile[0]) < 0.0)
    assert run.mc_face_pct[-1, 0] == pytest.approx(equilibrium_moisture_content(20.0, 60.0), abs=0.15)
    assert run.mc_back_pct[-1, 0] == pytest.approx(equilibrium_moisture_content(20.0, 30.0), abs=0.15)
    assert moisture.profile_moment(run.profile, batch)[0] > 0.0
    # What comes in through the face goes out through the back.
    steady = moisture.advance(
        run.profile, batch, np.full((10, 2), 20.0), np.tile([60.0, 30.0], (10, 1)), 0, 1, step_s=86400.0
    )
    assert steady.gained_face_pct[0] > 0.1
    assert steady.gained_back_pct[0] == pytest.approx(-steady.gained_face_pct[0], rel=1e-6)


def test_moment_of_a_straight_profile_is_its_slope_and_of_an_even_one_nought():
    batch = batch_of([[20.0, 0.5, BARE, BARE]] * 2)
    straight = 8.0 - 0.05 * 20.0 * CENTRES  # 0.05 % a mm, the face wetter
    even = 8.0 + 3.0 * CENTRES**2
    moment = moisture.profile_moment(np.stack([straight, even]), batch)
    assert moment[0] == pytest.approx(0.05, rel=1e-12)
    assert moment[1] == pytest.approx(0.0, abs=1e-12)
    # A step at mid-thickness bends by three halves of a straight profile with the same difference
    # (Timoshenko's two equal strips); sixteen layers miss that by a hundredth.
    step = np.where(CENTRES < 0.0, 8.5, 7.5)
    assert moisture.profile_moment(step[None, :], some_of(batch, [0]))[0] == pytest.approx(
        1.5 / 20.0, rel=0.02
    )


def test_summary_reads_means_surfaces_and_core():
    parabola = 8.0 + 4.0 * (CENTRES**2 + WIDTHS**2 / 12.0)  # means of 8 + 4 x^2 over the layers
    found = moisture.summary(np.stack([np.full(CELLS, 8.0), parabola]))
    assert [float(values[0]) for values in found] == pytest.approx([8.0] * 4)
    assert found.mc_core_pct[1] == pytest.approx(8.0, abs=1e-9)
    assert found.mc_face_pct[1] == pytest.approx(9.0, abs=0.01)
    assert found.mc_back_pct[1] == pytest.approx(9.0, abs=0.01)
    assert found.mc_mean_pct[1] == pytest.approx(8.0 + 4.0 / 12.0, abs=1e-9)


def test_rows_are_kept_at_the_end_of_each_stretch():
    temperature, rh, face, back = mixed_air(50)
    start = moisture.uniform_profile(START)
    every_hour = moisture.advance(start, MIXED, temperature, rh, face, back)
    daily = moisture.advance(start, MIXED, temperature, rh, face, back, every=24)
    assert daily.mc_mean_pct.shape == (2, len(MIXED))
    assert np.array_equal(daily.mc_face_pct, every_hour.mc_face_pct[[23, 47]])
    assert np.array_equal(daily.profile, every_hour.profile)


def test_no_members_and_no_air_are_no_trouble():
    none = moisture.Batch(*5 * [np.empty(0)])
    run = moisture.advance(np.empty((0, CELLS)), none, np.full((5, 1), 20.0), np.full((5, 1), 50.0), 0, 0)
    assert run.mc_mean_pct.shape == (5, 0)
    still = moisture.advance(moisture.uniform_profile(START), MIXED, np.empty((0, 1)), np.empty((0, 1)), 0, 0)
    assert np.array_equal(still.profile, moisture.uniform_profile(START))
    assert still.mc_mean_pct.shape == (0, len(MIXED))


def test_the_profile_given_is_left_alone():
    start = moisture.uniform_profile(START)
    before = start.copy()
    moisture.advance(start, MIXED, *mixed_air(5)[:2], 0, 0)
    assert np.array_equal(start, before)


def test_two_threads_may_ask_at_once():
    temperature, rh, face, back = mixed_air(60)
    start = moisture.uniform_profile(START)
    expected = moisture.advance(start, MIXED, temperature, rh, face, back).profile
    with ThreadPoolExecutor(4) as pool:
        asked = [
            pool.submit(moisture.advance, start, MIXED, temperature, rh, face, back, threads=2)
            for _ in range(8)
        ]
        for one in asked:
            assert np.array_equal(one.result(timeout=240).profile, expected)


AFTER_FORK = """
import os, sys
import numpy as np
from model.wood.moisture import solver as moisture
n = 64
batch = moisture.Batch(*(np.full(n, x) for x in (19.0, 0.5, 500.0, np.nan, np.nan)))
air = np.full((24, 1), 20.0), np.full((24, 1), 40.0)
def run():
    return moisture.advance(moisture.uniform_profile(np.full(n, 8.0)), batch, *air, 0, 0, threads=2).profile
before = run()
child = os.fork()
if child == 0:
    os._exit(0 if np.array_equal(run(), before) else 1)
_, status = os.waitpid(child, 0)
sys.exit(os.waitstatus_to_exitcode(status))
"""


@pytest.mark.slow
@pytest.mark.skipif("fork" not in multiprocessing.get_all_start_methods(), reason="this system has no fork")
def test_a_forked_process_may_ask_again():
    asked = [sys.executable, "-W", "ignore", "-c", AFTER_FORK]
    done = subprocess.run(asked, capture_output=True, text=True, timeout=240, check=False)
    assert (done.returncode, done.stderr) == (0, "")
