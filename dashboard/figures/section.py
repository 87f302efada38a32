"""The cross-section of a fit, drawn to scale from its geometry, with a steel rule under it.

What is plain in between is left out between two break lines, so that a groove of 3/8 in. is big enough to
read beside a panel of 15.
"""

import re
from dataclasses import dataclass

from dashboard.figures.drawing import Shape, end_grain, path, picture, shape, ticks
from dashboard.figures.scale import rule_graduations
from model.wood.fits.drawing import Part, Section, Space
from model.words.display import Display

BREAK, PAD, LARGEST = 22.0, 8.0, 6.5
ROW = 24.0
CHARACTER = 6.4


@dataclass(frozen=True)
class _Broken:
    """Positions along a section with its plain spans left out."""

    kept: tuple[tuple[float, float], ...]
    scale: float
    start: float

    def __call__(self, x_mm: float) -> float:
        at = self.start
        for low, high in self.kept:
            if x_mm <= high or (low, high) == self.kept[-1]:
                return at + (max(x_mm, low) - low) * self.scale
            at += (high - low) * self.scale + BREAK
        return at

    def pieces(self, from_mm: float, to_mm: float) -> list[tuple[float, float]]:
        """The parts of a span that are drawn."""
        return [
            (max(low, from_mm), min(high, to_mm))
            for low, high in self.kept
            if min(high, to_mm) > max(low, from_mm)
        ]


def section_drawing(section: Section, display: Display, width: int = 560, uid: str = "section") -> Shape:
    """A cross-section as a drawing with dimension lines in the viewer's units.

    Parameters
    ----------
    section : Section
        Parts and spaces at true size [mm].
    display : Display
        The viewer's units.
    width : int
        Width of the drawing in its own units.
    uid : str
        A name no other drawing on the page has: patterns go by it.
    """
    # A browser that can't read a reference paints black; a name that was typed may hold anything.
    uid = re.sub(r"[^A-Za-z0-9_-]", "-", uid)
    if not section.parts:
        return picture(width, 10, label=f"{section.title}: nothing to draw")
    low = min(part.x_mm for part in section.parts)
    high = max(part.x_mm + part.width_mm for part in section.parts)
    x = _broken(low, high, section.plain_mm, width)
    bottom_mm = min(part.y_mm for part in section.parts)
    top_mm = max(part.y_mm + part.height_mm for part in section.parts)
    top = 6.0

    def y(y_mm: float) -> float:
        return top + (top_mm - y_mm) * x.scale

    drawn: list[Shape] = [end_grain(uid)]
    for part in sorted(section.parts, key=lambda part: _ORDER[part.role]):
        drawn += _part(part, x, y, uid)
    base = y(bottom_mm)
    drawn += _breaks(x, top, base)
    spaces, rows = _dimensions(section.spaces, x, y, base, display, width)
    drawn += spaces
    rule_top = base + 16 + rows * ROW
    drawn += _rule(low, high, x, rule_top, display)
    label = f"{section.title}. " + ", ".join(
        f"{space.name} {display.length(space.size_mm, 'down', 64)}" for space in section.spaces
    )
    return picture(width, rule_top + 30, *drawn, label=label, class_="section")


_ORDER = {"frame": 0, "opening": 0, "sheet": 1, "groove": 2, "member": 3, "slot": 4, "fastener": 5}
_CLASS = {
    "frame": "cut-frame",
    "opening": "cut-frame",
    "sheet": "cut-sheet",
    "groove": "cut-away",
    "slot": "cut-away",
    "member": "wood",
    "fastener": "cut-steel",
}


def _broken(low: float, high: float, plain: tuple[tuple[float, float], ...], width: int) -> _Broken:
    kept: list[tuple[float, float]] = []
    at = low
    for from_mm, to_mm in sorted(plain):
        # A gap no wider than its own break lines is better drawn.
        if from_mm > at and to_mm < high and to_mm - from_mm > 8.0:
            kept.append((at, from_mm))
            at = to_mm
    kept.append((at, high))
    length_mm = sum(end - start for start, end in kept)
    room = width - 2 * PAD - BREAK * (len(kept) - 1)
    scale = min(room / length_mm, LARGEST) if length_mm > 0 else 1.0
    taken = length_mm * scale + BREAK * (len(kept) - 1)
    return _Broken(tuple(kept), scale, (width - taken) / 2)


