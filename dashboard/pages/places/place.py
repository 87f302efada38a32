"""Places: each with its own air, what stands there, and what that air does to wood."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from dash import html
from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.figures.air import OverlaidAir, air_chart, said_of
from dashboard.figures.calendar import KEY, year_of_days
from dashboard.figures.place_rule import Bracket, place_rule
from dashboard.pages.charted import charted
from dashboard.pages.frame import (
    Child,
    aria,
    aside,
    drawn,
    empty,
    folded,
    listed,
    noted,
    num,
    part,
    sheet,
    word,
)
from dashboard.pages.lumber.stock import stands
from dashboard.pages.sensors.hanging import nowhere_part
from dashboard.pages.sensors.sensor import two_rooms_part
from dashboard.say import piece_view, piece_words, sentences
from dashboard.say.marks import verdict_mark, words_for
from dashboard.shell.spans import TimeSpan, span_of
from dashboard.shell.view import Route, View, address
from model.records.queries import overview as queries
from model.records.queries import series, traces
from model.records.queries.overview import PieceNow, PlaceNow, StackNow
from model.records.queries.series import AirSeries
from model.records.queries.traces import Trace
from model.records.queries.two_rooms import two_rooms
from model.records.schema.tables import Hanging
from model.wood.air.psychrometrics import dew_point
from model.words import display as say
from model.words import times

KINDS = {"shop": "The shop", "storage": "A storage room", "home": "A client's home"}
SPANS = ("day", "week", "month", "season", "year", "all")
DRAWN = 6
"""Of more places than this the list has a line each, and their rules stand on their own pages."""
BRACKETS = 8  # more of them bury the rule


def list_layout(view: View) -> html.Main:
    """Every place with its rule."""
    with view.store.session() as session:
        places = queries.places(session, view.now)
        pieces = queries.pieces(session, view.now, known=places, parts=False)
        if len(places) <= DRAWN:
            pieces = drawn_with_parts(session, places, pieces, view.now)
    if not places:
        return sheet(
            "No place is recorded.",
            empty(
                "A place comes with its first sensor: ",
                html.A("accept one", href="/sensors"),
                " and name where it hangs. One without a sensor can be ",
                html.A("recorded", href="/places/new"),
                " too; its air stays unknown until one hangs there.",
            ),
        )
    shop = next((place for place in places if place.kind == "shop"), places[0])
    return sheet(
        f"{shop.name} {sentences.air(shop, view.display)}."
        if shop.air
        else f"{shop.name}: no air is known yet.",
        *(
            [place_part(place, pieces, view) for place in places]
            if len(places) <= DRAWN
            else [listed([place_row(place, pieces, view) for place in places])]
        ),
        html.P(html.A("Record a place", href="/places/new", className="button"), className="no-print"),
    )


def drawn_with_parts(
    session: Session,
    places: Iterable[PlaceNow],
    pieces: tuple[PieceNow, ...],
    now: datetime,
    most: int = BRACKETS,
) -> tuple[PieceNow, ...]:
    """The same pieces, those whose brackets are drawn with their parts: a long list does without."""
    drawn = [piece for place in places for piece in tightest(pieces_at(place, pieces), most)]
    filled = {piece.id: piece for piece in queries.with_parts(session, drawn, now)}
    return tuple(filled.get(piece.id, piece) for piece in pieces)


def pieces_at(place: PlaceNow, pieces: Iterable[PieceNow]) -> list[PieceNow]:
    """Those of the pieces that stand at a place."""
    return [piece for piece in pieces if piece.place is not None and piece.place.id == place.id]


def tightest(pieces: Iterable[PieceNow], most: int) -> list[PieceNow]:
    """The few pieces with least left of their play."""
    return sorted(pieces, key=sentences.share_left)[:most]


def place_part(place: PlaceNow, pieces: tuple[PieceNow, ...], view: View) -> Child:
    """One place of the list."""
    told = f"{KINDS[place.kind]}. {say.sentence(sentences.air(place, view.display))}"
    return part(
        html.A(place.name, href=address("place", place.id)),
        html.P([verdict_mark(place.judgement.verdict, "place"), f" {told} {heard(place, view)}"]),
        rule(place, brackets_of(pieces_at(place, pieces), view.now), 900),
    )


def whose(place: PlaceNow) -> list[Any]:
    """What kind of place it is, and whose."""
    if place.client_id is None:
        return [KINDS[place.kind]]
    return ["For ", html.A(place.client, href=address("client", place.client_id))]


def place_row(place: PlaceNow, pieces: tuple[PieceNow, ...], view: View) -> html.Li:
    """One place of a long list: its air, and how what stands there does."""
    here = pieces_at(place, pieces)
    worst = say.worst([piece_words.mark_of(piece) for piece in here]) if here else place.judgement.verdict
    number = sentences.counted(len(here), "piece")
    told = number if not here or worst == "clear" else f"{number}, the worst {words_for(worst)}"
    air = say.sentence(sentences.air(place, view.display))
    return noted(
        worst,
        html.A(html.B(place.name), href=address("place", place.id)),
        f". {say.sentence(told)} ",
        html.Div([air, " ", heard(place, view)], className="soft small"),
        kind="" if here else "place",
    )


def brackets_of(pieces: Iterable[PieceNow], now: datetime, most: int = BRACKETS) -> list[Bracket]:
    """The humidity each piece is comfortable at, the most exacting first; of many, those with least left."""
    found = [
        piece_view.bracket_of(piece, now, address("piece", piece.id))
        for piece in tightest(pieces, most)
        if piece.members
    ]
    return sorted((one for one in found if one is not None), key=lambda bracket: bracket.width_pct)


def rule(place: PlaceNow, brackets: list[Bracket], wide: int) -> html.Div:
    """A place's air on its rule, over what the pieces there can take."""
    temperature_c, rh_pct = (place.air.temperature_c, place.air.rh_pct) if place.air else (None, None)
    return drawn(*(place_rule(place.name, temperature_c, rh_pct, brackets, width) for width in (wide, 360)))


