"""What setting out a part shares: the steps of a rule, widths, a season's moisture, the advice."""

import math
from dataclasses import dataclass
from typing import Literal

from model.wood.material.instruments import METER_UNCERTAINTY_PCT
from model.wood.material.member import Member
from model.wood.material.movement import width_at
from model.wood.reason import Reason
from model.wood.units import MM_PER_INCH as INCH

# Dry and wet end of most homes (common practice, no source).
HOME_MC_PCT = (6.0, 11.0)
ROUNDING_SLACK = 1e-9
# Tongue kept in each groove at the driest (common practice, no source).
ENGAGEMENT_MM = INCH / 8.0

Harms = Literal["swelling", "shrinking", "both"]


def _down(length_mm: float, step_mm: float) -> float:
    return round(math.floor(length_mm / step_mm + ROUNDING_SLACK) * step_mm, 6)


def _up(length_mm: float, step_mm: float) -> float:
    return round(math.ceil(length_mm / step_mm - ROUNDING_SLACK) * step_mm, 6)


@dataclass(frozen=True)
class Increments:
    """The steps to which widths, gaps and slots are set out, each rounded the cautious way [mm].

    Clearance and engagement go down, gaps needed go up; grooves and slots go up to a coarser step.
    """

    width_mm: float
    gap_mm: float
    slot_mm: float

    def gap_down(self, length_mm: float) -> float:
        return _down(length_mm, self.gap_mm)

    def gap_up(self, length_mm: float) -> float:
        return _up(length_mm, self.gap_mm)

    def slot_up(self, length_mm: float) -> float:
        return _up(length_mm, self.slot_mm)

    def widths(self, exact: "Widths", fine: bool = False) -> "Widths":
        """Least rounded up, most down and best to the nearest step between; finer where none lies between."""
        for step in (self.gap_mm,) if fine else (self.width_mm, self.gap_mm):
            least, most = _up(exact.least_mm, step), _down(exact.most_mm, step)
            if least <= most:
                best = round(round(exact.best_mm / step) * step, 6)
                return Widths(least, min(max(best, least), most), most)
        return Widths(least, _down(exact.best_mm, self.gap_mm), most)


INCH_STEPS = Increments(INCH / 32.0, INCH / 64.0, INCH / 16.0)
METRIC_STEPS = Increments(0.5, 0.5, 1.0)


@dataclass(frozen=True)
class Widths:
    """The least and the most that will work, and what to aim at [mm]."""

    least_mm: float
    best_mm: float
    most_mm: float

    @classmethod
    def between(cls, least_mm: float, most_mm: float, doubt_mm: float, harms: Harms) -> "Widths":
        """The middle, moved by half of what the meter's doubt moves, away from the limit that harms.

        Where both harm it moves away from swelling. Where nothing lies between, it stays at the limit that
        harms.
        """
        toward = 0.5 if harms == "shrinking" else -0.5
        if least_mm > most_mm:
            best = {"swelling": most_mm, "shrinking": least_mm}.get(harms, (least_mm + most_mm) / 2.0)
            return cls(least_mm, best, most_mm)
        best = (least_mm + most_mm) / 2.0 + toward * doubt_mm
        return cls(least_mm, min(max(best, least_mm), most_mm), most_mm)

    @property
    def work(self) -> bool:
        """Whether any width works at all."""
        return self.least_mm <= self.most_mm + ROUNDING_SLACK


