"""Predictions beside measurements: the band of each, bias, spread and coverage, per piece and over all.

The prediction for a width, a gap or a moisture content rests on the moisture followed up to just before it
and on every earlier measurement, never on this one or a later one. So does its band: in `EXPECTED_SHARE` of
cases a reading should lie within the prediction's doubt and its own, added as independent ones are [1]_.

References
----------
.. [1] JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 5.1.2: the root of the sum of
   squares; 10th to 90th percentile of a normal distribution hold 8 in 10.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import hypot
from statistics import mean, stdev

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.answers.doubts import gap_doubt_mm, width_doubt_mm
from model.records.acts.book import load_piece
from model.records.acts.invalidation import hour_of
from model.records.queries.answers import FitNow, MemberNow, Moisture, of_row
from model.records.queries.learned import learned_through
from model.records.schema.tables import Checkpoint, Measurement, MemberRow, PieceRow
from model.wood.doubt import TEN_PERCENT_SD, start_doubt_pct
from model.wood.errors import BadInput
from model.wood.fits import Fit
from model.wood.learning import Learned
from model.wood.material.member import Member as WoodMember
from model.wood.piece import Piece as WoodPiece

Sized = dict[str, tuple[datetime, float, Moisture]]
"""When a size was measured, the size [mm] and what the part held then, by member."""

NEAR_ENOUGH = timedelta(hours=49)
"""A prediction rests on a checkpoint at most two days before the measurement; wood is slow."""
EXPECTED_SHARE = 0.8
"""Of readings that should lie within their band."""
LETTER = "gap strip"
"""How a letter that a client read is measured."""


@dataclass(frozen=True)
class Compared:
    """One measurement beside what was predicted for it.

    `predicted`, `measured`, `doubt` and `uncertainty` (the ± of the prediction and of the measurement, 10th
    to 90th percentile) are in the unit of the quantity. What rests on the prediction is none where the
    moisture was not followed then; `known_at` is the instant up to which the prediction knew.
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
    doubt: float | None = None
    known_at: datetime | None = None

    @property
    def error(self) -> float | None:
        """Predicted less measured."""
        return None if self.predicted is None else self.predicted - self.measured

    @property
    def band(self) -> tuple[float, float] | None:
        """Between which a reading as good as this one should lie, eight times in ten."""
        if self.predicted is None or self.doubt is None:
            return None
        either_way = hypot(self.doubt, self.uncertainty)
        return self.predicted - either_way, self.predicted + either_way

    @property
    def is_within(self) -> bool | None:
        """Whether it lay in the band."""
        return None if self.band is None else self.band[0] <= self.measured <= self.band[1]

    @property
    def is_letter(self) -> bool:
        """Whether it is a letter that a client read off the gap strip."""
        return self.how == LETTER


