"""What is worth measuring on a piece or a stack: the act that shrinks a doubt that decides something most.

A doubt decides something where a limit lies within it, today or on the day of the half year ahead that comes
nearest to the limit; or where it leaves open whether a stack is ready. What a measurement would bring is
worked out as the book will, once it is in; one that brings less than a 64th is not asked for.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil, hypot, sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from model.answers.doubts import fit_doubts
from model.records.queries.answers import FitNow, MemberNow, Moisture, PieceNow, StackNow
from model.wood.doubt import SIZE_DOUBT_MM, WORTH_SAYING, start_doubt_pct
from model.wood.fits import Fit
from model.wood.material.instruments import METER_UNCERTAINTY_PCT
from model.wood.material.species import find_species
from model.wood.piece import Piece
from model.wood.reason import Reason

Act = Literal["caliper", "gauge", "strip", "meter", "weigh"]
Decides = Literal["harms", "ready", "shows"]
Floats = NDArray[np.float64]

RANK: Mapping[str, int] = {"harms": 0, "ready": 1, "shows": 2}
"""Harm before a decision that is due, and that before what only shows."""
AHEAD_DAYS = 183
NOW_FOR = timedelta(weeks=6)
"""So long a measurement that may be made today is useful where nothing ends it before."""
BEFORE_EXTREME, AFTER_EXTREME = timedelta(weeks=2), timedelta(weeks=3)
"""A gap hardly moves in so long about the day it is widest or narrowest (common practice, no source)."""
EXTREME_FROM_DAYS = 28
PANEL_MM = 300.0
"""The panel by which the doubt of a stack is told in millimetres."""


def measurement_key(quantity: str, body_id: int, fit_id: int | None) -> str:
    """The same for as long as the same is measured."""
    return f"{quantity} of {body_id}" + ("" if fit_id is None else f" at {fit_id}")


@dataclass(frozen=True)
class WorthMeasuring:
    """One measurement that is worth making.

    Attributes
    ----------
    kind, subject_id, subject : str, int, str
        The piece or the stack.
    body_id, fit_id, part, fit, quantity
        What would be recorded, and on what.
    act : str
        ``strip`` is a letter that a client reads.
    decides : str
        What hangs on it: a limit that harms or shows, or whether a stack is ready.
    reason : Reason
        With the doubt now and then.
    gain_mm : float
        How much smaller the doubt becomes.
    from_at, until_at : datetime
        While it is useful.
    """

    kind: Literal["piece", "stack"]
    subject_id: int
    subject: str
    body_id: int
    quantity: str
    act: Act
    decides: Decides
    reason: Reason
    gain_mm: float
    from_at: datetime
    until_at: datetime
    part: str | None = None
    fit_id: int | None = None
    fit: str | None = None

    @property
    def key(self) -> str:
        """The same for as long as the same is measured."""
        return measurement_key(self.quantity, self.body_id, self.fit_id)

    @property
    def rank(self) -> tuple[float, ...]:
        """The smaller the more it matters."""
        return RANK[self.decides], -self.gain_mm, self.subject_id

    def document(self) -> dict[str, Any]:
        """As JSON."""
        instants = {"from_at": self.from_at.isoformat(), "until_at": self.until_at.isoformat()}
        return {**vars(self), **instants, "reason": self.reason.document()}

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> "WorthMeasuring":
        instants = {name: datetime.fromisoformat(document[name]) for name in ("from_at", "until_at")}
        return cls(**{**document, **instants, "reason": Reason.of(document["reason"])})


@dataclass(frozen=True)
class LimitSpread:
    """A limit as the day's outlook has it: what is left now, and in the middle of the years by day [mm]."""

    fit: str
    limit: str
    severity: Decides
    seen: Reason
    now_mm: float
    middle_mm: Floats

    def nearest(self) -> tuple[int, float]:
        """In how many days it comes nearest to the limit, or goes farthest past it, and what is left then."""
        path = np.concatenate([[self.now_mm], self.middle_mm[:AHEAD_DAYS]])
        day = int(np.argmin(path))
        return day, float(path[day])


@dataclass(frozen=True)
class _Option:
    """An act on a part or a fit, and the piece as the book would have it then."""

    act: Act
    part: str
    quantity: str
    wood: Piece
    then: PieceNow
    sees_fit: bool = False


def of_piece(
    wood: Piece,
    piece: PieceNow,
    limits: Iterable[LimitSpread],
    mc_pct: Mapping[str, Floats],
    now: datetime,
) -> list[WorthMeasuring]:
    """What is worth measuring on a piece, the most first; each measurement once.

    Parameters
    ----------
    piece : PieceNow
        As `overview.piece` has it, its stays to come included.
    mc_pct : mapping of member name to (days,)
        What each is expected to hold at the end of each day ahead, in the middle of the years.
    """
    found: dict[str, WorthMeasuring] = {}
    for limit in limits:
        one = _of_limit(wood, piece, limit, mc_pct, now)
        if one is not None and (one.key not in found or one.rank < found[one.key].rank):
            found[one.key] = one
    return sorted(found.values(), key=lambda one: one.rank)


