"""One piece: how it stands and why, what each fit has left, and the tide of its members."""

from collections.abc import Mapping
from dataclasses import replace
from math import nan
from typing import Any

from dash import html

from dashboard import display as say
from dashboard import piece_words, sentences, woodwork
from dashboard.display import Display
from dashboard.figures.place_rule import Bracket, place_rule
from dashboard.figures.section import section_drawing
from dashboard.marks import verdict_mark
from dashboard.pages import piece_acts
from dashboard.pages.frame import drawn, empty, num, part, prose, sheet, under
from dashboard.pages.piece_tide import tide_part
from dashboard.view import Route, View, address
from model.records import queries, series
from model.records.queries import FitNow, PieceNow
from model.wood.comfort import Comfort
from model.wood.design import DesignRange, Governing, Span
from model.words.limits import limit_said

Ahead = Mapping[tuple[int, str], dict[str, Any]]


def layout(view: View, piece_id: int) -> html.Main | None:
    """The page of a piece; none when there is no such piece."""
    with view.store.session() as session:
        piece = queries.piece(session, piece_id, view.now)
        current = piece is not None and piece.judgement.is_current
        ahead = series.limits_ahead(session, [fit.id for fit in piece.fits]) if piece and current else {}
    return None if piece is None else page(piece, ahead, view)


def page(piece: PieceNow, ahead: Ahead, view: View) -> html.Main:
    """The page, from what the book answered."""
    design = woodwork.range_of(piece)
    comfort = woodwork.comfort_of_piece(piece, view.now)
    year, behind = piece_words.prospect(piece, view.now), piece_words.history(piece, view.now)
    return sheet(
        piece.name,
        html.Div(
            [
                html.Div(
                    [
                        html.P(
                            [
                                verdict_mark(piece_words.mark_of(piece)),
                                " ",
                                html.Span(piece_words.stands(piece, view.now), className="word"),
                                ". ",
                                *prose(sentences.piece_reason(piece, view.display)),
                            ],
                            className="lead",
                        ),
                        html.P(prose(year)) if year else None,
                        html.P(prose(behind)) if behind else None,
                        *[html.P(line) for line in comfortable(design, comfort, view.display)],
                        *[html.P(prose(line)) for line in woodwork.cautions_of(piece, view.display)],
                    ]
                ),
                html.Div(rule(piece, design, view)),
            ],
            className="columns even",
        ),
        fits_part(piece, ahead, view),
        tide_part(piece, view),
        members_part(piece, view.display),
        details_part(piece, view),
        piece_acts.acts_part(piece),
        dateline=standing(piece, view),
    )


def standing(piece: PieceNow, view: View) -> list[Any]:
    """Where the piece stands, and since when."""
    if piece.retired_at is not None:
        return ["No longer followed"]
    if piece.place is None:
        return ["It stands nowhere at present"]
    since = say.day(piece.since_at, piece.place.zone, view.units, view.now)
    return [html.A(piece.place.name, href=address("place", piece.place.id)), f", since {since}"]