@dataclass(frozen=True)
class Coverage:
    """How many readings had a band, and how many lay within it; of those the clients' letters."""

    count: int
    within: int
    letters: int
    letters_within: int

    @classmethod
    def of(cls, compared: Sequence[Compared]) -> "Coverage":
        banded = [one for one in compared if one.band is not None]
        letters = [one for one in banded if one.is_letter]
        return cls(
            len(banded),
            sum(one.is_within is True for one in banded),
            len(letters),
            sum(one.is_within is True for one in letters),
        )


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
    """Every measurement with its prediction; bias, spread and coverage per piece and over all."""

    compared: tuple[Compared, ...]
    by_piece: dict[str, tuple[Spread, ...]]
    overall: tuple[Spread, ...]

    @property
    def coverage(self) -> Coverage:
        return Coverage.of(self.compared)

    def of_piece(self, name: str) -> "Agreement":
        """The same of one piece alone."""
        own = self.by_piece.get(name, ())
        return Agreement(tuple(one for one in self.compared if one.piece == name), {name: own}, own)


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
    """What a member held at its checkpoints, as the watch keeps it."""

    def __init__(self, session: Session, member: MemberRow, start_doubt_pct: float) -> None:
        kept = [column for column in Checkpoint.__table__.columns if column.name != "profile_pct"]
        rows = session.execute(select(*kept).where(Checkpoint.body_id == member.id).order_by(Checkpoint.at))
        self._held = [of_row(Moisture, row) for row in rows]
        # The moisture a member was recorded with is known too, before the first checkpoint.
        if not self._held or member.start_at < self._held[0].at:
            start, variance = member.start_mc_pct, (start_doubt_pct / TEN_PERCENT_SD) ** 2
            self._held.insert(0, Moisture(member.start_at, start, start, start, start, None, 0, variance))
        self._at = [held.at for held in self._held]

    def before(self, at: datetime) -> Moisture | None:
        """At the last checkpoint before an instant, so that what was measured then has no part in it."""
        return self._near(bisect_left(self._at, at) - 1, at)

    def by(self, at: datetime) -> Moisture | None:
        """At the last checkpoint up to an instant, as the watch takes it up."""
        return self._near(bisect_right(self._at, at) - 1, at)

    def _near(self, row: int, at: datetime) -> Moisture | None:
        if row < 0 or at - self._at[row] > NEAR_ENOUGH:
            return None
        return self._held[row]


class _Known:
    """What is known of a piece's sizes, measurement by measurement."""

    def __init__(self, session: Session, row: PieceRow, piece: WoodPiece) -> None:
        self._piece = piece
        self._rows = {member.name: member for member in row.members}
        self._followed = {
            name: _Followed(session, member, start_doubt_pct(piece.members[name]))
            for name, member in self._rows.items()
        }
        learned = learned_through(session, [member.id for member in row.members])
        self._learned = {name: learned.get(member.id, ()) for name, member in self._rows.items()}
        self._fit_rows = {fit.name: fit for fit in row.fits}
        self._widths: Sized = {}
        self._gaps: dict[str, Sized] = {}
        self._at_gap: dict[str, Sized] = {}

    def predict(
        self, one: Measurement, name: str, fit_name: str | None
    ) -> tuple[float, float, datetime] | None:
        """What a measurement should find, the ± of that, and the instant up to which it was known."""
        if one.quantity == "gap_mm":
            return None if fit_name is None else self._gap(fit_name, one.at)
        row = self._before(name, one.at)
        if row.moisture is None:
            return None
        held = row.moisture
        if one.quantity == "mc_pct":
            return held.mc_mean_pct, held.mc_doubt_pct, held.at
        width_mm = float(self.member(name, row.learned).width_at(held.mc_mean_pct))
        return width_mm, width_doubt_mm(self._piece.members[name], row), held.at

    def _before(self, name: str, at: datetime) -> MemberNow:
        """A part as the book had it just before an instant."""
        hour = hour_of(at)  # from which on the measurement at that instant itself has taught
        taught = [known for since_at, known in self._learned[name] if since_at < hour]
        return of_row(
            MemberNow,
            self._rows[name],
            moisture=self._followed[name].before(at),
            re_measured=self._widths.get(name),
            learned=taught[-1] if taught else None,
        )

    def _gap(self, fit_name: str, at: datetime) -> tuple[float, float, datetime] | None:
        own = self._piece.fits[fit_name]
        rows = {member.name: self._before(member.name, at) for member in own.members}
        held = {name: row.moisture for name, row in rows.items() if row.moisture is not None}
        if len(held) < len(rows):
            return None
        fit = self.fit(fit_name, {name: row.learned for name, row in rows.items()})
        gap = fit.gap_now({name: moisture.mc_mean_pct for name, moisture in held.items()})
        if gap is None:
            return None
        fit_row = of_row(FitNow, self._fit_rows[fit_name], gap_read=self._gaps.get(fit_name, {}))
        parts = {name: (self._piece.members[name], row) for name, row in rows.items()}
        return float(gap), gap_doubt_mm(own, fit_row, parts), min(one.at for one in held.values())

    def member(self, name: str, learned: Learned | None) -> WoodMember:
        """A part as last measured, moving as was learned."""
        member = self._piece.members[name]
        if name in self._widths:
            _, width_mm, then = self._widths[name]
            member = replace(member, width_mm=width_mm, mc_pct=then.mc_mean_pct)
        return member if learned is None else member.moving_by(learned.moves)

    def fit(self, fit_name: str, learned: Mapping[str, Learned | None]) -> Fit:
        """A fit with its last gap and widths taken up, its parts moving as was learned, as the watch does."""

        def moving(member: WoodMember) -> WoodMember:
            known = learned.get(member.name)
            return member if known is None else member.moving_by(known.moves)

        fit = self._piece.fits[fit_name]
        if any(learned.values()):
            fit = fit.with_members(moving)
        read = self._gaps.get(fit_name, {})
        if not read:
            return _re_measured(fit, self._widths)
        fit = _re_measured(fit, self._at_gap[fit_name])
        gap_at, gap_mm, _ = next(iter(read.values()))
        with suppress(BadInput):  # a fit without a gap that can be measured stays as it was
            fit = fit.with_gap(gap_mm, {name: then.mc_mean_pct for name, (_, _, then) in read.items()})
        return _re_measured(fit, {name: one for name, one in self._widths.items() if one[0] > gap_at})

    def take_up(self, one: Measurement, name: str, fit_name: str | None) -> None:
        """Take up a measurement for those after it."""
        if one.quantity == "width_mm":
            held = self._followed[name].by(one.at)
            if held is not None:
                self._widths[name] = (one.at, one.value, held)
        elif one.quantity == "gap_mm" and fit_name is not None:
            parts = [member.name for member in self._piece.fits[fit_name].members]
            then = {part: self._followed[part].by(one.at) for part in parts}
            known = {part: held for part, held in then.items() if held is not None}
            if len(known) == len(then):
                self._gaps[fit_name] = {part: (one.at, one.value, held) for part, held in known.items()}
                self._at_gap[fit_name] = dict(self._widths)

    def as_of(self, now: datetime) -> WoodPiece:
        """The piece with all of it taken up."""
        learned = {
            name: next((known for since_at, known in reversed(taught) if since_at <= now), None)
            for name, taught in self._learned.items()
        }
        return replace(
            self._piece,
            members={name: self.member(name, learned[name]) for name in self._piece.members},
            fits={name: self.fit(name, learned) for name in self._piece.fits},
        )


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
    known = _through(session, row, now)[1]
    return piece if known is None else known.as_of(now)


