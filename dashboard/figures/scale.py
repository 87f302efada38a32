"""Scales: where a value stands on a drawing, and which graduations a rule or an axis carries."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor

from dashboard.figures.drawing import Shape, shape, ticks
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


def humidity_edge(x: Scale, top: float, width: int, tall: tuple[float, float, float]) -> list[Shape]:
    """The upper edge of a rule of relative humidity, 0 to 100 %: its graduations and their numbers.

    Parameters
    ----------
    tall : tuple of float
        How long the lines of ten, five and one per cent are; 0 for none.
    """
    numbered = 10 if width >= 500 else 20
    tens, fives, ones = tall
    long = [(x(value), top, top + (fives if value % 10 else tens)) for value in range(0, 101, 5)]
    short = [(x(value), top, top + ones) for value in range(101) if value % 5 and ones]
    numbers = [
        shape("text", str(value), x=x(value), y=top + 27, text_anchor="middle", font_size=13)
        for value in range(numbered, 100, numbered)
    ]
    return [ticks(long, "tick"), *([ticks(short, "tick-small")] if short else []), *numbers]


def steel_body(left: float, top: float, width: float, tall: float) -> Shape:
    """The body of a steel rule."""
    return shape("rect", x=left, y=top, width=width, height=tall, rx=1.5, class_="steel-body")


def bracket(low: float, high: float, y: float, ends: tuple[bool, bool] = (True, True)) -> list[Shape]:
    """A bracket under a rule over what suits; an end without a limit is left open."""
    line = f"M{low:.1f} {y - 8}V{y}H{high:.1f}" if ends[0] else f"M{low:.1f} {y}H{high:.1f}"
    return [
        shape("rect", x=low, y=y - 8, width=max(high - low, 0.5), height=8, class_="bracket-fill"),
        shape("path", d=f"{line}V{y - 8}" if ends[1] else line, class_="bracket"),
    ]


def index(at: float, top: float, bottom: float) -> list[Shape]:
    """The index that stands on a rule at what is read."""
    return [
        shape("line", x1=at, x2=at, y1=top - 9, y2=bottom, class_="index-line"),
        shape("path", d=f"M{at - 5:.1f} {top - 9}h10l-5 8z", class_="index-fill"),
    ]


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
