"""What is coming, in a maker's own calendar and feed reader: secret links that are given and taken back."""

import re
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest
from icalendar import Calendar

from dashboard.shell.app import build_app
from model.records.schema.tables import PieceRow, Stack
from tests.dashboard.test_coming import likely
from tests.dashboard.test_pressing import UPDATE, press

PASSWORD = "linseed and tung"
AT = "{http://www.w3.org/2005/Atom}"
NAME = "Hall bench; \\oak, wide — für die große Diele des alten Hauses am Fluß"


@pytest.fixture
def shop(book, now):
    """The small book with one limit ahead, a rest that ends, and a maker who has entered."""
    likely(book, now, book.bench, {}, {"limit": "rattle", "chance_pct": 20.0})
    with book.store.session() as session:
        session.get_one(PieceRow, book.bench).name = NAME
        stack = session.get_one(Stack, book.stack)
        stack.document = {**stack.document, "rest_until": "2026-03-12"}
    app = build_app(book.store, lambda: now, password=PASSWORD, public_url="https://shop.example")
    client = app.server.test_client()
    client.post("/enter", data={"password": PASSWORD})
    return app, client


def links(client) -> list[str]:
    page = client.get("/coming/links").get_data(as_text=True)
    return list(dict.fromkeys(re.findall(r'href="https://shop\.example(/for/[^"]+)"', page)))


def pressed(shop, act: str, kind: str) -> None:
    app, client = shop
    assert client.post(UPDATE, json=press(app, {"act": act, "kind": kind})).status_code == 200


def test_a_calendar_is_given_out_only_when_asked_for_and_can_be_taken_back(shop):
    app, client = shop
    assert links(client) == []
    pressed(shop, "give shop link", "calendar")
    (path,) = links(client)
    stranger = app.server.test_client()
    answer = stranger.get(path)
    assert answer.status_code == 200
    assert answer.mimetype == "text/calendar"
    assert stranger.get(path, headers={"If-None-Match": answer.headers["ETag"]}).status_code == 304
    # It opens nothing else: neither the feed, nor a piece's page, nor the maker's own.
    assert stranger.get(path.replace("calendar.ics", "feed.atom")).status_code == 404
    assert stranger.get(path.rpartition("/")[0]).status_code == 404
    assert stranger.get("/coming").status_code == 302
    pressed(shop, "take shop link back", "calendar")
    assert stranger.get(path).status_code == 404
    assert links(client) == []


def test_the_calendar_holds_what_is_likely_as_whole_days_of_the_shop(shop, now):
    pressed(shop, "give shop link", "calendar")
    client = shop[1]
    body = client.get(links(client)[0]).data
    # RFC 5545, 3.1: lines end in CR LF and have at most 75 octets, and no letter is cut in two.
    lines = body.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert all(line.decode() for line in lines[:-1])
    assert b"\\; \\\\oak\\, wide" in body.replace(b"\r\n ", b"")
    found = {str(one["SUMMARY"]): one for one in Calendar.from_ical(body).walk("VEVENT")}
    assert not any("rattle" in title for title in found)
    limit = found[f"{NAME}: the panel of the back is hard in its grooves and pushes the frame apart"]
    assert limit.decoded("DTSTAMP") == now
    assert limit.decoded("DTSTART") == (now + timedelta(days=30)).date()
    assert limit.decoded("DTEND") == (now + timedelta(days=91)).date()  # the day after its last
    assert "Hold the room at or under 55 %." in limit["DESCRIPTION"]
    assert "Worked out on 10 February 2026." in limit["DESCRIPTION"]
    rest = found["Maple, spring batch: its rest is over"]
    assert (rest.decoded("DTSTART"), rest.decoded("DTEND")) == (date(2026, 3, 12), date(2026, 3, 13))
    again = {one["UID"] for one in Calendar.from_ical(client.get(links(client)[0]).data).walk("VEVENT")}
    assert again == {one["UID"] for one in found.values()}
    assert len(again) == len(found)


def test_a_thing_keeps_its_identity_while_its_days_shift(book, now):
    likely(book, now, book.bench, {})
    found = []
    for day in range(2):
        app = build_app(book.store, lambda day=day: now + timedelta(days=day))
        client = app.server.test_client()
        if not day:
            pressed((app, client), "give shop link", "calendar")
            page = client.get("/coming/links").get_data(as_text=True)
            assert "works on this computer only" in page
            path = re.search(r"/for/[^\"]+\.ics", page)[0]
        found.append({one["UID"] for one in Calendar.from_ical(client.get(path).data).walk("VEVENT")})
    assert found[0] == found[1]


def test_the_feed_says_the_same_with_the_offset_of_the_shops_zone(shop):
    pressed(shop, "give shop link", "feed")
    client = shop[1]
    (path,) = links(client)
    answer = client.get(path)
    assert answer.mimetype == "application/atom+xml"
    root = ElementTree.fromstring(answer.data)
    # RFC 4287, 4.1.1: a feed has one id, title and updated, and an author.
    assert [len(root.findall(f"{AT}{tag}")) for tag in ("id", "title", "updated", "author")] == [1, 1, 1, 1]
    assert root.find(f"{AT}link").get("href") == f"https://shop.example{path}"
    entries = root.findall(f"{AT}entry")
    assert len({one.findtext(f"{AT}id") for one in entries}) == len(entries) >= 2
    first = next(one for one in entries if one.findtext(f"{AT}title").startswith(NAME))
    assert first.findtext(f"{AT}updated") == "2026-02-09T00:00:00-05:00"  # the Monday, in the shop
    assert "Hold the room at or under 55 %." in first.findtext(f"{AT}content")
