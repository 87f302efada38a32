"""A sensor on wood: someone leans on it, its zero moves, it sticks, it creeps; and what is kept of it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.watch.trust.findings import HOUR_MS, OPEN_MS
from model.watch.trust.wood_signatures import WoodSeries, findings_of
from model.wood.material.wood_sensor import BoardScale, HourSaid, hours_said, thinned

DAYS = 21
BOARD = BoardScale(1080.0, 8.0, 0.1)
AIR = dict.fromkeys(range(DAYS), 8.0)
"""Air that leads to 8 %, day after day."""


def weighed(grams: np.ndarray, every_ms: int = HOUR_MS // 2) -> WoodSeries:
    at_ms = np.arange(len(grams), dtype=np.int64) * every_ms
    return WoodSeries(at_ms, grams, BOARD.roughly(grams), 1.0, 150.0, "weight")


@pytest.fixture
def quiet() -> np.ndarray:
    """A board of 25 mm that rests in such air, each half hour, to a tenth of a gram."""
    noise = np.random.default_rng(3).normal(0.0, 0.3, DAYS * 48)
    return np.round(1080.0 + noise, 1)


def test_a_board_at_rest_is_not_doubted_and_neither_is_one_that_follows_its_air(quiet: np.ndarray) -> None:
    assert findings_of(weighed(quiet), AIR) == []
    dries = quiet - 30.0 * (
        1.0 - np.exp(-np.arange(len(quiet)) / 48 / 6.25)
    )  # to 5 %, in air that leads there
    assert findings_of(weighed(dries), dict.fromkeys(AIR, 5.0)) == []


def test_someone_leans_on_the_board_for_two_hours(quiet: np.ndarray) -> None:
    quiet[500:504] += 400.0
    [leaned] = findings_of(weighed(quiet), AIR)
    assert (leaned.kind, leaned.since_ms, leaned.until_ms) == (
        "leaned",
        500 * HOUR_MS // 2,
        503 * HOUR_MS // 2,
    )


def test_the_tare_moves_and_nothing_counts_from_then_on(quiet: np.ndarray) -> None:
    quiet[500:] += 40.0
    early, late = (findings_of(weighed(quiet[:end]), AIR) for end in (505, len(quiet)))
    assert [(one.kind, one.until_ms) for one in early] == [("leaned", OPEN_MS)]  # it may still go back
    assert [(one.kind, one.since_ms, one.until_ms) for one in late] == [("tare", 250 * HOUR_MS, OPEN_MS)]


def test_it_sticks_and_it_creeps_where_the_air_leads_elsewhere(quiet: np.ndarray) -> None:
    stuck = np.concatenate([quiet[:300], np.full(len(quiet) - 300, 1080.4)])
    assert [one.kind for one in findings_of(weighed(stuck), AIR)] == ["stuck"]
    creeping = quiet + 1.6 * np.arange(len(quiet)) / 48  # a sixth of a point a day, in air that would rest it
    assert [one.kind for one in findings_of(weighed(creeping), AIR)] == ["creep"]
    damp = dict.fromkeys(AIR, 12.0)  # air that wets it at that pace
    assert findings_of(weighed(creeping), damp) == []


def test_a_board_that_weighs_less_than_its_dry_wood_is_off_scale(quiet: np.ndarray) -> None:
    quiet[600:] -= 500.0
    series = weighed(quiet)
    series = replace(series, rough=np.where(series.rough < -1.0, np.nan, series.rough))
    assert [one.kind for one in findings_of(series, AIR)] == ["off-scale"]


@settings(max_examples=30, deadline=None)
@given(
    changes=st.lists(st.floats(-1.5, 1.5), min_size=1, max_size=96),
    seed=st.integers(0, 2**31),
)
def test_thinning_loses_no_change_and_no_order_of_arrival_changes_it(changes: list[float], seed: int) -> None:
    grams = np.clip(1080.0 + np.cumsum(np.repeat(changes, 3) * 2.0), 1005.0, 1500.0)
    at_ms = np.arange(len(grams), dtype=np.int64) * (HOUR_MS // 3)
    warm = np.full(len(grams), np.nan)
    said = hours_said(BOARD, at_ms, grams, warm)
    kept = thinned(said)
    order = np.random.default_rng(seed).permutation(len(grams))
    assert thinned(hours_said(BOARD, at_ms[order], grams[order], warm)) == kept
    last: HourSaid | None = None
    of_hour = {one.hour: one for one in kept}
    for one in said:
        last = of_hour.get(one.hour, last)
        assert last is not None
        assert abs(one.value - last.value) <= one.uncertainty
    days = {one.hour // 24 for one in said}
    assert {one.hour // 24 for one in kept} == days
    assert len(days) <= len(kept) <= len(said)
