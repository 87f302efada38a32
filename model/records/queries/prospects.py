"""What may come of a piece and what has been: limits that the coming year may pass, and those passed.

`next` is read from the outlook that the watch stored, `since` from how each limit stood at every checkpoint.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.queries.answers import Coming, PassedSpan, PieceNow
from model.records.schema.tables import Margin, MemberRow, Outlook, PieceRow, Stack
from model.wood.reason import Reason

OUTLOOK_OLD = timedelta(hours=73)
"""An outlook is made every midnight; after three that were missed the last says nothing of today."""
WORKING, NO_AIR, NOWHERE = (Reason(f"year-{why}") for why in ("working", "no-air", "nowhere"))


def resting(session: Session, now: datetime) -> list[tuple[str, int, str, str, str]]:
    """What rests yet: stack or piece, its number, its name, which part of a piece, and until which day.

    Of a stack the part is empty.
    """
    stack_until = Stack.document["rest_until"].as_string()
    part_until = MemberRow.document["rest_until"].as_string()
    today = now.date().isoformat()
    stacks = session.execute(
        select(Stack.id, Stack.name, stack_until).where(Stack.retired_at.is_(None), stack_until > today)
    )
    parts = session.execute(
        select(PieceRow.id, PieceRow.name, MemberRow.name, part_until)
        .select_from(MemberRow)
        .join(PieceRow, PieceRow.id == MemberRow.piece_id)
        .where(PieceRow.retired_at.is_(None), part_until > today)
    )
    found = [("stack", number, name, "", until) for number, name, until in stacks]
    return found + [("piece", number, name, part, until) for number, name, part, until in parts]


def with_next(session: Session, pieces: Sequence[PieceNow], now: datetime) -> tuple[PieceNow, ...]:
    """The same pieces with what the coming year is likely to bring."""
    ids = [piece.id for piece in pieces]
    rows = session.execute(
        select(Outlook.subject_id, Outlook.at, Outlook.detail).where(
            Outlook.subject_kind == "piece", Outlook.quantity == "rh_pct", Outlook.subject_id.in_(ids)
        )
    )
    stored = {number: (at, detail) for number, at, detail in rows}
    return tuple(_with_next(piece, stored.get(piece.id), now) for piece in pieces)


def _with_next(piece: PieceNow, stored: tuple[datetime, Mapping[str, Any]] | None, now: datetime) -> PieceNow:
    if piece.place is None:
        return replace(piece, next=None, next_reason=NOWHERE)
    if piece.judgement.is_current and piece.judgement.verdict == "unknown" and piece.place.last_reading_at:
        silent = Reason("year-silent", {"place": piece.place.name})
        return replace(piece, next=None, next_reason=silent)
    if piece.judgement.is_current and piece.place.last_reading_at is None and piece.place.air is None:
        return replace(piece, next=None, next_reason=NO_AIR)
    said_at, detail = stored or (now, {})
    is_of_today = now - said_at <= OUTLOOK_OLD and detail.get("place_id", piece.place.id) == piece.place.id
    if not piece.judgement.is_current or not is_of_today or "next" not in detail:
        return replace(piece, next=None, next_reason=WORKING)
    return replace(piece, next=tuple(_coming(one, said_at) for one in detail["next"]), next_reason=None)


def _coming(one: Mapping[str, Any], said_at: datetime) -> Coming:
    return Coming(
        fit=one["fit"],
        limit=one["limit"],
        direction=one["direction"],
        severity=one["severity"],
        seen=Reason.of(one["seen"]),
        chance_pct=one["chance_pct"],
        from_at=said_at + timedelta(days=one["low_days"]),
        until_at=said_at + timedelta(days=one["high_days"]),
        said_at=said_at,
        lever=one.get("lever"),
    )


def clearing(
    session: Session, fits: Sequence[int], now: datetime
) -> dict[tuple[int, str], tuple[datetime, datetime]]:
    """When limits that are past today come back by themselves, by fit and limit, where that is known."""
    rows = session.execute(
        select(Outlook.subject_id, Outlook.quantity, Outlook.at, Outlook.detail).where(
            Outlook.subject_kind == "fit", Outlook.subject_id.in_(fits), Outlook.at >= now - OUTLOOK_OLD
        )
    )
    return {
        (fit_id, limit): (at + timedelta(days=days["low_days"]), at + timedelta(days=days["high_days"]))
        for fit_id, limit, at, detail in rows
        if (days := detail.get("clears"))
    }


def passed(session: Session, fits: Mapping[int, str], now: datetime) -> tuple[PassedSpan, ...]:
    """The stretches in which limits of some fits were passed, by name of the fit, first to last."""
    return in_order(span for spans in passed_by_fit(session, fits, now).values() for span in spans)


def in_order(spans: Iterable[PassedSpan]) -> tuple[PassedSpan, ...]:
    """Stretches of several fits, first to last."""
    return tuple(sorted(spans, key=lambda one: (one.from_at, one.fit, one.limit)))


def passed_by_fit(
    session: Session, fits: Mapping[int, str], now: datetime
) -> defaultdict[int, list[PassedSpan]]:
    """The same by the fit's id, in two statements however many fits there are.

    A standing lasts a day at least, so that every stretch has a checkpoint in it.
    """
    key = Margin.fit_id, Margin.limit_name, Margin.standing_since_at
    known = Margin.fit_id.in_(fits), Margin.at <= now
    rows = session.execute(
        select(*key, Margin.direction, Margin.severity, Margin.at, Margin.margin_mm)
        .where(*known, Margin.standing == "past")
        .order_by(*key, Margin.at)
    ).all()
    found: defaultdict[int, list[PassedSpan]] = defaultdict(list)
    if not rows:
        return found
    harmed = {row.fit_id for row in rows}
    ends: defaultdict[tuple[int, str], list[tuple[datetime, datetime]]] = defaultdict(list)
    for fit_id, limit, since_at, at in session.execute(
        select(*key, func.max(Margin.at)).where(Margin.fit_id.in_(harmed), Margin.at <= now).group_by(*key)
    ):
        ends[fit_id, limit].append((at, since_at))
    for (fit_id, limit, from_at), group in groupby(rows, key=lambda row: row[:3]):
        stretch = list(group)
        worst = min(stretch, key=lambda row: row.margin_mm)
        # Of the standings that end later, the next one ends first.
        after = min((one for one in ends[fit_id, limit] if one[0] > stretch[-1].at), default=(None, None))
        far = fits[fit_id], limit, worst.direction, worst.severity
        span = PassedSpan(*far, from_at, after[1], max(-worst.margin_mm, 0.0), worst.at)
        found[fit_id].append(span)
    return found
