"""Today: a note left on the bench. What asks for a look first, then the air, the lumber and every piece."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import html

from dashboard import display as say
from dashboard import piece_words, sentences
from dashboard.display import Display
from dashboard.figures.place_rule import place_rule
from dashboard.marks import verdict_mark
from dashboard.pages import glue
from dashboard.pages.frame import drawn, empty, noted, num, part, prose, sheet, word
from dashboard.pages.place import brackets_of
from dashboard.pages.stock import stack_row
from dashboard.view import Route, View, address
from model.records import queries
from model.records.queries import Judgement, PieceNow, PlaceNow, ShopNow, StackNow


def layout(view: View) -> html.Main:
    """The first page, from the book as it is now."""
    with view.store.session() as session:
        shop = queries.shop(session, view.now, parts=False)
        # The few whose brackets are drawn come with their parts; a long list does without.
        drawn_ids = {piece.id for place in drawn_places(shop)[0] for piece in exacting_at(place, shop)}
        wanted = [piece for piece in shop.pieces if piece.id in drawn_ids]
        filled = queries.with_parts(session, wanted, view.now)
        glueing = glue.lines(session, shop.places, view)
    by_id = {piece.id: piece for piece in filled}
    return page(
        replace(shop, pieces=tuple(by_id.get(piece.id, piece) for piece in shop.pieces)), view, glueing
    )


def page(shop: ShopNow, view: View, glueing: Sequence[html.Li] = ()) -> html.Main:
    """The first page, from what the book answered; `glueing` is a line for each shop."""
    display = view.display
    if not shop.places and not shop.pieces and not shop.stacks:
        return sheet("Nothing is recorded yet.", first_steps(shop))
    zone = shop.places[0].zone if shop.places else "UTC"
    return sheet(
        piece_words.headline(shop.pieces, view.now),
        html.Div(
            [
                html.Div(
                    [
                        html.Ul(note(shop, view, glueing), className="note"),
                        part("Pieces", *listed(shop.pieces, view)),
                    ]
                ),
                html.Div(
                    [
                        part("The air", *airs(shop, view)),
                        part("Lumber", stack_rows(shop.stacks, display)),
                    ]
                ),
            ],
            className="columns",
        ),
        dateline=f"{view.now.astimezone(say.zone_of(zone)):%A}, {say.moment(view.now, zone, view.units)}",
    )


TOLD, NAMED = 8, 12  # of one verdict, how many are told of, and of the clear ones how many are named


def note(shop: ShopNow, view: View, glueing: Sequence[html.Li] = ()) -> list[html.Li]:
    """What a maker would want told first, each line opening what it speaks of."""
    lines: list[html.Li] = []
    by_verdict: dict[str, list[PieceNow]] = defaultdict(list)
    for piece in shop.pieces:
        by_verdict[piece_words.mark_of(piece)].append(piece)
    for verdict in ("past", "near", "unknown"):
        found = sorted(by_verdict[verdict], key=sentences.share_left)
        lines += [_piece_line(piece, view) for piece in found[:TOLD]]
        if len(found) > TOLD:
            asked = {"unknown": "not known"}.get(verdict, verdict)
            more = html.A(f"{len(found) - TOLD} more", href=address("pieces", show=asked))
            lines.append(noted(verdict, more, " ", word(verdict), "."))
    for place in shop.places:
        if place.kind == "shop":
            lines.append(_air_line(place, view))
    lines += glueing
    waiting = [warning for warning in shop.warnings if warning.acknowledged_at is None]
    if waiting:
        told = sentences.counted(len(waiting), "warning").capitalize()
        verb = "waits" if len(waiting) == 1 else "wait"
        lines.append(noted("near", html.A(told, href="/warnings"), f" {verb} for an answer.", kind="warning"))
    for stack in shop.stacks:
        if stack.judgement.evaluated_at is not None:
            lines.append(
                noted(
                    stack.judgement.verdict,
                    html.A(stack.name, href=address("stack", stack.id)),
                    ": ",
                    sentences.reason(stack.judgement, view.display),
                    kind="stack",
                )
            )
    clear = by_verdict["clear"]
    if clear:
        links: list[Any] = [html.A(piece.name, href=address("piece", piece.id)) for piece in clear[:NAMED]]
        if len(clear) > NAMED:
            links.append(html.A(f"{len(clear) - NAMED} more", href=address("pieces", show="clear")))
        for index in range(len(links) - 1, 0, -1):
            links.insert(index, " and " if index == len(links) - 1 else ", ")
        lines.append(noted("clear", "Clear: ", *links, "."))
    return lines


def _piece_line(piece: PieceNow, view: View) -> html.Li:
    coming = piece_words.likely(piece)
    why = [piece_words.prospect(piece, view.now)]
    if coming is not None:
        why.append(sentences.advice({"lever": coming.lever}))
    if sentences.piece_verdict(piece) != "clear":
        why.insert(0, sentences.piece_reason(piece, view.display))
    return noted(
        piece_words.mark_of(piece),
        html.A(piece.name, href=address("piece", piece.id)),
        f", {piece.place.name}: " if piece.place else ": ",
        html.Span(piece_words.stands(piece, view.now), className="word"),
        ". ",
        html.Span(prose(" ".join(filter(None, why))), className="why"),
    )


def _air_line(place: PlaceNow, view: View) -> html.Li:
    heard = f" Last heard {say.ago(place.last_reading_at, view.now)}." if place.last_reading_at else ""
    return noted(
        place.judgement.verdict,
        html.A(place.name, href=address("place", place.id)),
        f": {sentences.air(place, view.display)}.{heard}",
        kind="place",
    )


PLACES = 8  # of more places than this, the first page draws those to look at first


def drawn_places(shop: ShopNow) -> tuple[list[PlaceNow], list[PlaceNow]]:
    """The places whose rule is drawn, and the others: every one of a few, else the shop and the worst."""
    if len(shop.places) <= PLACES:
        return list(shop.places), []
    order = {verdict: index for index, verdict in enumerate(say.VERDICTS)}
    standing: dict[int, list[int]] = defaultdict(list)
    for piece in shop.pieces:
        if piece.place is not None:
            standing[piece.place.id].append(order[piece_words.mark_of(piece)])
    by_need = sorted(
        shop.places,
        key=lambda place: (place.kind != "shop", min(standing.get(place.id, [len(order)])), place.name),
    )
    first = {place.id for place in by_need[:PLACES]}
    return (
        [place for place in shop.places if place.id in first],
        [place for place in shop.places if place.id not in first],
    )


def airs(shop: ShopNow, view: View) -> list[Any]:
    """The air of the places to look at, each on its rule, and where the others are."""
    first, others = drawn_places(shop)
    blocks: list[Any] = [place_block(place, shop, view) for place in first]
    if others:
        blocks.append(html.P(html.A(f"All {len(shop.places)} places", href="/places")))
    return blocks


def place_block(place: PlaceNow, shop: ShopNow, view: View) -> html.Div:
    """A place with its rule."""
    name = html.A(place.name, href=address("place", place.id))
    if place.air is None:
        why = sentences.reason(place.judgement, view.display)
        return html.Div([html.H3(name), html.P(["No air known yet. ", why])], className="place-block")
    rule = [
        place_rule(
            place.name,
            place.air.temperature_c,
            place.air.rh_pct,
            brackets_of(exacting_at(place, shop), view.now, BRACKETS),
            width,
        )
        for width in (560, 360)
    ]
    marks: list[Any] = (
        [verdict_mark(place.judgement.verdict), " "] if place.judgement.verdict != "clear" else []
    )
    heard = say.ago(place.last_reading_at, view.now)
    return html.Div(
        [
            html.H3([*marks, name]),
            html.P(
                [num(say.sentence(sentences.air(place, view.display))), f" Heard {heard}."],
                className="small",
            ),
            drawn(*rule),
        ],
        className="place-block",
    )


BRACKETS = 4  # more of them bury the rule


def exacting_at(place: PlaceNow, shop: ShopNow) -> list[PieceNow]:
    """The few pieces at a place with least left of their play."""
    here = [piece for piece in shop.pieces if piece.place is not None and piece.place.id == place.id]
    return sorted(here, key=sentences.share_left)[:BRACKETS]


MANY = 24  # of more pieces than this, the first page lists those that ask for a look


def listed(pieces: tuple[PieceNow, ...], view: View) -> list[Any]:
    """The first page's list: every piece of a small shop, and of a large one those to look at first."""
    if len(pieces) <= MANY:
        return piece_rows(pieces, view)
    order = {verdict: index for index, verdict in enumerate(say.VERDICTS)}
    first = sorted(
        pieces, key=lambda piece: (order[piece_words.mark_of(piece)], sentences.share_left(piece))
    )[:MANY]
    return [*piece_rows(tuple(first), view), html.P(html.A(f"All {len(pieces)} pieces", href="/pieces"))]


