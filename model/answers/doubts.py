"""How sure the sizes of a followed piece are: of each part's width, and of what is left before each limit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import exp, sqrt

from model.records.queries.answers import FitNow, MemberNow, Moisture, PieceNow
from model.wood.doubt import (
    DoubtBySource,
    Knowledge,
    advice_now,
    as_measured,
    gap_doubt,
    margin_doubts,
    width_doubt,
)
from model.wood.fits import Fit
from model.wood.material.member import Member
from model.wood.moisture.time_constant import time_constant_h
from model.wood.piece import Piece, moisture_batch
from model.wood.reason import Reason


@dataclass(frozen=True)
class PieceDoubts:
    """The doubts of a piece's sizes now [mm]: of each part's width, of each limit's margin, and what would
    shrink each part's most."""

    widths: Mapping[str, DoubtBySource]
    margins: Mapping[tuple[str, str], DoubtBySource]
    advice: Mapping[str, Reason]

    def of_fit(self, fit: str) -> float:
        """The ± of a fit's gap [mm]: of its least sure limit."""
        return max((doubt.total for (name, _), doubt in self.margins.items() if name == fit), default=0.0)


def piece_doubts(piece: Piece, now: PieceNow) -> PieceDoubts:
    """How sure the sizes of a piece are, as the book has it now."""
    found = {row.name: _known(piece.members[row.name], row, row.re_measured) for row in now.members}
    members = {name: member for name, (member, _) in found.items()}
    known = {name: knowledge for name, (_, knowledge) in found.items()}
    shrink = {name: advice_now(member, known[name]) for name, member in members.items()}
    return PieceDoubts(
        {name: width_doubt(member, known[name]) for name, member in members.items()},
        {
            (row.name, limit): doubt
            for row in now.fits
            for limit, doubt in _of_fit(piece.fits[row.name], row, now.members, found).items()
        },
        {name: reason for name, reason in shrink.items() if reason is not None},
    )


def fit_doubts(piece: Piece, now: PieceNow, fit: str) -> dict[str, DoubtBySource]:
    """The doubts of one fit's margins [mm], by limit, as the book has its piece now."""
    row = next(row for row in now.fits if row.name == fit)
    own = {member.name for member in piece.fits[fit].members}
    parts = [one for one in now.members if one.name in own]
    found = {one.name: _known(piece.members[one.name], one, one.re_measured) for one in parts}
    return _of_fit(piece.fits[fit], row, parts, found)


def width_doubt_mm(member: Member, row: MemberNow) -> float:
    """The ± of a part's width [mm], as the book has it at the instant of its moisture."""
    return width_doubt(*_known(member, row, row.re_measured)).total


def gap_doubt_mm(fit: Fit, row: FitNow, parts: Mapping[str, tuple[Member, MemberNow]]) -> float:
    """The ± of what a feeler gauge would measure at a fit [mm], its parts as recorded and as the book has
    them at the instant of their moisture."""
    found = {name: _known(member, one, one.re_measured) for name, (member, one) in parts.items()}
    return gap_doubt(*_since_read(fit, row, [one for _, one in parts.values()], found)).total


def _of_fit(
    fit: Fit, row: FitNow, parts: Sequence[MemberNow], found: Mapping[str, tuple[Member, Knowledge]]
) -> dict[str, DoubtBySource]:
    """The doubts of a fit's margins, its parts as last measured, or since its last gap was read."""
    return margin_doubts(*_since_read(fit, row, parts, found))


def _since_read(
    fit: Fit, row: FitNow, parts: Sequence[MemberNow], found: Mapping[str, tuple[Member, Knowledge]]
) -> tuple[Fit, dict[str, Knowledge]]:
    """A fit with its parts as last measured, or since its last gap was read, and what is known of each."""
    since = dict(found)
    for part in parts:
        if part.name in row.gap_read and part.name in {member.name for member in fit.members}:
            at, _, then = row.gap_read[part.name]
            if part.re_measured is None or part.re_measured[0] <= at:
                member, _ = found[part.name]
                width_mm = float(member.width_at(then.mc_mean_pct))
                since[part.name] = _known(fit.member_named(part.name), part, (at, width_mm, then))
    moves = {part.name: part.learned.moves for part in parts if part.learned is not None}
    if moves:
        fit = fit.with_members(lambda member: member.moving_by(moves.get(member.name, 1.0)))
    for member in fit.members:
        last, _ = since[member.name]
        if (last.width_mm, last.mc_pct) != (member.width_mm, member.mc_pct):
            fit = fit.re_measured(member.name, last.width_mm, last.mc_pct)
    return fit, {name: knowledge for name, (_, knowledge) in since.items()}


def _known(
    member: Member, row: MemberNow, measured: tuple[datetime, float, Moisture] | None
) -> tuple[Member, Knowledge]:
    """A part as it was last measured, and how well its moisture is known now."""
    if row.moisture is None:
        return member, as_measured(member)
    measured_at, start_doubt_pct = row.start_at, as_measured(member).start_doubt_pct
    if measured is not None:
        measured_at, width_mm, then = measured
        member = replace(member, width_mm=width_mm, mc_pct=then.mc_mean_pct)
        start_doubt_pct = then.mc_doubt_pct
    constant_h, movement_doubt = time_constant_h(moisture_batch([member]).constants()[0]), None
    if row.learned is not None:
        member, movement_doubt = member.moving_by(row.learned.moves), row.learned.moves_doubt_share
        constant_h /= row.learned.rate_factor
    elapsed_h = max((row.moisture.at - measured_at).total_seconds() / 3600.0, 0.0)
    doubt_pct = row.moisture.mc_doubt_pct
    shared = min(exp(-elapsed_h / constant_h), doubt_pct / max(start_doubt_pct, 1e-9))
    other = sqrt(max(doubt_pct**2 - (shared * start_doubt_pct) ** 2, 0.0))
    return member, Knowledge(row.moisture.mc_mean_pct, start_doubt_pct, shared, other, movement_doubt)