def _of_limit(
    wood: Piece, piece: PieceNow, limit: LimitSpread, mc_pct: Mapping[str, Floats], now: datetime
) -> WorthMeasuring | None:
    day, left_mm = limit.nearest()
    fit = wood.fits[limit.fit]
    held = {row.name: row.moisture for row in piece.members if row.moisture is not None}
    if any(member.name not in held or member.name not in mc_pct for member in fit.members):
        return None

    def doubt_mm(of: Piece, then: PieceNow) -> float:
        found = fit_doubts(of, _on_day(then, day, mc_pct), limit.fit)
        return found[limit.limit].total

    before_mm = doubt_mm(wood, piece)
    if abs(left_mm) > before_mm:
        return None
    options = list(_options(wood, piece, fit))
    if not options:
        return None
    best, after_mm = min(
        ((option, doubt_mm(option.wood, option.then)) for option in options), key=lambda one: one[1]
    )
    moved_at = min((stay.since_at for stay in piece.stays if stay.since_at > now), default=None)
    from_at, until_at = now, _useful_until(piece, limit, day, now)
    at_extreme = [one for one in options if one.act != "meter"]
    then_mm = hypot(SIZE_DOUBT_MM, *(member.sheet_doubt_mm for member in fit.members))
    waits = limit.severity == "shows" and then_mm < after_mm / 2.0
    if day > EXTREME_FROM_DAYS and at_extreme and (waits or not _is_worth(before_mm, after_mm)):
        best, after_mm = at_extreme[0], then_mm
        extreme_at = now + timedelta(days=day)
        from_at, until_at = extreme_at - BEFORE_EXTREME, extreme_at + AFTER_EXTREME
    if moved_at is not None:
        until_at = min(until_at, moved_at)
    if not _is_worth(before_mm, after_mm) or until_at <= from_at:
        return None
    part = next(row for row in piece.members if row.name == best.part)
    fit_row = next(row for row in piece.fits if row.name == limit.fit)
    values = {
        "how": best.act, "part": wood.members[best.part].called, "fit": fit.called, "seen": limit.seen,
        "doubt_mm": before_mm, "then_mm": after_mm,
    }  # fmt: skip
    return WorthMeasuring(
        kind="piece",
        subject_id=piece.id,
        subject=piece.name,
        body_id=part.id,
        quantity=best.quantity,
        act=best.act,
        decides=limit.severity,
        reason=Reason("measure", values),
        gain_mm=before_mm - after_mm,
        from_at=from_at,
        until_at=until_at,
        part=best.part,
        fit_id=fit_row.id if best.sees_fit else None,
        fit=limit.fit if best.sees_fit else None,
    )


def _is_worth(before_mm: float, after_mm: float) -> bool:
    """Whether a doubt shrinks enough to be said, by a 64th at least (as `model.wood.doubt` says it)."""
    marked, then_marked = (ceil(size / SIZE_DOUBT_MM - 1e-9) for size in (before_mm, after_mm))
    return after_mm <= WORTH_SAYING * before_mm and then_marked < marked


def _useful_until(piece: PieceNow, limit: LimitSpread, day: int, now: datetime) -> datetime:
    """Until when a measurement made now tells of a limit: until it may be reached, else for some weeks."""
    crossing = next(
        (one for one in piece.next or () if (one.fit, one.limit) == (limit.fit, limit.limit)), None
    )
    ends = [now + NOW_FOR]
    if crossing is not None:
        ends.append(crossing.from_at if crossing.from_at > now + timedelta(days=7) else crossing.until_at)
    if day > 7:
        ends.append(now + timedelta(days=day))
    return min(max(end, now + timedelta(days=7)) for end in ends)


def _on_day(piece: PieceNow, day: int, mc_pct: Mapping[str, Floats]) -> PieceNow:
    """The piece with what its parts are expected to hold some days ahead, as sure as today."""
    if day == 0:
        return piece

    def then(row: MemberNow) -> MemberNow:
        if row.moisture is None or row.name not in mc_pct:
            return row
        mean = float(mc_pct[row.name][day - 1])
        at = row.moisture.at + timedelta(days=day)
        return replace(row, moisture=replace(row.moisture, at=at, mc_mean_pct=mean))

    return replace(piece, members=tuple(then(row) for row in piece.members))


# ---------------------------------------------------------------- what may be measured


