"""Where the maker gives a calendar or a reader of feeds a link to what is coming, and takes it back."""

import re
from datetime import date, datetime
from typing import Any

import flask
from dash import Dash, html

from dashboard.forms.acts import Act, answers
from dashboard.pages.frame import Child, part, sheet
from dashboard.pages.pieces.client import base_url, copied
from dashboard.pages.shop.expected import Expected, all_expected, zone_of_shop
from dashboard.shell import feeds
from dashboard.shell.files import answer_file, answer_plainly
from dashboard.shell.links import Shown, reach
from dashboard.shell.static_html import text_of
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.queries import overview as queries
from model.words import display as say
from model.words import times

GIVE, TAKE = "give shop link", "take shop link back"
PAGE = "/coming/links"
FILES: dict[str, tuple[Shown, str, str]] = {
    "calendar": ("calendar", "ics", "In a calendar program choose to subscribe, and paste it there."),
    "feed": ("feed", "atom", "Paste it into a reader of feeds."),
}
REACHES = {
    "device": "It works on this computer only.",
    "network": "It works inside your own network only.",
    "anywhere": "",
}
NAME = "Coming: solid wood"


def layout(view: View) -> html.Main:
    """The two links."""
    return sheet(
        "What is coming, in your calendar",
        *(_link_part(kind, view) for kind in FILES),
        dateline=html.A("Coming", href="/coming"),
        lead="Anyone who has such a link can read what is coming, without the password, and nothing else.",
    )


def _link_part(kind: str, view: View) -> Child:
    shows, ending, how = FILES[kind]
    links = view.context.links
    with view.store.session() as session:
        token = links.good(session, shows) if links else None
    title = f"As a {kind}"
    if token is None:
        give = html.Button("Give a link", id={"act": GIVE, "kind": kind}, className="first")
        return part(title, html.P(f"No {kind} is given out."), html.P(give))
    url = f"{base_url(view.context)}{_path(token, kind, ending)}"
    take = html.Button("Take the link back", id={"act": TAKE, "kind": kind})
    return part(
        title,
        html.P(f"{how} {REACHES[reach(url)]}".strip()),
        html.P(html.A(url, href=url, className="topic", target="_blank")),
        html.Div([html.Button("Copy the link", **copied(url), className="first"), take], className="buttons"),
    )


def _path(token: str, kind: str, ending: str) -> str:
    return address("for", token, f"{kind}.{ending}")


# ---------------------------------------------------------------- what the links answer


def register(app: Dash, context: Context) -> None:
    """The addresses of the links, and their giving and taking back."""

    @app.server.get("/for/<token>/calendar.ics")
    def calendar(token: str) -> flask.Response:
        return _answer(token, "calendar", context)

    @app.server.get("/for/<token>/feed.atom")
    def feed(token: str) -> flask.Response:
        return _answer(token, "feed", context)

    answers(app, context, GIVE, give, which="kind")
    answers(app, context, TAKE, take_back, which="kind")


def _answer(token: str, kind: str, context: Context) -> flask.Response:
    """The calendar or the feed; a program that has it as it is now is told so."""
    shows, ending, _how = FILES[kind]
    view = view_of(context, flask.request.full_path)
    with context.store.session() as session:
        if context.links is None or context.links.shown(session, token) != shows:
            return answer_plainly("This link shows nothing any more.")
        places = queries.places(session, view.now)
        pieces = queries.pieces(session, view.now, known=places, parts=False)
        zone = zone_of_shop(places)
        ahead = [one for one in all_expected(session, places, pieces, view) if one.key and one.is_likely]
    ahead.sort(key=lambda one: (one.from_at, one.key))
    base = base_url(context)
    entries = [_entry(one, zone, base, view) for one in ahead]
    if kind == "calendar":
        body = feeds.calendar(NAME, context.store.mark, entries)
    else:
        own = f"{base}{_path(token, kind, ending)}"
        body = feeds.feed(NAME, context.store.mark, own, times.zone_of(zone), entries)
    response = answer_file(body, "coming", kind, ending)
    response.headers["Cache-Control"] = "private, no-cache"
    response.add_etag()
    response.make_conditional(flask.request)
    return response


def _entry(one: Expected, zone: str, base: str, view: View) -> feeds.DatedEntry:
    midnight = view.now.astimezone(times.zone_of(zone)).replace(hour=0, minute=0, second=0, microsecond=0)
    said_at = one.said_at or midnight

    def day(at: datetime) -> date:
        return at.astimezone(times.zone_of(zone)).date()

    last_at = max(one.until_at or one.from_at, one.from_at)
    told = re.sub(r"\s+(?=[.,:;])", "", re.sub(r"\s+", " ", text_of(one.line())))
    return feeds.DatedEntry(
        key=one.key,
        title=say.plain(one.title()),
        text=say.plain(f"{told} Worked out on {said_at.astimezone(times.zone_of(zone)):%-d %B %Y}."),
        from_day=day(one.from_at),
        until_day=day(last_at),
        said_at=said_at,
        url=f"{base}{one.href}",
    )


# ---------------------------------------------------------------- acts


def give(kind: str, _typed: dict[str, Any], view: View) -> Act:
    """A link is good from now on."""
    assert view.context.links is not None
    with view.store.session() as session:
        view.context.links.make(session, FILES[kind][0])
    return Act("The link is good from now on.", PAGE)


def take_back(kind: str, _typed: dict[str, Any], view: View) -> Act:
    """No link is good any more."""
    assert view.context.links is not None
    with view.store.session() as session:
        view.context.links.take_back(session, FILES[kind][0])
    return Act("The link shows nothing any more.", PAGE)


ROUTES = [Route(PAGE, layout, live=False)]
