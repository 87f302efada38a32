"""Verdicts and their words from plain numbers."""

import math

import pytest

from model.watch.stack_verdicts import StackDay, days_to_level, stack_standings, verdict_of_stack
from model.watch.standing import EASY, NEAR, PAST
from model.watch.verdicts import (
    AirThen,
    Judged,
    LimitNow,
    verdict_of,
    verdict_of_piece,
    verdict_of_place,
)

HEARD = AirThen("flat", 0, 72, 1000)
SILENT = AirThen("flat", 100, 72, 1000)


def limit(level=EASY, margin_mm=3.0, play_mm=4.0, name="binds", says="front binds", crossing=None, since=900):
    return LimitNow(name, "swelling", "harms", says, margin_mm, play_mm, play_mm / 4, level, since, crossing)


def test_easy_says_what_is_left_before_the_limit_that_governs():
    judged = verdict_of([limit(margin_mm=3.0), limit(name="gaps", margin_mm=1.5, says="a gap shows")], HEARD)
    assert (judged.verdict, judged.detail["limit"]) == ("easy", "gaps")
    assert judged.reason == "1.5 mm left until a gap shows"


def test_the_worst_standing_governs_whatever_is_left():
    judged = verdict_of([limit(margin_mm=0.1), limit(NEAR, 2.0, name="gaps", says="a gap shows")], HEARD)
    assert (judged.verdict, judged.detail["limit"]) == ("near", "gaps")


def test_past_says_by_how_much():
    judged = verdict_of([limit(PAST, -0.64)], HEARD)
    assert judged.reason == "Front binds: 0.6 mm past"
    assert judged.detail["key"] == "past"


def test_past_but_coming_back_says_so():
    assert "not yet clearly" in verdict_of([limit(PAST, 0.1)], HEARD).reason


def test_a_foreseen_crossing_is_told_as_a_range():
    crossing = {"days": 14.0, "low_days": 10.2, "high_days": 19.8}
    judged = verdict_of([limit(NEAR, 2.5, crossing=crossing)], HEARD)
    assert judged.detail["key"] == "foreseen"
    assert "in 10 to 20 days" in judged.reason


def test_silence_is_unknown_with_what_was_known_last():
    judged = verdict_of([limit(PAST, -0.6)], SILENT)
    assert judged.verdict == "unknown"
    assert judged.since_hour == 1000 - 100 + 72
    assert judged.reason == "no reading from flat for 4 days; last known: front binds: 0.6 mm past"


def test_the_same_with_no_place_and_with_no_sensor_ever():
    assert "nobody said where" in verdict_of([limit()], AirThen(None, 1 << 40, 0, 1000)).reason
    assert "no sensor has reported" in verdict_of([limit()], AirThen("flat", 1 << 40, 72, 1000)).reason


def test_a_piece_is_as_its_worst_fit_and_unknown_outweighs_easy():
    easy = Judged("easy", 5, "fine", {"margin_mm": 1.0, "play_mm": 2.0})
    unknown = Judged("unknown", 7, "no reading", {"margin_mm": 2.0, "play_mm": 2.0})
    near = Judged("near", 9, "soon", {"margin_mm": 0.1, "play_mm": 2.0})
    assert verdict_of_piece({"a": easy, "b": unknown}, 10).verdict == "unknown"
    worst = verdict_of_piece({"a": easy, "b": unknown, "c": near}, 10)
    assert (worst.verdict, worst.detail["fit"], worst.since_hour) == ("near", "c", 9)


def test_a_piece_without_fits_or_with_a_record_that_can_t_be_read_is_unknown():
    assert "No fit is recorded" in verdict_of_piece({}, 3).reason
    assert "can't be read: width" in verdict_of_piece({}, 3, "width must be given").reason


# ---------------------------------------------------------------- stacks


def standing_of(*days):
    return stack_standings(days)[-1]