def _options(wood: Piece, piece: PieceNow, fit: Fit) -> Iterator[_Option]:
    """What can be measured for a fit where it stands: at a client's home what the strip reads, else all."""
    rows = {row.name: row for row in piece.members}
    at_home = piece.place is not None and piece.place.kind == "home"
    if fit.takes_strip:
        quantity, _, _ = fit.strip_reading(1.0, 1.0)
        part = fit.members[0].name
        then = (
            _with_gap(piece, fit)
            if quantity == "gap_mm"
            else _with_width(piece, rows[part], wood.members[part].width_mm)
        )
        if at_home or quantity == "gap_mm":
            act: Act = "strip" if at_home else "gauge"
            yield _Option(act, part, quantity, wood, then, sees_fit=quantity == "gap_mm")
    if at_home:
        return
    hidden = {member.name for one in wood.fits.values() if one.hides_edges for member in one.members}
    for member in fit.members:
        row = rows[member.name]
        if member.name not in hidden:
            yield _Option("caliper", member.name, "width_mm", wood, _with_width(piece, row, member.width_mm))
        yield _Option("meter", member.name, "mc_pct", *_metered(wood, piece, row))


def _of_part(piece: PieceNow, name: str, row: MemberNow) -> PieceNow:
    return replace(piece, members=tuple(row if one.name == name else one for one in piece.members))


def _with_width(piece: PieceNow, row: MemberNow, built_mm: float) -> PieceNow:
    """With a part's width measured today, found as foreseen."""
    assert row.moisture is not None
    width_mm = row.moisture.width_mm or built_mm
    return _of_part(piece, row.name, replace(row, re_measured=(row.moisture.at, width_mm, row.moisture)))


def _with_gap(piece: PieceNow, fit: Fit) -> PieceNow:
    """With a fit's gap read today, found as foreseen."""
    names = {member.name for member in fit.members}
    held: dict[str, Moisture] = {
        row.name: row.moisture for row in piece.members if row.name in names and row.moisture is not None
    }
    gap = fit.gap_now({name: one.mc_mean_pct for name, one in held.items()})
    read = {name: (one.at, float(gap or 0.0), one) for name, one in held.items()}

    def with_it(row: FitNow) -> FitNow:
        return replace(row, gap_read=read) if row.name == fit.name else row

    return replace(piece, fits=tuple(with_it(row) for row in piece.fits))


def _metered(wood: Piece, piece: PieceNow, row: MemberNow) -> tuple[Piece, PieceNow]:
    """With a part metered today, found as foreseen: what it holds is surer, and a part measured of late was
    measured at a moisture that is surer too."""
    assert row.moisture is not None
    known, meter = row.moisture.mc_doubt_pct, METER_UNCERTAINTY_PCT
    share = meter**2 / (known**2 + meter**2)
    surer = replace(row.moisture, variance_pct2=row.moisture.variance_pct2 * share)
    since = row.re_measured[0] if row.re_measured is not None else row.start_at
    start = start_doubt_pct(wood.members[row.name])
    if row.re_measured is None and row.moisture.at - since < timedelta(days=1):
        start *= sqrt(share)
    named = row.name
    changed = wood.with_members(
        lambda member: replace(member, mc_doubt_pct=start) if member.name == named else member
    )
    return changed, _of_part(piece, row.name, replace(row, moisture=surer))


# ---------------------------------------------------------------- stacks


def of_stack(
    stack: StackNow, board_doubt_pct: float | None, within_pct: float, now: datetime
) -> WorthMeasuring | None:
    """Whether metering a stack, or weighing the witness board that is kept with it, tells if it is ready.

    Parameters
    ----------
    board_doubt_pct : float or None
        The ± of the moisture that the board's weight tells [points]; None where no board is kept.
    within_pct : float
        How near to its target a stack is ready [points].
    """
    ready, lumber = stack.ready, stack.lumber
    if ready.target_mc_pct is None or lumber is None or stack.moisture is None:
        return None
    mc_pct, doubt_pct = stack.mc_known
    off_pct = abs(mc_pct - ready.target_mc_pct)
    if abs(off_pct - within_pct) > doubt_pct:
        return None
    act: Act = "meter" if board_doubt_pct is None else "weigh"
    sure_pct = METER_UNCERTAINTY_PCT if board_doubt_pct is None else board_doubt_pct
    then_pct = doubt_pct * sure_pct / hypot(doubt_pct, sure_pct)
    per_pct_mm = PANEL_MM * find_species(lumber.species).c_tangential_per_pct
    if not _is_worth(doubt_pct * per_pct_mm, then_pct * per_pct_mm):
        return None
    from_at = now if ready.from_at is None else max(now, ready.from_at - BEFORE_EXTREME)
    until_at = max(ready.until_at or now + NOW_FOR, from_at + timedelta(days=7))
    values = {"how": act, "stack": stack.name, "doubt_pct": doubt_pct, "then_pct": then_pct}
    return WorthMeasuring(
        kind="stack",
        subject_id=stack.id,
        subject=stack.name,
        body_id=stack.id,
        quantity="mc_pct",
        act=act,
        decides="ready",
        reason=Reason("measure-stack", values),
        gain_mm=(doubt_pct - then_pct) * per_pct_mm,
        from_at=from_at,
        until_at=until_at,
    )


def most_first(found: Sequence[WorthMeasuring]) -> list[WorthMeasuring]:
    """By what they matter, over all pieces and stacks."""
    return sorted(found, key=lambda one: one.rank)
