"""Coming: what the weeks and months ahead bring, as the watch stored it; and the strip on the first page.

Limits likely to be reached, stacks that become ready, days to glue, the turn of the heating season, readings
to ask clients for, and what was passed and should be looked over.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
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
from dashboard.pages.lumber import glue
from dashboard.say import piece_words, sentences
from dashboard.shell.view import Route, View, address
from model.records.queries import overview as queries
from model.records.queries.overview import Coming, PassedSpan, PieceNow, PlaceNow, StackNow
from model.records.queries.prospects import in_order, passed_by_fit, resting
from model.records.schema.tables import Fit, Margin
from model.watch.questions.glue_board import BoardLine, glue_board
from model.wood.reason import Reason
from model.words import display as say
from model.words.reasons import clause, in_sentences

TOLD = 6
"""So many of one stretch of time are told of; the others are folded."""
FOLDED = 30
"""So many are folded; the rest of a stretch stands on a page of its own."""
WIDE = timedelta(weeks=6)
"""A window wider than this is worth asking a client for a reading of the gap."""
HEATING_MONTHS = (10, 5)
"""First month of the heating season and of the rest of the year, north (common practice, no source)."""


@dataclass(frozen=True)
class Expected:
    """One thing that is coming: from when, behind which mark, and its line, made where it is shown."""

    from_at: datetime
    verdict: str
    line: Callable[[], list[Any]]
    kind: str = ""
    is_likely: bool = True


def layout(view: View) -> html.Main:
    """The page of what is coming."""
    with view.store.session() as session:
        places = queries.places(session, view.now)
        stacks = queries.stacks(session, view.now, known=places)
        pieces = queries.pieces(session, view.now, known=places, parts=False)
        pieces = with_since(session, pieces, view.now)
        board = glue_board(session)
        rests = resting(session, view.now)
    expected = [
        *limits(pieces, view),
        *stacks_ready(stacks, view),
        *rests_over(rests, view),
        *glueing(places, board, view),
        *season_turn(places, pieces, view),
    ]
    zone = _zone(places)
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
                        part("Ask for a reading", *readings_to_ask(pieces, view)),
                        part("Not known", _dark(pieces)),
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
    return f"{at.astimezone(say.zone_of(zone)):%B %Y}"


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


# ---------------------------------------------------------------- what comes


def limits(pieces: Iterable[PieceNow], view: View) -> list[Expected]:
    """Every limit that one year in ten or more reaches, with its window, its chance and what prevents it."""
    return [
        Expected(
            max(one.from_at, view.now),
            "near",
            partial(_limit_line, piece, one, view),
            is_likely=one.chance_pct >= piece_words.LIKELY_PCT,
        )
        for piece in pieces
        for one in piece.next or ()
        if one.until_at >= view.now
    ]


def _limit_line(piece: PieceNow, one: Coming, view: View) -> list[Any]:
    return [
        html.A(html.B(piece.name), href=address("piece", piece.id)),
        f", {piece.place.name}. " if piece.place else ". ",
        *prose(piece_words.said_of(one, view.now)),
        html.Div(prose(sentences.advice({"lever": one.lever})), className="soft small"),
    ]


def stacks_ready(stacks: Iterable[StackNow], view: View) -> list[Expected]:
    """Stacks that are ready, or will be within a window that is known."""
    found = []
    for stack in stacks:
        ready = stack.ready
        where = f" for {stack.destination.name}" if stack.destination else ""
        if ready.is_ready:
            at, told = view.now, "ready"
        elif ready.from_at is not None and ready.until_at is not None:
            at = max(ready.from_at, view.now)
            days = [(end - view.now) / timedelta(days=1) for end in (ready.from_at, ready.until_at)]
            told = f"ready {say.lead_time(*days)}"
        else:
            continue
        line = [html.A(html.B(stack.name), href=address("stack", stack.id)), f": {told}{where}."]
        found.append(Expected(at, stack.judgement.verdict, partial(list, line), "stack"))
    return found


def rests_over(rests: Iterable[tuple[str, int, str, str, str]], view: View) -> list[Expected]:
    """Stacks and parts whose rest ends, so that they may be milled again."""
    found = []
    for kind, number, name, part_name, until in rests:
        said = clause(Reason("rest", {"until_day": until}), view.display)
        line = [html.A(html.B(name), href=address(kind, number)), f": {say.said(part_name)} {said}."]
        at = datetime.fromisoformat(until).replace(tzinfo=UTC)
        found.append(Expected(at, "near", partial(list, line), "glue-up"))
    return found


def glueing(places: Iterable[PlaceNow], board: dict[int, BoardLine], view: View) -> list[Expected]:
    """Days to glue in each shop, as far as the season tells."""
    found = []
    for place in places:
        line = board.get(place.id)
        if place.kind != "shop" or line is None or view.now - line.as_of > glue.OLD:
            continue
        answer = line.answer
        earliest = answer["earliest"]
        days = earliest["low_days"] if answer["verdict"] != "go" and earliest is not None else 0
        told = f" {glue.HEADS[answer['verdict']]} {glue.until(answer)}".rstrip()
        said = [html.A(html.B(place.name), href=address("place", place.id)), ":", told]
        at, mark = view.now + timedelta(days=days), glue.MARKS[answer["verdict"]]
        found.append(Expected(at, mark, partial(list, said), "glue-up"))
    return found


def season_turn(places: Sequence[PlaceNow], pieces: Sequence[PieceNow], view: View) -> list[Expected]:
    """When the heating next goes on or off, and whose limits lie in the season that begins."""
    if not places:
        return []
    home = next((place for place in places if place.kind == "shop"), places[0])
    zone, latitude = home.zone, (home.climate or {}).get("latitude_deg")
    local = view.now.astimezone(say.zone_of(zone))
    south = say.season(datetime(2000, 1, 15, 12, tzinfo=UTC), zone, latitude) == "summer"
    on, off = ((month + 5) % 12 + 1 if south else month for month in HEATING_MONTHS)
    turns = [
        (local.replace(year=year, month=month, day=1, hour=0, minute=0, second=0, microsecond=0), direction)
        for year in (local.year, local.year + 1)
        for month, direction in ((on, "shrinking"), (off, "swelling"))
    ]
    at, direction = min((turn for turn in turns if turn[0] > local), key=lambda turn: turn[0])
    named = [
        html.A(piece.name, href=address("piece", piece.id))
        for piece in pieces
        if any(one.direction == direction for one in piece_words.all_likely(piece) or ())
    ]
    begins = direction == "shrinking"
    told = f"The heating season {'begins' if begins else 'ends'} about {at:%B}"
    air = "rooms turn dry" if begins else "rooms turn damp"
    line: list[Any] = [html.B(told), f": {air}. "]
    if named:
        line += ["Look at ", *joined_links(named), " before then."]
    else:
        line.append("No limit at that end is likely.")
    return [Expected(at.astimezone(UTC), "near" if named else "clear", partial(list, line), "place")]


# ---------------------------------------------------------------- what to ask for, what to look over


def readings_to_ask(pieces: Iterable[PieceNow], view: View) -> list[Any]:
    """Homes where a reading of the gap strip says much: a limit is likely there, in a wide window."""
    homes: dict[tuple[int, str], list[Any]] = defaultdict(list)
    for piece in pieces:
        if piece.place is None or piece.place.kind != "home":
            continue
        likely = piece_words.all_likely(piece) or ()
        if any(one.until_at - one.from_at > WIDE for one in likely):
            link = html.A(piece.name, href=address("piece", piece.id, "gap"))
            homes[piece.place.id, piece.place.name].append(link)
    rows = [
        partial(_home_asked, place_id, name, links)
        for (place_id, name), links in sorted(homes.items(), key=lambda home: home[0][1])
    ]
    if not rows:
        return []
    why = "A letter read off the gap strip narrows when their next limit is reached."
    return [aside(why), *_some(rows, "/places")]


def _home_asked(place_id: int, name: str, links: Sequence[Child]) -> Child:
    return html.Li([html.A(html.B(name), href=address("place", place_id)), ": ", *joined_links(links), "."])


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
        select(Fit.id, Fit.piece_id, Fit.name)
        .where(Fit.id.in_(select(Margin.fit_id).where(*_harmed(now))))
        .order_by(Fit.id)
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


def _zone(places: Sequence[PlaceNow]) -> str:
    return places[0].zone if places else "UTC"


# ---------------------------------------------------------------- on the first page

STRIP = 5


def strip(pieces: Sequence[PieceNow], places: Sequence[PlaceNow], view: View) -> Child:
    """The first limits likely to come of pieces with which nothing is wrong today, and where the rest is."""
    well = [piece for piece in pieces if sentences.piece_verdict(piece) == "clear"]
    likely = sorted((one for one in limits(well, view) if one.is_likely), key=lambda one: one.from_at)
    zone = _zone(places)
    rows = []
    for one in likely[:STRIP]:
        when = html.Span(stretch(one.from_at, zone, view.now), className="soft small")
        rows.append(html.Li([when, html.Br(), *one.line()]))
    more = f"{len(likely) - STRIP} more, and all else that" if len(likely) > STRIP else "All that"
    return part(
        "Coming",
        listed(rows, html.P("No limit is likely to be reached by any other piece."), "rows strip"),
        html.P(html.A(f"{more} is coming", href="/coming")),
    )


ROUTES = [Route("/coming", layout)]
