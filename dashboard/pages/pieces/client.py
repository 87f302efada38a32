"""Where the maker gives a client a link, to one piece or to all, and takes it back; what the link answers."""

from functools import partial
from typing import Any, Literal

import flask
from dash import Dash, html
from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.figures.drawing import Drawing, Shape, picture, shape
from dashboard.forms.acts import Act, answers
from dashboard.pages.frame import sheet
from dashboard.pages.pieces.client_page import client_page, clients_page
from dashboard.paper.sheet import sheet_of_piece
from dashboard.shell.files import answer_file
from dashboard.shell.links import Links, Shown, client_of, of_client, reach
from dashboard.shell.still_page import paper
from dashboard.shell.view import Context, Route, View, address, number_in, view_of
from model.records.queries import overview as queries
from model.records.schema.tables import Client, PieceRow
from model.wood.errors import BadInput

SET = (
    "Set PANELTIDE_PUBLIC_URL to the address under which clients reach these pages, "
    "such as https://shop.example."
)
NOWHERE = f"A link from here would lead clients to their own device, not to yours. {SET}"
NEARBY = f"This link works inside your own network only. {SET}"
Whose = Literal["piece", "client"]
GIVES: dict[Whose, str] = {"piece": "give link", "client": "give clients link"}
TAKES: dict[Whose, str] = {"piece": "take link back", "client": "take clients link back"}
LAST: dict[Whose, str] = {"piece": "client", "client": "link"}
TABLES: dict[Whose, type[PieceRow] | type[Client]] = {"piece": PieceRow, "client": Client}


# ---------------------------------------------------------------- the maker's side


def layout(view: View, piece_id: int) -> html.Main | None:
    """Where a client's link to one piece is given and taken back."""
    with view.store.session() as session:
        piece = session.get(PieceRow, piece_id)
        if piece is None:
            return None
        return _link_page(
            "piece",
            piece_id,
            piece.name,
            html.P("A link shows this one piece in plain words and nothing else. It can be taken back."),
            session,
            view,
        )


def clients_layout(view: View, client_id: int) -> html.Main | None:
    """Where a client's link to all their pieces is given and taken back."""
    with view.store.session() as session:
        client = session.get(Client, client_id)
        if client is None:
            return None
        return _link_page(
            "client",
            client_id,
            f"{client.name}'s pieces",
            html.P(
                "A link shows all pieces that name this client, in plain words, also those that come later. "
                "It can be taken back."
            ),
            session,
            view,
        )


def _link_page(whose: Whose, number: int, what: str, shows: Any, session: Session, view: View) -> html.Main:
    """The link that is good with its QR code, or where one is given."""
    token = view.context.links.good(session, shown_of(whose, number)) if view.context.links else None
    back = html.A(what, href=address(whose, number))
    here = reach(base_url(view.context))
    if token is None:
        give = html.Button("Give a link", id={"act": GIVES[whose], whose: number}, className="first")
        return sheet(
            f"No client sees {what}.",
            shows,
            html.P(NOWHERE) if here == "device" else html.P(give),
            dateline=back,
        )
    take = html.Button("Take the link back", id={"act": TAKES[whose], whose: number})
    if here == "device":
        return sheet(
            f"The link to {what} can't be shown here.",
            html.P(NOWHERE),
            html.P("A link was given before and is still good."),
            html.P(take),
            dateline=back,
        )
    url = f"{base_url(view.context)}/for/{token}"
    return sheet(
        f"A client can see {what}.",
        html.P(html.A(url, href=url, className="topic", target="_blank")),
        html.P(NEARBY) if here == "network" else None,
        html.Div([html.Button("Copy the link", **copied(url), className="first"), take], className="buttons"),
        Drawing(qr_drawing(url), className="qr"),
        dateline=back,
    )


def shown_of(whose: Whose, number: int) -> Shown:
    """What the link shows that is given on a page: the piece, or all the client's."""
    return number if whose == "piece" else of_client(number)


def base_url(context: Context) -> str:
    """Where clients reach these pages: as set, else as this page was asked for."""
    return (context.public_url or flask.request.host_url).rstrip("/")


def copied(text: str) -> Any:
    """For a button: what the page's script copies when it is pressed."""
    return {"data-copy": text}


