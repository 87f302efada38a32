"""The humidity a piece is comfortable at, as it may be said to anyone.

A design range says where a piece's fits run out; a house should not be held everywhere in there. What is
said to a client is that range within 25 to 60 %, and under what the windows bear while it is cold outdoors.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from model.wood.air.condensation import HIGHEST_ROOM_RH_PCT, LOWEST_ROOM_RH_PCT
from model.wood.design.design_range import DesignRange, Span
from model.wood.fits import Fit
from model.wood.piece import Piece

_SLACK = 1e-9
NOTHING_SUITS = "No humidity suits all of it"
ASK = "Hold the room as steady as you can, and ask your maker."


@dataclass(frozen=True)
class Comfort:
    """What a room with a piece in it should be held at.

    Attributes
    ----------
    rh_low_pct, rh_high_pct : float or None
        Whole percents, rounded inward, within 25 to 60; both None where nothing is left.
    why : str
        Why nothing is left; empty where there is a range.
    mend, meanwhile : str
        What the maker does about it, and what is done in the room.
    ceiling_pct : float or None
        The highest that the windows bear [%], where it is what ends the range.
    """

    rh_low_pct: float | None
    rh_high_pct: float | None
    why: str = ""
    mend: str = ""
    meanwhile: str = ""
    ceiling_pct: float | None = None

    @property
    def in_words(self) -> str:
        """The range as a sentence has it: "31–60 %"; empty where there is none."""
        if self.rh_low_pct is None or self.rh_high_pct is None:
            return ""
        if self.rh_low_pct == self.rh_high_pct:
            return f"{self.rh_low_pct:.0f} %"
        return f"{self.rh_low_pct:.0f}–{self.rh_high_pct:.0f} %"

    @property
    def reason(self) -> str:
        """Why nothing is left and what the maker does about it; empty where there is a range."""
        return " ".join(said for said in (self.why, self.mend or self.meanwhile) if said)

    @property
    def for_client(self) -> str:
        """What a client is told: the humidity to hold, or why there is none and what to do in the room."""
        if self.why:
            return f"{self.why} {self.meanwhile}"
        told = f"It is comfortable at {self.in_words} relative humidity"
        if self.ceiling_pct is not None:
            return f"{told} in the weeks ahead: above that the windows may sweat in the cold."
        return f"{told}."


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
        (named,) = _named(piece, [span.low.fit])
        house = f"a house should be held at {HIGHEST_ROOM_RH_PCT:.0f} % or less"
        return _nothing(
            f"{named} needs {low:.0f} % or more, and {house}.",
            f"Give {named} a deeper hold, and never damp a room for it.",
        )
    if high < LOWEST_ROOM_RH_PCT and span.high is not None:
        (named,) = _named(piece, [span.high.fit])
        house = f"a house should be held at {LOWEST_ROOM_RH_PCT:.0f} % or more"
        return _nothing(
            f"{named} needs {high:.0f} % or less, and {house}.", f"Give {named} more room to swell."
        )
    least, most = max(low, LOWEST_ROOM_RH_PCT), min(high, HIGHEST_ROOM_RH_PCT)
    if ceiling_pct is None or ceiling_pct >= most:
        return Comfort(least, most)
    top = float(floor(ceiling_pct + _SLACK))
    if top >= least:
        return Comfort(least, top, ceiling_pct=top)
    why = f"In the cold weeks ahead the windows sweat above {top:.0f} %"
    meanwhile = "Let the room be dry and keep the piece away from registers and radiators."
    if span.low is not None and low > top:
        why += f", and {_named(piece, [span.low.fit])[0]} would like {low:.0f} % or more"
        meanwhile = (
            "Let the room be dry, keep the piece away from registers and radiators, and expect the gap."
        )
    return Comfort(None, None, f"{why}.", "", meanwhile, top)


def _nothing(why: str, mend: str) -> Comfort:
    return Comfort(None, None, f"{NOTHING_SUITS}: {why}", mend, ASK)


def _inward(span: Span) -> tuple[float, float]:
    """The ends of a span as whole percents of humidity, rounded inward; 0 and 100 where it has none."""
    low, high = 0.0, 100.0
    if span.mc_low_pct is not None:
        # A moisture content that no air brings wood to is no open end.
        low = 101.0 if span.rh_low_pct is None else float(ceil(span.rh_low_pct - _SLACK))
    if span.rh_high_pct is not None:
        high = float(floor(span.rh_high_pct + _SLACK))
    return low, high


def _quarrel(piece: Piece, design: DesignRange) -> tuple[str, str]:
    """Which fits disagree, and how to make them agree."""
    span = design.span
    low, high = _inward(span)
    stuck = [name for name, fit in design.fits.items() if fit.span.past_everywhere]
    if stuck or span.low is None or span.high is None:
        one = span.low or span.high
        told = " and ".join(_named(piece, stuck[:2] or ([one.fit] if one else []))) or "a fit"
        verb = "have" if len(stuck) > 1 else "has"
        return (
            f"{told} {verb} no room left in any air.",
            f"Check the sizes recorded for {told}, or build in more room.",
        )
    if span.low.fit == span.high.fit:
        (one_fit,) = _named(piece, [span.low.fit])
        why = f"{one_fit} shrinks too far below {low:.0f} % and swells too far above {high:.0f} %."
        return why, "Build it with more room."
    asks = "damper air than there is" if low > 100.0 else f"{low:.0f} % or more"
    dry, wet = _named(piece, [span.low.fit, span.high.fit])
    return (
        f"{dry} needs {asks}, {wet} {high:.0f} % or less.",
        f"Give {wet} more room to swell or {dry} a deeper hold; until then hold the room as steady as you "
        "can.",
    )


def _named(piece: Piece, fits: Sequence[str]) -> list[str]:
    """Fits by the roles of their parts; two that would read alike are told apart by their kinds."""
    found = [piece.fits[name] for name in fits]
    named = [fit_in_words(fit) for fit in found]
    if len(set(named)) < len(named):
        named = [f"{words} ({fit.title.lower()})" for words, fit in zip(named, found, strict=True)]
    return named


def fit_in_words(fit: Fit) -> str:
    """A fit as a maker speaks of it, by the role of its part: "the front of the top drawer".

    A part without a role is called by its name, a fit of many parts by its own.
    """
    members = fit.members
    if len(members) > 2:
        return f"the {fit.name.replace('_', ' ')}"
    return " and ".join(member.called for member in members)
