"""A room's humidity for a client: a rule with what the piece likes under it, and what the room reads."""

from math import isfinite

from dashboard.figures.drawing import Shape, picture, shape
from dashboard.figures.scale import Scale, bracket, humidity_edge, index, steel_body
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
    drawn: list[Shape] = [
        steel_body(1, TOP, width - 2, BOTTOM - TOP),
        *humidity_edge(x, TOP, width, (14, 8, 0)),
    ]
    label = "Humidity"
    if rh_pct is not None and isfinite(rh_pct):
        here = x.held(rh_pct)
        told = f"your room {say.rh(rh_pct)}"
        at = min(max(here, 60.0), width - 60.0)
        drawn += [
            *index(here, TOP, BOTTOM + 4),
            shape("text", told, x=at, y=18, text_anchor="middle", font_size=14, class_="strong"),
        ]
        label += f": {told}"
    if low_pct is None or high_pct is None:
        return picture(width, BOTTOM + 8, *drawn, label=label, class_="room-rule")
    low, high = x.held(low_pct), x.held(high_pct)
    told = f"it likes {say.humidity_range(low_pct, high_pct)}"
    y = BOTTOM + 14
    drawn += [
        *bracket(low, high, y),
        shape("text", told, x=(low + high) / 2, y=y + 16, text_anchor="middle", font_size=14),
    ]
    return picture(width, y + 24, *drawn, label=f"{label}; {told}", class_="room-rule")
