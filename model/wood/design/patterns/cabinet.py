"""A cabinet with doors: framed doors, inset or overlaid, shelves behind them."""

from model.wood.design.patterns import blocks, fronts
from model.wood.design.patterns.base import Case, CaseChoice, CasePattern, count_of

DOOR_SET = CaseChoice("doors_are", "how the doors stand", ("inset", "overlay"))
PROFILE = CaseChoice("panels", "edge of the door panels", ("flat", "raised"))
SHELVES = CaseChoice("shelves_are", "how the shelves are held", ("loose", "fixed"))


def make(case: Case) -> None:
    """Sides, top, bottom, shelves, back and doors."""
    blocks.sides(case)
    blocks.top(case)
    blocks.shelves(case)
    blocks.back(case)
    fronts.doors(
        case, overlay=case.choice("doors_are") == "overlay", raised=case.choice("panels") == "raised"
    )
    if not blocks.is_framed(case):
        blocks.round_corners(case)


PATTERN = CasePattern(
    key="cabinet",
    what="A case with one or two framed doors and shelves.",
    sizes=(
        *blocks.three_sizes(
            (40, 16, 60, 1000, 400, 1500), (48, 20, 90, 1200, 500, 2300), (16, 8, 26, 400, 200, 660)
        ),
        blocks.BASE,
        fronts.DOORS,
        count_of("shelves", "how many shelves", 2, 0, 8),
    ),
    choices=(blocks.SIDES, DOOR_SET, PROFILE, SHELVES, blocks.BACK),
    make=make,
    is_tall=True,
)
