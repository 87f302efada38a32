"""A room's humidity for a client: a rule with what the piece likes under it, and what the room reads."""

from math import isfinite

from dashboard.figures.drawing import Shape, picture, shape, ticks
from dashboard.figures.scale import Scale
from model.words import display as say

EDGE, TOP, BOTTOM = 14, 34, 66


def room_rule(rh_pct: float | None, low_pct: float | None, high_pct: float | None, width: int = 640) -> Shape:
    """A rule of relative humidity.

    Parameters
    ----------
    rh_pct : float or None
        What the room reads [%].
    low_pct, high_pct : float or None
        What the piece likes [%]; both None where no humidity suits it.
    width : int
        Width of the drawing in its own units; a phone's is 340.
    """
    x = Scale(0.0, 100.0, EDGE, width - EDGE)
    numbered = 10 if width >= 500 else 20
    drawn: list[Shape] = [
        shape("rect", x=1, y=TOP, width=width - 2, height=BOTTOM - TOP, rx=1.5, class_="steel-body"),
        ticks([(x(value), TOP, TOP + (14 if value % 10 == 0 else 8)) for value in range(0, 101, 5)], "tick"),
        *[
            shape("text", str(value), x=x(value), y=TOP + 27, text_anchor="middle", font_size=13)
            for value in range(numbered, 100, numbered)
        ],
    ]
    label = "Humidity"
    if rh_pct is not None and isfinite(rh_pct):
        here = x.held(rh_pct)
        told = f"your room {say.rh(rh_pct)}"
        at = min(max(here, 60.0), width - 60.0)
        drawn += [
            shape("line", x1=here, x2=here, y1=TOP - 9, y2=BOTTOM + 4, class_="index-line"),
            shape("path", d=f"M{here - 5:.1f} {TOP - 9}h10l-5 8z", class_="index-fill"),
            shape("text", told, x=at, y=18, text_anchor="middle", font_size=14, class_="strong"),
        ]
        label += f": {told}"
    if low_pct is None or high_pct is None:
        return picture(width, BOTTOM + 8, *drawn, label=label, class_="room-rule")
    low, high = x.held(low_pct), x.held(high_pct)
    told = f"it likes {say.humidity_range(low_pct, high_pct)}"
    y = BOTTOM + 14
    drawn += [
        shape("rect", x=low, y=y - 8, width=max(high - low, 0.5), height=8, class_="bracket-fill"),
        shape("path", d=f"M{low:.1f} {y - 8}V{y}H{high:.1f}V{y - 8}", class_="bracket"),
        shape("text", told, x=(low + high) / 2, y=y + 16, text_anchor="middle", font_size=14),
    ]
    return picture(width, y + 24, *drawn, label=f"{label}; {told}", class_="room-rule")
