"""A cupboard on a wall: a cabinet of slab sides without a base, hung by a rail fixed to its sides."""

from model.wood.design.patterns import blocks, cabinet
from model.wood.design.patterns.base import CasePattern, count_of

PATTERN = CasePattern(
    key="wall cupboard",
    what="A small cabinet that hangs on a wall.",
    sizes=(
        *blocks.three_sizes(
            (20, 10, 40, 500, 250, 1000), (28, 12, 48, 700, 300, 1200), (10, 5, 16, 250, 120, 400)
        ),
        count_of("doors", "how many doors", 1, 1, 2),
        count_of("shelves", "how many shelves", 2, 0, 8),
    ),
    choices=(blocks.SLAB_SIDES, cabinet.DOOR_SET, cabinet.PROFILE, cabinet.SHELVES, blocks.BACK),
    make=cabinet.make,
)
