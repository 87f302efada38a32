"""Writing the shop's book: pieces and stacks, and where they stand.

Each function is one change within the caller's unit of work. It checks first, says in one sentence what
is wrong (`BadInput`), and takes back whatever was computed from what it changes, so that the watch
computes that part of the past again. Places are in `places`, measurements in `measured`,
sensors' places in `hangings`.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.clients import client_named, piece_table_of
from model.records.acts.invalidation import aware, forget_subject, note_change, rewind
from model.records.acts.lumber import Lumber, lumber_from_document
from model.records.acts.places import free_name
from model.records.schema.tables import (
    FitRow,
    MemberRow,
    PieceRow,
    Place,
    Stack,
    Stay,
    Warning,
)
from model.wood.errors import BadInput
from model.wood.piece import Piece as WoodPiece
from model.wood.piece import document_of, piece_from_document

Owner = PieceRow | Stack


# ---------------------------------------------------------------- pieces


def add_piece(
    session: Session,
    piece: WoodPiece,
    place: Place,
    since_at: datetime,
    recorded_at: datetime | None = None,
) -> PieceRow:
    """Record a piece that stands at a place since an instant.

    Each member starts from the moisture content of its document, at its own `measured_at` where that is
    given, else at `since_at`; the moisture is taken as even through its thickness.

    Returns
    -------
    Piece
        The stored row, flushed, with its members, fits and first stay.
    """
    where = f"piece {piece.name}"
    since_at = aware(since_at, where, "since_at")
    name = free_name(session, PieceRow, piece.name, "piece")
    note_change(session)
    tables = document_of(piece)
    row = PieceRow(name=name, recorded_at=recorded_at or since_at)
    _write_piece(session, row, piece, tables)
    session.add(row)
    row.stays.append(Stay(place_id=place.id, since_at=since_at))
    _write_parts(row, piece, tables, since_at)
    session.flush()
    return row


def replace_piece(session: Session, row: PieceRow, piece: WoodPiece) -> None:
    """Correct a piece's record: members and fits as given now, stays and measurements kept.

    All of it is computed again. A member or fit of the same name is the same one; one that is gone
    takes its measurements with it.
    """
    if piece.name != row.name:
        row.name = free_name(session, PieceRow, piece.name, "piece")
    note_change(session)
    rewind(session, row)
    tables = document_of(piece)
    _write_piece(session, row, piece, tables)
    for fit in [fit for fit in row.fits if fit.name not in piece.fits]:
        forget_subject(session, "fit", fit.id)
        row.fits.remove(fit)
    for member in [member for member in row.members if member.name not in piece.members]:
        row.members.remove(member)
    first = min(row.stays, key=lambda stay: stay.since_at, default=None)
    _write_parts(row, piece, tables, first.since_at if first else row.recorded_at)
    session.flush()


def load_piece(session: Session, row: PieceRow) -> WoodPiece:
    """The piece of a stored row, as the science knows it."""
    document = {
        "piece": piece_table_of(row),
        "part": {member.name: member.document for member in sorted(row.members, key=lambda m: m.id)},
        "fit": {fit.name: fit.document for fit in sorted(row.fits, key=lambda f: f.id)},
    }
    return piece_from_document(document, f"piece {row.name}")


def _write_piece(session: Session, row: PieceRow, piece: WoodPiece, tables: Mapping[str, Any]) -> None:
    """Set a piece's own table, its client as a row of their own."""
    row.client = client_named(session, piece.details.get("client", ""))
    row.document = {key: value for key, value in tables["piece"].items() if key != "client"}


def _write_parts(row: PieceRow, piece: WoodPiece, tables: Mapping[str, Any], since_at: datetime) -> None:
    """Set the rows of members and fits to a piece's tables; rows of the same name are kept."""
    members = {member.name: member for member in row.members}
    for name, member in piece.members.items():
        stored = members.get(name)
        if stored is None:
            stored = MemberRow(name=name)
            row.members.append(stored)
        stored.document = tables["part"][name]
        stored.start_at = member.measured_at or since_at
        stored.start_mc_pct = member.mc_pct
        stored.start_basis = member.mc_basis
    fits = {fit.name: fit for fit in row.fits}
    for name, table in tables.get("fit", {}).items():
        fit_row = fits.get(name)
        if fit_row is None:
            fit_row = FitRow(name=name)
            row.fits.append(fit_row)
        fit_row.kind = piece.fits[name].kind
        fit_row.document = table


