"""The ways a fit runs out, and the moisture contents they are asked at."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from model.wood.errors import BadInput
from model.wood.material.member import Amount, Member
from model.wood.piece_table import NOTHING
from model.wood.reason import Reason
from model.wood.units import MM_PER_INCH

Direction = Literal["swelling", "shrinking"]
Severity = Literal["shows", "harms"]
Moistures = Mapping[str, Amount]

INCH = MM_PER_INCH

# Wood held across its grain takes about 0.4 % before it sets or splits: Mecklenburg, Tumosa and Erhardt
# 1998, from memory, unverified; common practice says 0.4 to 0.5 %.
RESTRAINED_STRAIN = 0.004
# Cross-grain conflict over less width than this is ignored (common practice, no source: 3 to 4 in).
IGNORED_WIDTH_MM = 4.0 * INCH


@dataclass(frozen=True)
class Way:
    """One way a fit runs out, at the moisture contents asked about.

    `parts` are the parts that move there, by their roles; `how` tells apart ways of one name that come about
    differently, and `across` is what is fixed across the part. `words` says it.
    """

    name: str
    direction: Direction
    severity: Severity
    margin_mm: Amount
    parts: tuple[str, ...]
    how: str = ""
    across: str = ""

    @property
    def reason(self) -> Reason:
        """What is seen when it is passed, as data."""
        return Reason(
            self.name,
            {
                "how": self.how,
                "direction": self.direction,
                "severity": self.severity,
                "parts": self.parts,
                "across": self.across,
            },
        )


@dataclass(frozen=True)
class Limit(Way):
    """A way a fit runs out, with what was left before it as built.

    `margin_mm` [mm] is movement still to go, negative when past; a float, or an array shaped like the
    moisture contents asked about. `play_mm` is the same at the reference moisture content.
    """

    play_mm: float = 0.0


def moisture_of(member: Member, mc: Moistures) -> Amount:
    """The moisture content given for a member; BadInput when there is none."""
    try:
        return mc[member.name]
    except KeyError:
        raise BadInput("", f"moisture content of {member.name}", "must be given", NOTHING) from None


def least(values: Sequence[Amount]) -> Amount:
    """The smallest of several amounts, element by element."""
    smallest: Amount = np.minimum.reduce(np.broadcast_arrays(*values)) if len(values) > 1 else values[0]
    return smallest


def restrained_ways(held_mm: float, growth: Amount, part: str) -> list[Way]:
    """The two ways of a width held fast, for the growth it would make if it were free [mm]."""
    takes = RESTRAINED_STRAIN * held_mm
    return [
        Way("crushes", "swelling", "harms", takes - growth, (part,)),
        Way("splits", "shrinking", "harms", takes + growth, (part,)),
    ]
