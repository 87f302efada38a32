"""One drawer: a slab front in its opening, a solid bottom."""

from model.wood.design.patterns import fronts
from model.wood.design.patterns.base import Case, CasePattern, CaseSize


def make(case: Case) -> None:
    """Front and bottom."""
    wide, high, deep = (case.size(key) for key in ("width", "height", "depth"))
    fronts.drawer(case, 0, high, deep, wide)
    front, shop = case.parts["front"], case.shop
    case.draw(case.front, "front", 0.0, 0.0, wide, front.width_mm, "across")
    thick = shop["front_thick"]
    case.draw(case.side, "front", deep - thick, 0.0, thick, front.width_mm, "across")
    bottom = case.parts["drawer bottom"]
    at = deep - thick + shop["bottom_in_groove"] - bottom.width_mm
    case.draw(
        case.side, "drawer bottom", at, shop["drawer_back_thick"], bottom.width_mm, bottom.thickness_mm,
        "deep", hidden=True,
    )  # fmt: skip


PATTERN = CasePattern(
    key="drawer",
    what="One drawer in an opening of this size.",
    sizes=(
        CaseSize("width", "width of the opening", (18, 4, 48), (450, 100, 1200)),
        CaseSize("height", "height of the opening", (6, 2, 14), (150, 50, 350)),
        CaseSize("depth", "length of the drawer, front to back", (18, 8, 28), (450, 200, 700)),
    ),
    choices=(),
    make=make,
)
