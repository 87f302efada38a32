"""Pieces: every piece by its verdict, and those no longer followed."""

from collections import defaultdict
from collections.abc import Sequence

from dash import html

from dashboard import display as say
from dashboard import piece_words, sentences
from dashboard.marks import verdict_mark
from dashboard.pages.frame import aria, empty, prose, sheet
from dashboard.pages.piece_fits import margin_said
from dashboard.view import Route, View, address
from model.records import queries
from model.records.queries import PieceNow

FILTERS = ("all", "past", "near", "not known", "clear", "no longer followed")


def layout(view: View) -> html.Main:
    """The page of all pieces, or of those the address asks for."""
    chosen = view.query.get("show", "all")
    with view.store.session() as session:
        pieces = queries.pieces(session, view.now, retired=True, parts=False)
    if not pieces:
        return sheet(
            "No piece is recorded yet.",
            empty(
                "Write down what was built, and where it stands; its margins show while you type. ",
                html.A("Record the first piece", href="/record"),
                ", or ",
                html.A("plan one", href="/plan"),
                ".",
            ),
        )
    followed = tuple(piece for piece in pieces if piece.retired_at is None)
    shown = tuple(piece for piece in pieces if wanted(piece, chosen))
    filters = [
        html.A(
            name,
            href=address("pieces", show=None if name == "all" else name),
            **aria(current="true" if name == chosen else "false"),
        )
        for name in FILTERS
    ]
    number = sentences.counted(len(followed), "piece").capitalize()
    return sheet(
        f"{number} {'is' if len(followed) == 1 else 'are'} followed."
        if followed
        else "No piece is followed any more.",
        html.Nav(filters, className="tabs", **aria(label="Which pieces")),
        html.P(html.A("Record a piece", href="/record", className="button first"), className="no-print"),
        *(piece_rows(shown, view) if shown else [empty("None of the pieces are so.")]),
    )


def piece_rows(pieces: Sequence[PieceNow], view: View) -> list[html.Div]:
    """Every piece by where it stands: its verdict, what governs it, and what is left there."""
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
    margin_mm = piece.judgement.detail.get("margin_mm")
    left = margin_said(margin_mm, view.display) if isinstance(margin_mm, int | float) else []
    return html.Li(
        [
            verdict_mark(piece_words.mark_of(piece)),
            html.Div(
                [
                    html.A(html.B(piece.name), href=address("piece", piece.id)),
                    ", ",
                    html.Span(piece_words.stands(piece, view.now), className="word"),
                    html.Div(
                        prose(say.sentence(sentences.piece_reason(piece, view.display))),
                        className="soft small",
                    ),
                ]
            ),
            html.Div(left, className="right"),
        ],
        className="row",
    )


def wanted(piece: PieceNow, chosen: str) -> bool:
    """Whether a piece is among those asked for."""
    if chosen == "no longer followed" or piece.retired_at is not None:
        return chosen == "no longer followed" and piece.retired_at is not None
    mark = piece_words.mark_of(piece)
    return chosen not in FILTERS[1:] or mark == {"not known": "unknown"}.get(chosen, chosen)


ROUTES = [Route("/pieces", layout)]
