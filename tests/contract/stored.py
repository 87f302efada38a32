"""What the book holds of each piece, stack and place, read straight from its tables."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.acts.book import load_piece
from model.records.schema.tables import (
    AirHour,
    Checkpoint,
    FitRow,
    Margin,
    MemberRow,
    Outlook,
    PieceRow,
    Place,
    Stack,
    Stay,
    Verdict,
)
from model.watch.state.humidity import ceiling_ahead
from model.wood.design.comfort import Comfort, comfort_of
from model.wood.design.design_range import design_range
from model.words.limits import limit_said

LIKELY_PCT = 50.0  # from this chance on nothing is called well


@dataclass(frozen=True)
class Limit:
    """One limit of a fit at the newest checkpoint."""

    fit: str
    name: str
    direction: str
    says: str
    margin_mm: float
    play_mm: float
    standing: str


@dataclass(frozen=True)
class Wood:
    """A part at its newest checkpoint."""

    name: str
    width_mm: float
    mc_mean_pct: float
    mc_face_pct: float
    mc_core_pct: float


@dataclass(frozen=True)
class StoredPiece:
    """A piece as the tables have it; `kind` is the one standing that every surface must give it."""

    id: int
    name: str
    place: str
    zone: str
    since_at: datetime
    verdict: str
    kind: str
    coming: tuple[dict[str, Any], ...] | None  # limits of the coming year; none where that isn't known
    said_at: datetime | None
    fit_kinds: dict[str, str]  # past, near, unknown, clear or working, by fit
    limits: tuple[Limit, ...]
    parts: tuple[Wood, ...]
    passed: tuple[dict[str, Any], ...]
    comfort: Comfort

    @property
    def likely(self) -> tuple[dict[str, Any], ...]:
        return tuple(one for one in self.coming or () if one["chance_pct"] >= LIKELY_PCT)

    def days(self, one: dict[str, Any], now: datetime) -> tuple[float, float]:
        """From when to when a limit is passed, in days from now."""
        assert self.said_at is not None
        old = (now - self.said_at) / timedelta(days=1)
        return max(one["low_days"] - old, 0.0), max(one["high_days"] - old, 0.0)


@dataclass(frozen=True)
class StoredStack:
    """A stack as the tables have it; `kind` is yes, no, unknown or working."""

    id: int
    name: str
    place: str
    kind: str
    ready: dict[str, Any]
    mc_pct: float | None


@dataclass(frozen=True)
class StoredPlace:
    id: int
    name: str
    verdict: str
    temperature_c: float | None
    rh_pct: float | None


def _verdicts(session: Session, kind: str) -> dict[int, Verdict]:
    rows = session.scalars(select(Verdict).where(Verdict.subject_kind == kind))
    return {row.subject_id: row for row in rows}


def _places_of(session: Session, owner: Any, now: datetime) -> dict[int, tuple[Place, datetime]]:
    rows = session.execute(
        select(owner, Place, Stay.since_at)
        .join(Place, Stay.place_id == Place.id)
        .where(owner.is_not(None), Stay.since_at <= now)
        .order_by(Stay.since_at)
    )
    return {number: (place, since_at) for number, place, since_at in rows}


def _newest(session: Session, now: datetime) -> dict[int, Checkpoint]:
    rows = session.scalars(select(Checkpoint).where(Checkpoint.at <= now).order_by(Checkpoint.at))
    return {row.body_id: row for row in rows}


def read_pieces(session: Session, now: datetime, working: frozenset[str]) -> tuple[StoredPiece, ...]:
    """Every piece; `working` names those whose stored answer holds no more."""
    verdicts, fit_verdicts = _verdicts(session, "piece"), _verdicts(session, "fit")
    where, newest = _places_of(session, Stay.piece_id, now), _newest(session, now)
    outlooks = {
        row.subject_id: row
        for row in session.scalars(
            select(Outlook).where(Outlook.subject_kind == "piece", Outlook.quantity == "rh_pct")
        )
    }
    found = []
    for row in session.scalars(select(PieceRow).order_by(PieceRow.name)):
        verdict, outlook = verdicts[row.id].verdict, outlooks.get(row.id)
        is_working = row.name in working
        is_known = not is_working and verdict != "unknown"
        coming = None
        if is_known and outlook is not None and outlook.detail["place_id"] == where[row.id][0].id:
            coming = tuple(outlook.detail["next"])
        wood = load_piece(session, row)
        fits = session.scalars(select(FitRow).where(FitRow.piece_id == row.id)).all()
        members = session.scalars(
            select(MemberRow).where(MemberRow.piece_id == row.id).order_by(MemberRow.id)
        ).all()
        said = {
            (fit.name, limit.name): limit_said(limit).replace("_", " ").lower()
            for fit in wood.fits.values()
            for limit in fit.limits({name: member.mc_pct for name, member in wood.members.items()})
        }
        place, since_at = where[row.id]
        found.append(
            StoredPiece(
                id=row.id,
                name=row.name,
                place=place.name,
                zone=place.zone,
                since_at=since_at,
                verdict=verdict,
                kind="working" if is_working else _kind(verdict, coming),
                coming=None
                if coming is None
                else tuple({**one, "says": said[one["fit"], one["limit"]]} for one in coming),
                said_at=outlook.at if outlook is not None else None,
                fit_kinds={
                    fit.name: "working" if is_working else fit_verdicts[fit.id].verdict for fit in fits
                },
                limits=tuple(one for fit in fits for one in _limits(session, fit, said, now)),
                parts=tuple(
                    Wood(one.name, at.width_mm, at.mc_mean_pct, at.mc_face_pct, at.mc_core_pct)
                    for one in members
                    if (at := newest.get(one.id)) is not None and at.width_mm is not None
                ),
                passed=tuple(one for fit in fits for one in _passed(session, fit, now)),
                comfort=comfort_of(wood, design_range(wood), ceiling_ahead(place.climate, now)),
            )
        )
    return tuple(found)


def _kind(verdict: str, coming: tuple[dict[str, Any], ...] | None) -> str:
    if verdict != "clear":
        return verdict
    if coming is None:
        return "dark"
    return "soon" if any(one["chance_pct"] >= LIKELY_PCT for one in coming) else "clear"


def _limits(session: Session, fit: FitRow, said: dict[tuple[str, str], str], now: datetime) -> list[Limit]:
    last = select(func.max(Margin.at)).where(Margin.fit_id == fit.id, Margin.at <= now).scalar_subquery()
    rows = session.scalars(select(Margin).where(Margin.fit_id == fit.id, Margin.at == last))
    return [
        Limit(
            fit.name,
            row.limit_name,
            row.direction,
            said[fit.name, row.limit_name],
            row.margin_mm,
            row.play_mm,
            row.standing,
        )
        for row in rows
    ]


def _passed(session: Session, fit: FitRow, now: datetime) -> list[dict[str, Any]]:
    """Stretches of checkpoints in which a limit of a fit stood past, each with how far and until when."""
    rows = session.scalars(
        select(Margin).where(Margin.fit_id == fit.id, Margin.at <= now).order_by(Margin.limit_name, Margin.at)
    ).all()
    found: list[dict[str, Any]] = []
    for limit, course in groupby(rows, key=lambda row: row.limit_name):
        stretch: list[Margin] = []
        for row in [*course, None]:
            if row is not None and row.standing == "past":
                stretch.append(row)
            elif stretch:
                worst = min(stretch, key=lambda one: one.margin_mm)
                found.append(
                    {
                        "fit": fit.name,
                        "limit": limit,
                        "direction": worst.direction,
                        "severity": worst.severity,
                        "from_at": stretch[0].standing_since_at,
                        "until_at": None if row is None else row.standing_since_at,
                        "worst_mm": max(-worst.margin_mm, 0.0),
                        "worst_at": worst.at,
                    }
                )
                stretch = []
    return found


def read_stacks(session: Session, now: datetime, working: frozenset[str]) -> tuple[StoredStack, ...]:
    verdicts = _verdicts(session, "stack")
    where, newest = _places_of(session, Stay.stack_id, now), _newest(session, now)
    found = []
    for row in session.scalars(select(Stack).order_by(Stack.name)):
        verdict = verdicts[row.id]
        kind = "yes" if verdict.detail["ready"]["is_ready"] else "no"
        if verdict.verdict == "unknown":
            kind = "unknown"
        if row.name in working:
            kind = "working"
        moisture = newest.get(row.id)
        found.append(
            StoredStack(
                row.id,
                row.name,
                where[row.id][0].name,
                kind,
                verdict.detail["ready"],
                moisture.mc_mean_pct if moisture is not None else None,
            )
        )
    return tuple(found)


def read_places(session: Session, now: datetime, working: frozenset[str]) -> tuple[StoredPlace, ...]:
    verdicts = _verdicts(session, "place")
    air = {
        row.place_id: row
        for row in session.scalars(select(AirHour).where(AirHour.hour_at <= now).order_by(AirHour.hour_at))
    }
    return tuple(
        StoredPlace(
            row.id,
            row.name,
            "unknown" if row.name in working else verdicts[row.id].verdict,
            air[row.id].temperature_c if row.id in air else None,
            air[row.id].rh_pct if row.id in air else None,
        )
        for row in session.scalars(select(Place).order_by(Place.name))
    )