def heard(place: PlaceNow, view: View) -> str:
    """When anything was last heard from there, and by what."""
    if not place.sensors:
        return "No sensor hangs there."
    names = say.joined(place.sensors)
    return f"Last heard {times.ago(place.last_reading_at, view.now)}, from {names}."


# ---------------------------------------------------------------- one place


def layout(view: View, place_id: int) -> html.Main | None:
    """The page of a place; none when there is no such place."""
    with view.store.session() as session:
        known = queries.places(session, view.now)
        place = next((place for place in known if place.id == place_id), None)
        if place is None:
            return None
        span = span_of(view, "month", series.first_air_at(session, place_id), zone=place.zone)
        then = air_then(session, place, span.asked_at, view) if span.asked_at else ""
        beside = beside_of(session, place, known, span, view)
        air = series.air(session, place_id, span.since_at, span.until_at)
        sent = traces.traces(session, place_id, span.since_at, span.until_at)
        pieces = queries.pieces(session, view.now, known=known, parts=False, at=place_id)
        here = list(drawn_with_parts(session, (place,), pieces, view.now))
        stacks = [
            stack
            for stack in queries.stacks(session, view.now, known=known)
            if stack.place is not None and stack.place.id == place_id
        ]
        hung = session.scalars(
            select(Hanging.sensor_id).where(Hanging.place_id == place_id, Hanging.until_at.is_(None))
        ).all()
        cautions = [
            two_rooms_part(two_rooms(session, view.now, place_id)),
            *[nowhere_part(session, sensor_id, view) for sensor_id in hung],
        ]
    latitude_deg = (place.climate or {}).get("latitude_deg")
    chart = air_chart(air, sent, view.display, span.stretch(view, latitude_deg), place.name, beside=beside)
    through_time = part(
        "The air through time",
        *charted(
            view,
            span,
            SPANS,
            chart,
            f"Air at {place.name}",
            address("place", place_id, beside=view.query.get("beside") if beside else None),
            ("place", place_id),
            then,
            tall=True,
        ),
        aside(legend(air, sent, beside)),
        beside_links(place, known, span, view),
        html.P(spread(air, view), className="small"),
        days_part(place, air, span, view),
    )
    return page(place, through_time, here, stacks, view, html.Div([each for each in cautions if each]))


def air_then(session: Session, place: PlaceNow, at: datetime, view: View) -> str:
    """A place's air at a moment, in a sentence."""
    hour = series.air(session, place.id, at - timedelta(minutes=59), at)
    if not len(hour.at):
        return f"No air is known at {place.name} for {times.moment(at, place.zone, view.units, view.now)}"
    return f"{place.name}, {said_of(hour, -1, view.display, place.zone)}"


YEAR_BEFORE = "before"


def beside_of(
    session: Session, place: PlaceNow, known: Sequence[PlaceNow], span: TimeSpan, view: View
) -> OverlaidAir | None:
    """The air that the address lays over the place's own: another place's, or its own a year before."""
    wanted = view.query.get("beside", "")
    if wanted == YEAR_BEFORE:
        year = timedelta(days=365)
        air = series.air(session, place.id, span.since_at - year, span.until_at - year)
        return OverlaidAir("a year before", air, year)
    other = next((one for one in known if str(one.id) == wanted and one.id != place.id), None)
    if other is None:
        return None
    return OverlaidAir(
        other.name, series.air(session, other.id, span.since_at, span.until_at), zone=other.zone
    )