def _through(session: Session, row: PieceRow, now: datetime) -> tuple[list[Compared], _Known | None]:
    """Each measurement predicted from those before it, and what is known with all of them taken up."""
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
        return [], None
    try:
        piece = load_piece(session, row)
    except BadInput:
        return [], None
    names = {member.id: member.name for member in row.members}
    fit_names = {fit.id: fit.name for fit in row.fits}
    known = _Known(session, row, piece)
    found = []
    for one in measured:
        name = names[one.body_id]
        fit_name = fit_names.get(one.fit_id) if one.fit_id is not None else None
        predicted, doubt, known_at = known.predict(one, name, fit_name) or (None, None, None)
        found.append(
            Compared(
                piece=piece.name,
                member=name,
                fit=fit_name,
                quantity=one.quantity,
                at=one.at,
                predicted=predicted,
                measured=one.value,
                uncertainty=one.uncertainty,
                how=one.how,
                doubt=doubt,
                known_at=known_at,
            )
        )
        known.take_up(one, name, fit_name)
    return found, known


def _re_measured(fit: Fit, widths: Sized) -> Fit:
    """A fit with the last widths of its parts taken up."""
    names = {member.name for member in fit.members}
    for name, (_, width_mm, then) in widths.items():
        if name in names:
            fit = fit.re_measured(name, width_mm, then.mc_mean_pct)
    return fit