@dataclass(frozen=True)
class ServiceRange:
    """Moisture content of the stock today, and at the dry and the wet end of where it will live [%].

    `doubt_pct` is how far today's may be out either way: every movement to come is that of stock which is
    as much drier, or as much wetter, as that, whichever asks for more.
    """

    today_pct: float
    dry_pct: float
    wet_pct: float
    doubt_pct: float = METER_UNCERTAINTY_PCT

    @property
    def driest_pct(self) -> float:
        """What the stock may be at the least."""
        return max(self.today_pct - self.doubt_pct, 0.0)

    @property
    def wettest_pct(self) -> float:
        """What the stock may be at the most."""
        return self.today_pct + self.doubt_pct

    @property
    def is_too_wet(self) -> bool:
        """Whether the stock is wetter than it will ever be again, however far the meter is out."""
        return self.driest_pct > self.wet_pct

    @property
    def target_pct(self) -> float:
        """What the stock should come to: the middle of its home's year, 9 % at most for casework."""
        return min((self.dry_pct + self.wet_pct) / 2.0, MOST_FOR_CASEWORK_PCT)

    def reason(self, key: str, **values: object) -> Reason:
        """A reason that may speak of this stock and of both ends of the year."""
        service = {
            "stock_mc_pct": self.today_pct, "mc_doubt_pct": self.doubt_pct,
            "dry_pct": self.dry_pct, "wet_pct": self.wet_pct,
        }  # fmt: skip
        return Reason(key, service | values)

    def ratio(self, member: Member, from_pct: float, to_pct: float) -> float:
        """Width at one moisture content as a multiple of that at another."""
        return float(width_at(1.0, from_pct, to_pct, member.movement))

    def to_wet(self, member: Member, width_mm: float) -> float:
        """Most growth from today to the wet end of a width as it is today [mm], nought if it only shrinks."""
        return width_mm * max(self.ratio(member, self.driest_pct, self.wet_pct) - 1.0, 0.0)

    def to_dry(self, member: Member, width_mm: float) -> float:
        """Most shrinkage from today to the dry end [mm], nought if it only swells."""
        return width_mm * max(1.0 - self.ratio(member, self.wettest_pct, self.dry_pct), 0.0)

    def doubt(self, member: Member, width_mm: float) -> float:
        """How far a width moves by the doubt of today's moisture [mm]."""
        return width_mm * (self.ratio(member, self.today_pct, self.wettest_pct) - 1.0)


# "Build at 8 to 9 % and leave room to swell" (common practice, no source).
MOST_FOR_CASEWORK_PCT = 9.0


Figure = tuple[str, float | str | None, str]
"""A size for the cut card: its label, its length [mm] or words, and which way it is rounded."""


@dataclass(frozen=True, kw_only=True)
class Cut:
    """Advice at the saw about one fit; each kind adds what it has to say, in mm, exact beside rounded.

    `enough` says whether the fit as drawn has room for its home's year, `build_now` whether the stock is dry
    enough to build with. `figures` are the sizes to set out, most needed first; `reasons` say how and why.
    The three widths are None where the part is not cut to one; the doubt of the metered moisture is in each.
    """

    fit: str
    kind: str
    member: str
    stock_mc_pct: float
    mc_doubt_pct: float
    range_mc_pct: tuple[float, float]
    build_now: bool
    enough: bool
    figures: list[Figure]
    reasons: list[Reason]
    width_least_mm: float | None = None
    width_best_mm: float | None = None
    width_most_mm: float | None = None
    width_best_rounded_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class GapCut(Cut):
    """What gap to leave today, the least it needs, what it comes to at both ends; the lap, if any."""

    gap_mm: float
    gap_rounded_mm: float
    gap_least_mm: float
    gap_dry_mm: float
    gap_wet_mm: float
    lap_needed_mm: float | None = None
    lap_needed_rounded_mm: float | None = None


def width_figures(widths: Widths) -> list[Figure]:
    """The three widths for the cut card."""
    return [
        ("cut it wide", widths.best_mm, "nearest"),
        ("at the least", widths.least_mm, "up"),
        ("at the most", widths.most_mm, "down"),
    ]


def widths_reason(service: ServiceRange, part: str, widths: Widths, how: str = "") -> Reason:
    """The three widths, for a sentence."""
    return service.reason(
        "cut-widths", how=how, part=part,
        best_mm=widths.best_mm, least_mm=widths.least_mm, most_mm=widths.most_mm,
    )  # fmt: skip
