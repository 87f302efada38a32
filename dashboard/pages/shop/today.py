"""Today: a note left on the bench. What asks for a look first, then what is coming, lumber and air."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import html

from dashboard.pages.frame import empty, joined_links, listed, noted, num, part, prose, sheet, word
from dashboard.pages.lumber import glue
from dashboard.pages.lumber.stock import stack_row, worst_first
from dashboard.pages.pieces.piece import face
from dashboard.pages.places.place import brackets_of, drawn_with_parts, pieces_at, rule
from dashboard.pages.shop import measuring
from dashboard.pages.shop.coming import strip
from dashboard.pages.shop.expected import zone_of_shop
from dashboard.say import piece_words, sentences
from dashboard.say.marks import verdict_mark
from dashboard.shell.view import Route, View, address
from model.records.queries import overview as queries
from model.records.queries.overview import PieceNow, PlaceNow, ShopNow, StackNow
from model.words import display as say
from model.words import times
from model.words.display import Display


def layout(view: View) -> html.Main:
    """The first page, from the book as it is now."""
    with view.store.session() as session:
        shop = queries.shop(session, view.now, parts=False)
        pieces = drawn_with_parts(session, drawn_places(shop)[0], shop.pieces, view.now, BRACKETS)
        glueing = glue.lines(session, shop.places, view)
        asked = measuring.line(session, zone_of_shop(shop.places), view)
    return page(replace(shop, pieces=pieces), view, glueing, asked)


def page(
    shop: ShopNow, view: View, glueing: Sequence[html.Li] = (), asked: html.Li | None = None
) -> html.Main:
    """The first page, from what the book answered; `glueing` a line a shop, `asked` what to measure."""
    if not shop.pieces and not shop.stacks:
        return sheet(
            "No wood is recorded yet." if shop.places else "Nothing is recorded yet.",
            first_steps(shop),
            part("The air", *airs(shop, view)) if shop.places else None,
        )
    zone = shop.places[0].zone if shop.places else "UTC"
    return sheet(
        piece_words.headline(shop.pieces, view.now),
        html.Div(
            [
                html.Div(
                    [
                        html.Ul([*note(shop, view, glueing), asked], className="note"),
                        strip(shop.pieces, shop.places, view) if shop.pieces else None,
                        part("Lumber", *lumber(shop.stacks, view.display)),
                    ]
                ),
                html.Div(part("The air", *airs(shop, view))),
            ],
            className="columns",
        ),
        dateline=f"{view.now.astimezone(times.zone_of(zone)):%A}, {times.moment(view.now, zone, view.units)}",
    )


SILENT = 3
"""So many places that say nothing are told of one by one; of more, the others together."""
TOLD = 8
"""Of one verdict so many pieces are told of; of those that are well, so many are named."""


def note(shop: ShopNow, view: View, glueing: Sequence[html.Li] = ()) -> list[html.Li]:
    """What a maker would want told first of today, each line opening what it speaks of."""
    lines: list[html.Li] = []
    by_verdict: dict[str, list[PieceNow]] = defaultdict(list)
    for piece in shop.pieces:
        by_verdict[sentences.piece_verdict(piece)].append(piece)
    for verdict in ("past", "near"):
        found = sorted(by_verdict[verdict], key=sentences.share_left)
        lines += [_piece_line(piece, view, not lines and piece is found[0]) for piece in found[:TOLD]]
        if len(found) > TOLD:
            more = html.A(f"{len(found) - TOLD} more", href=address("pieces", show=verdict))
            lines.append(noted(verdict, more, " ", word(verdict), "."))
    lines += _not_known(by_verdict["unknown"], view)
    lines += glueing
    waiting = [warning for warning in shop.warnings if warning.acknowledged_at is None]
    if waiting:
        told = html.A(sentences.counted(len(waiting), "warning").capitalize(), href="/warnings")
        verb = "waits" if len(waiting) == 1 else "wait"
        lines.append(noted("near", told, f" {verb} for an answer.", kind="warning"))
    lines += _well(by_verdict["clear"], view)
    if len(shop.pieces) > TOLD:
        lines.append(html.Li([html.Span(), html.A(f"All {len(shop.pieces)} pieces", href="/pieces")]))
    elif not shop.pieces:
        record = html.A("Record the first one", href="/case")
        lines.append(noted("unknown", "No piece is recorded. ", record, "."))
    return lines


def _named(pieces: Sequence[PieceNow], show: str) -> list[Any]:
    links = [html.A(piece.name, href=address("piece", piece.id)) for piece in pieces]
    return joined_links(links, TOLD, address("pieces", show=show))


def _not_known(pieces: Sequence[PieceNow], view: View) -> list[html.Li]:
    """Pieces of which nothing is known today, once for each place that says nothing of them."""
    lines = []
    by_reason: dict[str, list[PieceNow]] = defaultdict(list)
    for piece in pieces:
        silent = piece.place is not None and piece.place.judgement.verdict == "unknown"
        judged = piece.place.judgement if piece.place is not None and silent else piece.judgement
        by_reason[sentences.reason(judged, view.display)].append(piece)
    # What is being worked out and what has fallen silent is news; where nothing ever hung is none.
    reasons = sorted(
        by_reason.items(), key=lambda one: (one[1][0].judgement.is_current, _never_heard(one[1][0]))
    )
    alone = reasons if len(reasons) <= SILENT + 1 else reasons[:SILENT]
    for reason, those in alone:
        told = word("unknown")
        if not those[0].judgement.is_current:
            told = html.Span("no answer yet", className="word")
        why = f"{reason[:1].lower()}{reason[1:]}".rstrip(".")
        lines.append(noted("unknown", *_named(those, "not known"), ": ", told, f", {why}."))
    rest = [piece for _, those in reasons[len(alone) :] for piece in those]
    if rest:
        more = html.A(f"{len(rest)} more", href=address("pieces", show="not known"))
        places = sentences.counted(len({piece.place.name if piece.place else "" for piece in rest}), "place")
        lines.append(noted("unknown", more, " ", word("unknown"), f", at {places} that say nothing."))
    return lines


def _never_heard(piece: PieceNow) -> bool:
    return piece.place is None or piece.place.last_reading_at is None


def _well(pieces: Sequence[PieceNow], view: View) -> list[html.Li]:
    """Pieces with which nothing is wrong today: those that are likely to stay so, and those not known yet."""
    clear = [piece for piece in pieces if piece_words.mark_of(piece) == "clear"]
    dark: dict[str, list[PieceNow]] = defaultdict(list)
    for piece in pieces:
        if piece.next is None:
            dark[piece_words.stands(piece, view.now)].append(piece)
    lines = [noted("unknown", *_named(those, "not known"), f": {how}.") for how, those in dark.items()]
    if clear:
        lines.append(noted("clear", "Clear: ", *_named(clear, "clear"), "."))
    return lines


def _piece_line(piece: PieceNow, view: View, is_worst: bool) -> html.Li:
    """How a piece stands and why; the worst with the case it was made from, drawn."""
    coming = piece_words.likely(piece)
    why = [piece_words.prospect(piece, view.now)]
    if coming is not None:
        why.append(sentences.advice({"lever": coming.lever}))
    why.insert(0, sentences.piece_reason(piece, view.display))
    return noted(
        piece_words.mark_of(piece),
        html.A(piece.name, href=address("piece", piece.id)),
        f", {piece.place.name}: " if piece.place else ": ",
        html.Span(piece_words.stands(piece, view.now), className="word"),
        ". ",
        html.Span(prose(" ".join(filter(None, why))), className="why"),
        *(face(piece, is_small=True) if is_worst and piece.members else ()),
    )


BRACKETS = 4  # of more pieces than this at a place, the first page draws those with least left
PLACES = 8  # of more places than this, the first page draws those to look at first


def drawn_places(shop: ShopNow) -> tuple[list[PlaceNow], list[PlaceNow]]:
    """The places whose rule is drawn, and the others: every one of a few, else the shop and the worst."""
    if len(shop.places) <= PLACES:
        return list(shop.places), []
    standing: dict[int, list[int]] = defaultdict(list)
    for piece in shop.pieces:
        if piece.place is not None:
            standing[piece.place.id].append(say.need(piece_words.mark_of(piece)))
    by_need = sorted(
        shop.places,
        key=lambda place: (
            place.kind != "shop",
            place.air is None,
            min(standing.get(place.id, [len(say.VERDICTS)])),
            place.name,
        ),
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
    verdict = place.judgement.verdict
    marks: list[Any] = [verdict_mark(verdict), " "] if verdict != "clear" else []
    heard = times.ago(place.last_reading_at, view.now)
    return html.Div(
        [
            html.H3([*marks, name]),
            html.P(
                [num(say.sentence(sentences.air(place, view.display))), f" Heard {heard}."],
                className="small",
            ),
            rule(place, brackets_of(pieces_at(place, shop.pieces), view.now, BRACKETS), 560),
        ],
        className="place-block",
    )


def lumber(stacks: tuple[StackNow, ...], display: Display) -> list[Any]:
    """Every stack with its moisture; the worst first."""
    if not stacks:
        link = html.A("Record one", href="/stock")
        return [empty("No stack is recorded. ", link, " to follow how it settles.")]
    first = worst_first(stacks)[:TOLD]
    rows = listed([stack_row(stack, display) for stack in first])
    more = html.P(html.A(f"All {len(stacks)} stacks", href="/stock")) if len(stacks) > TOLD else None
    return [rows, more]


def first_steps(shop: ShopNow) -> html.Div:
    """The three steps to a first verdict, with what is done already."""
    is_heard = bool(shop.heard_topics or shop.sensors)
    waiting = sentences.counted(shop.heard_topics, "topic")
    steps: list[tuple[str, bool, list[Any]]] = [
        (
            "Hear a sensor.",
            is_heard,
            [
                html.A("What to type into it", href="/sensors"),
                " is on the page Sensors. It is listed there by itself, usually within a minute.",
            ],
        ),
        (
            "Accept it, and name the place where it hangs.",
            bool(shop.places and shop.sensors),
            [
                f"A sensor is already talking: messages came in on {waiting}. " if shop.heard_topics else "",
                html.A("See what was heard", href="/sensors"),
                ". Its air shows within a minute, and what it sent before counts.",
            ],
        ),
        (
            "Record the wood.",
            False,
            [
                html.A("A stack of lumber", href="/stock"),
                " needs its thickness and a meter reading; ",
                html.A("a piece", href="/case"),
                " needs its wide parts as built.",
            ],
        ),
    ]
    first = next((number for number, (_, is_done, _) in enumerate(steps) if not is_done), 0)
    rows = [
        html.Li(
            [
                html.Strong([title, " Done." if is_done else ""]),
                html.P(text) if number == first else None,
            ],
            className="done-step" if is_done else "",
        )
        for number, (title, is_done, text) in enumerate(steps)
    ]
    guide = html.P([html.A("From the box to the first verdict", href="/help"), ", step by step."])
    return html.Div([html.Ol(rows), guide], className="guide")


ROUTES = [Route("/", layout)]
