"""A part as it would be built, seen from the front, with how much it moves on a rule under it."""

from dataclasses import dataclass

from dashboard.figures.drawing import Shape, end_grain, picture, shape, ticks
from dashboard.figures.scale import Scale, rule_graduations
from model.words.display import Display

TALLEST, PAD, WIDTH = 190.0, 8.0, 300
RULE_TOP = 34.0


@dataclass(frozen=True)
class Front:
    """What is drawn of one way to build a part [mm].

    Attributes
    ----------
    kind : str
        slab, framed or sheet.
    title : str
    width_mm, length_mm : float
        Across the grain (drawn from left to right) and along it.
    stile_mm : float
        Of the frame, if it is one.
    panels : int
        In the frame.
    movement_mm : float
        Of the whole width over the year.
    panel_movement_mm : float or None
        Of a panel in its frame.
    """

    kind: str
    title: str
    width_mm: float
    length_mm: float
    stile_mm: float = 0.0
    panels: int = 0
    movement_mm: float = 0.0
    panel_movement_mm: float | None = None


def front_drawing(front: Front, most_mm: float, display: Display, uid: str = "front") -> Shape:
    """A part from the front at true proportion, and its movement on a rule.

    Parameters
    ----------
    front : Front
    most_mm : float
        The largest movement among those drawn beside each other: their rules have one scale.
    display : Display
        The viewer's units.
    uid : str
        A name no other drawing on the page has.
    """
    scale = min((WIDTH - 2 * PAD) / front.width_mm, TALLEST / front.length_mm)
    across, tall = front.width_mm * scale, front.length_mm * scale
    left, top = (WIDTH - across) / 2, PAD
    drawn: list[Shape] = [end_grain(uid)]
    if front.kind == "framed":
        drawn += _framed(front, left, top, across, tall, scale)
    elif front.kind == "sheet":
        edge = max(3.0 / 16.0 * 25.4 * scale, 2.0)
        drawn.append(shape("rect", x=left, y=top, width=across, height=tall, class_="wood"))
        drawn.append(
            shape(
                "rect", x=left + edge, y=top + edge, width=across - 2 * edge, height=tall - 2 * edge,
                class_="cut-sheet",
            )
        )  # fmt: skip
    else:
        drawn.append(shape("rect", x=left, y=top, width=across, height=tall, class_="wood"))
        drawn.append(_grain(left, top, across, tall))
    base = top + TALLEST if tall < TALLEST else top + tall
    # Parts of unlike proportion still stand on one line.
    shift = base - (top + tall)
    if shift > 0:
        drawn = [shape("g", *drawn, transform=f"translate(0 {shift:.1f})")]
    drawn += _dimension(front, left, base, across, display)
    rule, height = _movement(front, most_mm, base + RULE_TOP, display)
    label = (
        f"{front.title}, {display.length(front.width_mm)} wide and {display.length(front.length_mm)} long, "
        f"moves {display.length(front.movement_mm, finest=64)} across over the year"
    )
    if front.panel_movement_mm:
        label += f", its panel {display.length(front.panel_movement_mm, finest=64)} in its grooves"
    return picture(WIDTH, height, *drawn, *rule, label=f"{label}.", class_="front")


def _grain(left: float, top: float, across: float, tall: float) -> Shape:
    """Long grain, so that it is seen which way it runs."""
    lines = max(int(across // 13), 1)
    step = across / (lines + 1)
    d = ""
    for number in range(lines):
        x, short = left + step * (number + 1), number % 3
        d += f"M{x:.1f} {top + 4 + short * 5:.1f}v{max(tall - 12 - short * 7, 4):.1f}"
    return shape("path", d=d, class_="grain")


def _framed(front: Front, left: float, top: float, across: float, tall: float, scale: float) -> list[Shape]:
    stile = front.stile_mm * scale
    count = max(front.panels, 1)
    sight = (across - (count + 1) * stile) / count
    found: list[Shape] = []
    for number in range(count):
        x = left + stile + number * (sight + stile)
        box = {"x": x, "y": top + stile, "width": sight, "height": tall - 2 * stile}
        found.append(shape("rect", class_="wood", **box))
        found.append(_grain(x, top + stile, sight, tall - 2 * stile))
        for y in (top, top + tall - stile):
            found.append(shape("rect", x=x, y=y, width=sight, height=stile, class_="cut-frame"))
            across_grain = f"M{x + 4:.1f} {y + stile / 2:.1f}h{max(sight - 8, 2):.1f}"
            found.append(shape("path", d=across_grain, class_="grain"))
    for number in range(count + 1):
        x = left + number * (sight + stile)
        found.append(shape("rect", x=x, y=top, width=stile, height=tall, class_="cut-frame"))
        found.append(_grain(x, top, stile, tall))
    return found


def _dimension(front: Front, left: float, base: float, across: float, display: Display) -> list[Shape]:
    y = base + 9
    d = f"M{left:.1f} {base + 3:.1f}v12M{left + across:.1f} {base + 3:.1f}v12M{left:.1f} {y:.1f}h{across:.1f}"
    middle = left + across / 2
    return [
        shape("path", d=d, class_="tick-small"),
        shape("text", display.length(front.width_mm), x=middle, y=y + 16, text_anchor="middle", font_size=14),
    ]


def _movement(front: Front, most_mm: float, top: float, display: Display) -> tuple[list[Shape], float]:
    """The movement as a bar along a steel rule, much larger than life, of one scale with its neighbours."""
    step_mm = 25.4 / 32 if display.units == "inch" else 0.5
    end_mm = max((int(most_mm / (4 * step_mm)) + 1) * 4 * step_mm, 8 * step_mm)
    x = Scale(0.0, end_mm, PAD, WIDTH - PAD)
    found: list[Shape] = []
    bars: list[tuple[str, float, str | None]] = [("moves", front.movement_mm, None)]
    if front.panel_movement_mm:
        bars.append(("its panel, out of sight,", front.panel_movement_mm, "6 4"))
    y = top + 12
    for name, size_mm, dashes in bars:
        says = f"{name} {display.length(size_mm, finest=64)}"
        found.append(shape("text", says, x=x.start, y=y + 4, font_size=14))
        bar = f"M{x.start:.1f} {y + 12:.1f}H{x.held(size_mm):.1f}"
        found.append(shape("path", d=bar, class_="dimension", stroke_dasharray=dashes))
        y += 30
    # One bar leaves the room of two, so that the rules of all drawings lie on one line.
    y = top + 64
    found.append(shape("rect", x=x.start, y=y, width=x.end - x.start, height=24, class_="steel-body"))
    room = (x.end - x.start) / (end_mm / step_mm)
    lines: dict[str, list[tuple[float, float, float]]] = {"tick": [], "tick-small": []}
    for mark in rule_graduations(end_mm, display.units):
        finest = mark.rank == 6
        if finest and room < 3.2:
            continue
        tall = (0, 15, 12, 9, 7, 5, 4)[mark.rank]
        lines["tick" if mark.rank <= 3 else "tick-small"].append((x(mark.value), y, y + tall))
    found += [ticks(points, class_) for class_, points in lines.items() if points]
    quarter = 25.4 / 4 if display.units == "inch" else 5.0
    every = quarter / 2 if end_mm < 3 * quarter else quarter
    number = 1
    while number * every < end_mm - 0.2 * every:
        parts = 16 if display.units == "inch" else 32
        words = display.bare_length(number * every, finest=parts)
        at = x(number * every)
        found.append(shape("text", words, x=at, y=y + 21, text_anchor="middle", font_size=11))
        number += 1
    return found, y + 32
