"""The tide of a piece's members: which one, over what span, and what happened meanwhile."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
from dash import html
from sqlalchemy.orm import Session

from dashboard.figures.tide import Fan, Flag, said_of, tide_chart
from dashboard.pages.charted import charted, nearest
from dashboard.pages.frame import aria, aside, empty, num, part
from dashboard.say import piece_view as woodwork
from dashboard.say import sentences
from dashboard.shell.spans import NAMES, TimeSpan, span_of
from dashboard.shell.view import View, address
from model.records.queries import overview as queries
from model.records.queries import series
from model.records.queries.overview import Event, MemberNow, PieceNow
from model.records.schema.types import to_epoch_ms
from model.watch.questions import piece_wood
from model.wood.air.sorption import SETTLES_SD_PCT
from model.wood.reason import Reason
from model.words import display as say
from model.words import times
from model.words.reasons import in_sentences

SPANS = ("month", "season", "year", "all")
DAY_AND_HALF = timedelta(hours=36)
EVENT_WORDS = {"mc_pct": "moisture measured", "width_mm": "width measured", "gap_mm": "gap measured"}


def tide_part(piece: PieceNow, view: View) -> html.Section:
    """The chart of the member and span that the address names, with links to every other."""
    if not piece.members:
        return part("Tide", empty("No parts are recorded."))
    member = chosen_member(piece, view)
    zone = piece.place.zone if piece.place else "UTC"
    then = ""
    with view.store.session() as session:
        first_at = series.first_checkpoint_at(session, member.id) or member.start_at
        span = span_of(view, "year", first_at, timedelta(days=7), zone)
        tide = series.tide(session, member.id, span.since_at, span.until_at)
        ahead = series.outlook(session, "member", member.id, "width_mm")
        measured = queries.measurements(session, member.id)
        if span.asked_at is not None:
            then = width_then(session, member, ahead, span.asked_at, zone, view)
    until_at, fan = span.until_at, None
    if ahead is not None:
        if span.name:
            # As far ahead as its name looks back: the page's span is a stretch on both sides of today.
            until_at = view.now + timedelta(days=NAMES[span.name] or 366)
        fan = fan_of(ahead, view.now, until_at)
    flags = flags_of(piece, member, measured, view)
    shown = [flag for flag in flags if span.since_at <= flag.at <= span.until_at]
    wood, design = piece_wood.wood_piece(piece), piece_wood.range_of(piece)
    chart = tide_chart(
        tide,
        woodwork.shores_of(wood, design, member.name) if wood and design else [],
        view.display,
        replace(span, until_at=until_at).stretch(view, latitude(piece)),
        flags=shown,
        fan=fan,
        now=view.now,
        moisture_marks=woodwork.moisture_marks(wood.members[member.name]) if wood else (),
        name=say.said(member.name),
    )
    return part(
        f"Tide of {say.said(member.name)}",
        member_links(piece, member, span),
        *charted(
            view,
            span,
            SPANS,
            chart,
            f"{piece.name}, {say.said(member.name)}",
            address("piece", piece.id, member=member.id),
            ("body", member.id),
            then,
        ),
        legend(bool(tide.estimated.any()), fan is not None),
        html.Ol(
            [
                html.Li(
                    [num(f"{number}"), f"  {times.day(flag.at, zone, view.units, view.now)}: {flag.says}"]
                )
                for number, flag in enumerate(shown, 1)
            ],
            className="small",
        )
        if shown
        else None,
    )


def width_then(
    session: Session, member: MemberNow, ahead: series.YearSpread | None, at: datetime, zone: str, view: View
) -> str:
    """A part's width on a day, in a sentence; wood moves too little in a day to say more."""
    if at > view.now and ahead is not None:
        index = nearest(ahead.at, at, DAY_AND_HALF)
        if index is not None:
            low, middle, high = (
                view.display.length(float(column[index]), finest=64)
                for column in (ahead.p10, ahead.p50, ahead.p90)
            )
            when = times.day(at, zone, view.units, view.now)
            return f"{say.said(member.name)}, {when}: likely {low} to {high} wide, most likely {middle}"
    tide = series.tide(session, member.id, at - DAY_AND_HALF, at + DAY_AND_HALF)
    index = nearest(tide.at, at, DAY_AND_HALF)
    if index is None:
        return f"No width is worked out for {times.day(at, zone, view.units, view.now)}"
    return f"{say.said(member.name)}, {said_of(tide, index, view.display, zone)}"


def chosen_member(piece: PieceNow, view: View) -> MemberNow:
    """The member the address names, else one of the governing fit, else the widest."""
    wanted = view.query.get("member", "")
    for member in piece.members:
        if str(member.id) == wanted:
            return member
    governs = sentences.governing(piece)
    for fit in sorted(piece.fits, key=lambda fit: (fit is not governs, say.need(fit.judgement.verdict))):
        for key in ("part", "parts"):
            named = fit.document.get(key)
            names = named if isinstance(named, list) else [named]
            for member in piece.members:
                if member.name in names:
                    return member
    return max(piece.members, key=lambda member: float(member.document.get("width") or 0))


def member_links(piece: PieceNow, member: MemberNow, span: TimeSpan) -> html.Nav | None:
    """Links to every member over the same span."""
    if len(piece.members) < 2:
        return None
    return html.Nav(
        [
            html.A(
                say.said(other.name),
                href=address("piece", piece.id, member=other.id, span=span.name or None),
                **aria(current="true" if other.id == member.id else "false"),
            )
            for other in piece.members
        ],
        className="tabs",
        **aria(label="Part"),
    )


def fan_of(ahead: series.YearSpread, now: datetime, until_at: datetime) -> Fan | None:
    """The part of an outlook between now and the end of the chart."""
    low, high = np.datetime64(to_epoch_ms(now), "ms"), np.datetime64(to_epoch_ms(until_at), "ms")
    shown = (ahead.at >= low) & (ahead.at <= high)
    if not shown.any():
        return None
    return Fan(ahead.at[shown], ahead.p10[shown], ahead.p50[shown], ahead.p90[shown])


def legend(any_estimated: bool, any_ahead: bool) -> html.P:
    """What the lines mean, for a reader of the printed page."""
    words = ["Solid: from measured air."]
    if any_estimated:
        words.append("Dotted: air estimated across a gap.")
    if any_ahead:
        words.append("Ahead: the middle of the years that may come, and where four in five of them lie.")
        words.append(in_sentences(Reason("settles-off", {"settles_pct": SETTLES_SD_PCT})))
    words.append("Hatched shore: it binds, bursts or splits. Dashed line: it begins to show.")
    return aside(" ".join(words))


def flags_of(piece: PieceNow, member: MemberNow, measured: tuple[Event, ...], view: View) -> list[Flag]:
    """What happened to the member: where it went, and what was measured on it."""
    flags = [
        Flag(stay.since_at, f"{'stood at' if index == 0 else 'moved to'} {stay.place}")
        for index, stay in enumerate(piece.stays)
        if stay.since_at <= view.now
    ]
    for event in measured:
        value = say.mc(event.value) if event.kind == "mc_pct" else view.display.length(event.value, finest=64)
        flags.append(Flag(event.at, f"{EVENT_WORDS[event.kind]}, {value} ({event.says})"))
    return sorted(flags, key=lambda flag: flag.at)


def latitude(piece: PieceNow) -> float | None:
    """The latitude of the place it stands at, when it is recorded."""
    climate = piece.place.climate if piece.place else None
    value = (climate or {}).get("latitude_deg")
    return float(value) if isinstance(value, int | float) else None
