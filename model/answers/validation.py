"""Predictions beside measurements: bias and spread, per piece and over all.

The prediction for a width, a gap or a moisture content rests on the moisture followed up to just before it
and on every earlier measurement, never on this one or a later one.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from statistics import mean, stdev

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.book import load_piece
from model.records.schema.tables import Checkpoint, Measurement, MemberRow, PieceRow
from model.wood.errors import BadInput
from model.wood.fits import Fit
from model.wood.material.member import Member as WoodMember
from model.wood.piece import Piece as WoodPiece

Pairs = dict[str, tuple[float, float]]
"""Width [mm] and the moisture content it was measured at [%], by member."""

NEAR_ENOUGH = timedelta(hours=49)
"""A prediction rests on a checkpoint at most two days before the measurement; wood is slow."""


@dataclass(frozen=True)
class Compared:
    """One measurement beside what was predicted for it.

    `predicted`, `measured` and `uncertainty` (the ± of the measurement) are in the unit of
    the quantity; a prediction is none where the moisture was not followed then.
    """

    piece: str
    member: str
    fit: str | None
    quantity: str
    at: datetime
    predicted: float | None
    measured: float
    uncertainty: float
    how: str

    @property
    def error(self) -> float | None:
        """Predicted less measured."""
        return None if self.predicted is None else self.predicted - self.measured


@dataclass(frozen=True)
class Spread:
    """Bias and spread of some predictions of one quantity; the spread needs two, a bias one."""

    quantity: str
    count: int
    bias: float | None
    spread: float | None
    largest: float | None


@dataclass(frozen=True)
class Agreement:
    """Every measurement that could be predicted, with bias and spread per piece and over all."""

    compared: tuple[Compared, ...]
    by_piece: dict[str, tuple[Spread, ...]]
    overall: tuple[Spread, ...]


def agreement(session: Session, now: datetime, piece_id: int | None = None) -> Agreement:
    """Predictions beside measurements, up to now.

    Parameters
    ----------
    session : Session
    now : datetime
        Aware UTC; later measurements are not looked at.
    piece_id : int, optional
        One piece; else all.

    Returns
    -------
    Agreement
        `compared` first to last; measurements undone are left out.
    """
    wanted = select(PieceRow).order_by(PieceRow.name)
    if piece_id is not None:
        wanted = wanted.where(PieceRow.id == piece_id)
    found: list[Compared] = []
    for row in session.scalars(wanted):
        found += _through(session, row, now)[0]
    found.sort(key=lambda compared: compared.at)
    names = dict.fromkeys(compared.piece for compared in found)
    by_piece = {name: spreads([c for c in found if c.piece == name]) for name in names}
    return Agreement(tuple(found), by_piece, spreads(found))


def spreads(compared: Sequence[Compared]) -> tuple[Spread, ...]:
    """Bias (mean of predicted less measured) and spread (standard deviation about it) by quantity."""
    found = []
    for quantity in ("width_mm", "gap_mm", "mc_pct"):
        errors = [c.error for c in compared if c.quantity == quantity and c.error is not None]
        if not errors:
            continue
        about = stdev(errors) if len(errors) > 1 else None
        found.append(Spread(quantity, len(errors), mean(errors), about, max(errors, key=abs)))
    return tuple(found)


class _Followed:
    """A member's mean moisture content at its checkpoints."""

    def __init__(self, session: Session, member: MemberRow) -> None:
        rows = session.execute(
            select(Checkpoint.at, Checkpoint.mc_mean_pct)
            .where(Checkpoint.body_id == member.id)
            .order_by(Checkpoint.at)
        ).all()
        self._at = [row.at for row in rows]
        self._mc = [row.mc_mean_pct for row in rows]
        # The moisture a member was recorded with is known too, before the first checkpoint.
        if not self._at or member.start_at < self._at[0]:
            self._at.insert(0, member.start_at)
            self._mc.insert(0, member.start_mc_pct)

    def before(self, at: datetime) -> float | None:
        """At the last checkpoint before an instant, so that what was measured then has no part in it."""
        return self._near(bisect_left(self._at, at) - 1, at)

    def by(self, at: datetime) -> float | None:
        """At the last checkpoint up to an instant, as the watch takes it up."""
        return self._near(bisect_right(self._at, at) - 1, at)

    def _near(self, row: int, at: datetime) -> float | None:
        if row < 0 or at - self._at[row] > NEAR_ENOUGH:
            return None
        return self._mc[row]


