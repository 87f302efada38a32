"""One piece: how it stands, what to do, what comes, what was; its fits, its parts and their tide."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from dash import html

from dashboard.figures.case_drawing import case_drawing, part_anchor
from dashboard.figures.drawing import Drawing
from dashboard.figures.elevation import parts_at
from dashboard.figures.place_rule import place_rule
from dashboard.pages.frame import aside, drawn, facts_list, folded, num, prose, sheet
from dashboard.pages.pieces import piece_acts
from dashboard.pages.pieces.piece_fits import Ahead, fits_part, parts_part
from dashboard.pages.pieces.piece_tide import tide_part
from dashboard.pages.sensors.on_wood import mounted_part
from dashboard.say import piece_view as woodwork
from dashboard.say import piece_words, sentences
from dashboard.say.marks import verdict_mark
from dashboard.shell.view import Route, View, address
from model.records.queries import overview as queries
from model.records.queries import series
from model.records.queries.answers import Coming
from model.records.queries.overview import PieceNow
from model.watch.questions import piece_wood
from model.wood.design.check import end_doubts
from model.wood.design.comfort import Comfort
from model.wood.design.design_range import DesignRange, Governing, Span
from model.wood.design.patterns.request import request_from_document
from model.wood.piece import Piece
from model.wood.reason import Reason
from model.words import display as say
from model.words import times
from model.words.display import Display
from model.words.limits import comfort_for_client, comfort_reason, limit_said
from model.words.reasons import clause


def layout(view: View, piece_id: int) -> html.Main | None:
    """The page of a piece; none when there is no such piece."""
    with view.store.session() as session:
        piece = queries.piece(session, piece_id, view.now)
        current = piece is not None and piece.judgement.is_current
        ahead = series.limits_ahead(session, [fit.id for fit in piece.fits]) if piece and current else {}
    return None if piece is None else page(piece, ahead, view)


def page(piece: PieceNow, ahead: Ahead, view: View) -> html.Main:
    """The page, from what the book answered."""
    wood, design = piece_wood.wood_piece(piece), piece_wood.range_of(piece)
    comfort = piece_wood.comfort_of_piece(piece, view.now)
    with view.store.session() as session:
        on_it = mounted_part(session, [member.id for member in piece.members], view)
    return sheet(
        piece.name,
        piece_acts.acts_part(piece),
        html.Div(
            [
                html.Dl(
                    [
                        element
                        for name, told in first_lines(piece, comfort, view)
                        for element in (
                            html.Dt(name),
                            html.Dd(told, className="lead" if name == "Now" else ""),
                        )
                    ],
                    className="first-lines",
                ),
                html.Div(
                    [
                        *face(piece),
                        rule(piece, view),
                        *[aside(*line) for line in comfortable(wood, design, comfort, view.display)[1:]],
                    ]
                ),
            ],
            className="columns even",
        ),
        fits_part(piece, ahead, view),
        tide_part(piece, view),
        parts_part(piece, view.display),
        on_it,
        details_part(piece, view),
        dateline=standing(piece, view),
    )


def face(piece: PieceNow, is_small: bool = False) -> list[Any]:
    """The case it was made from, drawn, with the place to watch marked; small, its front alone.

    Each part leads to its line below, but on a small one, which stands on another page.
    """
    wood = piece_wood.wood_piece(piece)
    if wood is None or not wood.case:
        return []
    governs = sentences.governing(piece)
    drawing = case_drawing(
        request_from_document(wood.case).case(),
        with_side=not is_small,
        name=piece.name,
        marked=parts_at(wood, governs.name) if governs is not None else set(),
        href=lambda part: f"#{part_anchor(part)}" if part in wood.members and not is_small else None,
    )
    return [Drawing(drawing, className="case-view small-view" if is_small else "case-view")]


def first_lines(piece: PieceNow, comfort: Comfort | None, view: View) -> list[tuple[str, list[Any]]]:
    """What to know first: how it stands now, what to do, what comes next, what was, and the air it likes."""
    stands, why = piece_words.stands(piece, view.now), sentences.piece_reason(piece, view.display)
    now = [
        verdict_mark(piece_words.mark_of(piece)),
        " ",
        html.Span(stands, className="word"),
        ". ",
        *(prose(why) if why != say.sentence(stands) else ()),
    ]
    room = "" if comfort is None else comfort_reason(comfort) or comfort_for_client(comfort)
    lines = [
        ("Now", now),
        ("To do", prose(" ".join(to_do(piece, view)))),
        ("Next", prose(" ".join(filter(None, (coming(piece, view), *rests(piece, view)))))),
        ("Since", prose(piece_words.history(piece, view.now))),
        ("Room", prose(room)),
        *[("Mind", prose(line)) for line in woodwork.cautions_of(piece, view.display)],
    ]
    return [(name, told) for name, told in lines if told]


LEAVE = {
    "shrinking": "Never glue, fill or caulk it while the air is dry.",
    "swelling": "Don't plane it while the air is damp.",
}
"""What not to do while a limit is passed (common practice, no source)."""


def to_do(piece: PieceNow, view: View) -> list[str]:
    """What to do about what is wrong today, and about what is likely to be."""
    told: list[str] = []
    if not piece.judgement.is_current:
        return told
    verdict = sentences.piece_verdict(piece)
    if verdict == "unknown" and piece.place is not None and piece.place.last_reading_at is not None:
        return [f"Find out why nothing is heard from {piece.place.name}: power, battery, or its network."]
    past = sorted(
        (margin for fit in piece.fits for margin in fit.margins if margin.standing == "past"),
        key=lambda margin: (margin.severity != "harms", margin.margin_mm),
    )
    if past:
        worst = past[0]
        if worst.severity == "harms":
            told.append("Go and see it.")
        told.append(LEAVE[worst.direction])
        if worst.clears is not None:
            days = [(at - view.now).total_seconds() / 86_400 for at in worst.clears]
            told.append(f"It comes back by itself {times.lead_time(*days)}.")
    advice = [
        sentences.advice({"lever": one.lever}) for one in strictest(piece_words.all_likely(piece) or ())
    ]
    return [*told, *dict.fromkeys(filter(None, advice))]


def strictest(likely: Sequence[Coming]) -> list[Coming]:
    """Of limits that a humidity prevents, the one that asks most at either end: that keeps the rest too."""
    by_end: dict[str, tuple[float, Coming]] = {}
    others = []
    for one in likely:
        end, side = ("at_most_rh_pct", 1.0) if one.direction == "swelling" else ("at_least_rh_pct", -1.0)
        if one.prevent is None:
            others.append(one)
        elif end not in by_end or side * one.prevent[end] < by_end[end][0]:
            by_end[end] = (side * one.prevent[end], one)
    return [*(one for _, one in by_end.values()), *others]


def coming(piece: PieceNow, view: View) -> str:
    """What the coming year is likely to bring, all of it."""
    likely = piece_words.all_likely(piece)
    if not piece.judgement.is_current or likely is None:
        return piece_words.prospect(piece, view.now)
    if not likely:
        return "No limit is likely to be reached within the year."
    return " ".join(piece_words.said_of(one, view.now) for one in likely)


def rests(piece: PieceNow, view: View) -> list[str]:
    """Which parts rest yet, and until when: `The left leaf rests until Mar 12.`"""
    return [
        f"The {say.said(member.name)} {clause(Reason('rest', {'until_day': until}), view.display)}."
        for member in piece.members
        for until in [member.document.get("rest_until")]
        if until and date.fromisoformat(until) > view.now.date()
    ]


def standing(piece: PieceNow, view: View) -> list[Any]:
    """Where the piece stands and since when, and where it goes and from when."""
    if piece.retired_at is not None:
        return ["Archived"]
    if piece.place is None:
        return ["It stands nowhere at present"]
    since = times.day(piece.since_at, piece.place.zone, view.units, view.now)
    told = [*for_client(piece), html.A(piece.place.name, href=address("place", piece.place.id))]
    told.append(f", since {since}")
    for stay in piece.stays:
        if stay.since_at > view.now:
            day = times.day(stay.since_at, stay.zone, view.units, view.now)
            told += ["; ", html.A(stay.place, href=address("place", stay.place_id)), f", from {day}"]
    return told


def for_client(piece: PieceNow) -> list[Any]:
    """Whom it is for, before where it stands."""
    if piece.client_id is None:
        return []
    return ["For ", html.A(piece.document["client"], href=address("client", piece.client_id)), ", at "]


def comfortable(
    wood: Piece | None, design: DesignRange | None, comfort: Comfort | None, display: Display
) -> list[list[Any]]:
    """The humidity to hold its room at, and its bare design range with what runs out first at each end."""
    if wood is None or design is None or comfort is None:
        return [["Its record can't be read, so its design range is not known."]]
    said = prose(comfort_reason(comfort) or comfort_for_client(comfort))
    span = design.span
    if span.mc_low_pct is None and span.mc_high_pct is None:
        return [said, ["Design range: nothing in it runs out in any air."]]
    if span.empty:
        return [said]
    ends = [
        f"{name} end: {end(governing, design)}"
        for name, governing in (("dry", span.low), ("wet", span.high))
        if governing is not None
    ]
    sure = end_doubts(wood, design)
    window = [
        "Design range: ",
        num(say.humidity_range(span.rh_low_pct, span.rh_high_pct, sure.rh_low_pct, sure.rh_high_pct)),
        f" at {display.temperature(design.temperature_c)}, {moisture_range(span)}. ",
        say.sentence("; ".join(ends)),
    ]
    return [said, window]


def end(governing: Governing, design: DesignRange) -> str:
    """What ends the range: the fit, and what is seen there."""
    says = next(
        (
            limit_said(at.limit)
            for at in design.fits[governing.fit].limits
            if at.limit.name == governing.limit
        ),
        "",
    )
    text = f"{say.said(governing.fit)} ({says})" if says else say.said(governing.fit)
    others = sorted({fit for fit, _ in governing.tied if fit != governing.fit})
    return f"{text}, and {say.joined([say.said(fit) for fit in others])} with it" if others else text


def moisture_range(span: Span) -> str:
    """The moisture contents of a span in words, rounded inward."""
    low, high = span.mc_low_pct, span.mc_high_pct
    if low is None:
        return f"wood up to {say.mc(high, 'down')}"
    if high is None:
        return f"wood at {say.mc(low, 'up')} and over"
    return f"wood at {say.mc(low, 'up')} to {say.mc(high, 'down')}"


def rule(piece: PieceNow, view: View) -> Any:
    """The rule of the place it stands at, with a bracket over the humidity the piece is comfortable at."""
    air = piece.place.air if piece.place else None
    bracket = woodwork.bracket_of(piece, view.now)
    name = piece.place.name if piece.place else piece.name
    temperature_c, rh_pct = (air.temperature_c, air.rh_pct) if air else (None, None)
    brackets = [bracket] if bracket else []
    return drawn(*(place_rule(name, temperature_c, rh_pct, brackets, width) for width in (600, 360)))


def details_part(piece: PieceNow, view: View) -> html.Section | None:
    """What else the maker wrote down, and where it stood."""
    facts: list[tuple[str, Any]] = []
    for key, value in piece.document.items():
        if key != "name" and value:
            whose = key == "client" and piece.client_id
            told = html.A(value, href=address("client", piece.client_id)) if whose else str(value)
            facts.append((say.said(key), told))
    for stay in piece.stays:
        since = times.day(stay.since_at, stay.zone, view.units, view.now)
        until = f" to {times.day(stay.until_at, stay.zone, view.units, view.now)}" if stay.until_at else " on"
        where = html.A(stay.place, href=address("place", stay.place_id))
        name = "goes to" if stay.since_at > view.now else "stood at"
        facts.append((name, [where, f", {since}{until}"]))
    if not facts:
        return None
    return html.Section(folded("As recorded", facts_list(facts)), className="part")


ROUTES = [Route("/piece/<piece_id>", layout)]