def qr_drawing(url: str) -> Shape:
    """An address as a QR code."""
    import segno  # here: no other page draws one

    matrix = segno.make(url, error="m").matrix
    edge, size = 4, len(matrix)
    d = "".join(
        f"M{x + edge} {y + edge}h1v1h-1z"
        for y, row in enumerate(matrix)
        for x, module in enumerate(row)
        if module
    )
    whole = size + 2 * edge
    return picture(
        whole,
        whole,
        shape("rect", x=0, y=0, width=whole, height=whole, fill="#fff"),
        shape("path", d=d, fill="#000"),
        label=f"QR code of {url}",
    )


# ---------------------------------------------------------------- what a link shows


def piece_shown(links: Links, session: Session, token: str, piece_id: int | None) -> int | None:
    """The piece a link shows: its own, or of a client's link the one that is named."""
    shows = links.shown(session, token)
    if piece_id is None:
        return shows if isinstance(shows, int) else None
    theirs = PieceRow.id == piece_id, PieceRow.client_id == client_of(shows), PieceRow.retired_at.is_(None)
    return session.scalar(select(PieceRow.id).where(*theirs)) if client_of(shows) is not None else None


def pieces_shown(links: Links, session: Session, token: str) -> list[int] | None:
    """All pieces that a client's link shows, by name; none where it is no such link."""
    client_id = client_of(links.shown(session, token))
    if client_id is None:
        return None
    theirs = PieceRow.client_id == client_id, PieceRow.retired_at.is_(None)
    return list(session.scalars(select(PieceRow.id).where(*theirs).order_by(PieceRow.name)))


def register(app: Dash, context: Context) -> None:
    """The links' own addresses, and their giving and taking back."""
    links = context.links
    if links is None:
        return

    def gone() -> flask.Response:
        page = sheet("This link shows nothing any more.", html.P("Ask your maker for a new one."))
        return flask.Response(paper("paneltide", page), 404, mimetype="text/html")

    @app.server.get("/for/<token>")
    @app.server.get(f"/for/<token>/{number_in('piece_id')}")
    def for_client(token: str, piece_id: int | None = None) -> Any:
        view = view_of(context, flask.request.full_path)
        with context.store.session() as session:
            theirs = pieces_shown(links, session, token) if piece_id is None else None
            if theirs is not None:
                pieces = [queries.piece(session, one, view.now) for one in theirs]
                page = clients_page([one for one in pieces if one is not None], view, token)
                return flask.Response(paper("Your pieces", page), mimetype="text/html")
            number = piece_shown(links, session, token, piece_id)
            piece = queries.piece(session, number, view.now) if number is not None else None
        if piece is None:
            return gone()
        here = ("for", token) if piece_id is None else ("for", token, piece_id)
        back = "" if piece_id is None else address("for", token)
        page = client_page(piece, view, address(*here, "sheet.pdf"), back)
        return flask.Response(paper(piece.name, page), mimetype="text/html")

    @app.server.get("/for/<token>/sheet.pdf")
    @app.server.get(f"/for/<token>/{number_in('piece_id')}/sheet.pdf")
    def sheet_for_client(token: str, piece_id: int | None = None) -> Any:
        view = view_of(context, flask.request.full_path)
        with context.store.session() as session:
            number = piece_shown(links, session, token, piece_id)
            if number is None or session.get(PieceRow, number) is None:
                return gone()
            written = sheet_of_piece(session, number, view.now, view.display)
            return answer_file(written, session.get_one(PieceRow, number).name, "sheet")

    for whose in TABLES:
        answers(app, context, GIVES[whose], partial(give, whose=whose), which=whose)
        answers(app, context, TAKES[whose], partial(take_back, whose=whose), which=whose)


def give(number: int, _typed: dict[str, Any], view: View, whose: Whose = "piece") -> Act:
    """A link is good from now on."""
    with view.store.session() as session:
        session.get_one(TABLES[whose], number)  # refuses what is not in the book
        if reach(base_url(view.context)) == "device":
            raise BadInput("", "link", f"can't be given here. {NOWHERE}", "nothing")
        assert view.context.links is not None
        view.context.links.make(session, shown_of(whose, number))
    return Act("The link is good from now on.", address(whose, number, LAST[whose]))


def take_back(number: int, _typed: dict[str, Any], view: View, whose: Whose = "piece") -> Act:
    """No link is good any more."""
    with view.store.session() as session:
        assert view.context.links is not None
        view.context.links.take_back(session, shown_of(whose, number))
    return Act("The link shows nothing any more.", address(whose, number, LAST[whose]))


ROUTES = [
    Route("/piece/<piece_id>/client", layout, live=False),
    Route("/client/<client_id>/link", clients_layout, live=False),
]
