"""Clients: how to reach them, their pieces and homes; recorded, corrected, archived, saved and erased."""

import json
from collections.abc import Sequence
from typing import Any

import flask
from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.correcting import RecordPage
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import (
    empty,
    facts_list,
    folded,
    joined_links,
    listed,
    marked,
    noted,
    part,
    prose,
    sheet,
)
from dashboard.pages.pieces.pieces import piece_row
from dashboard.say import piece_words, sentences
from dashboard.say.marks import verdict_mark
from dashboard.shell.files import answer_file, answer_plainly
from dashboard.shell.view import Context, Route, View, address, number_in
from model.records.acts import book, clients
from model.records.queries.clients import ClientNow, nobodys
from model.records.queries.clients import clients as clients_now
from model.records.queries.overview import PieceNow, PlaceNow
from model.records.schema.tables import Client, PieceRow, Place
from model.wood.errors import BadInput
from model.wood.piece import document_of
from model.words import display as say

ARCHIVE, RESTORE, ERASE = "client-archive", "client-restore", "client-erase"
FORM = Form(
    "client",
    "Correct the record",
    (
        Asked("name", "Name"),
        Asked("reach", "How to reach them", hint="telephone, mail or street; it stays in this book"),
        Asked("note", "Note", className="wide"),
    ),
    whose="client",
    is_first=True,
)
THEIRS = Form("client-theirs", "It is theirs", (Asked("what", "Piece or home", "choice"),), whose="client")
ERASING = (
    "Erasing takes the name, how to reach them and their links out of the book. Pieces and homes stay and "
    "name nobody. It can be undone for a week; copies of the book made before still hold them."
)
BACK = html.A("Clients", href="/clients")


# ---------------------------------------------------------------- the list


def list_layout(view: View) -> html.Main:
    """Every client, or those archived."""
    with view.store.session() as session:
        known = clients_now(session, view.now)
    archived = view.query.get("show") == "archived"
    shown = [one for one in known if (one.retired_at is not None) == archived]
    add = html.P(html.A("Record a client", href="/clients/new", className="button first"))
    pieces = html.A("Pieces", href="/pieces")
    if not known:
        first = empty("A client is recorded with the first piece that names them, or here.")
        return sheet("No client is recorded yet.", first, add, dateline=pieces)
    nouns = ("archived client", "client") if archived else ("client", "archived client")
    more = html.A(
        f"See {sentences.counted(len(known) - len(shown), nouns[1])}",
        href="/clients" if archived else "/clients?show=archived",
    )
    return sheet(
        say.sentence(sentences.counted(len(shown), nouns[0])),
        None if archived else add,
        listed([client_row(one) for one in shown]),
        html.P(more, className="small") if len(known) > len(shown) else None,
        dateline=pieces,
    )


def client_row(client: ClientNow) -> html.Li:
    """One client in a line or two, behind the mark of the worst of their pieces."""
    marks = [piece_words.mark_of(piece) for piece in client.pieces]
    has = [
        sentences.counted(len(theirs), noun)
        for theirs, noun in ((client.pieces, "piece"), (client.homes, "home"))
        if theirs
    ]
    return marked(
        verdict_mark(say.worst(marks)) if marks else html.Span(),
        html.A(html.B(client.name), href=address("client", client.id)),
        f", {say.joined(has) or 'no piece yet'}",
        html.Div(client.reach, className="soft small") if client.reach else None,
    )


# ---------------------------------------------------------------- one client


def layout(view: View, client_id: int) -> html.Main | None:
    """The page of a client; none when there is no such client."""
    with view.store.session() as session:
        found = clients_now(session, view.now, only=client_id)
        free = [(f"{noun}:{number}", f"{name}, a {noun}") for noun, number, name in nobodys(session)]
    if not found:
        return None
    client = found[0]
    archived = [html.A(one.name, href=address("piece", one.id)) for one in client.pieces if one.retired_at]
    facts = [("Reach them", client.reach or "Nothing is recorded."), ("Note", client.note)]
    return sheet(
        client.name,
        acts_part(client),
        facts_list([fact for fact in facts if fact[1]], "first-lines"),
        part(
            "Pieces",
            listed([theirs(one, view) for one in worst_first(client.pieces)]),
            html.P(["Archived: ", *joined_links(archived), "."], className="small") if archived else None,
            None if client.pieces else html.P("No piece names them yet.", className="soft"),
        ),
        part("Homes", listed([home_row(one, view) for one in client.homes]) if client.homes else None),
        _more_of_theirs(client, free, view),
        dateline=[BACK, ", archived" if client.retired_at else ""],
    )


def _more_of_theirs(client: ClientNow, free: list[tuple[str, str]], view: View) -> html.Section | None:
    """Where a piece or a home that names nobody is given to them."""
    if not free:
        return None
    form = THEIRS.laid_out(view, client.id, options={"what": free})
    return part("What else is theirs", form, className="no-print")