def piece_rows(pieces: tuple[PieceNow, ...], view: View) -> list[html.Div]:
    """Every piece by where it stands: its verdict, what governs it, and what is left there."""
    if not pieces:
        return [empty("No piece is recorded. ", html.A("Record the first one", href="/record"), ".")]
    order = {verdict: index for index, verdict in enumerate(say.VERDICTS)}
    groups: dict[str, list[PieceNow]] = defaultdict(list)
    for piece in sorted(pieces, key=lambda piece: order[piece_words.mark_of(piece)]):
        groups[piece.place.name if piece.place else "Nowhere at present"].append(piece)
    return [
        html.Div(
            [
                html.P(name, className="where"),
                html.Ul([piece_row(piece, view) for piece in members], className="rows"),
            ]
        )
        for name, members in groups.items()
    ]


def piece_row(piece: PieceNow, view: View) -> html.Li:
    """One piece in a line or two."""
    return html.Li(
        [
            verdict_mark(piece_words.mark_of(piece)),
            html.Div(
                [
                    html.A(html.B(piece.name), href=address("piece", piece.id)),
                    ", ",
                    html.Span(piece_words.stands(piece, view.now), className="word"),
                    html.Div(
                        prose(sentences.piece_reason(piece, view.display)),
                        className="soft small",
                    ),
                ]
            ),
            html.Div(left(piece.judgement, view.display), className="right"),
        ],
        className="row",
    )


