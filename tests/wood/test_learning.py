"""What the measurements of a part teach of it, on invented parts whose truth is known."""

import numpy as np
import pytest

from model.wood.learning import RATE_SD, Learned, learn
from model.words.display import Display
from model.words.reasons import in_sentences
from tests.wood.learning_cases import SIZE_SD_MM, course_of, true_parts

DAYS = tuple(range(30, 361, 30))
SCATTER_SD = 0.156


@pytest.fixture(scope="module")
def course():
    return course_of(DAYS)


def learned(course, measured):
    return learn(course, measured, SCATTER_SD, {"width": SIZE_SD_MM})


@pytest.mark.slow
def test_four_parts_in_five_are_what_was_learned_of_them_within_its_doubt(course):
    # Invented parts: movement by the scatter of a species, speed by a factor of two, meters half a point off.
    rng = np.random.default_rng(11)
    movement = 1.0 + rng.normal(0.0, SCATTER_SD, 60)
    rate = np.exp(rng.normal(0.0, RATE_SD, 60))
    held = np.zeros((2, 3))
    for part, moves, speed in zip(true_parts(rng, movement, rate, DAYS), movement, rate, strict=True):
        found = learned(course, part.measured)
        for column, at in enumerate((1, 5, 11)):
            one = found[at].learned
            held[0, column] += abs(one.movement_factor - moves) <= one.movement_doubt
            held[1, column] += abs(np.log(one.rate_factor / speed)) <= np.log(one.rate_doubt)
    # 80 % of 60 is 48, with a standard deviation of 3.1.
    assert held.min() >= 41
    assert held.max() <= 55


def test_a_lively_and_slow_panel_is_known_as_one_after_a_year(course):
    rng = np.random.default_rng(12)
    parts = true_parts(rng, np.full(12, 1.3), np.full(12, 0.5), DAYS)
    last = [learned(course, part.measured)[-1].learned for part in parts]
    assert 1.12 < np.mean([one.movement_factor for one in last]) < 1.3
    assert np.mean([one.movement_doubt for one in last]) < 0.12
    assert 0.5 < np.exp(np.mean([np.log(one.rate_factor) for one in last])) < 0.9
    assert np.mean([one.rate_doubt for one in last]) < 1.8


def test_the_order_in_which_measurements_arrived_changes_no_bit_and_later_ones_nothing_before(course):
    (part,) = true_parts(np.random.default_rng(13), np.array([1.3]), np.array([0.5]), DAYS)
    found = learned(course, part.measured)
    shuffled = [part.measured[k] for k in np.random.default_rng(14).permutation(len(part.measured))]
    assert repr(learned(course, shuffled)) == repr(found)
    half = [one for one in part.measured if one.hour <= 24 * DAYS[5]]
    until = course_of(DAYS[:6])
    assert [one.learned for one in learned(until, half)] == [one.learned for one in found[:6]]


def test_a_meter_tells_of_speed_and_moisture_and_nothing_of_movement(course):
    (part,) = true_parts(np.random.default_rng(15), np.array([1.0]), np.array([0.5]), DAYS)
    metered = [one for one in part.measured if one.figure is None]
    last = learned(course, metered)[-1]
    assert (last.learned.movement_factor, last.learned.movement_doubt) == (None, None)
    assert last.learned.moves == 1.0
    assert last.learned.rate_doubt < 2.0
    assert last.variance_pct2 < 0.5**2


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_what_was_learned_is_said_the_same_in_both_unit_systems(units):
    # A factor has no unit, so nothing in it may depend on them.
    def said(learned):
        return in_sentences(learned.told("the door panel"), Display(units)).replace("\u00a0", " ")

    assert said(Learned(1.12, 0.05, 0.61, 1.52, 0.1, 0.8, 6)) == (
        "By six measurements, the door panel moves 12 % more than the book says, sure to ± 5 %, and it "
        "follows its air 0.6 times as fast as the book says, sure to within a factor of 1.5."
    )
    assert said(Learned(None, None, 1.02, 1.97, 0.1, 0.9, 1)) == (
        "By one measurement, how fast the door panel follows its air is known no better than the book has "
        "it, to within a factor of 2."
    )
    assert "it settles 0.6 points below the table, sure to ± 0.5 points" in said(
        Learned(None, None, 1.02, 1.97, -0.6, 0.5, 9)
    )
    assert "moves 8 % less" in said(Learned(0.92, 0.1, 1.0, 1.4, 0.0, 0.8, 3))
    assert "follows its air as fast as the book says" in said(Learned(0.92, 0.1, 1.0, 1.4, 0.0, 0.8, 3))
