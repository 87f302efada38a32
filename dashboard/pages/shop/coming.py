"""Coming: what the weeks and months ahead bring, as the watch stored it; and the strip on the first page.

Limits likely to be reached, stacks that become ready, days to glue, the turn of the heating season, what is
worth measuring, and what was passed and should be looked over.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from itertools import groupby
from typing import Any

from dash import html
from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.pages.frame import (
    A_PAGE,
    Child,
    aside,
    folded,
    joined_links,
    listed,
    marked,
    noted,
    page_asked,
    pages,
    part,
    prose,
    sheet,
)
from dashboard.pages.shop import measuring
from dashboard.pages.shop.expected import Expected, all_expected, limits, zone_of_shop
from dashboard.say import piece_words, sentences
from dashboard.shell.view import Route, View, address
from model.records.queries import overview as queries
from model.records.queries.overview import PassedSpan, PieceNow, PlaceNow
from model.records.queries.prospects import in_order, passed_by_fit
from model.records.schema.tables import FitRow, Margin
from model.words import times
from model.words.reasons import in_sentences

TOLD = 6
"""So many of one stretch of time are told of; the others are folded."""
FOLDED = 30
"""So many are folded; the rest of a stretch stands on a page of its own."""


def layout(view: View) -> html.Main:
    """The page of what is coming."""
    with view.store.session() as session:
        places = queries.places(session, view.now)
        pieces = with_since(session, queries.pieces(session, view.now, known=places, parts=False), view.now)
        expected = all_expected(session, places, pieces, view)
        worth = measuring.rows(session, zone_of_shop(places), view)
    zone = zone_of_shop(places)
    when = view.query.get("when", "")
    if when:
        ones = [one for one in expected if stretch(one.from_at, zone, view.now) == when]
        return one_stretch(when, sorted(ones, key=lambda one: one.from_at), page_asked(view.query))
    return sheet(
        headline([one for one in expected if one.is_likely and not one.kind], view),
        html.Div(
            [
                html.Div(
                    by_time(expected, zone, view)
                    or html.P("Nothing that is stored speaks of the weeks ahead.", className="soft"),
                ),
                html.Div(
                    [
                        part("Look these over", *to_look_over(pieces, view)),
                        part("Worth measuring", listed(worth)),
                        part("Not known", _dark(pieces)),
                        html.P(html.A("How well forecasts came true", href="/foretold")),
                        html.P(html.A("In your calendar or feed reader", href="/coming/links")),
                        aside(
                            "From what is known today; wood moves a fifth more or less than the tables say."
                        ),
                    ]
                ),
            ],
            className="columns",
        ),
        dateline=html.A("Today", href="/"),
    )


def headline(limits_ahead: Sequence[Expected], view: View) -> str:
    """How soon the first limit is likely to be reached."""
    if not limits_ahead:
        return "No limit is likely to be reached within the year."
    soon = sum(one.from_at < view.now + timedelta(weeks=4) for one in limits_ahead)
    likely = sentences.so_many(len(limits_ahead), "limit", "is likely", "are likely").capitalize()
    when = (
        f"{sentences.number_word(soon)} of them perhaps within four weeks"
        if soon
        else "none within four weeks"
    )
    return f"{likely} to be reached within the year, {when}."


# ---------------------------------------------------------------- by week and month


def by_time(expected: Iterable[Expected], zone: str, view: View) -> list[Any]:
    """What is coming under its week or month, the soonest first."""
    stretches: dict[str, list[Expected]] = defaultdict(list)
    for one in sorted(expected, key=lambda one: one.from_at):
        stretches[stretch(one.from_at, zone, view.now)].append(one)
    return [part(name, *_stretch(name, ones)) for name, ones in stretches.items()]


def stretch(at: datetime, zone: str, now: datetime) -> str:
    """The week or month in which an instant lies, as a maker speaks of it."""
    days = (at - now) / timedelta(days=1)
    for most, name in ((7, "This week"), (14, "Next week"), (28, "Within four weeks")):
        if days < most:
            return name
    return f"{at.astimezone(times.zone_of(zone)):%B %Y}"


def _stretch(name: str, ones: Sequence[Expected]) -> list[Child]:
    likely = [partial(_row, one) for one in ones if one.is_likely]
    rest = [partial(_row, one) for one in ones if not one.is_likely]
    href = address("coming", when=name)
    return [*_some(likely, href), _folded(rest, "less likely", href)]


def _row(one: Expected) -> Child:
    # What is not likely asks for no mark.
    is_marked = one.is_likely
    return noted(one.verdict, *one.line(), kind=one.kind) if is_marked else marked(html.Span(), *one.line())


def _some(rows: Sequence[Callable[[], Child]], href: str) -> list[Child]:
    """The first rows, and the others folded; nothing where there is none."""
    return [listed([row() for row in rows[:TOLD]]), _folded(rows[TOLD:], "more", href)]


def _folded(rows: Sequence[Callable[[], Child]], words: str, href: str) -> Child:
    """Rows behind how many they are; of very many the first, and the way to all."""
    if not rows:
        return None
    name = f"{sentences.number_word(len(rows)).capitalize()} {words}"
    more = html.P(html.A("All of them", href=href)) if len(rows) > FOLDED else None
    return folded(name, listed([row() for row in rows[:FOLDED]]), more)


def one_stretch(name: str, ones: Sequence[Expected], page: int) -> html.Main:
    """All that one week or month may bring, page by page."""
    return sheet(
        name,
        listed([_row(one) for one in ones[(page - 1) * A_PAGE : page * A_PAGE]]),
        pages(len(ones), page, "coming", when=name),
        dateline=html.A("Coming", href="/coming"),
    )


# ---------------------------------------------------------------- what to look over


def to_look_over(pieces: Iterable[PieceNow], view: View) -> list[Child]:
    """Pieces that were past a limit that harms, within the year behind."""
    rows = [
        partial(_looked_over, piece, told)
        for piece in pieces
        if piece.since and (told := piece_words.history(piece, view.now, harms_only=True))
    ]
    return _some(rows, "/pieces?show=past")


def _looked_over(piece: PieceNow, told: str) -> Child:
    return html.Li([html.A(html.B(piece.name), href=address("piece", piece.id)), ". ", *prose(told)])


def with_since(session: Session, pieces: Sequence[PieceNow], now: datetime) -> tuple[PieceNow, ...]:
    """The same pieces with the stretches in which a limit that harms was passed in the year behind."""
    wanted = (
        select(FitRow.id, FitRow.piece_id, FitRow.name)
        .where(FitRow.id.in_(select(Margin.fit_id).where(*_harmed(now))))
        .order_by(FitRow.id)
    )
    rows = session.execute(wanted).all()
    spans = passed_by_fit(session, {row.id: row.name for row in rows}, now)
    since: dict[int, list[PassedSpan]] = defaultdict(list)
    for row in rows:
        since[row.piece_id] += spans[row.id]
    return tuple(replace(piece, since=in_order(since[piece.id])) for piece in pieces)


def _harmed(now: datetime) -> tuple[Any, ...]:
    since = now - piece_words.REMEMBERED
    return Margin.standing == "past", Margin.severity == "harms", Margin.at > since, Margin.at <= now


def _dark(pieces: Sequence[PieceNow]) -> Child:
    """The pieces whose coming year isn't known, by why."""
    reasons: dict[str, list[Any]] = defaultdict(list)
    for piece in pieces:
        if piece.next is None:
            why = in_sentences(piece.next_reason) if piece.next_reason else ""
            reasons[why].append(html.A(piece.name, href=address("piece", piece.id)))
    return listed(
        [html.Li([f"{reason[:-1]}: ", *joined_links(links), "."]) for reason, links in reasons.items()]
    )


# ---------------------------------------------------------------- on the first page

STRIP = 5


def strip(pieces: Sequence[PieceNow], places: Sequence[PlaceNow], view: View) -> Child:
    """The first limits likely to come of pieces with which nothing is wrong today, and where the rest is."""
    well = [piece for piece in pieces if sentences.piece_verdict(piece) == "clear"]
    likely = sorted((one for one in limits(well, view) if one.is_likely), key=lambda one: one.from_at)
    zone = zone_of_shop(places)
    rows = []
    for when, ones in groupby(likely[:STRIP], key=lambda one: stretch(one.from_at, zone, view.now)):
        lines = [html.Div(one.line()) for one in ones]
        rows.append(html.Li([html.Span(when, className="soft small"), *lines]))
    more = f"{len(likely) - STRIP} more, and all else that" if len(likely) > STRIP else "All that"
    return part(
        "Coming",
        listed(rows, html.P("No limit is likely to be reached by any other piece."), "rows strip"),
        html.P(html.A(f"{more} is coming", href="/coming")),
    )


ROUTES = [Route("/coming", layout)]
