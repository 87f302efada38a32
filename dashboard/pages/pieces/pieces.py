"""Pieces: every piece by where it stands, searched and filtered by an address; and those archived."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import UTC

import flask
from dash import Dash, html
from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.forms.fields import choice_field, text_field
from dashboard.pages.frame import A_PAGE, empty, noted, page_asked, pages, prose, sheet
from dashboard.pages.pieces.piece_acts import RESTORE
from dashboard.pages.pieces.piece_fits import margin_said
from dashboard.paper.piece_table import pieces_csv
from dashboard.say import piece_words, sentences
from dashboard.shell.files import answer_file
from dashboard.shell.view import Context, Route, View, address
from model.records.queries import overview as queries
from model.records.queries.overview import PieceNow
from model.records.schema.tables import MemberRow
from model.watch.questions.piece_wood import governing_doubt_mm
from model.wood.errors import BadInput
from model.wood.material.species import find_species
from model.words import display as say

STANDINGS = {
    "all": "any",
    "past": "past a limit",
    "near": "near a limit",
    "not known": "not known",
    "clear": "clear",
    "archived": "archived",
}
FIELDS = ("find", "client", "place", "wood", "show")


def layout(view: View) -> html.Main:
    """The page of all pieces, or of those the address asks for."""
    with view.store.session() as session:
        pieces = queries.pieces(session, view.now, retired=True, parts=False)
        woods = woods_of(session)
    if not pieces:
        return sheet(
            "No piece is recorded yet.",
            empty(
                "Write down what was built, and where it stands; its margins show while you type. ",
                html.A("Record the first piece", href="/case"),
                ", or ",
                html.A("plan one", href="/plan"),
                ", or ",
                html.A("take several from a spreadsheet", href="/pieces/file"),
                ".",
            ),
        )
    asked = {name: view.query.get(name, "").strip() for name in FIELDS}
    asked["wood"] = wood_meant(asked["wood"])
    asked["show"] = asked["show"] if asked["show"] in STANDINGS else "all"
    meant = wood_meant(asked["find"])
    found = [piece for piece in pieces if wanted(piece, asked, meant, woods)]
    followed = sum(piece.retired_at is None for piece in pieces)
    page = page_asked(view.query)
    found.sort(key=lambda piece: say.need(piece_words.mark_of(piece)))
    with view.store.session() as session:
        shown = queries.with_sizes(session, found[(page - 1) * A_PAGE : page * A_PAGE], view.now)
    return sheet(
        title(len(found), followed, asked),
        html.Div(
            [
                html.A("Record a piece", href="/case", className="button first"),
                html.A("Clients", href="/clients", className="button"),
                html.A("Several from a spreadsheet", href="/pieces/file", className="button"),
                html.A("Save as a table", href="/pieces.csv", className="button"),
            ],
            className="buttons no-print",
        ),
        filters(pieces, woods, asked) if len(pieces) > 1 else None,
        *(
            piece_rows(shown, view)
            if shown
            else [empty("No piece is so. ", html.A("All pieces", href="/pieces"), ".")]
        ),
        pages(len(found), page, "pieces", **{name: value for name, value in asked.items() if value}),
    )


def title(found: int, followed: int, asked: Mapping[str, str]) -> str:
    """How many pieces there are, or how many of them are as asked for."""
    if asked["show"] == "archived":
        return f"{sentences.counted(found, 'archived piece').capitalize()}."
    if any(value for name, value in asked.items() if name != "show") or asked["show"] != "all":
        return f"{sentences.number_word(found).capitalize()} of {sentences.counted(followed, 'piece')}."
    if not followed:
        return "No piece is followed any more."
    return f"{sentences.counted(followed, 'piece').capitalize()} {'is' if followed == 1 else 'are'} followed."


def woods_of(session: Session) -> dict[int, set[str]]:
    """The woods of each piece's parts."""
    found: dict[int, set[str]] = defaultdict(set)
    for piece_id, wood in session.execute(
        select(MemberRow.piece_id, MemberRow.document["species"].as_string()).distinct()
    ):
        if wood:
            found[piece_id].add(wood)
    return found


