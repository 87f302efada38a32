"""What is said each day of the coming year: kept as it was said, and warned of after three days of it."""

from datetime import timedelta

import pytest

from model.records.schema.tables import Statement
from model.watch.tell.prospect_warnings import say_today
from tests.said import said as told

FRONT = {
    "fit": "front",
    "limit": "binds",
    "direction": "swelling",
    "severity": "harms",
    "seen": {"key": "told", "text": "front binds"},
}


def said(chance_pct, low_days=6, high_days=20, **more):
    lever = {"hold": "at or under", "advised_rh_pct": 55.0, "enough": True}
    return {
        **FRONT, "is_past": False, "chance_pct": chance_pct, "low_days": low_days,
        "high_days": high_days, "reason_key": "season", "lever": lever, **more,
    }  # fmt: skip


def say(shop, day, *documents):
    at = shop.hour(24 * day)
    shop.change(lambda session: say_today(session, "Wall cabinet", at, {"back": 1, "front": 2}, documents))


def coming(shop):
    return [one for one in shop.warnings() if one.limit_name.startswith("next ")]


def test_three_mornings_of_an_even_chance_or_more_warn_once(shop):
    for day in (1, 2):
        say(shop, day, said(60.0))
        assert coming(shop) == []
    for day in (3, 4, 5):
        say(shop, day, said(50.0))
    (warning,) = coming(shop)
    assert warning.opened_at == shop.hour(3 * 24)
    assert (warning.tier, warning.to_verdict) == ("morning", "near")
    assert told(warning) == "Front binds in 6 to 20 days."
    assert warning.detail["lever"]["advised_rh_pct"] == 55.0


@pytest.mark.parametrize(
    ("severity", "low_days", "warns"),
    [("harms", 21, True), ("harms", 22, False), ("shows", 30, True), ("shows", 31, False)],
)
def test_harm_is_told_three_weeks_ahead_and_looks_a_month(shop, severity, low_days, warns):
    for day in (1, 2, 3):
        say(shop, day, said(80.0, low_days, 60, severity=severity))
    assert bool(coming(shop)) is warns


@pytest.mark.parametrize(("severity", "too_low"), [("harms", 15.0), ("shows", 45.0)])
def test_one_morning_of_too_small_a_chance_starts_the_count_again(shop, severity, too_low):
    for day, chance_pct in enumerate((60.0, 60.0, too_low, 60.0, 60.0)):
        say(shop, day, said(chance_pct, severity=severity))
    assert coming(shop) == []


def test_harm_is_warned_of_below_an_even_chance_and_the_chance_is_said(shop):
    for day in (1, 2, 3):
        say(shop, day, said(20.0), said(40.0, severity="shows") | {"fit": "back"})
    (warning,) = coming(shop)
    assert told(warning) == "About one chance in five this year, in 6 to 20 days: front binds."


def test_mornings_of_last_month_do_not_count(shop):
    for day in (1, 2, 20):
        say(shop, day, said(60.0))
    assert coming(shop) == []


@pytest.mark.parametrize(("severity", "chances"), [("harms", (8, 12, 9, 5)), ("shows", (20, 35, 25, 5))])
def test_it_closes_after_three_mornings_of_half_the_chance_and_no_sooner(shop, severity, chances):
    for day in (1, 2, 3):
        say(shop, day, said(60.0, severity=severity))
    for day, chance_pct in zip((4, 5, 6, 7), chances, strict=True):
        say(shop, day, said(float(chance_pct), severity=severity))
        assert coming(shop)[0].closed_at is None
    say(shop, 8, said(0.0, None, None, severity=severity))
    assert coming(shop)[0].closed_at == shop.hour(8 * 24)


def test_it_closes_when_the_limit_is_passed(shop):
    for day in (1, 2, 3):
        say(shop, day, said(60.0))
    say(shop, 4, said(100.0, is_past=True))
    assert coming(shop)[0].closed_at == shop.hour(4 * 24)


def test_a_statement_keeps_its_day_and_numbers_whatever_is_said_later(shop):
    say(shop, 1, said(60.0))
    first = statements(shop)
    say(shop, 2, said(30.0))
    say(shop, 2, said(70.0, 3, 9))  # late readings: today is said anew
    assert statements(shop)[:1] == first
    assert len(statements(shop)) == 2
    assert statements(shop)[1][1:4] == (70.0, shop.hour(5 * 24), shop.hour(11 * 24))


def statements(shop):
    return [
        (row.said_at, row.chance_pct, row.from_at, row.until_at, row.reason_key)
        for row in shop.rows(Statement)
    ]


def test_little_chances_are_not_kept_and_nothing_for_more_than_four_hundred_days(shop):
    say(shop, 1, said(9.9))
    assert statements(shop) == []
    say(shop, 2, said(10.0))
    say(shop, 403, said(10.0))
    assert [row[0] for row in statements(shop)] == [shop.hour(2 * 24) + timedelta(days=401)]