def _part(part: Part, x: _Broken, y: object, uid: str) -> list[Shape]:
    assert callable(y)
    found = []
    for from_mm, to_mm in x.pieces(part.x_mm, part.x_mm + part.width_mm):
        left, across = x(from_mm), (to_mm - from_mm) * x.scale
        box = {
            "x": left,
            "y": y(part.y_mm + part.height_mm),
            "width": across,
            "height": max(part.height_mm * x.scale, 0.8),
        }
        found.append(shape("rect", class_=_CLASS[part.role], **box))
        if part.role in ("frame", "opening"):
            found.append(shape("rect", fill=f"url(#{uid})", **box))
    return found


def _breaks(x: _Broken, top: float, base: float) -> list[Shape]:
    found = []
    for (_, left_mm), (right_mm, _) in zip(x.kept, x.kept[1:], strict=False):
        left, right = x(left_mm), x(right_mm)
        found.append(
            shape(
                "rect", x=left, y=top - 4, width=right - left, height=base - top + 8, class_="cut-away bare"
            )
        )
        middle = (top + base) / 2
        for edge in (left, right):
            points = [(edge, top - 4), (edge, middle - 8), (edge - 4, middle - 3), (edge + 4, middle + 3)]
            points += [(edge, middle + 8), (edge, base + 4)]
            found.append(shape("path", d=path(points), class_="gap-line"))
    return found


def _dimensions(
    spaces: tuple[Space, ...], x: _Broken, y: object, base: float, display: Display, width: int
) -> tuple[list[Shape], int]:
    """Dimension lines under the section, set in as many rows as keep their words apart."""
    assert callable(y)
    taken: list[list[tuple[float, float]]] = []
    found: list[Shape] = []
    # Rows are filled from both sides inward, so that lines to the outermost spaces stay short.
    for space in sorted(spaces, key=lambda space: (space.from_mm + space.to_mm) / 2):
        left, right = sorted((x(space.from_mm), x(space.to_mm)))
        words = _words(space, display)
        room = len(words) * CHARACTER
        middle = min(max((left + right) / 2, room / 2 + 2), width - room / 2 - 2)
        low, high = min(left, middle - room / 2) - 7, max(right, middle + room / 2) + 7
        row = next(
            (
                number
                for number, spans in enumerate(taken)
                if all(high <= other_low or low >= other_high for other_low, other_high in spans)
            ),
            len(taken),
        )
        if row == len(taken):
            taken.append([])
        taken[row].append((low, high))
        line_y = base + 12 + row * ROW
        over = space.size_mm < -1e-9
        start = y(space.y_mm)
        found += [
            shape(
                "path",
                d=f"M{left:.1f} {start:.1f}V{line_y + 3:.1f}M{right:.1f} {start:.1f}V{line_y + 3:.1f}",
                class_="tick-small",
            ),
            shape("path", d=f"M{left:.1f} {line_y:.1f}H{right:.1f}", class_="dimension"),
            shape(
                "text",
                words,
                x=middle,
                y=line_y + 14,
                text_anchor="middle",
                font_size=13,
                class_="on-land strong" if over else "on-land",
            ),
        ]
    return found, len(taken) + (1 if taken else 0)


def _words(space: Space, display: Display) -> str:
    name = space.name.removeprefix("left ").removeprefix("right ")
    if space.size_mm < -1e-9:
        return f"{display.overrun(space.size_mm)} past, {name}"
    return f"{display.length(space.size_mm, 'down', 64)} {name}"


def _rule(low: float, high: float, x: _Broken, top: float, display: Display) -> list[Shape]:
    found: list[Shape] = []
    lines: dict[str, list[tuple[float, float, float]]] = {"tick": [], "tick-small": []}
    step = 25.4 / 32 if display.units == "inch" else 0.5
    # Graduations nearer together than this run into one grey bar; a rule for the eye leaves them off.
    coarsest = next(
        rank for rank, parts in enumerate((1, 2, 4, 8, 16, 32), 0) if step * parts * x.scale >= 3.2
    )
    for from_mm, to_mm in x.kept:
        found.append(
            shape(
                "rect", x=x(from_mm), y=top, width=(to_mm - from_mm) * x.scale, height=24, class_="steel-body"
            )
        )
    for mark in rule_graduations(high - low, display.units):
        at = low + mark.value
        if not any(from_mm < at < to_mm for from_mm, to_mm in x.kept) or mark.rank > 6 - coarsest:
            continue
        tall = (0, 15, 12, 9, 7, 5, 4)[mark.rank]
        lines["tick" if mark.rank <= 3 else "tick-small"].append((x(at), top, top + tall))
        room_mm = 12 / x.scale
        if mark.says and any(from_mm < at < to_mm - room_mm for from_mm, to_mm in x.kept):
            found.append(shape("text", mark.says, x=x(at) + 3, y=top + 20, font_size=11))
    return [*found, *(ticks(points, class_) for class_, points in lines.items() if points)]