def stack(mc_pct, target_pct=7.0, core_pct=None, week_ago_pct=None, emc_pct=7.0):
    week_ago = mc_pct if week_ago_pct is None else week_ago_pct
    core = mc_pct if core_pct is None else core_pct
    day = StackDay(240, mc_pct, core, target_pct, week_ago)
    return verdict_of_stack(day, standing_of(day), emc_pct, 19.0 * 24.0, "the flat", HEARD)


def test_steady_is_not_ready():
    # Common practice, no source: 9.0 % three weeks running where 7 % is wanted.
    judged = stack(9.0, target_pct=6.96)
    assert judged.verdict == "past"
    assert not judged.detail["ready"]
    assert "2.0 points wetter than the flat" in judged.reason


def test_ready_is_level_steady_and_even_through_the_thickness():
    assert stack(7.5).detail["ready"]
    assert not stack(7.5, week_ago_pct=8.0).detail["ready"]
    assert not stack(7.5, core_pct=8.0).detail["ready"]
    assert "core is still 1.5 points" in stack(7.5, core_pct=8.0).reason


def day_at(number, mc_pct, core_pct=None, target_pct=7.0, heard=True):
    core = mc_pct if core_pct is None else core_pct
    return StackDay(24 * number, mc_pct, core, target_pct, mc_pct, heard)


def test_ready_is_kept_until_it_is_clearly_off():
    days = [day_at(0, 7.9), day_at(1, 8.2), day_at(2, 8.4)]
    assert [found.level for found in stack_standings(days)] == [EASY, EASY, NEAR]
    assert standing_of(days[1]).level == NEAR
    uneven = [day_at(0, 7.5, 7.8), day_at(1, 7.5, 7.9), day_at(2, 7.5, 8.0)]
    assert [found.level for found in stack_standings(uneven)] == [EASY, EASY, NEAR]


def test_a_target_that_moves_does_not_make_a_stack_ready_and_not_ready_by_turns():
    days = [day_at(k, 8.0, target_pct=7.0 + 0.25 * (-1) ** k) for k in range(20)]
    assert {found.level for found in stack_standings(days)} == {EASY}


def test_what_was_known_before_and_what_comes_after_fold_to_the_same():
    days = [day_at(k, 10.0 - 0.2 * k, target_pct=7.0) for k in range(20)]
    whole = stack_standings(days)
    assert stack_standings(days[7:], whole[6]) == whole[7:]


def test_unknown_air_neither_makes_ready_nor_unready():
    days = [day_at(0, 9.5), day_at(1, 7.2, heard=False), day_at(2, 7.2)]
    assert [found.level for found in stack_standings(days)] == [PAST, PAST, EASY]


def test_days_until_ready_are_a_range_around_the_exponential():
    # 1 in red oak at 11.0 % in air of 7.72 % EMC, within one point: 19 ln(3.28/1.0) = 22.6 days.
    low, high = days_to_level(11.0, 7.72, 7.72, 19.0 * 24.0)
    assert low < 22.6 < high
    assert (low, high) == (math.floor(0.7 * 22.57), math.ceil(1.4 * 22.57))


@pytest.mark.parametrize(("mc_pct", "emc_pct"), [(9.0, 9.5), (9.0, 9.0), (9.0, math.nan)])
def test_air_that_leads_elsewhere_never_gets_there(mc_pct, emc_pct):
    assert days_to_level(mc_pct, 6.0, emc_pct, 400.0) is None


# ---------------------------------------------------------------- places


def test_a_place_whose_air_moved_is_near():
    moving = verdict_of_place(20.0, 60.0, 10.4, HEARD, 5, 1.4)
    assert (moving.verdict, moving.detail["key"]) == ("near", "moving")
    assert "1.4 points damper" in moving.reason
    assert verdict_of_place(20.0, 60.0, 9.4, HEARD, 5).verdict == "easy"


def test_a_silent_place_is_unknown():
    judged = verdict_of_place(20.0, 60.0, 9.4, SILENT, 5)
    assert (judged.verdict, judged.reason) == ("unknown", "No reading from flat for 4 days")
