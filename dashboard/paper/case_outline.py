"""A case on paper: its elevations in hairlines, the place to look at in a heavy line."""

from collections.abc import Collection
from typing import TYPE_CHECKING

from model.wood.design.patterns import Case, Outline

if TYPE_CHECKING:
    from dashboard.paper.pdf import Paper

WOOD_WASH, PAPER_WHITE = (236, 228, 214), (255, 255, 255)
BETWEEN_MM = 8.0


def draw_case(
    sheet: "Paper",
    case: Case,
    x: float,
    y: float,
    width_mm: float,
    highest_mm: float,
    *,
    with_side: bool = False,
    marked: Collection[str] = (),
    at_left: bool = False,
) -> float:
    """Draw a case from the front, and from the side as `Case.views` has it, at the right or left of its room.

    Parameters
    ----------
    x, y : float
        Upper left corner of the room [mm].
    width_mm, highest_mm : float
        The room there is; both are drawn to one scale, as large as fits.

    Returns
    -------
    float
        The y below it [mm].
    """
    views = case.views(with_side, marked)
    spans = [(min(one.x_mm for one in view), max(one.x_mm + one.w_mm for one in view)) for view in views]
    high = max(one.y_mm + one.h_mm for view in views for one in view)
    wide = sum(right - left for left, right in spans)
    free = width_mm - BETWEEN_MM * (len(views) - 1)
    scale = min(free / wide, highest_mm / high)
    at = x + (0.0 if at_left else width_mm - wide * scale - BETWEEN_MM * (len(views) - 1))
    for view, (left, right) in zip(views, spans, strict=True):
        for heavy in (False, True):
            for one in view:
                if not heavy or one.name in marked:
                    _rectangle(sheet, one, at - left * scale, y + high * scale, scale, case, heavy)
        at += (right - left) * scale + BETWEEN_MM
    sheet.set_line_width(0.2)
    sheet.set_fill_color(34, 32, 28)
    return y + high * scale


def _rectangle(
    sheet: "Paper", one: Outline, at: float, floor: float, scale: float, case: Case, heavy: bool
) -> None:
    sheet.set_line_width(0.5 if heavy else 0.15)
    sheet.set_fill_color(*(WOOD_WASH if one.name in case.parts else PAPER_WHITE))
    if one.hidden and not heavy:
        sheet.set_dash_pattern(dash=1.0, gap=0.8)
    sheet.rect(
        at + one.x_mm * scale,
        floor - (one.y_mm + one.h_mm) * scale,
        one.w_mm * scale,
        one.h_mm * scale,
        style="D" if one.hidden or heavy else "DF",
    )
    sheet.set_dash_pattern()