def as_measured(session: Session, piece_id: int, now: datetime) -> WoodPiece:
    """A piece as it counts now: as recorded, with every width and gap measured since taken up.

    Raises
    ------
    BadInput
        If there is no such piece or its record can't be read.
    """
    row = session.get(PieceRow, piece_id)
    if row is None:
        raise BadInput("", "piece", "must be one that is recorded", piece_id)
    piece = load_piece(session, row)
    _, pairs, fits = _through(session, row, now)
    members = {
        name: replace(member, width_mm=pairs[name][0], mc_pct=pairs[name][1]) if name in pairs else member
        for name, member in piece.members.items()
    }
    return replace(piece, members=members, fits=fits or piece.fits)


def _through(session: Session, row: PieceRow, now: datetime) -> tuple[list[Compared], Pairs, dict[str, Fit]]:
    """Each measurement predicted from those before it; then widths and fits with all of them taken up."""
    measured = session.scalars(
        select(Measurement)
        .where(
            Measurement.body_id.in_([member.id for member in row.members]),
            Measurement.undone_at.is_(None),
            Measurement.at <= now,
        )
        .order_by(Measurement.at, Measurement.id)
    ).all()
    if not measured:
        return [], {}, {}
    try:
        piece = load_piece(session, row)
    except BadInput:
        return [], {}, {}
    names = {member.id: member.name for member in row.members}
    followed = {member.name: _Followed(session, member) for member in row.members}
    pairs: Pairs = {name: (member.width_mm, member.mc_pct) for name, member in piece.members.items()}
    fits: dict[str, Fit] = dict(piece.fits)
    fit_names = {fit.id: fit.name for fit in row.fits}
    found = []
    for one in measured:
        name, at = names[one.body_id], one.at
        mc = followed[name].before(at)
        predicted: float | None = None
        fit_name = fit_names.get(one.fit_id) if one.fit_id is not None else None
        if one.quantity == "mc_pct":
            predicted = mc
        elif one.quantity == "width_mm" and mc is not None:
            predicted = _width(piece.members[name], pairs[name], mc)
        elif one.quantity == "gap_mm" and fit_name is not None:
            predicted = _gap(fits[fit_name], followed, at)
        found.append(
            Compared(
                piece.name, name, fit_name, one.quantity, at, predicted, one.value, one.uncertainty, one.how
            )
        )
        _take_up(one, name, fit_name, pairs, fits, followed)
    return found, pairs, fits


def _width(member: WoodMember, pair: tuple[float, float], mc_pct: float) -> float:
    return float(replace(member, width_mm=pair[0], mc_pct=pair[1]).width_at(mc_pct))


def _gap(fit: Fit, followed: dict[str, _Followed], at: datetime) -> float | None:
    mc = {member.name: followed[member.name].before(at) for member in fit.members}
    known = {name: value for name, value in mc.items() if value is not None}
    if len(known) < len(mc):
        return None
    gap = fit.gap_now(known)
    return None if gap is None else float(gap)


def _take_up(
    one: Measurement,
    name: str,
    fit_name: str | None,
    pairs: Pairs,
    fits: dict[str, Fit],
    followed: dict[str, _Followed],
) -> None:
    """Take up a measurement for those after it, as the watch does."""
    mc = followed[name].by(one.at)
    if one.quantity == "width_mm" and mc is not None:
        pairs[name] = (one.value, mc)
        for key, fit in fits.items():
            if any(member.name == name for member in fit.members):
                fits[key] = fit.re_measured(name, one.value, mc)
    elif one.quantity == "gap_mm" and fit_name is not None:
        then = {member.name: followed[member.name].by(one.at) for member in fits[fit_name].members}
        known = {key: value for key, value in then.items() if value is not None}
        if len(known) == len(then):
            try:
                fits[fit_name] = fits[fit_name].with_gap(one.value, known)
            except BadInput:
                return