def left(judgement: Judgement, display: Display) -> list[Any]:
    """How much is left at the governing fit, as a number and a word."""
    margin_mm = judgement.detail.get("margin_mm")
    if not isinstance(margin_mm, int | float):
        return []
    if margin_mm < 0:
        return [num(display.overrun(margin_mm)), html.Span("too far", className="small")]
    return [num(display.margin(margin_mm)), html.Span("left", className="small")]


def stack_rows(stacks: tuple[StackNow, ...], display: Display) -> html.Ul | html.Div:
    """Every stack with its moisture."""
    if not stacks:
        return empty(
            "No stack is recorded. ", html.A("Record one", href="/stock"), " to follow how it settles."
        )
    return html.Ul([stack_row(stack, display) for stack in stacks], className="rows")


def first_steps(shop: ShopNow) -> html.Div:
    """What to do first, when nothing is recorded."""
    if shop.heard_topics:
        heard = sentences.counted(shop.heard_topics, "topic")
        return empty(
            html.H2("A sensor is already talking."),
            html.P(
                [
                    f"Messages came in on {heard}. ",
                    html.A("See what was heard", href="/sensors"),
                    ", accept the sensor, and say where it hangs.",
                ]
            ),
        )
    return empty(
        html.H2("First, hear a sensor."),
        html.P(
            [
                "Hang a sensor where you work and let it publish to the broker. It shows up under ",
                html.A("Sensors", href="/sensors"),
                " by itself. Accept it there and name the place; its air shows within a minute.",
            ]
        ),
        html.P(
            [
                "Then ",
                html.A("record a stack of lumber", href="/stock"),
                " or ",
                html.A("a piece", href="/record"),
                ".",
            ]
        ),
    )


ROUTES = [Route("/", layout)]
