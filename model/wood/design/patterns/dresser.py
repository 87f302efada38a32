"""A dresser: two or three banks of drawers side by side, partitions between."""

from model.wood.design.patterns import blocks, fronts, rules
from model.wood.design.patterns.base import Case, CasePattern, count_of


def make(case: Case) -> None:
    """A chest's case with partitions, and a bank of drawers in each bay."""
    banks, count = case.count("banks"), case.count("drawers")
    blocks.sides(case, partitions=banks - 1)
    blocks.top(case)
    if case.choice("sides") == "dovetailed":
        blocks.bottom_board(case)
    blocks.back(case)
    dividers = count if case.choice("sides") == "dovetailed" else count + 1
    fronts.drawers_run_on(case, count, banks)
    heights = rules.openings(case.shop, fronts.room_for_drawers(case, dividers), count)
    wide, thick = blocks.bank_wide(case, banks), blocks.side_thick(case)
    for bank in range(banks):
        fronts.drawer_stack(case, heights, thick + bank * (wide + thick), wide)
    if not blocks.is_framed(case):
        blocks.round_corners(case)


PATTERN = CasePattern(
    key="dresser",
    what="Banks of drawers side by side, a partition between.",
    sizes=(
        *blocks.three_sizes(
            (60, 44, 84, 1500, 1100, 2100), (34, 24, 48, 850, 600, 1200), (20, 14, 26, 500, 350, 660)
        ),
        blocks.BASE,
        count_of("drawers", "how many drawers in a bank", 3, 1, 6),
        count_of("banks", "how many banks", 2, 2, 3),
    ),
    choices=(blocks.SIDES, blocks.INSIDE, blocks.BACK),
    make=make,
    is_tall=True,
)
