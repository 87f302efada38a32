"""Clients in the shop's book: recorded, corrected, archived and erased. Pieces and homes name theirs."""

from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.acts.places import free_name
from model.records.schema.tables import Client, Document, PieceRow, Preference

LINK = "client link {}"
"""Name of the preference that holds the link to a piece's page, by the piece's id."""
CLIENTS_LINK = "link of client {}"
"""And of that to all pieces of a client, by the client's id."""


def add_client(session: Session, name: str, reach: str = "", note: str = "") -> Client:
    """Record a client; BadInput where the name is empty or taken."""
    client = Client(name=free_name(session, Client, name, "client"), reach=reach.strip(), note=note.strip())
    session.add(client)
    session.flush()
    return client


def change_client(session: Session, client: Client, name: str, reach: str, note: str) -> None:
    """Correct what was recorded of a client."""
    if name.strip() != client.name:
        client.name = free_name(session, Client, name, "client")
    client.reach, client.note = reach.strip(), note.strip()
    session.flush()


def known_client(session: Session, name: str) -> Client | None:
    """The client of a name, in whatever case it is written."""
    return session.scalar(select(Client).where(func.lower(Client.name) == name.strip().lower()).limit(1))


def client_named(session: Session, name: str) -> Client | None:
    """Whom a piece or a home is for: who has that name, else a client recorded now; none without a name."""
    if not name.strip():
        return None
    return known_client(session, name) or add_client(session, name)


def retire_client(session: Session, client: Client, at: datetime | None) -> None:
    """Archive a client from an instant on, or list them again (None). Pieces and homes stay as they are."""
    client.retired_at = at
    session.flush()


def erase_client(session: Session, client: Client) -> None:
    """Take a client out of the book: who they are, how to reach them, and the links they were given.

    Their pieces and homes stay, and name nobody.
    """
    links = [CLIENTS_LINK.format(client.id), *(LINK.format(piece.id) for piece in client.pieces)]
    client.pieces.clear()
    client.homes.clear()
    session.flush()
    for preference in session.scalars(select(Preference).where(Preference.name.in_(links))):
        session.delete(preference)
    session.delete(client)
    session.flush()


def piece_table_of(piece: PieceRow) -> Document:
    """The [piece] table of a recorded piece's file."""
    return with_client(piece.document, piece.client.name if piece.client else None)


def with_client(document: Document, name: str | None) -> dict[str, Any]:
    """A piece's own table with its client's name, as the book keeps it apart."""
    return dict(document) | ({"client": name} if name else {})
