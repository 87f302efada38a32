"""Drawings: SVG as plain data, drawn by the page and by paper alike.

A drawing is a nested list, `[tag, attributes, *children]`, made by `shape`. Text in it is text to the
browser too: `assets/drawing.js` builds elements from it and never parses markup, so a name typed by anyone
stays a name.
"""

import re
from collections.abc import Iterable, Sequence
from html import escape
from typing import Any

from dashboard.figures.element import Element

Shape = list[Any]

TAGS = frozenset(
    {
        "svg",
        "g",
        "a",
        "path",
        "line",
        "rect",
        "circle",
        "polyline",
        "polygon",
        "text",
        "tspan",
        "title",
        "desc",
    }
    | {"defs", "pattern", "clipPath", "use"}
)


def shape(tag: str, *children: Shape | str | None, **attributes: Any) -> Shape:
    """One element of a drawing.

    Attributes are written as in SVG with underscores for hyphens (`stroke_width`), `class_` for `class`;
    those that are None are left out, and numbers are kept to a hundredth of a unit.
    """
    if tag not in TAGS:
        raise ValueError(f"{tag!r} is not an element of a drawing")
    named = {
        name.rstrip("_").replace("_", "-"): _short(value)
        for name, value in attributes.items()
        if value is not None
    }
    given = [child for child in children if child is not None]
    if tag == "text":
        given = [part for child in given for part in (_with_fractions(child))]
    return [tag, named, *given]


FRACTION = re.compile(r"(\d+/\d+)")


def _with_fractions(child: Shape | str) -> list[Shape | str]:
    """A text with each fraction set apart, for the sans to draw as a true one."""
    if not isinstance(child, str):
        return [child]
    pieces = FRACTION.split(child)
    return [
        ["tspan", {"class": "frac"}, piece] if index % 2 else piece
        for index, piece in enumerate(pieces)
        if piece
    ]


def picture(
    width: float, height: float, *children: Shape | None, label: str, class_: str = "", **attributes: Any
) -> Shape:
    """A whole drawing of a stated size, with its description for those who don't see it.

    The size is that of its coordinate system; the page scales it to the room there is.
    """
    return shape(
        "svg",
        *children,
        viewBox=f"0 0 {_short(width)} {_short(height)}",
        # What holds links is no one picture to those who go by them.
        role="group" if any(_has_link(child) for child in children if child is not None) else "img",
        aria_label=label,
        class_=class_ or None,
        **attributes,
    )


def _has_link(tree: Shape | str) -> bool:
    if isinstance(tree, str):
        return False
    return tree[0] == "a" or any(_has_link(child) for child in tree[2:])


def path(points: Sequence[tuple[float, float]]) -> str:
    """The `d` of a line through points; two figures after the point are finer than any screen."""
    return "M" + "L".join(f"{_short(x)} {_short(y)}" for x, y in points)


def ticks(lines: Iterable[tuple[float, float, float]], class_: str) -> Shape:
    """Upright lines `(x, top, bottom)` as one element: a rule has hundreds."""
    drawn = "".join(f"M{_short(x)} {_short(top)}V{_short(bottom)}" for x, top, bottom in lines)
    return shape("path", d=drawn or "M0 0", class_=class_)


def end_grain(uid: str) -> Shape:
    """A pattern of growth rings, for what limits a movement; an area is filled with it by `url(#uid)`."""
    arcs = shape("path", d="M0 7Q9 -3 18 7M-9 14Q0 4 9 14M9 14Q18 4 27 14", class_="grain")
    return shape("defs", shape("pattern", arcs, id=uid, width=18, height=14, patternUnits="userSpaceOnUse"))


def markup(tree: Shape | str) -> str:
    """A drawing as SVG text, everything in it escaped."""
    if isinstance(tree, str):
        return escape(tree)
    tag, attributes, *children = tree
    written = "".join(f' {name}="{escape(str(value))}"' for name, value in attributes.items())
    if not children:
        return f"<{tag}{written}/>"
    return f"<{tag}{written}>{''.join(markup(child) for child in children)}</{tag}>"


def words_of(tree: Shape | str) -> list[str]:
    """Every text in a drawing, in order: what a reader can read off it."""
    if isinstance(tree, str):
        return [tree]
    return [word for child in tree[2:] for word in words_of(child)]


def find(tree: Shape | str, class_: str) -> list[Shape]:
    """Every element of a drawing that carries a class, in order."""
    if isinstance(tree, str):
        return []
    own = [tree] if class_ in str(tree[1].get("class", "")).split() else []
    return own + [hit for child in tree[2:] for hit in find(child, class_)]


def _short(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    rounded = round(float(value), 2)
    return int(rounded) if rounded == int(rounded) else rounded


class Drawing(Element):
    """The page's element that shows a drawing.

    Parameters
    ----------
    tree : Shape
        The drawing, from `picture`.
    """

    tree: Shape

    PROPS = ("id", "tree", "className")

    def __init__(self, tree: Shape, id: str | None = None, className: str | None = None) -> None:
        # Dash's own would look for a Python package of the namespace's name at every drawing, in vain, to
        # tell its version in a complaint; there is nothing here to complain of.
        for name, value in {"tree": tree, "id": id, "className": className}.items():
            if value is not None:
                setattr(self, name, value)
