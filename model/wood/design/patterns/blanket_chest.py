"""A blanket chest: four walls whose grain runs level all round, a floating bottom and a hinged lid."""

from model.wood.design.patterns import blocks, rules
from model.wood.design.patterns.base import Case, CaseChoice, CasePattern

WALLS = CaseChoice("walls", "walls of the chest", ("dovetailed", "framed"))
ENDS = CaseChoice("lid_ends", "ends of the lid", ("breadboard", "cleats", "none"))


def _walls(case: Case) -> None:
    w, h, d = (case.size(key) for key in ("width", "height", "depth"))
    base, shop = case.size("base"), case.shop
    high = h - shop["lid_thick"] - base
    if case.choice("walls") == "dovetailed":
        case.part("wall", "across", high, w, shop["slab_thick"], alike=4)
        for view, wide in ((case.front, w), (case.side, d)):
            case.draw(view, "wall", 0.0, base, wide, high, "across" if wide == w else "deep")
        for _ in range(4):
            case.corner("wall", "level", high)
        return
    for name, view, wide in (("front panel", case.front, w), ("end panel", case.side, d)):
        count, sight = rules.panels_across(shop, wide)
        blocks.panel_fit(case, name, "up", sight, blocks.panel_tall(case, high), alike=2 * count)
        blocks.draw_frame(case, view, name, (0.0, base, wide, high), count)


def _bottom(case: Case) -> None:
    thick = case.shop["slab_thick" if case.choice("walls") == "dovetailed" else "frame_thick"]
    across, along = (case.size(key) - 2.0 * thick for key in ("depth", "width"))
    blocks.panel_fit(case, "bottom", "across", across, along, stile=thick)


def _lid(case: Case) -> None:
    w, h, d = (case.size(key) for key in ("width", "height", "depth"))
    shop, over = case.shop, case.shop["overhang_lid"]
    lid = d + over
    case.part("lid", "across", lid, w + 2.0 * over, shop["lid_thick"])
    case.fit(
        "lid",
        "lid-on-box",
        part="lid",
        held="hinged",
        overhang=over,
        least_overhang=shop["lid_least_overhang"],
        widest_overhang=shop["lid_widest_overhang"],
    )
    ends = case.choice("lid_ends")
    if ends != "none":
        blocks.ends_of(case, "lid", lid - shop["pin_from_front"], lid, ends, at_edge=True)
    low = h - shop["lid_thick"]
    case.draw(case.front, "lid", -over, low, w + 2.0 * over, shop["lid_thick"], "across")
    case.draw(case.side, "lid", 0.0, low, lid, shop["lid_thick"], "deep")


def make(case: Case) -> None:
    """Walls, bottom, lid with its ends."""
    _walls(case)
    _bottom(case)
    _lid(case)


PATTERN = CasePattern(
    key="blanket chest",
    what="A chest with a hinged lid; hinge the lid itself, never its ends.",
    sizes=(
        *blocks.three_sizes(
            (42, 24, 60, 1100, 600, 1500), (20, 12, 28, 500, 300, 700), (18, 12, 26, 450, 300, 660)
        ),
        blocks.BASE,
    ),
    choices=(WALLS, ENDS),
    make=make,
)