def comfortable(design: DesignRange | None, comfort: Comfort | None, display: Display) -> list[list[Any]]:
    """The humidity to hold its room at, and its bare design range with what runs out first at each end."""
    if design is None or comfort is None:
        return [["Its record can't be read, so its design range is not known."]]
    said = prose(comfort.reason or comfort.for_client)
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
    window = [
        "Design range: ",
        num(say.humidity_range(span.rh_low_pct, span.rh_high_pct)),
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


def rule(piece: PieceNow, design: DesignRange | None, view: View) -> Any:
    """The rule of the place it stands at, with a bracket for the piece and one for each fit."""
    air = piece.place.air if piece.place else None
    brackets = []
    if design is not None:
        comfort = woodwork.bracket_of(piece, view.now)
        brackets += [comfort] if comfort else []
        brackets += [
            Bracket(say.said(name), fit.span.rh_low_pct, fit.span.rh_high_pct, what="design range")
            for name, fit in design.fits.items()
        ]
    name = piece.place.name if piece.place else piece.name
    temperature_c, rh_pct = (air.temperature_c, air.rh_pct) if air else (None, None)
    return drawn(*(place_rule(name, temperature_c, rh_pct, brackets, width) for width in (600, 360)))


# ---------------------------------------------------------------- fits


def fits_part(piece: PieceNow, ahead: Ahead, view: View) -> html.Section:
    """Every fit: its verdict, what is left before each of its limits, and its cross-section."""
    if not piece.fits:
        return part(
            "Fits", empty("No fits are recorded. Without them its width is followed, not its limits.")
        )
    order = {verdict: index for index, verdict in enumerate(say.VERDICTS)}
    fits = sorted(piece.fits, key=lambda fit: order[fit.judgement.verdict])
    return part("Fits", *[fit_block(piece, fit, ahead_of(fit, ahead), view) for fit in fits])


def ahead_of(fit: FitNow, ahead: Ahead) -> dict[str, dict[str, Any]]:
    """What is expected of each limit of a fit, by the limit's name."""
    return {name: detail for (fit_id, name), detail in ahead.items() if fit_id == fit.id}


def fit_block(piece: PieceNow, fit: FitNow, ahead: dict[str, dict[str, Any]], view: View) -> html.Article:
    """One fit."""
    wood = woodwork.wood_piece(piece)
    kind = wood.fits[fit.name] if wood is not None and fit.name in wood.fits else None
    drawing: Any = None
    if kind is not None:
        section = kind.section(woodwork.moistures(piece))
        drawing = drawn(
            *(
                section_drawing(section, view.display, width, uid=f"section-{fit.id}-{width}")
                for width in (620, 360)
            )
        )
    alone = piece_words.of_fit(piece, fit)
    return html.Article(
        [
            html.Div(
                [
                    html.H3(
                        [verdict_mark(piece_words.mark_of(alone)), " ", say.sentence(say.said(fit.name))[:-1]]
                    ),
                    html.P(
                        [
                            f"{kind.title if kind else say.said(fit.kind)}, ",
                            html.Span(piece_words.stands(alone, view.now), className="word"),
                            ". ",
                            *prose(sentences.reason(fit.judgement, view.display)),
                        ]
                    ),
                    html.P(prose(sentences.ahead(ahead)), className="soft") if ahead else None,
                    limits_table(piece, fit, ahead, view.display),
                ]
            ),
            html.Div(drawing),
        ],
        className="fit",
    )


def limits_table(
    piece: PieceNow, fit: FitNow, ahead: dict[str, dict[str, Any]], display: Display
) -> html.Div | None:
    """What is left before each limit: as built, now, and the humidity at which it would be reached."""
    limits = woodwork.limits_now(piece, fit)
    if not limits:
        return None
    rows = [
        html.Tr(
            [
                html.Th(limit_said(now.limit), scope="row", style={"fontWeight": "400"}),
                html.Td("wet" if now.limit.direction == "swelling" else "dry", **under("End")),
                html.Td(num(display.margin(now.limit.play_mm)), className="right", **under("Built with")),
                html.Td(
                    left(now.margin_mm, display) if piece.judgement.is_current else say.NOTHING,
                    className="right",
                    **under("Left now"),
                ),
                html.Td(
                    num(say.mc(now.mc_at_limit_pct)) if now.mc_at_limit_pct is not None else "never",
                    **under("At MC"),
                ),
                html.Td(chance_of(ahead.get(now.limit.name)), **under("In a year")) if ahead else None,
            ]
        )
        for now in limits
    ]
    head = html.Tr(
        [
            html.Th("What would be seen", scope="col"),
            html.Th("End", scope="col"),
            html.Th("Built with", scope="col", className="right"),
            html.Th("Left now", scope="col", className="right"),
            html.Th("At MC", scope="col"),
            html.Th("In a year", scope="col") if ahead else None,
        ]
    )
    return html.Div(html.Table([html.Thead(head), html.Tbody(rows)], className="limits"), className="scroll")


def chance_of(detail: dict[str, Any] | None) -> Any:
    """In how many of the years that may come a limit is crossed."""
    share = (detail or {}).get("chance")
    return num(sentences.chance(share)) if isinstance(share, int | float) else say.NOTHING


def left(margin_mm: float, display: Display) -> Any:
    """A margin; past it, how far."""
    if margin_mm < 0:
        return html.B([num(display.overrun(margin_mm)), " past"])
    return num(display.margin(margin_mm))


# ---------------------------------------------------------------- members


def members_part(piece: PieceNow, display: Display) -> html.Section:
    """Every member: what it is, how wide it is now, and the moisture through it."""
    members = piece.members
    if not piece.judgement.is_current:
        members = tuple(replace(member, moisture=None, start_mc_pct=nan) for member in members)
    rows = [member_row(member, display) for member in members]
    head = html.Tr(
        [
            html.Th(text, scope="col", className="right" if text in RIGHT else "")
            for text in ("Member", "Wood", "Width now", "Since built", "MC mean", "face", "core")
        ]
    )
    return part("Members", html.Div(html.Table([html.Thead(head), html.Tbody(rows)]), className="scroll"))


RIGHT = ("Width now", "Since built", "MC mean", "face", "core")


def member_row(member: queries.MemberNow, display: Display) -> html.Tr:
    """One member's line in the table."""
    moisture = member.moisture
    width_mm = member.document.get("width")
    change: Any = say.NOTHING
    if moisture and moisture.width_mm is not None and isinstance(width_mm, int | float):
        change = num(display.length(moisture.width_mm - width_mm, finest=64))
    cut = member.document.get("cut") or (
        f"rings at {member.document['ring_angle_deg']:g}°" if "ring_angle_deg" in member.document else ""
    )
    return html.Tr(
        [
            html.Th(say.said(member.name), scope="row"),
            html.Td(", ".join(str(word) for word in (member.document.get("species"), cut) if word)),
            html.Td(num(display.length(moisture.width_mm)) if moisture else say.NOTHING, className="right"),
            html.Td(change, className="right"),
            *[
                html.Td(num(say.mc(value)), className="right")
                for value in (
                    (moisture.mc_mean_pct, moisture.mc_face_pct, moisture.mc_core_pct)
                    if moisture
                    else (member.start_mc_pct, None, None)
                )
            ],
        ]
    )


def details_part(piece: PieceNow, view: View) -> html.Section | None:
    """What else the maker wrote down, and where it stood."""
    facts: list[Any] = []
    for key, value in piece.document.items():
        if key != "name" and value:
            facts += [html.Dt(say.said(key)), html.Dd(str(value))]
    for stay in piece.stays:
        since = say.day(stay.since_at, stay.zone, view.units, view.now)
        until = f" to {say.day(stay.until_at, stay.zone, view.units, view.now)}" if stay.until_at else ""
        facts += [
            html.Dt("stood at"),
            html.Dd([html.A(stay.place, href=address("place", stay.place_id)), f", {since}{until or ' on'}"]),
        ]
    return part("As recorded", html.Dl(facts, className="facts")) if facts else None


ROUTES = [Route("/piece/<piece_id>", layout)]
