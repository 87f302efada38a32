"""How a limit becomes near and past, and what it takes to leave that."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.watch.state.hysteresis import DWELL_H, EASY, NEAR, PAST, History, Standing, standings

PLAY_MM = 4.0
POINT_MM = 2.0  # movement for one point of moisture


def run(
    margin_mm, settling_mm=None, unknown=None, first=0, before=None,
    play_mm=PLAY_MM, point_mm=POINT_MM,
):  # fmt: skip
    margin = np.atleast_2d(np.asarray(margin_mm, dtype=float))
    hours = margin.shape[1]

    def rows(values, usual):
        return np.broadcast_to(np.asarray(usual if values is None else values), margin.shape).copy()

    return standings(
        before or Standing.first(1, first),
        first,
        margin,
        margin - 0.3 * point_mm,
        rows(settling_mm, margin).astype(float),
        np.array([play_mm]),
        rows(unknown, False).astype(bool)[:, :hours],
    )


def level(history: History) -> list[int]:
    return history.level[0].tolist()


def test_a_limit_is_near_below_a_quarter_of_its_play_and_past_below_nothing():
    assert level(run([2.0, 1.01, 0.99, 0.0, -0.01], point_mm=0.5)) == [EASY, EASY, NEAR, NEAR, PAST]


def test_a_limit_is_near_when_one_point_of_moisture_would_reach_it():
    assert level(run([3.0, 2.01, 1.99, 0.0, -0.01])) == [EASY, EASY, NEAR, NEAR, PAST]


def test_a_limit_with_no_play_designed_is_never_easy():
    assert level(run([0.6] * 72, play_mm=0.0, settling_mm=3.0)) == [NEAR] * 72
    assert level(run([-0.1] * 30 + [5.0] * 48, play_mm=0.0))[-1] == NEAR
    assert level(run([1.0], play_mm=-0.5)) == [NEAR]
    assert level(run([2.5, 2.5], play_mm=0.05)) == [NEAR, NEAR]


def test_what_begins_past_is_past_at_once():
    assert level(run([-0.5])) == [PAST]


def test_past_is_left_only_when_inside_by_three_tenths_of_a_point_and_a_day_has_gone():
    barely = [-0.1] * 30 + [0.3] * 48  # 0.3 mm is less than 0.3 points at 2 mm a point
    assert set(level(run(barely))) == {PAST}
    clearly = [-0.1] * 30 + [0.7] * 48
    assert level(run(clearly))[-1] == NEAR


def test_past_is_not_left_while_the_air_of_three_days_would_bring_it_back():
    margins = [-0.1] * 30 + [3.0] * 48
    assert set(level(run(margins, settling_mm=-1.0))) == {PAST}
    assert set(level(run(margins, settling_mm=np.nan))) == {PAST}
    assert level(run(margins, settling_mm=3.0))[-1] == EASY


def test_near_is_left_only_well_above_a_point_of_moisture():
    assert level(run([0.9] * 30 + [2.5] * 48))[-1] == NEAR
    assert level(run([0.9] * 30 + [2.7] * 48))[-1] == EASY


def test_going_on_from_near_to_past_waits_for_nothing():
    assert level(run([0.5, -0.5])) == [NEAR, PAST]


def test_back_again_within_a_day_waits_until_the_day_is_over():
    margins = [0.5] + [3.0] * DWELL_H + [0.5] * (DWELL_H + 2)
    levels = level(run(margins))
    assert levels[DWELL_H - 1] == NEAR
    assert levels[DWELL_H] == EASY
    assert levels[DWELL_H + 1] == EASY
    assert levels[2 * DWELL_H] == NEAR


def test_unknown_air_holds_everything_as_it_was():
    margins = [0.5] * 10 + [-2.0] * 30 + [3.0] * 30
    unknown = [False] * 10 + [True] * 60
    assert set(level(run(margins, unknown=unknown))) == {NEAR}


@pytest.mark.slow
@settings(max_examples=100)
@given(
    steps=st.lists(st.floats(-0.6, 0.6), min_size=50, max_size=400),
    cuts=st.lists(st.integers(1, 399), max_size=5),
    first=st.integers(0, 100),
)
def test_going_on_from_any_hour_gives_the_same_history(steps, cuts, first):
    margin = 1.5 + np.cumsum(steps)
    whole = run(margin, first=first)
    edges = sorted({0, len(margin), *(cut for cut in cuts if cut < len(margin))})
    before, levels = Standing.first(1, first), []
    for start, end in pairwise(edges):
        part = run(margin[start:end], first=first + start, before=before)
        before = part.at(end - start - 1)
        levels += level(part)
    assert levels == level(whole)
    assert before.since.tolist() == whole.since[0, -1:].tolist()


@pytest.mark.slow
@settings(max_examples=100)
@given(steps=st.lists(st.floats(-1.5, 1.5), min_size=50, max_size=400))
def test_never_there_and_back_within_a_day(steps):
    levels = np.array(level(run(1.5 + np.cumsum(steps))))
    changes = np.flatnonzero(np.diff(levels, prepend=EASY))
    worse = np.diff(levels, prepend=EASY)[changes] > 0
    for a, b, first, then in zip(changes, changes[1:], worse, worse[1:], strict=False):
        if first != then:
            assert b - a >= DWELL_H
