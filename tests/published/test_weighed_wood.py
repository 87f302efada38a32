"""Wood that was weighed: the solver against published measurements, with nothing fitted to them but the
scale.

What is assumed of the stick is said in `calibrate_evidence.stick_days`. What the model can't reproduce is
asserted here as such, and told in `deploy/docs/science.md`.
"""

from pathlib import Path

import numpy as np
import pytest

from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.learning import RATES, Course, PartMeasurement, learn
from model.wood.moisture import solver as moisture
from model.wood.moisture.diffusion import DIFFUSION_SCALE, STICKERED_PERMEANCE_KG_M2_S_PA, diffusion_scale_at
from model.wood.moisture.time_constant import time_constant_h
from tests.oracles.calibrate_evidence import (
    DRY_BEFORE_H,
    FORGOTTEN_H,
    SHORTEST_SPELL_H,
    STACK_TIMES,
    STICK_MM,
    STICK_SPECIFIC_GRAVITY,
    read_stick,
    spruce_ratios,
    stack_days,
    stick_days,
)

STICK = Path(__file__).parent / "data" / "weighed_stick" / "stick_a_2014.csv.gz"


def test_a_dowel_weighed_outdoors_is_followed_in_its_daily_means_and_in_its_daily_swing():
    # van der Kamp, Moore and McKendry, Agricultural and Forest Meteorology 236 (2017) 123: hourly data, MIT.
    days = stick_days(read_stick(str(STICK)))
    assert len(days.measured_mean_pct) >= 30
    assert days.measured_swing_pct.mean() > 2.0
    assert days.mean_rms_pct < 1.0
    assert abs(np.mean(days.modelled_mean_pct - days.measured_mean_pct)) < 0.5
    assert 0.8 < days.swing_ratio < 1.25


def spells(stick):
    """Of the weighed stick, first and last hour of each spell without rain, as `stick_days` has them."""
    dry = (stick["rain_mm"].rolling(DRY_BEFORE_H).sum() <= 0.0).to_numpy()
    edges = np.flatnonzero(np.diff(np.concatenate([[0], dry.astype(int), [0]])))
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= SHORTEST_SPELL_H]


def stick_at(stick, spell, rates):
    """Hourly moisture of the stick through a spell at several speeds, and as weighed, from its second day."""
    own = stick.iloc[slice(*spell)]
    one = (STICK_MM / 2.0, STICK_SPECIFIC_GRAVITY, 1000.0 * STICK_SPECIFIC_GRAVITY, np.nan, np.nan, 2.0)
    batch = moisture.Batch(*(np.full(len(rates), value) for value in one)).quicker(rates)
    start = moisture.uniform_profile(np.full(len(rates), own["measured_mc_pct"].iloc[0]))
    air = own["temperature_c"].to_numpy()[:-1, None], own["rh_pct"].to_numpy()[:-1, None]
    run = moisture.advance(start, batch, *air, 0, 0)
    return run.mc_mean_pct[FORGOTTEN_H:], own["measured_mc_pct"].to_numpy()[1 + FORGOTTEN_H :], batch


