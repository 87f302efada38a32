"""How sure the sizes of a followed piece are: of each part's width, and of what is left before each limit."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import exp, sqrt

from model.records.queries.answers import MemberNow, PieceNow
from model.wood.doubt import Doubt, Knowledge, advice_now, as_measured, margin_doubts, width_doubt
from model.wood.fits import Fit
from model.wood.material.member import Member
from model.wood.moisture.time_constant import time_constant_h
from model.wood.piece import Piece, moisture_batch
from model.wood.reason import Reason


@dataclass(frozen=True)
class PieceDoubts:
    """The doubts of a piece's sizes now [mm]: of each part's width, of each limit's margin, and what would
    shrink each part's most."""

    widths: Mapping[str, Doubt]
    margins: Mapping[tuple[str, str], Doubt]
    advice: Mapping[str, Reason]

    def of_fit(self, fit: str) -> float:
        """The ± of a fit's gap [mm]: of its least sure limit."""
        return max((doubt.total for (name, _), doubt in self.margins.items() if name == fit), default=0.0)


def piece_doubts(piece: Piece, now: PieceNow) -> PieceDoubts:
    """How sure the sizes of a piece are, as the book has it now."""
    members, known = {}, {}
    for row in now.members:
        members[row.name], known[row.name] = _known(piece.members[row.name], row)
    fits = {name: _measured_again(fit, members) for name, fit in piece.fits.items()}
    shrink = {name: advice_now(member, known[name]) for name, member in members.items()}
    return PieceDoubts(
        {name: width_doubt(member, known[name]) for name, member in members.items()},
        {
            (name, limit): doubt
            for name, fit in fits.items()
            for limit, doubt in margin_doubts(fit, known).items()
        },
        {name: reason for name, reason in shrink.items() if reason is not None},
    )


def _known(member: Member, row: MemberNow) -> tuple[Member, Knowledge]:
    """A part as it was last measured, and how well its moisture is known now."""
    if row.moisture is None:
        return member, as_measured(member)
    measured_at, start_doubt_pct = row.start_at, as_measured(member).start_doubt_pct
    if row.re_measured is not None:
        measured_at, width_mm, then = row.re_measured
        member = replace(member, width_mm=width_mm, mc_pct=then.mc_mean_pct)
        start_doubt_pct = then.mc_doubt_pct
    (constants,) = moisture_batch([member]).constants()
    elapsed_h = max((row.moisture.at - measured_at).total_seconds() / 3600.0, 0.0)
    doubt_pct = row.moisture.mc_doubt_pct
    shared = min(exp(-elapsed_h / time_constant_h(constants)), doubt_pct / max(start_doubt_pct, 1e-9))
    other = sqrt(max(doubt_pct**2 - (shared * start_doubt_pct) ** 2, 0.0))
    return member, Knowledge(row.moisture.mc_mean_pct, start_doubt_pct, shared, other)


def _measured_again(fit: Fit, members: Mapping[str, Member]) -> Fit:
    """The fit with its parts as they were last measured."""
    for member in fit.members:
        last = members[member.name]
        if (last.width_mm, last.mc_pct) != (member.width_mm, member.mc_pct):
            fit = fit.re_measured(member.name, last.width_mm, last.mc_pct)
    return fit
