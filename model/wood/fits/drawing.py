"""A cross-section of a fit at true size, as plain data: rectangles and distances in mm."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Part:
    """A rectangle of a cross-section [mm]: x across the grain, y through the thickness, up."""

    name: str
    role: Literal["frame", "groove", "member", "opening", "fastener", "sheet", "slot"]
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Space:
    """A distance worth a dimension line [mm], from one x to another at a height; negative is overlap."""

    name: str
    from_mm: float
    to_mm: float
    y_mm: float

    @property
    def size_mm(self) -> float:
        return self.to_mm - self.from_mm


@dataclass(frozen=True)
class Section:
    """A cross-section at true size; `plain_mm` are spans of x that a drawing may leave out."""

    title: str
    parts: tuple[Part, ...]
    spaces: tuple[Space, ...]
    plain_mm: tuple[tuple[float, float], ...] = ()
