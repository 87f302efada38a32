"""A chest of drawers: one bank of drawers in a framed, slab or dovetailed case."""

from model.wood.design.patterns import blocks, fronts, rules
from model.wood.design.patterns.base import Case, CasePattern, count_of


def make(case: Case) -> None:
    """Sides, top, back, and one bank of drawers with what it runs on."""
    blocks.sides(case)
    blocks.top(case)
    if case.choice("sides") == "dovetailed":
        blocks.bottom_board(case)
    blocks.back(case)
    count = case.count("drawers")
    dividers = count if case.choice("sides") == "dovetailed" else count + 1
    fronts.drawers_run_on(case, count)
    heights = rules.openings(case.shop, fronts.room_for_drawers(case, dividers), count)
    fronts.drawer_stack(case, heights, blocks.side_thick(case), blocks.bank_wide(case, 1))
    if not blocks.is_framed(case):
        blocks.round_corners(case)


PATTERN = CasePattern(
    key="chest of drawers",
    what="One bank of drawers, each a step higher than the one above it.",
    sizes=(
        *blocks.three_sizes(
            (36, 18, 48, 900, 450, 1200), (40, 20, 66, 1000, 500, 1700), (19, 12, 26, 480, 300, 660)
        ),
        blocks.BASE,
        count_of("drawers", "how many drawers", 4, 1, 9),
    ),
    choices=(blocks.SIDES, blocks.INSIDE, blocks.BACK),
    make=make,
    is_tall=True,
)
