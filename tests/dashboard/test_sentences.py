"""Sentences, in the viewer's units."""

from datetime import UTC, datetime

import pytest

from dashboard.say import sentences
from model.records.queries.overview import AirNow, FitNow, Judgement, PieceNow, PlaceNow
from model.words.display import Display

INCH, METRIC = Display("inch"), Display("metric")
AT = datetime(2026, 2, 10, 15, tzinfo=UTC)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


BOTTOMS = {"key": "told", "text": "the tongue of the side panel bottoms"}


def judged(key: str, margin_mm: float, **more) -> Judgement:
    detail = {
        "key": key,
        "seen": BOTTOMS,
        "margin_mm": margin_mm,
        "play_mm": 6.35,
    }
    return Judgement("near", detail | more, AT, AT)


@pytest.mark.parametrize(
    ("key", "margin_mm", "inch", "metric"),
    [
        (
            "clear",
            2.14,
            "5/64 in is left until the tongue of the side panel bottoms.",
            "2.1 mm is left until the tongue of the side panel bottoms.",
        ),
        (
            "near",
            1.0,
            "1/32 in of 1/4 in is left until the tongue of the side panel bottoms.",
            "1.0 mm of 6.3 mm is left until the tongue of the side panel bottoms.",
        ),
        (
            "past",
            -0.5,
            "The tongue of the side panel bottoms, 1/32 in past.",
            "The tongue of the side panel bottoms, 0.5 mm past.",
        ),
    ],
)
def test_a_reason_is_said_in_the_viewers_units(key, margin_mm, inch, metric):
    assert plain(sentences.reason(judged(key, margin_mm), INCH)) == inch
    assert plain(sentences.reason(judged(key, margin_mm), METRIC)) == metric


def test_not_knowing_still_says_what_was_known_last():
    was = judged("clear", 2.14).detail
    told = Judgement(
        "unknown",
        {
            "key": "air-silent",
            "place": "Lake house",
            "age_h": 120,
            "also": [{"key": "last-known", "was": was}],
        },
        AT,
        AT,
    )
    said = plain(sentences.reason(told, INCH))
    assert said.startswith("No reading from Lake house for 5 days. Last known: 5/64 in is left until")


def test_a_reason_kept_as_a_sentence_is_said_as_it_was_kept():
    kept = Judgement("unknown", {"key": "told", "text": "Nobody said where it stands"})
    assert sentences.reason(kept, INCH) == "Nobody said where it stands."


STAYS = {"rh_pct": 64.2, "low_days": 14, "high_days": 27}


def lever(**more):
    usual = {"hold": "at or under", "needed_rh_pct": 55, "advised_rh_pct": 55, "ceiling_rh_pct": 60}
    return {"if_it_stays": STAYS, "lever": usual | {"enough": True, "instead": []} | more}


def test_advice_names_what_happens_and_what_would_keep_it():
    assert plain(sentences.advice(lever())) == (
        "If the room stays at 64 %, in 2 to 3 weeks. Hold the room at or under 55 %."
    )


def test_advice_beyond_what_the_room_bears_says_so_and_what_to_do_instead():
    told = plain(
        sentences.advice(
            lever(
                hold="at or above",
                needed_rh_pct=31,
                advised_rh_pct=25,
                ceiling_rh_pct=25,
                enough=False,
                instead=["off-registers", "expect-the-gap"],
            )
        )
    )
    assert "It would take 31 % or more; in the coldest weeks ahead the windows sweat above 25 %." in told
    assert "Hold the room at 25 %, keep it away from registers and radiators, and expect the gap" in told


def test_no_advice_is_invented():
    assert sentences.advice({}) == ""
    assert sentences.advice({"lever": None, "if_it_stays": None}) == ""


def test_what_the_year_may_bring_is_told_of_the_likeliest_limit():
    details = {
        "a": {
            "chance": 0.62,
            "seen": BOTTOMS,
            "crossing": {"low_days": 150, "days": None},
        },
        "b": {"chance": 0.2, "seen": BOTTOMS, "crossing": {"low_days": 9, "high_days": 12}},
        "past now": {"chance": 1.0, "seen": BOTTOMS, "crossing": None},
    }
    assert plain(sentences.ahead(details)) == (
        "Likely this year, not before 4 months from now: the tongue of the side panel bottoms."
    )
    assert sentences.ahead({"a": {"chance": 0.04, "seen": BOTTOMS}}) == ""
    assert sentences.ahead({}) == ""


def test_chances_are_those_a_maker_bets_by():
    shares = (0.0, 0.01, 0.12, 0.5, 0.97, 1.0)
    words = ["none", "under 1 in 10", "1 in 10", "5 in 10", "nearly all", "nearly all"]
    assert [sentences.chance(share) for share in shares] == words


def test_air_in_words():
    place = PlaceNow(1, "Shop", "shop", "UTC", AirNow(AT, 19.0, 47.0, "measured"))
    # Wood Handbook eq. 4-5 at 19 °C and 47 %: 8.8 %.
    assert plain(sentences.air(place, INCH)) == "47 % at 66 °F; wood will settle at 8.8 %"
    assert sentences.air(PlaceNow(1, "Shop", "shop", "UTC"), INCH) == "no air known yet"


def piece(*fits: FitNow, judgement: Judgement | None = None) -> PieceNow:
    return PieceNow(1, "Desk", {}, None, None, fits, judgement or Judgement())


def test_a_piece_stands_as_its_worst_fit_until_the_watch_has_spoken():
    clear, past = (
        FitNow(n, v, "mitre", {}, Judgement(v, {}, AT, AT)) for n, v in ((1, "clear"), (2, "past"))
    )
    assert sentences.piece_verdict(piece(clear, past)) == "past"
    assert sentences.piece_verdict(piece()) == "unknown"
    spoken = Judgement("near", {}, AT, AT)
    assert sentences.piece_verdict(piece(clear, past, judgement=spoken)) == "near"
    assert sentences.governing(piece(clear, past)).name == "past"
    assert sentences.governing(piece()) is None


def test_counts_are_words_up_to_twelve():
    assert sentences.counted(1, "piece") == "one piece"
    assert sentences.counted(12, "piece") == "twelve pieces"
    assert sentences.counted(13, "piece") == "13 pieces"