def wood_meant(typed: str) -> str:
    """A wood by the name it is recorded under; what was typed where it is none."""
    try:
        return find_species(typed).name if typed else ""
    except BadInput:
        return typed


def filters(pieces: Sequence[PieceNow], woods: Mapping[int, set[str]], asked: Mapping[str, str]) -> html.Form:
    """What to look for: a plain form, whose address can be sent to somebody."""
    clients = {str(piece.document["client"]) for piece in pieces if piece.document.get("client")}
    places = {piece.place.name for piece in pieces if piece.place is not None}
    listed = {"client": clients, "place": places, "wood": {wood for some in woods.values() for wood in some}}
    choices = [
        choice_field(
            name.capitalize(),
            f"pieces-{name}",
            [("", "any"), *[(value, value) for value in sorted(values, key=str.casefold)]],
            asked[name],
            name=name,
        )
        for name, values in listed.items()
        if len(values) > 1
    ]
    return html.Form(
        [
            html.Div(
                [
                    text_field("Find", "pieces-find", asked["find"], name="find"),
                    *choices,
                    choice_field(
                        "Standing", "pieces-show", list(STANDINGS.items()), asked["show"], name="show"
                    ),
                    html.Div(
                        [html.Button("Show", type="submit"), html.A("All pieces", href="/pieces")],
                        className="buttons low",
                    ),
                ],
                className="fields",
            )
        ],
        action="/pieces",
        method="GET",
        role="search",
        className="no-print",
    )


def piece_rows(pieces: Sequence[PieceNow], view: View) -> list[html.Div]:
    """Every piece by where it stands: its verdict, what governs it, and what is left there."""
    groups: dict[str, list[PieceNow]] = defaultdict(list)
    for piece in pieces:
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
    is_known = piece.judgement.is_current and sentences.piece_verdict(piece) != "unknown"
    left = []
    if is_known and isinstance(margin_mm, int | float):
        left = margin_said(margin_mm, view.display, governing_doubt_mm(piece))
    again = html.Button("Follow it again", id={"act": RESTORE, "piece": piece.id})
    mark = piece_words.mark_of(piece)
    why = prose(say.sentence(sentences.piece_reason(piece, view.display)))
    return noted(
        mark,
        html.A(html.B(piece.name), href=address("piece", piece.id)),
        ", ",
        html.Span(piece_words.stands(piece, view.now), className="word"),
        # Of one with which nothing is wrong its name and what is left say enough.
        html.Div(why, className="soft small") if mark != "clear" else None,
        right=left if piece.retired_at is None else again,
    )


def wanted(piece: PieceNow, asked: Mapping[str, str], meant: str, woods: Mapping[int, set[str]]) -> bool:
    """Whether a piece is among those asked for; `meant` is the wood that was looked for, if it is one."""
    if (piece.retired_at is not None) != (asked["show"] == "archived"):
        return False
    place = piece.place.name if piece.place is not None else ""
    if asked["client"] and asked["client"] != piece.document.get("client"):
        return False
    if (asked["place"] and asked["place"] != place) or (
        asked["wood"] and asked["wood"] not in woods.get(piece.id, ())
    ):
        return False
    own = (
        piece.name,
        place,
        piece.document.get("client"),
        piece.document.get("note"),
        *woods.get(piece.id, ()),
    )
    text = " ".join(str(word) for word in own if word).casefold()
    if asked["find"].casefold() not in text and meant not in woods.get(piece.id, ()):
        return False
    verdict = {"not known": "unknown"}.get(asked["show"], asked["show"])
    return verdict in ("all", "archived") or piece_words.mark_of(piece) == verdict


def register(app: Dash, context: Context) -> None:
    """Every piece with its fits as a file."""

    @app.server.get("/pieces.csv")
    def pieces_file() -> flask.Response:
        with context.store.session() as session:
            table = pieces_csv(session, context.now().astimezone(UTC))
        return answer_file(table, "pieces", "fits", "csv")


ROUTES = [Route("/pieces", layout, live=False)]
