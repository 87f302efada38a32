"""One room, several climates: where its spots stand on the humidity rule, all at one dew point."""

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.figures.drawing import Shape, picture, shape, ticks
from dashboard.figures.scale import Scale
from model.words import display as say
from model.words.display import Display

ROW = 30.0
CHARACTER = 6.9


@dataclass(frozen=True)
class Pin:
    """A spot on the rule."""

    name: str
    temperature_c: float
    rh_pct: float
    is_room: bool = False


def corners_drawing(pins: Sequence[Pin], display: Display, width: int = 720) -> Shape:
    """A steel rule of humidity with a pin for each spot, its name and temperature beside it.

    Parameters
    ----------
    pins : sequence of Pin
        The room itself among them.
    display : Display
    width : int
        Width of the drawing in its own units; a phone's is 360.
    """
    edge, top = 14.0, 8.0 + ROW * len(pins)
    x = Scale(0.0, 100.0, edge, width - edge)
    parts: list[Shape] = [
        shape("rect", x=1, y=top, width=width - 2, height=42, rx=1.5, class_="steel-body"),
        shape(
            "text", "RH %", x=width - edge, y=top + 36, text_anchor="end", class_="soft-text", font_size=12
        ),
        ticks([(x(v), top, top + (15 if v % 10 == 0 else 10)) for v in range(0, 101, 5)], "tick"),
        ticks([(x(v), top, top + 6) for v in range(101) if v % 5], "tick-small"),
    ]
    for value in range(10 if width >= 500 else 20, 100, 10 if width >= 500 else 20):
        parts.append(shape("text", str(value), x=x(value), y=top + 28, text_anchor="middle", font_size=13))
    words_last: list[Shape] = []
    for row, pin in enumerate(sorted(pins, key=lambda pin: pin.rh_pct)):
        y, at = 20.0 + ROW * row, x.held(pin.rh_pct)
        words = f"{pin.name}, {display.temperature(pin.temperature_c)}: {say.rh(pin.rh_pct)}"
        room = len(words) * CHARACTER
        leftward = at + room + 10 > width
        parts += [
            shape("line", x1=at, x2=at, y1=y - 10, y2=top + 15, class_="index-line"),
            shape("circle", cx=at, cy=y - 10, r=5 if pin.is_room else 3.5, class_="index-fill"),
        ]
        words_last.append(
            shape(
                "text",
                words,
                x=max(at - 8, room) if leftward else at + 8,
                y=y - 4,
                text_anchor="end" if leftward else None,
                font_size=14,
                class_="strong on-land" if pin.is_room else "on-land",
            )
        )
    label = "; ".join(
        f"{pin.name} {say.rh(pin.rh_pct)} at {display.temperature(pin.temperature_c)}" for pin in pins
    )
    return picture(width, top + 46, *parts, *words_last, label=label, class_="corners")
