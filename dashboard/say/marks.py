"""The marks of a verdict: a shape and a word each, colour third."""

from functools import cache

from dashboard.figures.drawing import Drawing, Shape, picture, shape

WORDS = {"clear": "clear", "near": "near a limit", "past": "past a limit", "unknown": "not known"}
# What the same four shapes are called of things that have no fits.
OF_KIND = {
    "stack": {"clear": "ready", "near": "nearly ready", "past": "not ready", "unknown": "not known"},
    "place": {"clear": "steady", "near": "moving", "past": "moving", "unknown": "not known"},
    "glue-up": {"clear": "go", "near": "wait", "past": "not now", "unknown": "not known"},
    "warning": {"clear": "answered", "near": "to answer", "past": "to answer", "unknown": "to answer"},
    "sensor": {"clear": "heard", "near": "doubted", "past": "doubted", "unknown": "silent"},
}


def words_for(verdict: str, kind: str = "") -> str:
    """What a verdict is called, of a fit or piece, or of a stack, place or sensor."""
    return OF_KIND.get(kind, WORDS)[verdict]


def mark(verdict: str, kind: str = "") -> Shape:
    """The shape of a verdict, 20 units square.

    Open ring, ring half filled, solid square, dashed ring: four outlines that differ without colour, each
    drawn in ink so that it stands out on paper of either shade.
    """
    label = words_for(verdict, kind)
    if verdict == "past":
        inner = [shape("rect", x=3, y=3, width=14, height=14, class_="mark-fill mark-line")]
    elif verdict == "near":
        inner = [
            shape("path", d="M10 2.5A7.5 7.5 0 0 0 10 17.5Z", class_="mark-fill"),
            shape("circle", cx=10, cy=10, r=7.5, class_="mark-line"),
            shape("line", x1=10, x2=10, y1=2.5, y2=17.5, class_="mark-line"),
        ]
    elif verdict == "clear":
        inner = [
            shape("circle", cx=10, cy=10, r=6, class_="mark-band"),
            shape("circle", cx=10, cy=10, r=8, class_="mark-line"),
            shape("circle", cx=10, cy=10, r=4, class_="mark-line"),
        ]
    else:
        inner = [shape("circle", cx=10, cy=10, r=7.5, class_="mark-line mark-dashed")]
    return picture(20, 20, *inner, label=label, class_=f"mark mark-{verdict}")


def verdict_mark(verdict: str, kind: str = "") -> Drawing:
    """The mark as an element of a page."""
    return Drawing(_shared(verdict, kind), className="mark-holder")


@cache
def _shared(verdict: str, kind: str) -> Shape:
    """A page has dozens of the same: one, which nothing may change."""
    return mark(verdict, kind)
