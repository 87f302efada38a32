"""The humidity a piece is comfortable at, as it may be said to anyone.

A design range says where a piece's fits run out; a house should not be held everywhere in there. What is
said to a client is that range within 25 to 60 %, and under what the windows bear while it is cold outdoors.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from model.wood.air.condensation import HIGHEST_ROOM_RH_PCT, LOWEST_ROOM_RH_PCT
from model.wood.design.design_range import DesignRange, Span
from model.wood.piece import Piece
from model.wood.reason import Reason

_SLACK = 1e-9


@dataclass(frozen=True)
class Comfort:
    """What a room with a piece in it should be held at.

    Attributes
    ----------
    rh_low_pct, rh_high_pct : float or None
        Whole percents, rounded inward, within 25 to 60; both None where nothing is left.
    why : Reason or None
        Why nothing is left; None where there is a range.
    mend, meanwhile : Reason or None
        What the maker does about it, and what is done in the room.
    ceiling_pct : float or None
        The highest that the windows bear [%], where it is what ends the range.
    """

    rh_low_pct: float | None
    rh_high_pct: float | None
    why: Reason | None = None
    mend: Reason | None = None
    meanwhile: Reason | None = None
    ceiling_pct: float | None = None

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Why nothing is left and what the maker does about it; none where there is a range."""
        return tuple(filter(None, (self.why, self.mend or self.meanwhile)))


def comfort_of(piece: Piece, design: DesignRange, ceiling_pct: float | None = None) -> Comfort:
    """The humidity a piece is comfortable at: its design range, within what a house should be held at.

    Parameters
    ----------
    piece : Piece
    design : DesignRange
        Of that piece, at its room's temperature.
    ceiling_pct : float, optional
        Highest room humidity that the coldest window bears in the weeks ahead [%]; without it no season is
        reckoned with.
    """
    span = design.span
    low, high = _inward(span)
    if low > high or span.past_everywhere:
        return _nothing(*_quarrel(piece, design))
    if low > HIGHEST_ROOM_RH_PCT and span.low is not None:
        (fit,) = _named(piece, [span.low.fit])
        sizes = {"fit": fit, "low_rh_pct": low, "house_rh_pct": HIGHEST_ROOM_RH_PCT}
        return _nothing(
            Reason("comfort-too-damp", sizes), Reason("mend-dry", {"dry": _bears_dry(fit, span.low.limit)})
        )
    if high < LOWEST_ROOM_RH_PCT and span.high is not None:
        (fit,) = _named(piece, [span.high.fit])
        sizes = {"fit": fit, "high_rh_pct": high, "house_rh_pct": LOWEST_ROOM_RH_PCT}
        return _nothing(Reason("comfort-too-dry", sizes), Reason("mend-room", sizes))
    least, most = max(low, LOWEST_ROOM_RH_PCT), min(high, HIGHEST_ROOM_RH_PCT)
    if ceiling_pct is None or ceiling_pct >= most:
        return Comfort(least, most)
    top = float(floor(ceiling_pct + _SLACK))
    if top >= least:
        return Comfort(least, top, ceiling_pct=top)
    if span.low is not None and low > top:
        (fit,) = _named(piece, [span.low.fit])
        why = Reason("comfort-sweat", {"how": "low", "ceiling_rh_pct": top, "fit": fit, "low_rh_pct": low})
        return Comfort(None, None, why, meanwhile=Reason("comfort-dry", {"how": "gap"}), ceiling_pct=top)
    why = Reason("comfort-sweat", {"ceiling_rh_pct": top})
    return Comfort(None, None, why, meanwhile=Reason("comfort-dry"), ceiling_pct=top)


def _nothing(why: Reason, mend: Reason) -> Comfort:
    return Comfort(None, None, Reason("comfort-none", {"why": why}), mend, Reason("hold-steady"))


def _inward(span: Span) -> tuple[float, float]:
    """The ends of a span as whole percents of humidity, rounded inward; 0 and 100 where it has none."""
    low, high = 0.0, 100.0
    if span.mc_low_pct is not None:
        # A moisture content that no air brings wood to is no open end.
        low = 101.0 if span.rh_low_pct is None else float(ceil(span.rh_low_pct - _SLACK))
    if span.rh_high_pct is not None:
        high = float(floor(span.rh_high_pct + _SLACK))
    return low, high


def _quarrel(piece: Piece, design: DesignRange) -> tuple[Reason, Reason]:
    """Which fits disagree, and how to make them agree."""
    span = design.span
    low, high = _inward(span)
    stuck = [name for name, fit in design.fits.items() if fit.span.past_everywhere][:2]
    if stuck or span.low is None or span.high is None:
        one = span.low or span.high
        fits = tuple(_named(piece, stuck or ([one.fit] if one else []))) or ("a fit",)
        named = {"fits": fits, "fit_count": len(fits)}
        return Reason("comfort-no-room", named), Reason("mend-sizes", named)
    if span.low.fit == span.high.fit:
        (fit,) = _named(piece, [span.low.fit])
        ends = {"fit": fit, "low_rh_pct": low, "high_rh_pct": high}
        return Reason("comfort-quarrel", {"how": "itself", **ends}), Reason("mend-build")
    dry, wet = _named(piece, [span.low.fit, span.high.fit])
    how = "damper" if low > 100.0 else ""
    sizes = {"how": how, "dry_fit": dry, "wet_fit": wet, "low_rh_pct": low, "high_rh_pct": high}
    mend = {"wet_fit": wet, "dry": _bears_dry(dry, span.low.limit)}
    return Reason("comfort-quarrel", sizes), Reason("mend-both", mend)


def _bears_dry(fit: str, limit: str) -> Reason:
    """What lets a fit bear drier air; by the limit it runs out at, as a gap has no hold."""
    return Reason("bear-dry", {"how": limit, "fit": fit})


def _named(piece: Piece, fits: Sequence[str]) -> list[str]:
    """Fits by the roles of their parts; two that would read alike are told apart by their kinds."""
    found = [piece.fits[name] for name in fits]
    named = [fit.called for fit in found]
    if len(set(named)) < len(named):
        named = [f"{called} ({fit.title.lower()})" for called, fit in zip(named, found, strict=True)]
    return named