def acts_part(client: ClientNow) -> html.Div:
    """What can be done to the record."""
    here = ("client", client.id)
    act, words = (RESTORE, "List them again") if client.retired_at else (ARCHIVE, "Archive")
    kept = html.A(
        "Save all that is kept", href=address(*here, "client.json"), className="button", download=""
    )
    return html.Div(
        [
            html.A("Correct the record", href=address(*here, "edit"), className="button"),
            html.A("Link for them", href=address(*here, "link"), className="button"),
            html.Button(words, id={"act": act, "client": client.id}),
            folded(
                "More",
                html.P(ERASING, className="small"),
                html.Div(
                    [kept, html.Button("Erase", id={"act": ERASE, "client": client.id})],
                    className="buttons",
                ),
            ),
        ],
        className="acts buttons no-print",
    )


def worst_first(pieces: Sequence[PieceNow]) -> list[PieceNow]:
    """Those that are followed, the worst first."""
    followed = [piece for piece in pieces if not piece.retired_at]
    return sorted(followed, key=lambda piece: say.need(piece_words.mark_of(piece)))


def theirs(piece: PieceNow, view: View) -> html.Li:
    """A piece's line, with what is given to the client under it."""
    row = piece_row(piece, view)
    links: list[Any] = [
        html.A("Link to this piece", href=address("piece", piece.id, "client")),
        ", ",
        html.A("client sheet", href=address("piece", piece.id, "sheet.pdf"), target="_blank"),
    ]
    row.children[1].children.append(html.Div(links, className="small no-print"))
    return row


def home_row(home: PlaceNow, view: View) -> html.Li:
    """A home and its air."""
    line: list[Any] = [html.A(html.B(home.name), href=address("place", home.id)), ". "]
    line += prose(say.sentence(sentences.air(home, view.display)))
    return noted(home.judgement.verdict, *line, kind="place")


def kept_of(session: Session, client: Client) -> dict[str, Any]:
    """Everything the book keeps of a client but their homes' readings."""
    return {
        "client": {"name": client.name, "reach": client.reach, "note": client.note},
        "homes": [{"name": home.name, "zone": home.zone, "note": home.note} for home in client.homes],
        "pieces": [
            {
                **document_of(book.load_piece(session, piece)),
                "stood": [
                    {"place": stay.place.name, "since_at": stay.since_at.isoformat()} for stay in piece.stays
                ],
            }
            for piece in client.pieces
        ],
    }


# ---------------------------------------------------------------- the form


def register(app: Dash, context: Context) -> None:
    """The forms' answers, and the file of what is kept of a client."""
    EDIT.register(app, context)
    THEIRS.answers(app, context, give)
    for name, act in ((ARCHIVE, archive), (RESTORE, restore), (ERASE, erase)):
        answers(app, context, name, act, which="client")

    @app.server.get(f"/client/{number_in('client_id')}/client.json")
    def client_file(client_id: int) -> flask.Response:
        with context.store.session() as session:
            client = session.get(Client, client_id)
            if client is None:
                return answer_plainly("no such client")
            text = json.dumps(kept_of(session, client), indent=2, ensure_ascii=False)
        return answer_file(text, "client", str(client_id), "json")


def give(client_id: int, typed: dict[str, Any], view: View) -> Act:
    """A piece or a home is a client's."""
    noun, _, number = str(typed.get("what") or "").partition(":")
    with doing(view, "change") as (session, revision):
        client = session.get_one(Client, client_id)
        table: Any = PieceRow if noun == "piece" else Place
        owned: PieceRow | Place | None = session.get(table, int(number)) if number.isdecimal() else None
        if owned is None or owned.client_id is not None:
            raise BadInput("", "piece or home", "must be one that names no client", "nothing")
        owned.client = client
        back = f"{owned.name} names no client again."
        return done(revision, f"{owned.name} is {client.name}'s.", back, address("client", client_id))


def archive(client_id: int, _typed: dict[str, Any], view: View) -> Act:
    """The client is listed no more; pieces and homes stay as they are."""
    with doing(view, "change") as (session, revision):
        client = session.get_one(Client, client_id)
        clients.retire_client(session, client, view.now)
        said = f"{client.name} is archived. Their pieces are followed as before."
        return done(revision, said, f"{client.name} is listed again.", "/clients")


def restore(client_id: int, _typed: dict[str, Any], view: View) -> Act:
    """An archived client is listed again."""
    with doing(view, "change") as (session, revision):
        client = session.get_one(Client, client_id)
        clients.retire_client(session, client, None)
        said, back = f"{client.name} is listed again.", f"{client.name} is archived."
        return done(revision, said, back, address("client", client_id))


def erase(client_id: int, _typed: dict[str, Any], view: View) -> Act:
    """The client is out of the book; pieces and homes name nobody."""
    with doing(view, "erasing") as (session, revision):
        client = session.get_one(Client, client_id)
        said, back = f"{client.name} is erased.", f"{client.name} is in the book again."
        clients.erase_client(session, client)
        return done(revision, said, back, "/clients", address("client", client_id))


EDIT = RecordPage(
    Client,
    FORM,
    lambda client: {one.into: getattr(client, one.into) for one in FORM.fields},
    lambda session, client, values, _view: clients.change_client(session, client, **values),
    lambda session, values, _view: clients.add_client(session, **values),
)
ROUTES = [
    Route("/clients", list_layout, live=False),
    Route("/client/<client_id>", layout, live=False),
    *EDIT.routes,
]
