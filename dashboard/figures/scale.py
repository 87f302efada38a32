"""Scales: where a value stands on a drawing, and which graduations a rule or an axis carries."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor

from model.wood.units import MM_PER_INCH
from model.words.display import Display, Units


@dataclass(frozen=True)
class Scale:
    """A straight scale from values to positions on a drawing."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        if self.high == self.low:
            return (self.start + self.end) / 2
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def held(self, value: float) -> float:
        """As a call, kept within the scale's ends."""
        return self(min(max(value, self.low), self.high))


@dataclass(frozen=True)
class Graduation:
    """One line of a rule: its value, how long it is (1 the longest), and what stands beside it."""

    value: float
    rank: int
    says: str = ""


def length_graduations(low_mm: float, high_mm: float, display: Display, at_most: int = 9) -> list[Graduation]:
    """Graduations of a length axis, in fractions of an inch or in millimetres; every one is numbered."""
    if not high_mm > low_mm:
        return []
    if display.units == "inch":
        steps = [MM_PER_INCH / parts for parts in (64, 32, 16, 8, 4, 2, 1, 1 / 2, 1 / 6, 1 / 12)]
    else:
        steps = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0]
    step = next((step for step in steps if (high_mm - low_mm) / step <= at_most), steps[-1])
    finest = 64 if step <= steps[0 if display.units == "inch" else 1] else 32
    return [
        Graduation(value, 1, display.bare_length(value, finest=finest))
        for value in _multiples(low_mm, high_mm, step)
    ]


def rule_graduations(length_mm: float, units: Units) -> list[Graduation]:
    """The graduations of a steel rule laid from zero: 1/32 in., or 0.5 mm, ranked as such a rule is cut."""
    # Cut by the foot and laid to length: every drawing asks for the same few.
    found = _rule_cut(ceil((length_mm + 1e-6) / RULE_MM) * RULE_MM, units)
    return [mark for mark in found if mark.value <= length_mm + 1e-6]


RULE_MM = 12 * MM_PER_INCH


@lru_cache(maxsize=32)
def _rule_cut(length_mm: float, units: Units) -> tuple[Graduation, ...]:
    if units == "inch":
        count = floor(length_mm / MM_PER_INCH * 32 + 1e-9)
        found = []
        for step in range(count + 1):
            rank = next(rank for rank, parts in enumerate((32, 16, 8, 4, 2, 1), 1) if step % parts == 0)
            found.append(
                Graduation(step * MM_PER_INCH / 32, rank, str(step // 32) if step and step % 32 == 0 else "")
            )
        return tuple(found)
    count = floor(length_mm / 0.5 + 1e-9)
    found = []
    for step in range(count + 1):
        rank = 1 if step % 20 == 0 else 2 if step % 10 == 0 else 4 if step % 2 == 0 else 6
        found.append(Graduation(step * 0.5, rank, str(step // 2) if step and step % 20 == 0 else ""))
    return tuple(found)


def _multiples(low: float, high: float, step: float) -> Iterator[float]:
    for number in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1):
        yield number * step
