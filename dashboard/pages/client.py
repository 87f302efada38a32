"""A client's page: one piece in plain words, read-only; and where the maker gives and takes back its link."""

from typing import Any

import flask
import segno
from dash import ALL, Dash, Input, ctx, html

from dashboard import display as say
from dashboard import piece_words, woodwork
from dashboard.acts import NOTHING, OUTPUTS, Act, answered
from dashboard.drawing import Drawing, Shape, picture, shape
from dashboard.figures.place_rule import place_rule
from dashboard.links import reach
from dashboard.marks import verdict_mark
from dashboard.pages.frame import drawn, prose, sheet
from dashboard.still_page import paper
from dashboard.view import Context, Route, View, address, view_of
from model.records import queries
from model.records.queries import PieceNow
from model.records.tables import Piece
from model.wood.errors import BadInput
from model.words.limits import limit_said

SET = (
    "Set PANELTIDE_PUBLIC_URL to the address under which clients reach these pages, "
    "such as https://shop.example."
)
NOWHERE = f"A link from here would lead clients to their own device, not to yours. {SET}"
NEARBY = f"This link works inside your own network only. {SET}"
GIVE, TAKE = "give link", "take link back"


def client_page(piece: PieceNow, view: View) -> html.Main:
    """What the client sees: how the piece is, the air it likes, and what each side of that looks like."""
    air = piece.place.air if piece.place else None
    first, *others = piece_words.to_client(piece, view.now)
    lines: list[Any] = [html.P([verdict_mark(piece_words.mark_of(piece)), " ", first], className="lead")]
    lines += [html.P(line) for line in others]
    comfort = woodwork.comfort_of_piece(piece, view.now)
    bracket = woodwork.bracket_of(piece, view.now)
    if comfort is not None and bracket is not None:
        lines.append(html.P(prose(comfort.for_client)))
        name = piece.place.name if piece.place else piece.name
        temperature_c, rh_pct = (air.temperature_c, air.rh_pct) if air else (None, None)
        lines.append(
            drawn(*(place_rule(name, temperature_c, rh_pct, [bracket], width) for width in (720, 360)))
        )
    if air is not None and piece.place is not None:
        heard = say.ago(piece.place.last_reading_at, view.now)
        reads = f"{say.rh(air.rh_pct)} and {view.display.temperature(air.temperature_c)}"
        lines.append(html.P(f"The room reads {reads}, last heard {heard}."))
    seen = [
        html.Li(
            f"{'In dry air' if limit.limit.direction == 'shrinking' else 'In damp air'}: "
            f"{limit_said(limit.limit)}."
        )
        for fit in piece.fits
        for limit in woodwork.limits_now(piece, fit)[:2]
    ]
    if seen:
        lines.append(html.H2("What either side of that looks like"))
        lines.append(html.Ul(seen, className="rows"))
    wood = woodwork.wood_piece(piece)
    parts = () if wood is None else tuple(wood.members.values())
    marks = dict.fromkeys(part.species.remembered for part in parts)
    lines += [html.P(mark, className="soft small") for mark in marks if mark]
    lines.append(
        html.P(
            "Wood takes up and gives off moisture with the air, and grows and shrinks across its grain. "
            "Brief visits outside the range are nothing; weeks of it show. Steady air beats perfect air. "
            "Keep it off registers and radiators and out of direct sun.",
        )
    )
    no_alarm = "This page watches wood. It is no smoke, flood, frost or security alarm."
    lines.append(html.P(no_alarm, className="soft small"))
    return sheet(piece.name, *lines, dateline=piece.document.get("client"))


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
            else html.P(html.Button("Give a link", id={"link": GIVE, "piece": piece_id}, className="first")),
            dateline=back,
        )
    take = html.Button("Take the link back", id={"link": TAKE, "piece": piece_id})
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

    @app.server.get("/for/<token>")
    def for_client(token: str) -> Any:
        view = view_of(context, flask.request.full_path)
        links = context.links
        with context.store.session() as session:
            piece_id = links.piece_of(session, token) if links else None
            piece = queries.piece(session, piece_id, view.now) if piece_id is not None else None
        if piece is None:
            page = sheet("This link shows nothing any more.", html.P("Ask your maker for a new one."))
            return flask.Response(paper("paneltide", page), 404, mimetype="text/html")
        return flask.Response(paper(piece.name, client_page(piece, view)), mimetype="text/html")

    @app.callback(*OUTPUTS, Input({"link": ALL, "piece": ALL}, "n_clicks"), prevent_initial_call=True)
    def change_link(clicks: list[int | None]) -> Any:
        if not any(clicks) or context.links is None:
            return NOTHING
        piece_id = ctx.triggered_id["piece"]
        here = address("piece", piece_id, "client")
        with context.store.session() as session:
            session.get_one(Piece, piece_id)
            if ctx.triggered_id["link"] == GIVE:
                if reach(base_url(context)) == "device":
                    raise BadInput("", "link", f"can't be given here. {NOWHERE}", "nothing")
                context.links.make(session, piece_id)
                return answered(Act("The link is good from now on."), here)
            context.links.take_back(session, piece_id)
        return answered(Act("The link shows nothing any more."), here)


ROUTES = [Route("/piece/<piece_id>/client", layout, live=False)]
