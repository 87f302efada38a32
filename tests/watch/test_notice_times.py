"""When a notice is due: by its tier, the maker's hours and zone, and the night."""

from datetime import UTC, datetime

import pytest

from model.records.acts.places import add_place
from model.watch.tell.notice_times import Hours, hours_from_document, keep_hours, read_hours
from model.wood.errors import BadInput


@pytest.mark.parametrize(
    ("tier", "at", "due"),
    [
        ("now", "2026-03-02T15:00", "2026-03-02T15:00"),
        ("now", "2026-03-02T23:00", "2026-03-03T06:30"),
        ("now", "2026-03-03T05:00", "2026-03-03T06:30"),
        ("morning", "2026-03-02T05:00", "2026-03-02T07:00"),
        ("morning", "2026-03-02T15:00", "2026-03-03T07:00"),
        ("week", "2026-03-02T15:00", "2026-03-09T07:00"),
        ("week", "2026-03-08T15:00", "2026-03-09T07:00"),
        ("season", "2026-03-04T15:00", "2026-03-09T07:00"),
    ],
)
def test_each_tier_has_its_hour_and_the_night_is_quiet(tier, at, due):
    asked = datetime.fromisoformat(at).replace(tzinfo=UTC)
    assert Hours().due_at(tier, asked) == datetime.fromisoformat(due).replace(tzinfo=UTC)


def test_the_morning_is_the_makers_own():
    hours = Hours(zone="America/Chicago")
    # 7 in the morning, six hours behind in winter and five in summer.
    assert hours.due_at("morning", datetime(2026, 1, 10, 18, tzinfo=UTC)).hour == 13
    assert hours.due_at("morning", datetime(2026, 7, 10, 18, tzinfo=UTC)).hour == 12


def test_what_cannot_wait_may_come_at_night_if_the_maker_says_so():
    night = datetime(2026, 3, 2, 23, tzinfo=UTC)
    assert Hours(now_at_night=True).due_at("now", night) == night


@pytest.mark.parametrize(
    ("document", "words"),
    [
        ({"zone": "Mars/Olympus"}, "must be a time zone"),
        ({"morning_at": "dawn"}, "must be a time of day"),
        ({"week_day": 9}, "must be 0"),
        ({"sunday": True}, "must be one of"),
        ({"tiers": {"a": ["loud"]}}, "must be of now, morning"),
    ],
)
def test_senseless_hours_are_refused(document, words):
    with pytest.raises(BadInput, match=words):
        hours_from_document(document)


def test_until_the_maker_says_otherwise_the_hours_are_those_of_the_shop(store):
    with store.session() as session:
        assert read_hours(session).zone == "UTC"
        add_place(session, "Flat", "home", zone="Europe/Vienna")
        assert read_hours(session).zone == "Europe/Vienna"
        add_place(session, "Shop", "shop", zone="America/Chicago")
        assert read_hours(session).zone == "America/Chicago"
        keep_hours(session, Hours(zone="Europe/Paris"))
        assert read_hours(session).zone == "Europe/Paris"
