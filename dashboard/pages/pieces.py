"""Pieces: every piece by its verdict, and those no longer followed."""

from dash import html

from dashboard import piece_words, sentences
from dashboard.pages.frame import aria, empty, sheet
from dashboard.pages.today import piece_rows
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


def wanted(piece: PieceNow, chosen: str) -> bool:
    """Whether a piece is among those asked for."""
    if chosen == "no longer followed" or piece.retired_at is not None:
        return chosen == "no longer followed" and piece.retired_at is not None
    mark = piece_words.mark_of(piece)
    return chosen not in FILTERS[1:] or mark == {"not known": "unknown"}.get(chosen, chosen)


ROUTES = [Route("/pieces", layout)]
