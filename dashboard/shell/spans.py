"""Time in an address: a span by its name or its ends, a moment as typed, and the links between spans."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from dash import html
from dateutil.parser import parse

from dashboard.figures.plot import Stretch
from dashboard.pages.frame import aria
from dashboard.shell.view import View
from model.wood.errors import BadInput
from model.words.display import Units
from model.words.times import zone_of

NAMES: dict[str, int | None] = {"day": 1, "week": 7, "month": 31, "season": 92, "year": 366, "all": None}
LEAST = timedelta(hours=1)
MINUTE = "%Y-%m-%dT%H:%MZ"


@dataclass(frozen=True)
class TimeSpan:
    """The stretch of time a page shows; `name` is empty when it was given by its ends.

    Nothing is known before `first_at` nor after `last_at`, where they are given: no link leads there. `zone`
    is that of the page's place, and `asked_at` the moment that is asked of.
    """

    name: str
    since_at: datetime
    until_at: datetime
    first_at: datetime | None = None
    last_at: datetime | None = None
    zone: str = "UTC"
    asked_at: datetime | None = None

    def stretch(self, view: View, latitude_deg: float | None = None) -> Stretch:
        """The span as a chart takes it."""
        ends = self.since_at, self.until_at
        return Stretch(*ends, self.zone, view.units, latitude_deg, self.asked_at)


def span_of(
    view: View,
    usual: str,
    first_at: datetime | None,
    least: timedelta = LEAST,
    zone: str = "UTC",
) -> TimeSpan:
    """The span an address asks for; as long, about the moment asked of, where it would not hold that.

    Parameters
    ----------
    usual : str
        The name of the span shown when the address asks for none, or for nonsense.
    first_at : datetime or None
        When anything is known; no named span begins before it.
    least : timedelta
        A shorter span is widened to this.
    zone : str
        Whose wall clock an instant without its own is of, as a chart that was narrowed gives it.
    """
    asked_at = asked_moment(view, zone)
    span = replace(_asked(view, usual, first_at, least, zone), zone=zone, asked_at=asked_at)
    if asked_at is None or span.since_at <= asked_at <= span.until_at or asked_at > view.now:
        return span
    length = span.until_at - span.since_at
    until_at = min(asked_at + length / 2, view.now)
    return replace(span, name="", since_at=until_at - length, until_at=until_at)


def _asked(view: View, usual: str, first_at: datetime | None, least: timedelta, zone: str) -> TimeSpan:
    since_at, until_at = (instant(view.query.get(end), zone) for end in ("since", "until"))
    if since_at is not None and until_at is not None and since_at < until_at:
        return TimeSpan("", min(since_at, until_at - LEAST), until_at, first_at, view.now)
    name = view.query.get("span", usual)
    if name not in NAMES:
        name = usual
    days = NAMES[name]
    start = first_at or view.now - timedelta(days=days or 366)
    if days is not None:
        start = max(start, view.now - timedelta(days=days))
    return TimeSpan(name, min(start, view.now - least).astimezone(UTC), view.now, first_at, view.now)


def instant(text: str | None, zone: str = "UTC") -> datetime | None:
    """An instant of an address, by a place's wall clock where it has no offset; none when it isn't one."""
    try:
        at = datetime.fromisoformat(text or "")
        return (at if at.tzinfo is not None else at.replace(tzinfo=zone_of(zone))).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def typed_moment(text: str, zone: str, units: Units, now: datetime) -> datetime:
    """An instant as typed, by a place's wall clock; aware UTC.

    Without a year it is the last such day up to now, without a time noon, and without a day today.

    Raises
    ------
    BadInput
        For what is no day and time.
    """
    local = zone_of(zone)
    noon = now.astimezone(local).replace(hour=12, minute=0, second=0, microsecond=0)
    # As far back as the last 29 February can be.
    for year in range(noon.year, noon.year - 9, -1):
        start = noon if year == noon.year else noon.replace(year=year, day=1)
        try:
            at = parse(text, default=start, dayfirst=units != "inch").astimezone(UTC)
        except (ValueError, OverflowError):
            continue
        there = at.astimezone(local)
        if at <= now or there.date() == noon.date() or there.year != year:
            return at
    raise no_moment(text)


def no_moment(text: str) -> BadInput:
    """What is said of a text that is no moment."""
    return BadInput("", "moment", "must be a day and a time, such as 12 January, 3 pm", text or "nothing")


def asked_moment(view: View, zone: str) -> datetime | None:
    """The instant the address asks of; none when it asks of none, or of what is no moment."""
    text = view.query.get("at", "")
    try:
        return instant(text, zone) or (typed_moment(text, zone, view.units, view.now) if text else None)
    except BadInput:
        return None


def span_links(href: str, span: TimeSpan, names: tuple[str, ...]) -> html.Nav:
    """Links to the named spans, and from the stretch that is shown: closer, wider, before and after it.

    They are plain addresses: what a drag over a chart does for a mouse, they do for keys and before any
    script runs.
    """
    links: list[Any] = [
        html.A(name, href=_with(href, span=name), **aria(current="true" if name == span.name else "false"))
        for name in names
    ]
    if not span.name:
        links.append(html.A("this stretch", **aria(current="true")))
    moves = [
        html.A(word, href=between(href, *stretch))
        for word, stretch in _moved(span).items()
        if stretch is not None
    ]
    links.append(html.Span(moves, className="moves"))
    return html.Nav(links, className="tabs", **aria(label="Span of time"))


def _moved(span: TimeSpan) -> dict[str, tuple[datetime, datetime] | None]:
    """The stretches one step away, by their words; none where there is nothing to see."""
    since_at, until_at, length = span.since_at, span.until_at, span.until_at - span.since_at
    first_at, last_at = span.first_at, span.last_at
    is_last = last_at is not None and until_at >= last_at
    moved: dict[str, tuple[datetime, datetime] | None] = dict.fromkeys(
        ("closer", "wider", "earlier", "later")
    )
    if length >= 2 * LEAST:
        # The last stretch stays the last: what is looked at closer is now.
        end = until_at if is_last else until_at - length / 4
        moved["closer"] = end - length / 2, end
    if first_at is None or since_at > first_at or not is_last:
        end = until_at if is_last else until_at + length / 2
        if last_at is not None:
            end = min(end, last_at)
        begin = end - 2 * length
        begin = begin if first_at is None else max(begin, first_at)
        moved["wider"] = min(begin, since_at), max(end, until_at)
    if first_at is None or since_at > first_at:
        moved["earlier"] = since_at - length, since_at
    if not is_last:
        moved["later"] = until_at, until_at + length
    return moved


def between(href: str, since_at: datetime, until_at: datetime) -> str:
    """An address that asks for a stretch of time."""
    ends = {"since": since_at, "until": until_at}
    return _with(href, **{end: at.astimezone(UTC).strftime(MINUTE) for end, at in ends.items()})


def _with(href: str, **query: str) -> str:
    parts = urlsplit(href)
    asked = [
        (name, value)
        for name, value in parse_qsl(parts.query)
        if name not in ("span", "since", "until", "at")
    ]
    return f"{parts.path}?{urlencode([*asked, *query.items()])}"
