"""A fit cut through, small, on paper: the page's own drawing in inks that a printer keeps apart."""

import re
from typing import TYPE_CHECKING

from dashboard.figures.drawing import Shape
from dashboard.figures.section import section_drawing
from model.wood.fits import Fit
from model.words.display import Display

if TYPE_CHECKING:
    from dashboard.paper.pdf import Paper

DRAWN_ACROSS = 320
"""Width of the drawing in its own units; the smaller, the larger its lines beside its parts."""

WOOD, FRAME, SHEET, AWAY, STEEL = (
    (236, 222, 196),
    (190, 176, 150),
    (214, 214, 210),
    (255, 255, 255),
    (96, 96, 100),
)
FILLS = {"wood": WOOD, "cut-frame": FRAME, "cut-sheet": SHEET, "cut-away": AWAY, "cut-steel": STEEL}
EDGE = (70, 64, 54)
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def draw_cut_through(
    sheet: "Paper", x: float, y: float, width_mm: float, highest_mm: float, fit: Fit, display: Display
) -> float:
    """Draw a fit cut through as it was built, at the right of its room; returns the y below it.

    Parameters
    ----------
    x, y : float
        Upper left corner of the room [mm].
    width_mm, highest_mm : float
        The room there is; the drawing is made as large as fits.
    """
    tree = section_drawing(
        fit.section({member.name: member.mc_pct for member in fit.members}), display, DRAWN_ACROSS
    )
    boxes = [part for part in tree[2:] if part[0] == "rect" and _fill(part) is not None]
    if not boxes:
        return y
    left = min(float(box[1]["x"]) for box in boxes)
    right = max(float(box[1]["x"]) + float(box[1]["width"]) for box in boxes)
    top = min(float(box[1]["y"]) for box in boxes)
    low = max(float(box[1]["y"]) + float(box[1]["height"]) for box in boxes)
    scale = min(width_mm / (right - left), highest_mm / (low - top))
    at_x = x + width_mm - (right - left) * scale
    sheet.set_draw_color(*EDGE)
    for part in tree[2:]:
        fill = _fill(part)
        if part[0] == "rect" and fill is not None:
            box = {key: float(part[1][key]) * scale for key in ("x", "y", "width", "height")}
            is_break = "bare" in str(part[1]["class"])
            sheet.set_fill_color(*fill)
            sheet.set_line_width(0.15)
            sheet.rect(
                at_x + box["x"] - left * scale,
                y + box["y"] - top * scale,
                box["width"],
                box["height"],
                style="F" if is_break else "DF",
            )
        elif part[0] == "path" and part[1].get("class") == "gap-line":
            numbers = [float(found) * scale for found in _NUMBER.findall(str(part[1]["d"]))]
            points = list(zip(numbers[::2], numbers[1::2], strict=True))
            # Break lines stand out a little; not beyond the drawing's own edges here.
            sheet.polyline(
                [
                    (at_x + px - left * scale, y + min(max(py - top * scale, 0.0), (low - top) * scale))
                    for px, py in points
                ]
            )
    sheet.set_draw_color(34, 32, 28)
    sheet.set_fill_color(34, 32, 28)
    sheet.set_line_width(0.2)
    return y + (low - top) * scale


def _fill(part: Shape) -> tuple[int, int, int] | None:
    """The ink of a rectangle by its class; None for what has none of its own."""
    classes = str(part[1].get("class", "")).split()
    return next((FILLS[one] for one in classes if one in FILLS), None)
