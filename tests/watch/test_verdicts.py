"""Verdicts and their words from plain numbers."""

from model.watch.state.hysteresis import EASY, NEAR, PAST
from model.watch.tell.verdicts import (
    AirThen,
    Judged,
    LimitNow,
    verdict_of,
    verdict_of_piece,
    verdict_of_place,
)
from model.wood.reason import Reason
from tests.said import said

HEARD = AirThen("flat", 0, 72, 1000)
SILENT = AirThen("flat", 100, 72, 1000)


def limit(level=EASY, margin_mm=3.0, play_mm=4.0, name="binds", seen="front binds", since=900):
    return LimitNow(
        name,
        "swelling",
        "harms",
        Reason("told", {"text": seen}),
        margin_mm,
        play_mm,
        play_mm / 4,
        level,
        since,
    )


def test_easy_says_what_is_left_before_the_limit_that_governs():
    judged = verdict_of([limit(margin_mm=3.0), limit(name="gaps", margin_mm=1.5, seen="a gap shows")], HEARD)
    assert (judged.verdict, judged.get("limit")) == ("clear", "gaps")
    assert said(judged) == "1.5 mm is left until a gap shows."


def test_the_worst_standing_governs_whatever_is_left():
    judged = verdict_of([limit(margin_mm=0.1), limit(NEAR, 2.0, name="gaps", seen="a gap shows")], HEARD)
    assert (judged.verdict, judged.get("limit")) == ("near", "gaps")


def test_past_says_by_how_much():
    judged = verdict_of([limit(PAST, -0.64)], HEARD)
    assert said(judged) == "Front binds, 0.7 mm past."
    assert judged.reason.key == "past"


def test_past_but_coming_back_says_so():
    assert "not yet clearly" in said(verdict_of([limit(PAST, 0.1)], HEARD))


def test_silence_is_unknown_with_what_was_known_last():
    judged = verdict_of([limit(PAST, -0.6)], SILENT)
    assert judged.verdict == "unknown"
    assert judged.since_hour == 1000 - 100 + 72
    assert said(judged) == "No reading from flat for 4 days. Last known: front binds, 0.6 mm past."


def test_the_same_with_no_place_and_with_no_sensor_ever():
    assert "Nobody said where" in said(verdict_of([limit()], AirThen(None, 1 << 40, 0, 1000)))
    assert "No sensor has reported" in said(verdict_of([limit()], AirThen("flat", 1 << 40, 72, 1000)))


def test_a_piece_is_as_its_worst_fit_and_unknown_outweighs_easy():
    clear = Judged("clear", 5, Reason("clear", {"margin_mm": 1.0, "play_mm": 2.0}))
    unknown = Judged("unknown", 7, Reason("air-silent", {"margin_mm": 2.0, "play_mm": 2.0}))
    near = Judged("near", 9, Reason("near", {"margin_mm": 0.1, "play_mm": 2.0}))
    assert verdict_of_piece({"a": clear, "b": unknown}, 10).verdict == "unknown"
    worst = verdict_of_piece({"a": clear, "b": unknown, "c": near}, 10)
    assert (worst.verdict, worst.get("fit"), worst.since_hour) == ("near", "c", 9)


def test_a_piece_without_fits_or_with_a_record_that_can_t_be_read_is_unknown():
    assert "No fit is recorded" in said(verdict_of_piece({}, 3))
    assert "can't be read: width" in said(verdict_of_piece({}, 3, "width must be given"))


# ---------------------------------------------------------------- places


def test_a_place_whose_air_moved_is_near():
    moving = verdict_of_place(20.0, 60.0, 10.4, HEARD, 5, 1.4)
    assert (moving.verdict, moving.reason.key) == ("near", "moving")
    assert "1.4 points damper" in said(moving)
    assert verdict_of_place(20.0, 60.0, 9.4, HEARD, 5).verdict == "clear"


def test_a_silent_place_is_unknown():
    judged = verdict_of_place(20.0, 60.0, 9.4, SILENT, 5)
    assert (judged.verdict, said(judged)) == ("unknown", "No reading from flat for 4 days.")
