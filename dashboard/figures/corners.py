"""One room, several climates: where its spots stand on the humidity rule, all at one dew point."""

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.figures.drawing import Shape, picture, shape
from dashboard.figures.scale import Scale, humidity_edge, steel_body
from model.words import display as say
from model.words.display import Display

ROW, TALL_ROW, LINE = 30.0, 42.0, 16.0
NARROW = 500
CHARACTER = 6.2


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
    # Where there is no room beside a pin for all its words, what it reads stands under its name.
    row_height = TALL_ROW if width < NARROW else ROW
    edge, top = 14.0, 8.0 + row_height * len(pins)
    x = Scale(0.0, 100.0, edge, width - edge)
    parts: list[Shape] = [
        steel_body(1, top, width - 2, 42),
        shape(
            "text", "RH %", x=width - edge, y=top + 36, text_anchor="end", class_="soft-text", font_size=12
        ),
        *humidity_edge(x, top, width, (15, 10, 6)),
    ]
    words_last: list[Shape] = []
    for row, pin in enumerate(sorted(pins, key=lambda pin: pin.rh_pct)):
        y, at = 20.0 + row_height * row, x.held(pin.rh_pct)
        reads = f"{display.temperature(pin.temperature_c)}: {say.rh(pin.rh_pct)}"
        lines = [pin.name, reads] if width < NARROW else [f"{pin.name}, {reads}"]
        room = max(map(len, lines)) * CHARACTER
        leftward = at + room + 10 > width
        parts += [
            shape("line", x1=at, x2=at, y1=y - 10, y2=top + 15, class_="index-line"),
            shape("circle", cx=at, cy=y - 10, r=5 if pin.is_room else 3.5, class_="index-fill"),
        ]
        words_last += [
            shape(
                "text",
                words,
                x=max(at - 8, room) if leftward else at + 8,
                y=y - 4 + LINE * number,
                text_anchor="end" if leftward else None,
                font_size=14,
                class_="strong on-land" if pin.is_room else "on-land",
            )
            for number, words in enumerate(lines)
        ]
    label = "; ".join(
        f"{pin.name} {say.rh(pin.rh_pct)} at {display.temperature(pin.temperature_c)}" for pin in pins
    )
    return picture(width, top + 46, *parts, *words_last, label=label, class_="corners")