# ---------------------------------------------------------------- stacks


def add_stack(
    session: Session,
    name: str,
    document: Mapping[str, Any],
    place: Place,
    since_at: datetime,
    destination: Place | None = None,
) -> Stack:
    """Record a stack of lumber: its document's keys are those of `Lumber`, lengths in mm."""
    where = f"stack {name}"
    since_at = aware(since_at, where, "since_at")
    lumber = lumber_from_document(document, where)
    name = _free_stack_name(session, name)
    note_change(session)
    stack = Stack(name=name, start_at=since_at)
    session.add(stack)
    _write_stack(stack, document, lumber, destination)
    stack.stays.append(Stay(place_id=place.id, since_at=since_at))
    session.flush()
    return stack


def replace_stack(
    session: Session,
    stack: Stack,
    document: Mapping[str, Any],
    destination: Place | None = None,
    name: str | None = None,
) -> None:
    """Correct a stack's record, its name too where one is given, and compute it again."""
    lumber = lumber_from_document(document, f"stack {stack.name}")
    if name is not None and name.strip() != stack.name:
        stack.name = _free_stack_name(session, name)
    note_change(session)
    rewind(session, stack)
    _write_stack(stack, document, lumber, destination)
    session.flush()


def _free_stack_name(session: Session, name: str) -> str:
    """A name no other stack in use has; one that is used up gives its name free."""
    name = name.strip()
    taken = select(Stack.id).where(Stack.name == name, Stack.retired_at.is_(None))
    if not name or session.scalar(taken) is not None:
        raise BadInput("", "stack name", "must be given and not yet taken", name)
    return name


def _write_stack(
    stack: Stack, document: Mapping[str, Any], lumber: Lumber, destination: Place | None
) -> None:
    stack.document = dict(document)
    stack.start_mc_pct = lumber.mc_pct
    stack.start_basis = lumber.mc_basis
    stack.destination_id = destination.id if destination else None


# ---------------------------------------------------------------- where they stand


def move(session: Session, owner: Owner, place: Place, at: datetime) -> Stay:
    """A piece or a stack stands at another place from an instant on."""
    where = _says(owner)
    at = aware(at, where, "at")
    last = max(owner.stays, key=lambda stay: stay.since_at, default=None)
    if owner.retired_at is not None:
        raise BadInput(where, "move", "must come before it was retired", at.isoformat())
    if last is not None and at <= last.since_at:
        raise BadInput(
            where, "at", f"must come after its last move ({last.since_at.isoformat()})", at.isoformat()
        )
    if last is not None and last.until_at is None and last.place_id == place.id:
        raise BadInput(where, "place", "must be another than where it stands", place.name)
    note_change(session)
    rewind(session, owner, at)
    if last is not None and (last.until_at is None or last.until_at > at):
        last.until_at = at
    stay = Stay(place_id=place.id, since_at=at)
    owner.stays.append(stay)
    session.flush()
    return stay


def retire(session: Session, owner: Owner, at: datetime) -> None:
    """Follow a piece or stack no more from an instant on; its past is kept."""
    at = aware(at, _says(owner), "at")
    first = min(owner.stays, key=lambda stay: stay.since_at, default=None)
    if first is not None and at <= first.since_at:
        raise BadInput(_says(owner), "at", f"must come after {first.since_at.isoformat()}", at.isoformat())
    note_change(session)
    rewind(session, owner, at)
    owner.retired_at = at
    session.flush()


def restore(session: Session, owner: Owner) -> None:
    """Follow a piece or stack again, as if it had never been archived."""
    if owner.retired_at is not None:
        note_change(session)
        rewind(session, owner)
        owner.retired_at = None
        session.flush()


def acknowledge(session: Session, warning: Warning, act: str, at: datetime) -> None:
    """Say by which act of the trade a warning was answered; it stays until the wood has answered too."""
    if not act.strip():
        raise BadInput("warning", "trade act", "must be given (eased it, moved it, client told ...)", act)
    warning.acknowledged_at = aware(at, "warning", "at")
    warning.trade_act = act.strip()
    session.flush()


def _says(owner: Owner) -> str:
    return f"{'piece' if isinstance(owner, PieceRow) else 'stack'} {owner.name}"