def beside_links(place: PlaceNow, known: Sequence[PlaceNow], span: TimeSpan, view: View) -> html.Details:
    """What can be laid over the place's air."""
    asked = {name: value for name, value in view.query.items() if name in ("span", "since", "until")}
    wanted = view.query.get("beside", "")
    choices = [("nothing", ""), ("a year before", YEAR_BEFORE)]
    choices += [(one.name, str(one.id)) for one in known if one.id != place.id]
    links = [
        html.A(
            name,
            href=address("place", place.id, **asked, beside=value or None),
            **aria(current="true" if value == wanted else "false"),
        )
        for name, value in choices
    ]
    nav = html.Nav(links, className="tabs", **aria(label="Laid over it"))
    return folded("Lay another over it", nav, is_open=bool(wanted), className="no-print")


def days_part(place: PlaceNow, air: AirSeries, span: TimeSpan, view: View) -> html.Details | None:
    """A long span as a calendar of its days."""
    if span.until_at - span.since_at < timedelta(days=90) or not len(air.at):
        return None
    days = year_of_days(air, view.display, place.zone, address("place", place.id))
    return folded("Day by day", aside(KEY), days)


def page(
    place: PlaceNow,
    through_time: Child,
    pieces: list[PieceNow],
    stacks: list[StackNow],
    view: View,
    cautions: Child = None,
) -> html.Main:
    """The page, from what the book answered."""
    here = address("place", place.id)
    return sheet(
        place.name,
        html.P(lead(place, view), className="lead"),
        html.P(sentences.reason(place.judgement, view.display), className="soft")
        if place.judgement.evaluated_at
        else None,
        cautions,
        rule(place, brackets_of(pieces, view.now), 960),
        through_time,
        standing_part(pieces, stacks, view),
        html.Div(
            [
                html.A("Readings from a file", href=f"{here}/file", className="button"),
                html.A("Hot and cold spots", href=f"{here}/corners", className="button"),
                html.A("Correct the record", href=f"{here}/edit", className="button"),
            ],
            className="buttons no-print",
        ),
        dateline=[*whose(place), f". {heard(place, view)}"],
    )


def lead(place: PlaceNow, view: View) -> list[Any]:
    """The place's air in one sentence, behind its mark."""
    mark = [verdict_mark(place.judgement.verdict, "place"), " ", word(place.judgement.verdict, "place"), ". "]
    if place.air is None:
        return [*mark, "No air is known here yet."]
    dew = float(dew_point(place.air.temperature_c, place.air.rh_pct)) if place.air.rh_pct > 1 else None
    at = times.moment(place.air.hour_at, place.zone, view.units, view.now)
    basis = "" if place.air.basis == "measured" else ", estimated,"
    return [
        *mark,
        num(sentences.air(place, view.display)),
        f", dew point {view.display.temperature(dew)}; the hour from {at}{basis}.".replace(",.", "."),
    ]


def legend(air: AirSeries, sent: tuple[Trace, ...], beside: OverlaidAir | None) -> str:
    """What the lines mean."""
    words = ["Solid: the hour's air."]
    if air.estimated.any():
        words.append("Dotted: estimated across a gap.")
    if any(len(trace.at) for trace in sent):
        words.append("Thin grey: what the sensors sent.")
    if any(trace.doubts for trace in sent):
        words.append("Thin dotted: readings that are doubted and count for nothing.")
    if beside is not None:
        told = f"Brown dashes: {beside.name}."
        words.append(told if len(beside.air.at) else f"{say.sentence(beside.name)[:-1]}: nothing is known.")
    words.append("Drag over a stretch, pinch it, or go closer, to see it finer.")
    return " ".join(words)


def spread(air: AirSeries, view: View) -> str:
    """The span's air in numbers."""
    if not len(air.at):
        return ""
    low, middle, high = (say.rh(float(value)) for value in np.nanpercentile(air.rh_pct, [5, 50, 95]))
    share = float(air.estimated.mean())
    text = f"In this span: {middle} in the middle, between {low} and {high} nine hours in ten."
    if share > 0:
        text += f" {max(share * 100, 1):.0f}{say.NBSP}% of its hours are estimated."
    return text


def standing_part(pieces: list[PieceNow], stacks: list[StackNow], view: View) -> Child:
    """What stands there."""
    rows = []
    for piece in pieces:
        how = html.Span(piece_words.stands(piece, view.now), className="word")
        link = html.A(html.B(piece.name), href=address("piece", piece.id))
        rows.append(noted(piece_words.mark_of(piece), link, ", ", how))
    for stack in stacks:
        link = html.A(html.B(stack.name), href=address("stack", stack.id))
        wood = sentences.stack_wood(stack, view.display)
        rows.append(noted(stack.judgement.verdict, link, f", {wood}, ", stands(stack), kind="stack"))
    return part("What stands here", listed(rows, html.P("Nothing that is recorded.")))


ROUTES = [Route("/places", list_layout), Route("/place/<place_id>", layout)]
