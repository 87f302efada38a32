"""Spans of time in an address: by name, or from one instant to another, and the links between them."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from dash import html

from dashboard.pages.frame import aria
from dashboard.view import View

NAMES: dict[str, int | None] = {"day": 1, "week": 7, "month": 31, "season": 92, "year": 366, "all": None}
LEAST = timedelta(hours=1)
MINUTE = "%Y-%m-%dT%H:%MZ"


@dataclass(frozen=True)
class TimeSpan:
    """The stretch of time a page shows; `name` is empty when it was given by its ends."""

    name: str
    since_at: datetime
    until_at: datetime


def span_of(view: View, usual: str, first_at: datetime | None, least: timedelta = LEAST) -> TimeSpan:
    """The span an address asks for.

    Parameters
    ----------
    usual : str
        The name of the span shown when the address asks for none, or for nonsense.
    first_at : datetime or None
        When anything is known; no named span begins before it.
    least : timedelta
        A shorter span is widened to this.
    """
    since_at, until_at = instant(view.query.get("since")), instant(view.query.get("until"))
    if since_at is not None and until_at is not None and since_at < until_at:
        return TimeSpan("", min(since_at, until_at - LEAST), until_at)
    name = view.query.get("span", usual)
    if name not in NAMES:
        name = usual
    days = NAMES[name]
    start = first_at or view.now - timedelta(days=days or 366)
    if days is not None:
        start = max(start, view.now - timedelta(days=days))
    return TimeSpan(name, min(start, view.now - least).astimezone(UTC), view.now)


def instant(text: str | None) -> datetime | None:
    """An instant of an address; none when it isn't one."""
    if not text:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return at.astimezone(UTC) if at.tzinfo is not None else None


def span_links(href: str, span: TimeSpan, names: tuple[str, ...]) -> html.Nav:
    """Links to the named spans, and to the stretch before and after."""
    length = span.until_at - span.since_at
    links: list[Any] = [
        html.A(name, href=_with(href, span=name), **aria(current="true" if name == span.name else "false"))
        for name in names
    ]
    links.append(html.A("earlier", href=_between(href, span.since_at - length, span.since_at)))
    if not span.name:
        links.append(html.A("later", href=_between(href, span.until_at, span.until_at + length)))
        links.append(html.A("this stretch", **aria(current="true")))
    return html.Nav(links, className="tabs", **aria(label="Span of time"))


def _between(href: str, since_at: datetime, until_at: datetime) -> str:
    return _with(href, since=since_at.strftime(MINUTE), until=until_at.strftime(MINUTE))


def _with(href: str, **query: str) -> str:
    parts = urlsplit(href)
    asked = [
        (name, value) for name, value in parse_qsl(parts.query) if name not in ("span", "since", "until")
    ]
    return f"{parts.path}?{urlencode([*asked, *query.items()])}"
