"""A case from the front and from the side, to scale, as its pattern draws it."""

from collections.abc import Callable, Collection, Mapping

from dashboard.figures.drawing import Shape, picture, shape
from model.wood.design.patterns import Case, Outline
from model.wood.design.patterns.base import MadePart
from model.words import display as say

ROOM, EDGE, BETWEEN = 320.0, 8.0, 40.0
GRAIN_MM = 70.0
"""About this far apart run the lines that stand for grain."""

Href = Callable[[str], str | None]
"""Where a part's rectangle leads, if anywhere."""


def part_anchor(name: str) -> str:
    """Where on a page its table speaks of a part, as an element's id."""
    return f"part-{name.replace(' ', '-')}"


def case_drawing(
    case: Case,
    *,
    with_side: bool = False,
    name: str = "The case",
    marked: Collection[str] = (),
    harmed: Collection[str] = (),
    href: Href | None = None,
) -> Shape:
    """A case from the front, and from the side beside it where that is wanted or shows what is marked.

    Parameters
    ----------
    case : Case
    with_side : bool
        Whether the side is drawn too, to the same scale.
    name : str
        What it is called, for those who don't see it.
    marked : collection of str
        Parts to look at.
    harmed : collection of str
        Parts that would come to harm.
    href : function of a part's name, optional
        Where pressing the part leads.
    """
    views = case.views(with_side, {*marked, *harmed})
    spans = [(min(one.x_mm for one in v), max(one.x_mm + one.w_mm for one in v)) for v in views]
    high = max(one.y_mm + one.h_mm for v in views for one in v)
    scale = ROOM / max(high, *(right - left for left, right in spans))
    shapes: list[Shape] = []
    x = EDGE
    for outlines, (left, right) in zip(views, spans, strict=True):
        for one in outlines:
            box = {
                "x": x + (one.x_mm - left) * scale,
                "y": EDGE + (high - one.y_mm - one.h_mm) * scale,
                "width": one.w_mm * scale,
                "height": one.h_mm * scale,
            }
            shapes.append(_outline(one, box, case.parts.get(one.name), scale, marked, harmed, href))
        x += (right - left) * scale + BETWEEN
    seen = "from the front and from the side" if len(views) > 1 else "from the front"
    return picture(
        x - BETWEEN + EDGE,
        high * scale + 2.0 * EDGE,
        *shapes,
        label=f"{name} {seen}, to scale",
        class_="elevation",
    )


def _outline(
    one: Outline,
    box: Mapping[str, float],
    made: MadePart | None,
    scale: float,
    marked: Collection[str],
    harmed: Collection[str],
    href: Href | None,
) -> Shape:
    """One rectangle: wood where it is a part that is followed, only drawn where it is not."""
    is_part = made is not None
    class_ = "wood" if is_part else "cut-frame"
    if one.hidden:
        class_ += " hidden-line"
    title = say.said(one.name) if made is None or not made.role else made.role
    if not is_part:
        title += ": too narrow to matter"
    elif one.name in harmed:
        title += ": it would come to harm"
    elif one.name in marked:
        title += ": the one to watch"
    shapes = [shape("rect", shape("title", title), class_=class_, **box)]
    if is_part and not one.hidden:
        shapes.append(_grain(box, one, scale))
    if one.name in harmed:
        shapes.append(shape("rect", class_="would-harm", **box))
    elif one.name in marked:
        shapes.append(shape("rect", class_="marked", **box))
    leads = href(one.name) if href is not None and is_part else None
    return shape("a", *shapes, href=leads, aria_label=title) if leads else shape("g", *shapes)


def _grain(box: Mapping[str, float], one: Outline, scale: float) -> Shape:
    """A few lines along the grain, as one sees it."""
    upright = one.grain == "up"
    across = box["width"] if upright else box["height"]
    count = max(1, min(4, round(across / (GRAIN_MM * scale))))
    d = ""
    for nth in range(1, count + 1):
        if upright:
            x = box["x"] + across * nth / (count + 1)
            d += f"M{x:.1f} {box['y'] + 3 + nth % 2 * 4:.1f}v{max(box['height'] - 11, 1):.1f}"
        else:
            y = box["y"] + across * nth / (count + 1)
            d += f"M{box['x'] + 4 + nth % 2 * 7:.1f} {y:.1f}h{max(box['width'] - 18, 1):.1f}"
    return shape("path", d=d, class_="grain")
