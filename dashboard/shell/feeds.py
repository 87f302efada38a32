"""Writes dated entries for other programs: a calendar (iCalendar, RFC 5545) and a feed (Atom, RFC 4287)."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import NAMESPACE_URL, UUID, uuid5
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

ATOM = "http://www.w3.org/2005/Atom"
ASK_AGAIN = timedelta(hours=6)
"""How often a calendar program does well to ask again."""


@dataclass(frozen=True)
class DatedEntry:
    """One thing on days to come.

    Attributes
    ----------
    key : str
        Names the thing within one book for as long as it is spoken of.
    title, text : str
    from_day, until_day : date
        First and last day, both among them.
    said_at : datetime
        When it was worked out.
    url : str
        The page of the thing.
    """

    key: str
    title: str
    text: str
    from_day: date
    until_day: date
    said_at: datetime
    url: str


def _uuid(book: str, key: str) -> UUID:
    return uuid5(NAMESPACE_URL, f"{book} {key}")


def calendar(name: str, book: str, entries: Sequence[DatedEntry]) -> bytes:
    """A calendar of whole days; `book` tells its entries from another book's."""
    from icalendar import TRANSP, Calendar, Event

    events = [
        Event.new(
            uid=str(_uuid(book, one.key)),
            stamp=one.said_at,
            start=one.from_day,
            # The day on which it is over, which is none of its own (RFC 5545, 3.6.1).
            end=one.until_day + timedelta(days=1),
            summary=one.title,
            description=one.text,
            url=one.url,
            transparency=TRANSP.TRANSPARENT,
        )
        for one in entries
    ]
    made = Calendar.new(
        prodid="-//paneltide//coming//EN",
        uid=str(_uuid(book, "calendar")),
        name=name,
        refresh_interval=ASK_AGAIN,
        subcomponents=events,
    )
    return bytes(made.to_ical())


def feed(name: str, book: str, own_url: str, zone: ZoneInfo, entries: Sequence[DatedEntry]) -> bytes:
    """A feed of the entries, the soonest first.

    What is ahead is worked out anew each night, mostly to the same end: an entry counts as changed once a
    week, so that a reader doesn't show it as new each morning.
    """
    root = ElementTree.Element("feed", xmlns=ATOM)
    _under(root, "id", _uuid(book, "feed").urn)
    _under(root, "title", name)
    _under(root, "updated", max((_week_of(one, zone) for one in entries), default="1970-01-01T00:00:00Z"))
    _under(_under(root, "author"), "name", "paneltide")
    _under(root, "link", rel="self", type="application/atom+xml", href=own_url)
    for one in entries:
        entry = _under(root, "entry")
        _under(entry, "id", _uuid(book, one.key).urn)
        _under(entry, "title", one.title)
        _under(entry, "updated", _week_of(one, zone))
        _under(entry, "link", rel="alternate", type="text/html", href=one.url)
        _under(entry, "content", one.text, type="text")
    return bytes(ElementTree.tostring(root, encoding="utf-8", xml_declaration=True))


def _under(
    parent: ElementTree.Element, tag: str, text: str | None = None, **attributes: str
) -> ElementTree.Element:
    made = ElementTree.SubElement(parent, tag, attributes)
    made.text = text
    return made


def _week_of(one: DatedEntry, zone: ZoneInfo) -> str:
    day = one.said_at.astimezone(zone)
    monday = (day - timedelta(days=day.weekday())).replace(hour=0, minute=0, second=0, microsecond=0)
    return monday.isoformat()