def test_the_dowel_weighed_in_its_first_two_months_foretells_the_next_two_better_than_the_handbook():
    # The same stick and source. Learned from a weighing every six hours of the spells before the middle.
    stick = read_stick(str(STICK))
    hours, course, weighed = [0], [np.full(len(RATES), 12.0)], []
    for spell in [one for one in spells(stick) if one[1] <= len(stick) // 2]:
        mc, as_weighed, batch = stick_at(stick, spell, RATES)
        for k in range(0, len(as_weighed), 6):
            hours.append(int(spell[0]) + 1 + FORGOTTEN_H + k)
            course.append(mc[k])
            weighed.append(PartMeasurement(hours[-1], float(as_weighed[k]), 0.1))
    tau = np.array([time_constant_h(one) for one in batch.constants()])
    found = learn(
        Course(hours, np.array(course), np.full((len(hours), len(RATES)), 0.25), tau), weighed, 0.156, {}
    )
    rate, doubt = found[-1].learned.rate_factor, found[-1].learned.rate_doubt
    assert 0.6 < rate < 0.95  # its swing is 1.15 times too large by the handbook
    assert doubt < 1.3

    misses = []
    for spell in [one for one in spells(stick) if one[0] >= len(stick) // 2]:
        mc, as_weighed, _ = stick_at(stick, spell, np.array([1.0, rate]))
        misses.append(mc - as_weighed[:, None])
    book, learned = np.sqrt(np.mean(np.concatenate(misses) ** 2, axis=0))
    assert learned < 0.96 * book


def test_spruce_by_the_scale_in_use_is_within_a_fifth_of_what_was_measured():
    # Sánchez-Ferrer and Engelhardt, Scientific Reports 2026, abstract: 0.94e-10 and 1.00e-10 m2/s; and
    # 1.10e-10.
    for where, ratio in spruce_ratios().items():
        assert 0.8 < ratio < 1.25, where


# Pine blanks at 20 °C: BioResources 16(3) 5407 (2021). Four months at 60 % RH: 11.3 to 11.8 %; then six
# months at 85 %: 17.4 to 17.9 %, or six months at 35 %: 8.2 %.
def blank_after(*stages: tuple[float, int]) -> float:
    batch = moisture.Batch(*(np.array([x]) for x in (25.0, 0.50, 500.0, np.nan, np.nan)))
    profile = moisture.uniform_profile([20.0])
    for rh, days in stages:
        air = np.full((days, 1), 20.0), np.full((days, 1), rh)
        profile = moisture.advance(profile, batch, *air, 0, 0, step_s=86_400.0).profile
    return float(moisture.summary(profile).mc_mean_pct[0])


def test_pine_blanks_kept_for_months_at_60_and_then_at_85_percent():
    assert blank_after((60.0, 120)) == pytest.approx(11.55, abs=0.75)
    assert blank_after((60.0, 120), (85.0, 180)) == pytest.approx(17.65, abs=0.75)


def test_pine_blanks_that_dry_to_35_percent_stay_wetter_than_one_curve_can_say():
    # Not reproduced: the solver knows one sorption curve, and wood that comes from damp air stays above it.
    # The bound of the falling curve, 2/(1 + r) of the mean one, leaves half a point (r = 0.8, adsorption to
    # desorption, from memory of Wood Handbook ch. 4, unverified).
    left = 8.2 - blank_after((60.0, 120), (35.0, 180))
    assert 1.0 < left < 1.5
    assert 8.2 - 2.0 / (1.0 + 0.8) * equilibrium_moisture_content(20.0, 35.0) < 0.6


# Boards of larch, hinoki and Douglas-fir, 12 h in damp air and 12 h in drier: J. Korean Wood Sci. Technol.
# 48(4) 488 (2020), Table 5, by KS F 2611. Bare: g/m2 in, and out again.
UPTAKE_G_M2 = [("larch", 0.52, 18.0, 11.5), ("hinoki", 0.41, 23.0, 15.5), ("Douglas-fir", 0.48, 21.0, 13.0)]


@pytest.mark.parametrize(("wood", "gravity", "taken_in", "given_back"), UPTAKE_G_M2)
def test_boards_give_back_in_twelve_hours_more_than_half_of_what_they_took_in(
    wood, gravity, taken_in, given_back
):
    # The standard's humidities, 50 and 75 % at 23 °C, and its one open face are from memory, unverified.
    batch = moisture.Batch(*(np.array([x]) for x in (20.0, gravity, 1000.0 * gravity, np.nan, 0.0)))
    start = equilibrium_moisture_content(23.0, 50.0)
    rh = np.repeat([75.0, 50.0], 12)[:, None]
    run = moisture.advance(moisture.uniform_profile([start]), batch, np.full((24, 1), 23.0), rh, 0, 0)
    damp, dry = run.mc_mean_pct[[11, 23], 0]
    assert (damp - dry) / (damp - start) == pytest.approx(given_back / taken_in, abs=0.15)
    # Not reproduced, if those humidities are right: ours takes in two to three and a half times as much.
    # Swings of hours are followed too readily; days and seasons are not judged by this.
    ours_g_m2 = (damp - start) / 100.0 * gravity * 20e-3 * 1e6
    assert 2.0 < ours_g_m2 / taken_in < 3.5, wood


def test_stacks_come_to_their_shop_and_green_lumber_dries_in_the_time_it_is_known_to_take():
    # A regression of the fit of the stack's air; sources beside each time in `calibrate_evidence`.
    days = stack_days(STACK_TIMES, STICKERED_PERMEANCE_KG_M2_S_PA, DIFFUSION_SCALE)
    off = np.log(days / np.array([one.days for one in STACK_TIMES]))
    assert np.exp(np.sqrt(np.mean(off**2))) < 1.35
    assert 0.9 < np.exp(np.mean(off)) < 1.1


def test_thick_lumber_stacked_in_spring_takes_a_year_or_more():
    # A sawyer, as quoted: 8/4 a year or more to 12 to 14 %. Not fitted; his air is assumed.
    four_quarter = next(one for one in STACK_TIMES if "4/4" in one.what)
    thick = four_quarter._replace(thickness_mm=50.8)
    assert stack_days([thick], STICKERED_PERMEANCE_KG_M2_S_PA, DIFFUSION_SCALE)[0] > 0.8 * 365


def test_a_flat_sawn_board_follows_sooner_than_a_quarter_sawn_one():
    # Moisture goes along the rays through a flat-sawn board; radial is the faster (Siau 1984 and
    # Eitelberger et al. 2011, as quoted in Wood Science and Technology 2018, doi
    # 10.1007/s00226-018-1003-4).
    flat, rift, quarter = (float(diffusion_scale_at(angle)) for angle in (0.0, 45.0, 90.0))
    assert flat > rift > quarter
    assert rift == pytest.approx(DIFFUSION_SCALE)
    batch = moisture.Batch(
        *(np.full(2, x) for x in (19.0, 0.5, 500.0, np.nan, np.nan)), np.array([flat, quarter])
    )
    air = np.full((24 * 5, 1), 20.0), np.full((24 * 5, 1), 65.0)
    run = moisture.advance(moisture.uniform_profile([8.0, 8.0]), batch, *air, 0, 0)
    assert run.mc_mean_pct[-1, 0] > run.mc_mean_pct[-1, 1] + 0.05
