"""What a page asks the book for: plain frozen answers in SI, read in a few statements each.

Nothing here computes wood or writes a record. Every answer is a dataclass, so that a page can be tested on
one made by hand.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.acts.clients import piece_table_of, with_client
from model.records.acts.dismissed import waiting
from model.records.queries.answers import (
    AirNow,
    Coming,
    Event,
    FitNow,
    Judgement,
    MarginNow,
    MemberNow,
    Moisture,
    PassedSpan,
    PieceNow,
    PlaceNow,
    Ready,
    ShopNow,
    StackNow,
    StayNow,
    Subject,
    WarningNow,
    of_row,
)
from model.records.queries.health import health
from model.records.queries.learned import learned_now
from model.records.queries.places_now import places
from model.records.queries.prospects import clearing, passed, with_next
from model.records.queries.subjects import subjects
from model.records.queries.verdicts import judgements
from model.records.schema.tables import (
    Checkpoint,
    Client,
    FitRow,
    HeardMessage,
    Margin,
    Measurement,
    MemberRow,
    PieceRow,
    Place,
    Sensor,
    Stack,
    Stay,
    Warning,
)
from model.wood.errors import BadInput

__all__ = [
    "AirNow",
    "Coming",
    "Event",
    "FitNow",
    "Judgement",
    "MarginNow",
    "MemberNow",
    "Moisture",
    "PassedSpan",
    "PieceNow",
    "PlaceNow",
    "Ready",
    "ShopNow",
    "StackNow",
    "StayNow",
    "Subject",
    "WarningNow",
    "health",
    "measurements",
    "piece",
    "pieces",
    "places",
    "shop",
    "stack_named",
    "stacks",
    "stays",
    "subjects",
    "warnings",
    "with_parts",
    "with_sizes",
]

# ---------------------------------------------------------------- pieces


def pieces(
    session: Session,
    now: datetime,
    retired: bool = False,
    known: tuple[PlaceNow, ...] | None = None,
    parts: bool = True,
    at: int | None = None,
) -> tuple[PieceNow, ...]:
    """Every piece with its verdict, by name; those retired only when asked for.

    Parameters
    ----------
    at : int, optional
        Only those that stand at this place now.
    known : tuple of PlaceNow, optional
        The places, where they are read already.
    parts : bool
        With members and fits and how each fit stands, which a list of many pieces can do without.
    """
    wanted = (
        select(
            PieceRow.id,
            PieceRow.name,
            PieceRow.document,
            PieceRow.retired_at,
            PieceRow.client_id,
            Client.name.label("client"),
        )
        .outerjoin(Client)
        .order_by(PieceRow.name)
    )
    if not retired:
        wanted = wanted.where(PieceRow.retired_at.is_(None))
    where = _standing(session, Stay.piece_id, now)
    standing_places = {place.id: place for place in (places(session, now) if known is None else known)}
    if at is not None:
        wanted = wanted.where(
            PieceRow.id.in_([number for number, (place_id, _) in where.items() if place_id == at])
        )
    rows = session.execute(wanted).all()
    judged = judgements(session, "piece", [row.id for row in rows], now)
    found = tuple(
        PieceNow(
            id=row.id,
            name=row.name,
            document=with_client(row.document, row.client),
            client_id=row.client_id,
            place=standing_places.get(where[row.id][0]) if row.id in where else None,
            since_at=where[row.id][1] if row.id in where else None,
            judgement=judged[row.id],
            retired_at=row.retired_at,
        )
        for row in rows
    )
    found = with_next(session, found, now)
    return with_parts(session, found, now) if parts else found


def with_parts(session: Session, found: Sequence[PieceNow], now: datetime) -> tuple[PieceNow, ...]:
    """The same pieces with their members and fits."""
    ids = [piece.id for piece in found]
    fits: dict[int, list[FitNow]] = defaultdict(list)
    fit_rows = select(FitRow.id, FitRow.piece_id, FitRow.name, FitRow.kind, FitRow.document).where(
        FitRow.piece_id.in_(ids)
    )
    rows = session.execute(fit_rows.order_by(FitRow.id)).all()
    judged = judgements(session, "fit", [row.id for row in rows], now)
    for row in rows:
        fits[row.piece_id].append(FitNow(row.id, row.name, row.kind, row.document, judged[row.id]))
    members: dict[int, list[MemberNow]] = defaultdict(list)
    member_rows = select(
        MemberRow.piece_id,
        MemberRow.id,
        MemberRow.name,
        MemberRow.document,
        MemberRow.start_at,
        MemberRow.start_mc_pct,
        MemberRow.start_basis,
    )
    for member in session.execute(member_rows.where(MemberRow.piece_id.in_(ids)).order_by(MemberRow.id)):
        members[member.piece_id].append(of_row(MemberNow, member))
    return tuple(
        replace(piece, fits=tuple(fits[piece.id]), members=tuple(members[piece.id])) for piece in found
    )


def with_sizes(session: Session, found: Sequence[PieceNow], now: datetime) -> tuple[PieceNow, ...]:
    """The same pieces with members and fits, what each member holds now and what was measured last."""
    found = with_parts(session, found, now)
    ids = [member.id for piece in found for member in piece.members]
    moist, since = _latest_moisture(session, ids, now), _measured_since(session, ids, now)
    taught = learned_now(session, ids, now)

    def read(fit: FitNow, members: Sequence[MemberNow]) -> FitNow:
        gaps = {one.name: since[fit.id, one.id] for one in members if (fit.id, one.id) in since}
        return replace(fit, gap_read=gaps)

    def held(one: MemberNow) -> MemberNow:
        return replace(
            one,
            moisture=moist.get(one.id),
            re_measured=since.get((None, one.id)),
            learned=taught.get(one.id),
        )

    return tuple(
        replace(
            piece,
            fits=tuple(read(fit, piece.members) for fit in piece.fits),
            members=tuple(held(one) for one in piece.members),
        )
        for piece in found
    )


Readings = dict[tuple[int | None, int], tuple[datetime, float, Moisture]]


def _measured_since(session: Session, ids: Sequence[int], now: datetime) -> Readings:
    """The last width measured of each body, by no fit, and the last gap read of each fit by body: when, the
    size, and what the body held then."""
    wanted = select(Measurement).where(
        Measurement.body_id.in_(ids),
        Measurement.quantity.in_(("width_mm", "gap_mm")),
        Measurement.undone_at.is_(None),
        Measurement.at <= now,
    )
    found: Readings = {}
    for row in session.scalars(wanted.order_by(Measurement.at)):
        of_fit = row.fit_id if row.quantity == "gap_mm" else None
        held = _latest_moisture(session, ids if of_fit is not None else [row.body_id], row.at)
        found |= {(of_fit, body_id): (row.at, row.value, then) for body_id, then in held.items()}
    return found


def piece(session: Session, piece_id: int, now: datetime) -> PieceNow | None:
    """One piece with members, moisture and every margin; none when there is no such piece."""
    row = session.get(PieceRow, piece_id)
    if row is None:
        return None
    where = _standing(session, Stay.piece_id, now).get(piece_id)
    standing = places(session, now, only=where[0]) if where else ()
    found = PieceNow(
        id=row.id,
        name=row.name,
        document=piece_table_of(row),
        client_id=row.client_id,
        place=standing[0] if standing else None,
        since_at=where[1] if where else None,
        judgement=judgements(session, "piece", [piece_id], now)[piece_id],
        stays=stays(session, piece_id=piece_id),
        retired_at=row.retired_at,
    )
    (found,) = with_sizes(session, [found], now)
    margins = _latest_margins(session, [fit.id for fit in found.fits], now)
    found = replace(
        found,
        fits=tuple(replace(fit, margins=tuple(margins.get(fit.id, ()))) for fit in found.fits),
        since=passed(session, {fit.id: fit.name for fit in found.fits}, now),
    )
    return with_next(session, [found], now)[0]


def stays(session: Session, piece_id: int | None = None, stack_id: int | None = None) -> tuple[StayNow, ...]:
    """Where a piece or a stack stood, first to last."""
    owner = Stay.piece_id == piece_id if piece_id is not None else Stay.stack_id == stack_id
    rows = session.execute(select(Stay, Place).join(Place).where(owner).order_by(Stay.since_at))
    return tuple(
        StayNow(place.id, place.name, place.zone, stay.since_at, stay.until_at) for stay, place in rows
    )


def _standing(session: Session, owner: Any, now: datetime) -> dict[int, tuple[int, datetime]]:
    rows = session.execute(
        select(owner, Stay.place_id, Stay.since_at)
        .where(
            owner.is_not(None),
            Stay.since_at <= now,
            (Stay.until_at.is_(None)) | (Stay.until_at > now),
        )
        .order_by(Stay.since_at)
    )
    return {owner_id: (place_id, since_at) for owner_id, place_id, since_at in rows}


def _latest_margins(session: Session, ids: Sequence[int], now: datetime) -> dict[int, list[MarginNow]]:
    newest = (
        select(Margin.fit_id, Margin.limit_name, func.max(Margin.at).label("at"))
        .where(Margin.fit_id.in_(ids), Margin.at <= now)
        .group_by(Margin.fit_id, Margin.limit_name)
        .subquery()
    )
    found: dict[int, list[MarginNow]] = defaultdict(list)
    back = clearing(session, ids, now)
    for row in session.scalars(
        select(Margin).join(
            newest,
            (Margin.fit_id == newest.c.fit_id)
            & (Margin.limit_name == newest.c.limit_name)
            & (Margin.at == newest.c.at),
        )
    ):
        clears = back.get((row.fit_id, row.limit_name)) if row.standing == "past" else None
        found[row.fit_id].append(of_row(MarginNow, row, clears=clears))
    return found


def _latest_moisture(session: Session, ids: Iterable[int], now: datetime) -> dict[int, Moisture]:
    wanted = list(ids)
    newest = (
        select(Checkpoint.body_id, func.max(Checkpoint.at).label("at"))
        .where(Checkpoint.body_id.in_(wanted), Checkpoint.at <= now)
        .group_by(Checkpoint.body_id)
        .subquery()
    )
    rows = session.scalars(
        select(Checkpoint).join(
            newest, (Checkpoint.body_id == newest.c.body_id) & (Checkpoint.at == newest.c.at)
        )
    )
    return {row.body_id: of_row(Moisture, row) for row in rows}


# ---------------------------------------------------------------- stacks


def stacks(
    session: Session, now: datetime, only: int | None = None, known: tuple[PlaceNow, ...] | None = None
) -> tuple[StackNow, ...]:
    """Every stack still in use with its moisture, by name; or one, used up or not."""
    wanted = select(Stack).order_by(Stack.name)
    wanted = wanted.where(Stack.id == only) if only is not None else wanted.where(Stack.retired_at.is_(None))
    rows = session.scalars(wanted).all()
    where = _standing(session, Stay.stack_id, now)
    standing_places = {place.id: place for place in (places(session, now) if known is None else known)}
    judged = judgements(session, "stack", [row.id for row in rows], now)
    moist = _latest_moisture(session, [row.id for row in rows], now)
    taught = learned_now(session, [row.id for row in rows], now)
    return tuple(
        StackNow(
            id=row.id,
            name=row.name,
            document=row.document,
            place=standing_places.get(where[row.id][0]) if row.id in where else None,
            destination=standing_places.get(row.destination_id) if row.destination_id is not None else None,
            start_at=row.start_at,
            start_mc_pct=row.start_mc_pct,
            moisture=moist.get(row.id),
            learned=taught.get(row.id),
            judgement=judged[row.id],
            retired_at=row.retired_at,
        )
        for row in rows
    )


def stack_named(session: Session, now: datetime, name: str) -> StackNow:
    """The stack in use of a name; BadInput with the names there are."""
    known = stacks(session, now)
    for stack in known:
        if stack.name.casefold() == name.casefold():
            return stack
    names = ", ".join(stack.name for stack in known) or "there is none"
    raise BadInput("", "stack", f"must be one that is on the book ({names})", name)


# ---------------------------------------------------------------- warnings, and the first page


def warnings(session: Session, open_only: bool = True, limit: int = 200) -> tuple[WarningNow, ...]:
    """Warnings, newest first."""
    wanted = select(Warning).order_by(Warning.opened_at.desc(), Warning.id.desc()).limit(limit)
    if open_only:
        wanted = wanted.where(Warning.closed_at.is_(None))
    return tuple(of_row(WarningNow, row) for row in session.scalars(wanted))


def measurements(session: Session, body_id: int) -> tuple[Event, ...]:
    """What was measured on a body and not undone, first to last."""
    rows = session.scalars(
        select(Measurement)
        .where(Measurement.body_id == body_id, Measurement.undone_at.is_(None))
        .order_by(Measurement.at)
    )
    return tuple(Event(row.at, row.quantity, row.how or "measured", row.value) for row in rows)


def shop(session: Session, now: datetime, parts: bool = True) -> ShopNow:
    """Everything the first page tells of, in one unit of work; `parts` as in `pieces`."""
    known = places(session, now)
    return ShopNow(
        places=known,
        stacks=stacks(session, now, known=known),
        pieces=pieces(session, now, known=known, parts=parts),
        warnings=warnings(session),
        heard_topics=session.scalar(select(func.count(func.distinct(HeardMessage.topic))).where(waiting()))
        or 0,
        sensors=session.scalar(select(func.count()).select_from(Sensor)) or 0,
    )
