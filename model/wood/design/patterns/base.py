"""What a case pattern declares, and the case that is made of it: parts, fits and elevations.

A pattern is one file in this folder. It names its sizes and choices, each with what is usual and what it may
be, and a function that makes the case: it asks for sizes and choices and adds parts, fits and outlines.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from model.wood.design.case_grain import CaseGrain, CaseSide, grain_round_case
from model.wood.design.part_request import HomeRange
from model.wood.design.patterns.rules import Stock
from model.wood.design.patterns.shop_figures import ShopFigures
from model.wood.errors import BadInput
from model.wood.material.movement import movement_of
from model.wood.material.species import Species
from model.wood.units import MM_PER_INCH as INCH

Grain = Literal["up", "across", "deep"]
Wood = Literal["show", "inside"]


@dataclass(frozen=True)
class CaseSize:
    """A size or a count that a pattern asks for: usual, least and most in an inch shop and in a metric one.

    Lengths are in inches and in mm; a count is the same in both.
    """

    key: str
    meaning: str
    inch: tuple[float, float, float]
    metric: tuple[float, float, float]
    is_count: bool = False

    def bounds(self, shop: ShopFigures) -> tuple[float, float, float]:
        """Usual, least and most, lengths in mm."""
        if self.is_count or shop.units == "metric":
            return self.metric
        usual, least, most = self.inch
        return round(usual * INCH, 6), least * INCH, most * INCH


def count_of(key: str, meaning: str, usual: int, least: int, most: int) -> CaseSize:
    """A count, the same in any shop."""
    return CaseSize(key, meaning, (usual, least, most), (usual, least, most), is_count=True)


@dataclass(frozen=True)
class CaseChoice:
    """A choice that a pattern asks for, the usual option first; `only_when` names options of another."""

    key: str
    meaning: str
    options: tuple[str, ...]
    only_when: tuple[str, tuple[str, ...]] | None = None


@dataclass(frozen=True)
class MadePart:
    """A part that a pattern makes: its size [mm], its wood, how many are alike; `role` where not as named."""

    name: str
    role: str
    width_mm: float
    length_mm: float
    thickness_mm: float
    wood: Wood
    grain: Grain
    alike: int


@dataclass(frozen=True)
class MadeFit:
    """A fit that a pattern makes: its kind, the fields of its table [mm], and how many are alike."""

    name: str
    kind: str
    fields: Mapping[str, Any]
    alike: int


@dataclass(frozen=True)
class Outline:
    """A rectangle of an elevation [mm]; the last drawn lies on top.

    In front x runs from the left, from the side from the back; y from the floor up. `name` is that of a part,
    or what is only drawn; `nth` tells alike ones apart.
    """

    name: str
    nth: int
    x_mm: float
    y_mm: float
    w_mm: float
    h_mm: float
    grain: Grain
    hidden: bool = False


@dataclass(frozen=True)
class CaseWood:
    """The wood of a case or of one of its parts: species, ring angle [°], moisture today [%] and its ±."""

    species: Species
    ring_angle_deg: float
    mc_pct: float
    mc_doubt_pct: float = 0.0


@dataclass
class Case:
    """A case as it is made: what was asked, and what follows from it.

    Attributes
    ----------
    sizes : mapping
        Lengths [mm] and counts by key.
    choices : mapping
    woods : mapping
        The wood of "show" and of "inside" parts, and of each part that has one of its own, by name.
    home_mc_pct : (float, float)
        What wood comes to at the home's dry and wet end [%].
    shop : ShopFigures
    parts, fits : dict by name
    front, side : list of Outline
    corners : list of CaseSide
        Round the case, for its grain; empty of a framed one.
    """

    sizes: Mapping[str, float]
    choices: Mapping[str, str]
    woods: Mapping[str, CaseWood]
    home_mc_pct: tuple[float, float]
    shop: ShopFigures
    parts: dict[str, MadePart] = field(default_factory=dict)
    fits: dict[str, MadeFit] = field(default_factory=dict)
    front: list[Outline] = field(default_factory=list)
    side: list[Outline] = field(default_factory=list)
    corners: list[CaseSide] = field(default_factory=list)

    def size(self, key: str) -> float:
        return self.sizes[key]

    def count(self, key: str) -> int:
        return int(self.sizes[key])

    def choice(self, key: str) -> str:
        return self.choices[key]

    def wood_of(self, name: str, wood: Wood = "show") -> CaseWood:
        """The wood of a part: its own, else that of its kind."""
        return self.woods.get(name) or self.woods[wood]

    def stock(self, name: str, wood: Wood = "show") -> Stock:
        """A part's wood as the rules ask for it."""
        own = self.wood_of(name, wood)
        movement = movement_of(own.species, own.ring_angle_deg)
        return Stock(movement, own.mc_pct, *self.home_mc_pct, doubt_pct=own.mc_doubt_pct)

    def part(
        self,
        name: str,
        grain: Grain,
        width_mm: float,
        length_mm: float,
        thickness_mm: float,
        wood: Wood = "show",
        alike: int = 1,
        role: str = "",
    ) -> None:
        """Add a part, or so many more that are alike."""
        known = self.parts.get(name)
        if known is not None:
            alike += known.alike
        width, length = round(width_mm, 6), round(length_mm, 6)
        self.parts[name] = MadePart(name, role, width, length, thickness_mm, wood, grain, alike)

    def fit(self, name: str, kind: str, alike: int = 1, **fields: Any) -> None:
        """Add a fit, or so many more that are alike; lengths in mm, nothing for a field left out."""
        known = self.fits.get(name)
        if known is not None:
            alike += known.alike
        given = {
            key: round(v, 6) if isinstance(v, float) else v for key, v in fields.items() if v is not None
        }
        self.fits[name] = MadeFit(name, kind, given, alike)

    def draw(
        self,
        view: list[Outline],
        name: str,
        x: float,
        y: float,
        w: float,
        h: float,
        grain: Grain,
        hidden: bool = False,
    ) -> None:
        """Add a rectangle to an elevation [mm]."""
        nth = 1 + sum(outline.name == name for outline in view)
        x, y, w, h = (round(v, 6) for v in (x, y, w, h))
        view.append(Outline(name, nth, x, y, w, h, grain, hidden))

    def views(self, with_side: bool, shown: Collection[str] = ()) -> list[list[Outline]]:
        """The front, and the side beside it: where it is wanted, or it alone shows one of some parts."""
        hidden = {*shown} - {one.name for one in self.front}
        if self.side and (with_side or any(one.name in hidden for one in self.side)):
            return [self.front, self.side]
        return [self.front]

    def grain(self) -> CaseGrain | None:
        """What the direction of the grain does round the case, in its home; none of a framed one."""
        if not self.corners:
            return None
        return grain_round_case(self.corners, HomeRange(*self.home_mc_pct), self.woods["show"].mc_pct)

    def corner(self, name: str, stands: Literal["upright", "level"], depth_mm: float) -> None:
        """Add one side to the grain round the case."""
        own = self.wood_of(name)
        self.corners.append(CaseSide(name, own.species, own.ring_angle_deg, depth_mm, "round", stands))


