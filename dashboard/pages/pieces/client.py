"""Where the maker gives a client a link to one piece and takes it back, and what the link answers."""

from typing import Any

import flask
import segno
from dash import Dash, html

from dashboard.figures.drawing import Drawing, Shape, picture, shape
from dashboard.forms.acts import Act, answers
from dashboard.pages.frame import sheet
from dashboard.pages.pieces.client_page import client_page
from dashboard.paper.sheet import sheet_of_piece
from dashboard.shell.files import answer_file
from dashboard.shell.links import reach
from dashboard.shell.still_page import paper
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.queries import overview as queries
from model.records.schema.tables import PieceRow
from model.wood.errors import BadInput

SET = (
    "Set PANELTIDE_PUBLIC_URL to the address under which clients reach these pages, "
    "such as https://shop.example."
)
NOWHERE = f"A link from here would lead clients to their own device, not to yours. {SET}"
NEARBY = f"This link works inside your own network only. {SET}"
GIVE, TAKE = "give link", "take link back"


# ---------------------------------------------------------------- the maker's side


def layout(view: View, piece_id: int) -> html.Main | None:
    """Where a client's link is given and taken back."""
    with view.store.session() as session:
        piece = queries.piece(session, piece_id, view.now)
        token = view.context.links.good(session, piece_id) if view.context.links else None
    if piece is None:
        return None
    back = html.A(piece.name, href=address("piece", piece_id))
    here = reach(base_url(view.context))
    if token is None:
        return sheet(
            f"No client sees {piece.name}.",
            html.P("A link shows this one piece in plain words and nothing else. It can be taken back."),
            html.P(NOWHERE)
            if here == "device"
            else html.P(html.Button("Give a link", id={"act": GIVE, "piece": piece_id}, className="first")),
            dateline=back,
        )
    take = html.Button("Take the link back", id={"act": TAKE, "piece": piece_id})
    if here == "device":
        return sheet(
            f"The link to {piece.name} can't be shown here.",
            html.P(NOWHERE),
            html.P("A link was given before and is still good."),
            html.P(take),
            dateline=back,
        )
    url = f"{base_url(view.context)}/for/{token}"
    return sheet(
        f"A client can see {piece.name}.",
        html.P(html.A(url, href=url, className="topic", target="_blank")),
        html.P(NEARBY) if here == "network" else None,
        html.Div([html.Button("Copy the link", **copied(url), className="first"), take], className="buttons"),
        Drawing(qr_drawing(url), className="qr"),
        dateline=back,
    )


def base_url(context: Context) -> str:
    """Where clients reach these pages: as set, else as this page was asked for."""
    return (context.public_url or flask.request.host_url).rstrip("/")


def copied(text: str) -> Any:
    """For a button: what the page's script copies when it is pressed."""
    return {"data-copy": text}


def qr_drawing(url: str) -> Shape:
    """An address as a QR code."""
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


def register(app: Dash, context: Context) -> None:
    """The link's own address, and its giving and taking back."""

    def gone() -> flask.Response:
        page = sheet("This link shows nothing any more.", html.P("Ask your maker for a new one."))
        return flask.Response(paper("paneltide", page), 404, mimetype="text/html")

    @app.server.get("/for/<token>")
    def for_client(token: str) -> Any:
        view = view_of(context, flask.request.full_path)
        links = context.links
        with context.store.session() as session:
            piece_id = links.piece_of(session, token) if links else None
            piece = queries.piece(session, piece_id, view.now) if piece_id is not None else None
        if piece is None:
            return gone()
        page = client_page(piece, view, address("for", token, "sheet.pdf"))
        return flask.Response(paper(piece.name, page), mimetype="text/html")

    @app.server.get("/for/<token>/sheet.pdf")
    def sheet_for_client(token: str) -> Any:
        view = view_of(context, flask.request.full_path)
        links = context.links
        with context.store.session() as session:
            piece_id = links.piece_of(session, token) if links else None
            if piece_id is None or session.get(PieceRow, piece_id) is None:
                return gone()
            written = sheet_of_piece(session, piece_id, view.now, view.display)
            return answer_file(written, session.get_one(PieceRow, piece_id).name, "sheet")

    answers(app, context, GIVE, give, which="piece")
    answers(app, context, TAKE, take_back, which="piece")


def give(piece_id: int, _typed: dict[str, Any], view: View) -> Act:
    """A link to the piece is good from now on."""
    with view.store.session() as session:
        piece = session.get_one(PieceRow, piece_id)
        if reach(base_url(view.context)) == "device":
            raise BadInput("", "link", f"can't be given here. {NOWHERE}", "nothing")
        assert view.context.links is not None
        view.context.links.make(session, piece.id)
    return Act("The link is good from now on.", address("piece", piece_id, "client"))


def take_back(piece_id: int, _typed: dict[str, Any], view: View) -> Act:
    """No link to the piece is good any more."""
    with view.store.session() as session:
        assert view.context.links is not None
        view.context.links.take_back(session, session.get_one(PieceRow, piece_id).id)
    return Act("The link shows nothing any more.", address("piece", piece_id, "client"))


ROUTES = [Route("/piece/<piece_id>/client", layout, live=False)]
