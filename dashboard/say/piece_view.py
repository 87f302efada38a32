"""What the science says of a recorded piece, for a page: its classes, its design range, its limits now."""

from dataclasses import dataclass
from datetime import datetime

from dashboard.figures.place_rule import Bracket
from dashboard.figures.tide import Shore
from model.records.queries.overview import FitNow, MemberNow, PieceNow
from model.watch.questions.piece_wood import comfort_of_piece, range_of, wood_piece
from model.wood.design.cautions import cautions
from model.wood.design.design_range import DesignRange
from model.wood.fits import Limit
from model.wood.piece import Member, Piece
from model.words.display import Display
from model.words.limits import limit_said
from model.words.reasons import in_sentences


@dataclass(frozen=True)
class LimitStanding:
    """One limit of a fit as it stands: what is left now, and what was left as built."""

    limit: Limit
    margin_mm: float
    mc_at_limit_pct: float | None


def cautions_of(piece: PieceNow, display: Display) -> list[str]:
    """What the maker is to be told of its parts."""
    wood = wood_piece(piece)
    found = [] if wood is None else cautions(wood.members.values())
    return [in_sentences(caution, display) for caution in found]


def remembered_of(piece: PieceNow, display: Display) -> list[str]:
    """Those of its figures that were read nowhere, as sentences."""
    wood = wood_piece(piece)
    found = [] if wood is None else cautions(wood.members.values())
    return [in_sentences(one, display) for one in found if one.key.endswith("-remembered")]


def bracket_of(piece: PieceNow, now: datetime, href: str = "") -> Bracket | None:
    """A piece's bracket under a place's rule: the humidity it is comfortable at."""
    comfort = comfort_of_piece(piece, now)
    if comfort is None:
        return None
    return Bracket(
        piece.name, comfort.rh_low_pct, comfort.rh_high_pct, href, nothing=comfort.rh_low_pct is None
    )


def shores_of(wood: Piece, design: DesignRange, part: str) -> list[Shore]:
    """The widths at which a part's fits run out, the parts beside it settled as it is."""
    found = []
    for name, fit_range in design.fits.items():
        if part not in {member.name for member in wood.fits[name].members}:
            continue
        for at in fit_range.limits:
            if at.mc_at_limit_pct is not None:
                limit = at.limit
                short = "too wide" if limit.direction == "swelling" else "too narrow"
                edge_mm = float(wood.members[part].width_at(at.mc_at_limit_pct))
                found.append(Shore(short, limit_said(limit), limit.direction, limit.severity, edge_mm))
    return found


def moisture_marks(member: Member) -> list[tuple[float, float]]:
    """Whole moisture contents [%] and a part's width at each [mm]."""
    return [(float(mc_pct), float(member.width_at(float(mc_pct)))) for mc_pct in range(1, 29)]


def moistures(piece: PieceNow) -> dict[str, float]:
    """Each member's mean moisture content now [%], as it was recorded where it isn't followed yet."""
    return {member.name: mean_mc(member) for member in piece.members}


def mean_mc(member: MemberNow) -> float:
    return member.moisture.mc_mean_pct if member.moisture else member.start_mc_pct


def limits_now(piece: PieceNow, fit: FitNow) -> list[LimitStanding]:
    """Each limit of a fit with what is left, the tightest first.

    The margin is the watch's, which has followed the members; where it has not come yet, it is worked out
    from the moisture the members were recorded with.
    """
    wood = wood_piece(piece)
    if wood is None or fit.name not in wood.fits:
        return []
    stored = {margin.limit_name: margin.margin_mm for margin in fit.margins}
    design = range_of(piece)
    at = {}
    if design is not None and fit.name in design.fits:
        at = {limit.limit.name: limit.mc_at_limit_pct for limit in design.fits[fit.name].limits}
    found = [
        LimitStanding(limit, stored.get(limit.name, float(limit.margin_mm)), at.get(limit.name))
        for limit in wood.fits[fit.name].limits(moistures(piece))
    ]
    return sorted(found, key=lambda now: now.margin_mm / max(now.limit.play_mm, 0.1))
