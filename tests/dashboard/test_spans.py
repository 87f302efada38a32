"""Closer, wider, earlier, later: every stretch of a drawing is an address, reached without a mouse."""

from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest

from dashboard.pages.places.place import SPANS
from dashboard.shell.spans import span_links, span_of
from dashboard.shell.static_html import still
from dashboard.shell.view import Context, View
from model.words.display import Display

NOW = datetime(2026, 2, 10, 15, 0, tzinfo=UTC)
FIRST = NOW - timedelta(days=400)
DAY = timedelta(days=1)


def looked_at(query, first_at=FIRST):
    view = View(Context(None, lambda: NOW), Display("inch"), NOW, query)
    return span_of(view, "month", first_at)


def links(span):
    """The links that move from the stretch that is shown, by their words."""
    beside = span_links("/place/1?member=7", span, SPANS).children[-1]
    return {link.children: link.href for link in beside.children}


def followed(span, word):
    """What an address leads to when it is opened."""
    query = {key: values[0] for key, values in parse_qs(urlsplit(links(span)[word]).query).items()}
    assert query["member"] == "7"
    return looked_at(query)


def ends(span):
    return span.since_at, span.until_at


def test_closer_from_now_keeps_now_in_sight():
    week = looked_at({"span": "week"})
    assert ends(followed(week, "closer")) == (NOW - 3.5 * DAY, NOW)


def test_closer_in_the_past_keeps_the_middle():
    past = looked_at({"since": "2026-01-01T00:00Z", "until": "2026-01-05T00:00Z"})
    closer = followed(past, "closer")
    assert ends(closer) == (datetime(2026, 1, 2, tzinfo=UTC), datetime(2026, 1, 4, tzinfo=UTC))
    assert ends(followed(closer, "wider")) == ends(past)


def test_earlier_and_later_lead_there_and_back():
    week = looked_at({"span": "week"})
    assert "later" not in links(week)
    earlier = followed(week, "earlier")
    assert ends(earlier) == (NOW - 14 * DAY, NOW - 7 * DAY)
    assert ends(followed(earlier, "later")) == ends(week)


def test_wider_ends_where_something_is_known():
    year = looked_at({"span": "year"})
    wider = followed(year, "wider")
    assert ends(wider) == (FIRST, NOW)
    assert set(links(wider)) == {"closer"}


def test_closer_ends_at_an_hour():
    span = looked_at({"since": "2026-02-01T00:00Z", "until": "2026-02-01T08:00Z"})
    steps = 0
    while "closer" in links(span):
        span = followed(span, "closer")
        steps += 1
    assert (steps, span.until_at - span.since_at) == (3, timedelta(hours=1))


@pytest.mark.parametrize("word", ["closer", "earlier"])
def test_the_links_are_there_before_any_script(word):
    shown = still(span_links("/sensor/1", looked_at({}), SPANS))
    assert f">{word}</a>" in shown
    assert 'href="/sensor/1?since=' in shown
