"""A client's page: one piece in the client's words, for a link that opens without a password or a script."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import html

from dashboard.figures.drawing import Drawing
from dashboard.figures.elevation import elevation
from dashboard.figures.room_rule import room_rule
from dashboard.figures.strip import strip_drawing
from dashboard.pages.frame import aside, drawn, listed, noted, part, prose, sheet
from dashboard.pages.pieces.gap import GapNow, gaps_of, trouble
from dashboard.paper.client_words import NOT_NORMAL
from dashboard.paper.gap_strip import letter_for
from dashboard.paper.sheet import Contact, contact_of
from dashboard.say import piece_view as woodwork
from dashboard.say import piece_words, sentences
from dashboard.say.marks import verdict_mark
from dashboard.shell.view import View, address
from model.answers.annual_range import HomeYear
from model.records.queries.overview import PieceNow
from model.watch.questions import piece_wood
from model.wood.piece import Piece
from model.words import display as say
from model.words import times
from model.words.limits import comfort_for_client

SILENT = "Look whether the sensor in the room is switched on and its battery good."
LEAVE = "Leave it as it is: never glue, fill or plane it in its season."
LOOK = "Look it over, and send us a photo of anything that is open or cracked."
ALARM = "This page watches wood. It is no smoke, flood, frost or security alarm."
NOTHING = (
    "Nothing. Keep the room as steady as you can, and the piece off registers, radiators and direct sun."
)


def client_page(piece: PieceNow, view: View, paper: str = "", back: str = "") -> html.Main:
    """What the client sees: the piece, how it is, what to do, what is normal now, who to call.

    Parameters
    ----------
    paper : str, optional
        Where its sheet to print lies.
    back : str, optional
        Where all pieces of the same client are.
    """
    wood = piece_wood.wood_piece(piece)
    first, *others = [
        *piece_words.to_client(replace(piece, since=()), view.now),
        *strained(piece, wood, view),
    ]
    at_home = piece.place is not None and piece.place.kind == "home"
    with view.store.session() as session:
        known = gaps_of(piece, session, view) if at_home and wood is not None else None
        contact = contact_of(session)
    where = piece.place.name if at_home and piece.place is not None else "Still with us in the workshop"
    letters = [_letter(gap, view) for gap in known[1]] if known is not None else []
    return sheet(
        piece.name,
        html.Div(
            [
                html.Div(
                    [
                        html.P([verdict_mark(piece_words.mark_of(piece)), " ", first], className="lead"),
                        *[html.P(line) for line in others],
                        html.H2("What to do"),
                        html.P(prose(one_thing(piece))),
                        *_room(piece, view),
                    ]
                ),
                _picture(piece, wood),
            ],
            className="columns even",
        ),
        _normal(piece, wood, *known, view) if known is not None and wood is not None else None,
        part("What is not normal", html.P(NOT_NORMAL.format(mark="is said above"))),
        _paper_and_call(contact, paper, letters, view),
        *[html.P(line, className="soft small") for line in woodwork.remembered_of(piece, view.display)],
        html.P(ALARM, className="soft small"),
        dateline=[html.A("Your pieces", href=back), " · ", where] if back else where,
    )


def clients_page(pieces: Sequence[PieceNow], view: View, token: str) -> html.Main:
    """What a client with several pieces sees first: each one, how it is and what to do, the worst first."""
    with view.store.session() as session:
        contact = contact_of(session)
    rows = [
        noted(
            piece_words.mark_of(piece),
            html.A(html.B(piece.name), href=address("for", token, piece.id)),
            f", {piece.place.name}" if piece.place is not None and piece.place.kind == "home" else "",
            html.Div(piece_words.to_client(replace(piece, since=()), view.now)[0]),
            html.Div(prose(one_thing(piece)), className="soft small"),
        )
        for piece in sorted(pieces, key=lambda piece: say.need(piece_words.mark_of(piece)))
    ]
    return sheet(
        "Your pieces",
        listed(rows, html.P("No piece is followed for you at present."), "note"),
        part("Who to call", html.P(_call(contact))),
        html.P(ALARM, className="soft small"),
    )


FROM_CASE, FROM_PARTS = "To scale. ", "From the front, not to scale. "
LOOK_FOR = {"shrinking": "a split or an opened joint", "swelling": "a joint pushed apart"}


def strained(piece: PieceNow, wood: Piece | None, view: View) -> list[str]:
    """What went too far in the year behind, and what to look for; mostly nothing."""
    seen: dict[tuple[str, str], str] = {}
    for span in piece.since:
        is_over = span.until_at is not None and view.now - span.until_at <= piece_words.REMEMBERED
        if span.severity == "harms" and is_over and wood is not None and span.fit in wood.fits:
            zone = piece.place.zone if piece.place else "UTC"
            latitude = (piece.place.climate or {}).get("latitude_deg") if piece.place else None
            seen[span.fit, span.direction] = times.season(span.worst_at, zone, latitude)
    return [
        f"In {season} it went further than it has room for at {wood.fits[fit].called}. "
        f"Look there for {LOOK_FOR[direction]}, and tell us if you find one."
        for (fit, direction), season in seen.items()
        if wood is not None
    ]


def one_thing(piece: PieceNow) -> str:
    """The one thing to do, if there is any."""
    if not piece.judgement.is_current:
        return NOTHING
    verdict = sentences.piece_verdict(piece)
    if verdict == "unknown":
        return SILENT
    past = [margin for fit in piece.fits for margin in fit.margins if margin.standing == "past"]
    if any(margin.severity == "harms" for margin in past):
        return LOOK
    if past:
        return LEAVE
    coming = piece_words.likely(piece)
    return (sentences.advice({"lever": coming.lever}) if coming is not None else "") or NOTHING


def _room(piece: PieceNow, view: View) -> list[Any]:
    """The air the piece likes, and what the room reads."""
    comfort = piece_wood.comfort_of_piece(piece, view.now)
    air = piece.place.air if piece.place else None
    if comfort is None:
        return []
    lines: list[Any] = [html.H2("Its room"), html.P(prose(comfort_for_client(comfort)))]
    low, high = comfort.rh_low_pct, comfort.rh_high_pct
    rh_pct = air.rh_pct if air is not None else None
    lines.append(drawn(*(room_rule(rh_pct, low, high, width) for width in (600, 340))))
    if air is not None and piece.place is not None:
        heard = times.ago(piece.place.last_reading_at, view.now)
        reads = f"{say.rh(air.rh_pct)} and {view.display.temperature(air.temperature_c)}"
        lines.append(aside(f"The room reads {reads}, last heard {heard}."))
    return lines


def _picture(piece: PieceNow, wood: Piece | None) -> html.Div | None:
    """The piece from the front, with the place that matters most marked."""
    if wood is None:
        return None
    governs = sentences.governing(piece)
    marked = governs.name if governs is not None and governs.name in wood.fits else ""
    told = f"The marked place is the one to watch: {wood.fits[marked].called}." if marked else ""
    return html.Div(
        [
            Drawing(elevation(wood, marked), className="elevation-drawing"),
            aside(FROM_CASE if wood.case else FROM_PARTS, told),
        ]
    )


# ---------------------------------------------------------------- what is normal now


def _normal(piece: PieceNow, wood: Piece, year: HomeYear, gaps: Sequence[GapNow], view: View) -> html.Section:
    """What is normal this month at each place a client can see, and what is not."""
    zone = piece.place.zone if piece.place else "UTC"
    month = f"{view.now.astimezone(times.zone_of(zone)):%B}"
    rows = [html.Li(prose(_gap_line(gap, wood, bool(trouble(piece, gap, view)), zone, view))) for gap in gaps]
    seen = (
        html.Ul(rows, className="rows")
        if rows
        else html.P("Nothing on it opens or closes where you can see it.")
    )
    return part(f"What is normal in {month}", html.P(_season(piece, year, view)), seen)


def _gap_line(gap: GapNow, wood: Piece, is_trouble: bool, zone: str, view: View) -> str:
    where = wood.fits[gap.fit].called
    side = gap.what.removeprefix(say.said(gap.fit)).strip(", ")
    place = say.sentence(f"{where}, {side}" if side else where)[:-1]
    now = view.display.length(max(gap.now_mm, 0.0), "up", 32)
    size = f"{now}, give or take {view.display.doubt(gap.doubt_mm)}"
    most = view.display.length(max(gap.dry_mm, gap.damp_mm), "up", 32)
    letter = _letter(gap, view)
    strip = "" if letter in "–+" else f" The gap strip reads about {letter} there."
    if is_trouble:
        return f"{place}: about {size}, now. Watch it, and call us if it is more.{strip}"
    if not gap.is_open:
        return f"{place}: closed now; up to {most} over the year is normal."
    closes = ""
    if gap.closes_at is not None:
        closes = f" It closes by itself by about {gap.closes_at.astimezone(times.zone_of(zone)):%B}."
    return f"{place}: about {size}, now, and up to {most} over the year. That is normal.{closes}{strip}"


def _letter(gap: GapNow, view: View) -> str:
    return letter_for(max(gap.now_mm, 0.0), view.units)


def _season(piece: PieceNow, year: HomeYear, view: View) -> str:
    """Where in its year the room is."""
    if piece.place is None or year.dry_at is None or year.wet_at is None:
        return "Solid wood grows wider in damp air and narrower in dry air, slowly, over weeks."
    zone, latitude = piece.place.zone, (piece.place.climate or {}).get("latitude_deg")
    dry, wet, now = (times.season(at, zone, latitude) for at in (year.dry_at, year.wet_at, view.now))
    told = f"The wood is narrowest in {dry} and widest in {wet} where it stands"
    if now in (dry, wet) and dry != wet:
        return f"{told}: now is the {'dry' if now == dry else 'damp'} end of its year."
    return f"{told}."


# ---------------------------------------------------------------- the sheet, and who to call


def _paper_and_call(contact: Contact, paper: str, letters: Sequence[str], view: View) -> html.Section:
    lines: list[Any] = [html.P(_call(contact))]
    if paper:
        lines.append(
            html.P(
                "The gap strip is at the foot of the sheet. Print it at 100 %, cut it out, hold it across a "
                "gap, and tell us the letter. On this page it is larger than life."
            )
        )
        lines.append(Drawing(strip_drawing(view.units, letters), className="strip-holder"))
        lines.append(html.P(html.A("Print the sheet", href=paper, className="button first")))
    return part("Measuring a gap, and who to call", *lines)


def _call(contact: Contact) -> Sequence[Any]:
    told = ", ".join(bit for bit in (contact.name, contact.line) if bit)
    if not told:
        return ["Call your maker before you do anything to it."]
    who: Any = html.A(told, href=contact.link) if contact.link else told
    return ["Call us before you do anything to it: ", who, "."]
