"""What is coming, as the watch stored it: one list for the page, the strip, the calendar and the feed.

Limits likely to be reached, stacks that become ready, rests that end, days to glue, and the turn of the
heating season.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

from dash import html
from sqlalchemy.orm import Session

from dashboard.pages.frame import joined_links, prose
from dashboard.pages.lumber import glue
from dashboard.say import piece_words, sentences
from dashboard.shell.view import View, address
from model.records.queries import overview as queries
from model.records.queries.overview import Coming, PieceNow, PlaceNow, StackNow
from model.records.queries.prospects import resting
from model.watch.questions.glue_board import BoardLine, glue_board
from model.wood.reason import Reason
from model.words import display as say
from model.words import times
from model.words.reasons import clause

HEATING_MONTHS = (10, 5)
"""First month of the heating season and of the rest of the year, north (common practice, no source)."""


@dataclass(frozen=True)
class Expected:
    """One thing that is coming: from when, behind which mark, and its line, made where it is shown.

    What a calendar or a feed carries has a `key` besides, the same for as long as it speaks of the same
    thing: with a title, the page of the thing, when it is over, and when it was worked out. It has none of
    what is so already today.
    """

    from_at: datetime
    verdict: str
    line: Callable[[], list[Any]]
    kind: str = ""
    is_likely: bool = True
    key: str = ""
    title: Callable[[], str] = str
    href: str = "/coming"
    until_at: datetime | None = None
    said_at: datetime | None = None


def all_expected(
    session: Session, places: tuple[PlaceNow, ...], pieces: Sequence[PieceNow], view: View
) -> list[Expected]:
    """All that is coming, in no order."""
    return [
        *limits(pieces, view),
        *stacks_ready(queries.stacks(session, view.now, known=places), view),
        *rests_over(resting(session, view.now), zone_of_shop(places), view),
        *glueing(places, glue_board(session), view),
        *season_turn(places, pieces, view),
    ]


def zone_of_shop(places: Sequence[PlaceNow]) -> str:
    """The time zone that the maker lives in: that of the first shop, else of the first place."""
    home = next((place for place in places if place.kind == "shop"), places[0] if places else None)
    return home.zone if home else "UTC"


def limits(pieces: Iterable[PieceNow], view: View) -> list[Expected]:
    """Every limit that one year in ten or more reaches, with its window, its chance and what prevents it."""
    return [
        Expected(
            max(one.from_at, view.now),
            "near",
            partial(_limit_line, piece, one, view),
            is_likely=one.chance_pct >= piece_words.LIKELY_PCT,
            key=f"piece {piece.id} {one.fit} {one.limit} {one.direction}",
            title=partial(_limit_title, piece, one, view),
            href=address("piece", piece.id),
            until_at=one.until_at,
            said_at=one.said_at,
        )
        for piece in pieces
        for one in piece.next or ()
        if one.until_at >= view.now
    ]


def _limit_title(piece: PieceNow, one: Coming, view: View) -> str:
    return f"{piece.name}: {clause(one.seen, view.display)}"


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
            at, told, key = view.now, "ready", ""
        elif ready.from_at is not None and ready.until_at is not None:
            at = max(ready.from_at, view.now)
            days = [(end - view.now) / timedelta(days=1) for end in (ready.from_at, ready.until_at)]
            told, key = f"ready {times.lead_time(*days)}", f"stack {stack.id} ready"
        else:
            continue
        line = [html.A(html.B(stack.name), href=address("stack", stack.id)), f": {told}{where}."]
        worked_out_at = stack.moisture.at if stack.moisture else None
        found.append(
            Expected(
                at,
                stack.judgement.verdict,
                partial(list, line),
                "stack",
                key=key,
                title=partial(str, f"{stack.name}: ready{where}"),
                href=address("stack", stack.id),
                until_at=ready.until_at,
                said_at=worked_out_at,
            )
        )
    return found


def rests_over(rests: Iterable[tuple[str, int, str, str, str]], zone: str, view: View) -> list[Expected]:
    """Stacks and parts whose rest ends, so that they may be milled again."""
    found = []
    for kind, number, name, part_name, until in rests:
        said = clause(Reason("rest", {"until_day": until}), view.display)
        line = [html.A(html.B(name), href=address(kind, number)), f": {say.said(part_name)} {said}."]
        at = datetime.fromisoformat(until).replace(tzinfo=times.zone_of(zone)).astimezone(UTC)
        title = f"{name}{f', {say.said(part_name)}' if part_name else ''}: its rest is over"
        found.append(
            Expected(
                at,
                "near",
                partial(list, line),
                "glue-up",
                key=f"{kind} {number} {part_name} rest",
                title=partial(str, title),
                href=address(kind, number),
            )
        )
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
        found.append(
            Expected(
                at,
                mark,
                partial(list, said),
                "glue-up",
                key=f"place {place.id} glue" if days >= 1 else "",
                title=partial(str, f"{place.name}: perhaps air to glue in again"),
                href=address("place", place.id),
                said_at=line.as_of,
            )
        )
    return found


def season_turn(places: Sequence[PlaceNow], pieces: Sequence[PieceNow], view: View) -> list[Expected]:
    """When the heating next goes on or off, and whose limits lie in the season that begins."""
    if not places:
        return []
    home = next((place for place in places if place.kind == "shop"), places[0])
    zone, latitude = home.zone, (home.climate or {}).get("latitude_deg")
    local = view.now.astimezone(times.zone_of(zone))
    south = times.season(datetime(2000, 1, 15, 12, tzinfo=UTC), zone, latitude) == "summer"
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
    return [
        Expected(
            at.astimezone(UTC),
            "near" if named else "clear",
            partial(list, line),
            "place",
            key=f"heating {at:%Y-%m}",
            title=partial(str, told),
        )
    ]
