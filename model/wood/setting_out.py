"""What setting out a part shares: the steps of a rule, a season's moisture contents, lengths in words."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from model.wood.member import Member
from model.wood.movement import width_at
from model.wood.units import MM_PER_INCH as INCH

# Dry and wet end of most homes (common practice, no source).
HOME_MC_PCT = (6.0, 11.0)
ROUNDING_SLACK = 1e-9


@dataclass(frozen=True)
class Increments:
    """The steps to which a width, a groove or a slot is set out [mm]."""

    width_mm: float
    depth_mm: float

    def width_down(self, length_mm: float) -> float:
        return round(math.floor(length_mm / self.width_mm + ROUNDING_SLACK) * self.width_mm, 6)

    def width_up(self, length_mm: float) -> float:
        return round(math.ceil(length_mm / self.width_mm - ROUNDING_SLACK) * self.width_mm, 6)

    def depth_up(self, length_mm: float) -> float:
        return round(math.ceil(length_mm / self.depth_mm - ROUNDING_SLACK) * self.depth_mm, 6)


INCH_STEPS = Increments(INCH / 64.0, INCH / 16.0)
METRIC_STEPS = Increments(0.5, 0.5)


@dataclass(frozen=True)
class Season:
    """Moisture content of the stock today, and at the dry and the wet end of where it will live [%]."""

    today_pct: float
    dry_pct: float
    wet_pct: float

    def to_wet(self, member: Member, width_mm: float) -> float:
        """Growth from today to the wet end of a width as it is today [mm], nought if it only shrinks."""
        return max(self._growth(member, width_mm, self.wet_pct), 0.0)

    def to_dry(self, member: Member, width_mm: float) -> float:
        """Shrinkage from today to the dry end [mm], nought if it only swells."""
        return max(-self._growth(member, width_mm, self.dry_pct), 0.0)

    def _growth(self, member: Member, width_mm: float, mc_pct: float) -> float:
        return float(width_at(width_mm, self.today_pct, mc_pct, member.movement)) - width_mm


@dataclass(frozen=True)
class Allowances:
    """What is kept in hand at the saw [mm], and the steps of the maker's rule.

    `reserve_mm` is kept at the wettest, each kind's own where it is None; `engagement_mm` is tongue kept in
    each groove at the driest.
    """

    reserve_mm: float | None = None
    engagement_mm: float = INCH / 8.0
    steps: Increments = INCH_STEPS

    def reserve(self, usual_mm: float) -> float:
        return usual_mm if self.reserve_mm is None else self.reserve_mm


LENGTH = "\ufffc"
"""Stands for a length in the words of a sentence (U+FFFC, object replacement character)."""

Spoken = list[str | float]
"""A sentence whose lengths are still numbers [mm] between its words, to be said in anybody's unit."""


Figure = tuple[str, float | str | None, str]
"""A size for the cut card: its label, its length [mm] or words, and which way it is rounded."""


@dataclass(frozen=True, kw_only=True)
class Cut:
    """Advice at the saw about one fit; each kind adds what it has to say, in mm, exact beside rounded.

    `enough` says whether the fit as drawn has room for its home's year. `figures` are the sizes to set out,
    most needed first; `parts` the sentences, their lengths still numbers, and `sentences` the same in words.
    """

    fit: str
    kind: str
    member: str
    stock_mc_pct: float
    range_mc_pct: tuple[float, float]
    enough: bool
    figures: list[Figure]
    parts: list[Spoken]
    sentences: list[str] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "sentences", [told(one) for one in self.parts])


@dataclass(frozen=True, kw_only=True)
class GapCut(Cut):
    """What gap to leave today, and what it will be at both ends; width and lap where they are known."""

    gap_mm: float
    gap_rounded_mm: float
    gap_dry_mm: float
    gap_wet_mm: float
    width_to_cut_mm: float | None = None
    width_to_cut_rounded_mm: float | None = None
    lap_needed_mm: float | None = None
    lap_needed_rounded_mm: float | None = None


def gap_figures(
    gap_mm: float, dry_mm: float, wet_mm: float, width_mm: float | None = None, lap_mm: float | None = None
) -> list[Figure]:
    """The sizes of a gap for the cut card."""
    return [
        ("cut it wide", width_mm, "nearest"),
        ("gap today", gap_mm, "up"),
        ("gap at the dry end", dry_mm, "up"),
        ("gap at the damp end", wet_mm, "up"),
        ("lap at least", lap_mm, "up"),
    ]


def spoken(words: str, *lengths_mm: float) -> Spoken:
    """A sentence with its lengths as numbers, each in the place of a `LENGTH` in its words.

    >>> spoken(f"Cut it {LENGTH} wide.", 368.3)
    ['Cut it ', 368.3, ' wide.']
    """
    found: Spoken = []
    for text, length_mm in zip(words.split(LENGTH), [*lengths_mm, None], strict=True):
        found.append(text)
        if length_mm is not None:
            found.append(float(length_mm))
    return found


def told(sentence: Iterable[str | float], length: Callable[[float], str] | None = None) -> str:
    """A sentence in words, its lengths said by a function of mm; in both units where none is given."""
    say = both_units if length is None else length
    return "".join(part if isinstance(part, str) else say(part) for part in sentence)


def both_units(length_mm: float) -> str:
    """A length in mm and in inches to the nearest 64th, for a sentence: "370.68 mm (14-19/32 in)".

    >>> both_units(368.3)
    '368.3 mm (14-1/2 in)'
    """
    millimetres = f"{length_mm:.2f}".rstrip("0").rstrip(".")
    whole, part = divmod(round(abs(length_mm) / INCH * 64.0), 64)
    divisor = math.gcd(part, 64)
    fraction = f"{part // divisor}/{64 // divisor}" if part else ""
    inches = "-".join(bit for bit in (str(whole) if whole or not part else "", fraction) if bit)
    return f"{millimetres} mm ({'-' if length_mm < 0 else ''}{inches} in)"
