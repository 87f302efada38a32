"""A solid top on buttons, plain, with breadboard ends or with cleats."""

from model.wood.design.patterns import blocks
from model.wood.design.patterns.base import Case, CaseChoice, CasePattern, CaseSize

EDGE = CaseChoice("edge", "ends of the top", ("plain", "breadboard", "cleats"))


def make(case: Case) -> None:
    """The top, its buttons, its ends; drawn from above."""
    wide, long = case.size("depth"), case.size("width")
    blocks.top_on_buttons(case, wide, long, case.size("overhang"))
    case.draw(case.front, "top", 0.0, 0.0, long, wide, "across")
    edge = case.choice("edge")
    if edge != "plain":
        blocks.ends_of(case, "top", wide / 2.0 - case.shop["pin_from_edge"], wide / 2.0, edge, at_edge=False)


PATTERN = CasePattern(
    key="top",
    what="One solid top on buttons, drawn from above.",
    sizes=(
        CaseSize("width", "length of the top, along its grain", (60, 10, 120), (1500, 250, 3000)),
        CaseSize("depth", "width of the top, across its grain", (36, 6, 48), (900, 150, 1200)),
        blocks.OVERHANG,
    ),
    choices=(EDGE,),
    make=make,
)
