"""A bookcase: slab sides, fixed shelves that move with them, a back, a base moulding."""

from model.wood.design.patterns import blocks
from model.wood.design.patterns.base import Case, CaseChoice, CasePattern, count_of

BACK = CaseChoice("back", "back of the case", ("boards", "framed"))
MOULDING = CaseChoice("moulding", "moulding across the sides", ("base", "none"))


def make(case: Case) -> None:
    """Sides, shelves, back and moulding."""
    w, h, d = (case.size(key) for key in ("width", "height", "depth"))
    shop, base = case.shop, case.size("base")
    thick, side = shop["shelf_thick"], shop["slab_thick"]
    case.part("side", "up", d, h, side, alike=2)
    case.draw(case.side, "side", 0.0, 0.0, d, h, "up")
    for x in (0.0, w - side):
        case.draw(case.front, "side", x, 0.0, side, h, "up")
    count = case.count("shelves") + 2
    case.part("shelf", "across", d - blocks.back_thick(case), w - 2.0 * side, thick, alike=count)
    for nth in range(count):
        y = base + nth * (h - thick - base) / (count - 1)
        case.draw(case.front, "shelf", side, y, w - 2.0 * side, thick, "across")
    blocks.back(case)
    if case.choice("moulding") == "base" and base:
        blocks.across_side(case, "moulding", "moulding", 2)
        case.draw(case.side, "moulding", 0.0, 0.0, d, base, "deep")
        case.draw(case.front, "moulding", 0.0, 0.0, w, base, "across")
    for name in ("side", "shelf", "side", "shelf"):
        case.corner(name, "upright", case.parts[name].width_mm)


PATTERN = CasePattern(
    key="bookcase",
    what="Slab sides and fixed shelves.",
    sizes=(
        *blocks.three_sizes(
            (36, 12, 48, 900, 300, 1200), (60, 20, 90, 1500, 500, 2300), (12, 6, 18, 300, 150, 450)
        ),
        blocks.BASE,
        count_of("shelves", "how many shelves between top and bottom", 4, 1, 9),
    ),
    choices=(BACK, MOULDING),
    make=make,
    is_tall=True,
)