@dataclass(frozen=True)
class CasePattern:
    """A drawn case to choose from.

    Attributes
    ----------
    key : str
        The word in piece files.
    what : str
        One line for people.
    sizes, choices : tuple
        What it asks for, in a maker's order.
    make : function of Case
        Adds parts, fits, outlines; raises BadInput for what can't be built.
    is_tall : bool
        Whether it has to be anchored to a wall.
    """

    key: str
    what: str
    sizes: tuple[CaseSize, ...]
    choices: tuple[CaseChoice, ...]
    make: Callable[[Case], None]
    is_tall: bool = False

    def size_named(self, key: str) -> CaseSize:
        return next(size for size in self.sizes if size.key == key)

    def check_size(self, size: CaseSize, value: float, shop: ShopFigures) -> float:
        """The size [mm] or count, refused outside what this pattern is made in."""
        _, least, most = size.bounds(shop)
        if size.is_count:
            if value != int(value) or not least <= value <= most:
                raise BadInput("", size.key, f"must be {least:g} to {most:g} for a {self.key}", f"{value:g}")
        elif not least - 1e-6 <= value <= most + 1e-6:
            unit = INCH if shop.units == "inch" else 1.0
            called = "in" if shop.units == "inch" else "mm"
            rule = f"must be {least / unit:g} to {most / unit:g} {called} for a {self.key}"
            raise BadInput("", size.key, rule, f"{value / unit:.5g} {called}")
        return value
