"""A piece from the front, the place to look at marked: as its case is drawn, else plainly from its parts."""

from dashboard.figures.case_drawing import case_drawing
from dashboard.figures.drawing import Shape, picture, shape
from model.wood.design.patterns.request import request_from_document
from model.wood.fits import Fit
from model.wood.piece import Piece

WIDTH, LEFT, RIGHT = 300, 40.0, 260.0
TOP, BOTTOM, SLAB, FOOT, RAIL = 14.0, 176.0, 9.0, 14.0, 9.0
Box = tuple[float, float, float, float]
"""Left, top, width and height."""


def elevation(piece: Piece, look_at: str = "") -> Shape:
    """A piece from the front; to scale where it was made from a case.

    Parameters
    ----------
    piece : Piece
    look_at : str, optional
        The fit whose place is marked.
    """
    if piece.case:
        case = request_from_document(piece.case).case()
        return case_drawing(case, name=piece.name, marked=parts_at(piece, look_at))
    drawers, doors = drawers_of(piece), doors_of(piece)
    has_top = any(_speaks_of(fit, "top", "lid", "seat") for fit in piece.fits.values())
    body: Box = (LEFT, TOP + SLAB, RIGHT - LEFT, BOTTOM - FOOT - TOP - SLAB)
    drawn = [_rect(body, "cut-frame")]
    if "wall" not in piece.name.lower():
        drawn += [_rect((x, BOTTOM - FOOT, RAIL, FOOT), "cut-frame") for x in (LEFT, RIGHT - RAIL)]
    slab: Box = (LEFT - 8.0, TOP, RIGHT - LEFT + 16.0, SLAB)
    drawn += [_rect(slab, "wood"), _grain(slab, upright=False)] if has_top else []
    left, top, across, tall = body
    inside: Box = (left + RAIL, top + RAIL, across - 2 * RAIL, tall - 2 * RAIL)
    places: dict[str, list[Box]] = {}
    rows = len(drawers) + 2.5 * bool(doors) or 1.0
    each = inside[3] / rows
    y = inside[1]
    for name in drawers:
        box: Box = (inside[0], y + 2.0, inside[2], each - 4.0)
        drawn += [_rect(box, "wood"), _grain(box, upright=False), _knob(box)]
        places[name] = [box]
        y += each
    below: Box = (inside[0], y, inside[2], inside[1] + inside[3] - y)
    if doors:
        found, shapes = _doors(below, doors)
        places |= found
        drawn += shapes
    elif not drawers:
        panel = _within(below, 10.0)
        drawn += [_rect(panel, "wood"), _grain(panel, upright=True)]
    marked = piece.fits.get(look_at)
    if marked is not None:
        boxes = places.get(look_at) or _elsewhere(marked, body, slab, inside, list(places.values()))
        drawn += [shape("rect", class_="marked", **_attributes(_within(box, -2.0))) for box in boxes]
    return picture(
        WIDTH, BOTTOM + 4.0, *drawn, label=f"{piece.name} from the front, not to scale", class_="elevation"
    )


def parts_at(piece: Piece, fit: str) -> set[str]:
    """The parts of a fit, by name."""
    return {member.name for member in piece.fits[fit].members} if fit in piece.fits else set()


def drawers_of(piece: Piece) -> list[str]:
    """The fits of drawer fronts, in the piece's order: those of a drawer that have a gap round them."""
    return [
        name
        for name, fit in piece.fits.items()
        if fit.gap_attribute is not None and _speaks_of(fit, "drawer") and not _speaks_of(fit, "bottom of")
    ]


def doors_of(piece: Piece) -> list[tuple[str, int]]:
    """The fits of doors and of their panels, each with how many doors they are of."""
    return [
        (name, 2 if _speaks_of(fit, "each door", "both doors", "doors") else 1)
        for name, fit in piece.fits.items()
        if _speaks_of(fit, "door")
    ]


def _doors(below: Box, doors: list[tuple[str, int]]) -> tuple[dict[str, list[Box]], list[Shape]]:
    many = max(number for _, number in doors)
    left, top, across, tall = below
    leaves: list[Box] = [
        (left + number * across / many + 1.5, top + 2.0, across / many - 3.0, tall - 4.0)
        for number in range(many)
    ]
    panels = [_within(leaf, 16.0) for leaf in leaves]
    drawn: list[Shape] = []
    for leaf, panel in zip(leaves, panels, strict=True):
        drawn += [_rect(leaf, "cut-frame"), _rect(panel, "wood"), _grain(panel, upright=True)]
    return {name: panels if "panel" in name else leaves for name, _ in doors}, drawn


def _elsewhere(fit: Fit, body: Box, slab: Box, inside: Box, fronts: list[list[Box]]) -> list[Box]:
    """Where a fit lies that is not at the front."""
    left, top, across, tall = body
    if _speaks_of(fit, "top", "lid", "seat"):
        return [slab]
    if _speaks_of(fit, "side"):
        return [(left, top, RAIL, tall), (left + across - RAIL, top, RAIL, tall)]
    if _speaks_of(fit, "bottom") and fronts:
        return [(x, y + high - 5.0, wide, 4.0) for boxes in fronts for x, y, wide, high in boxes]
    if _speaks_of(fit, "bottom"):
        return [(left, top + tall - RAIL, across, RAIL)]
    return [inside]


def _speaks_of(fit: Fit, *words: str) -> bool:
    told = " ".join([fit.name.replace("_", " "), *(member.role for member in fit.members)]).lower()
    return any(word in told for word in words)


def _within(box: Box, by: float) -> Box:
    left, top, across, tall = box
    by = min(by, across / 3.0, tall / 3.0)
    return left + by, top + by, across - 2 * by, tall - 2 * by


def _attributes(box: Box) -> dict[str, float]:
    return dict(zip(("x", "y", "width", "height"), box, strict=True))


def _rect(box: Box, class_: str) -> Shape:
    return shape("rect", class_=class_, **_attributes(box))


def _knob(box: Box) -> Shape:
    left, top, across, tall = box
    return shape("circle", cx=left + across / 2, cy=top + tall / 2, r=2.6, class_="cut-steel")


def _grain(box: Box, upright: bool) -> Shape:
    """A few lines along the grain."""
    left, top, across, tall = box
    d = ""
    for number in range(1, 4):
        if upright:
            d += f"M{left + across * number / 4:.1f} {top + 4 + number % 2 * 5:.1f}v{max(tall - 14, 2):.1f}"
        else:
            d += f"M{left + 6 + number % 2 * 9:.1f} {top + tall * number / 4:.1f}h{max(across - 26, 2):.1f}"
    return shape("path", d=d, class_="grain")
