"""Clients with their pieces and homes, as their pages show them."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.queries import overview
from model.records.queries.answers import PieceNow, PlaceNow
from model.records.schema.tables import Client, PieceRow, Place


@dataclass(frozen=True)
class ClientNow:
    """One client, how to reach them, their pieces and their homes."""

    id: int
    name: str
    reach: str
    note: str
    retired_at: datetime | None
    pieces: tuple[PieceNow, ...] = ()
    homes: tuple[PlaceNow, ...] = ()


def clients(session: Session, now: datetime, only: int | None = None) -> tuple[ClientNow, ...]:
    """Every client by name, archived ones too; or one, with those of their pieces that are archived."""
    wanted = select(Client).order_by(func.lower(Client.name))
    if only is not None:
        wanted = wanted.where(Client.id == only)
    rows = session.scalars(wanted).all()
    if not rows:
        return ()
    homes = overview.places(session, now)
    pieces = overview.pieces(session, now, retired=only is not None, known=homes, parts=False)
    return tuple(
        ClientNow(
            row.id,
            row.name,
            row.reach,
            row.note,
            row.retired_at,
            tuple(piece for piece in pieces if piece.client_id == row.id),
            tuple(home for home in homes if home.client_id == row.id),
        )
        for row in rows
    )


def client_names(session: Session) -> list[str]:
    """The names of clients who are not archived, to choose from while typing."""
    wanted = select(Client.name).where(Client.retired_at.is_(None)).order_by(func.lower(Client.name))
    return list(session.scalars(wanted))


def nobodys(session: Session) -> list[tuple[str, int, str]]:
    """Pieces that are followed and homes that name no client: each what it is, its number and its name."""
    pieces = select(PieceRow.id, PieceRow.name).where(
        PieceRow.client_id.is_(None), PieceRow.retired_at.is_(None)
    )
    homes = select(Place.id, Place.name).where(Place.client_id.is_(None), Place.kind == "home")
    return [
        *(("piece", number, name) for number, name in session.execute(pieces.order_by(PieceRow.name))),
        *(("home", number, name) for number, name in session.execute(homes.order_by(Place.name))),
    ]
