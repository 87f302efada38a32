"""A framed door, inset in an opening of its own."""

from model.wood.design.patterns import blocks, fronts, rules
from model.wood.design.patterns.base import Case, CasePattern, CaseSize
from model.wood.design.patterns.cabinet import PROFILE


def make(case: Case) -> None:
    """Stiles, rails, and panels by the rule."""
    shop = case.shop
    gap = rules.door_gap(shop, case.stock("door stile"), 2)
    wide = shop.steps.gap_down(case.size("width") - gap - shop["side_gap"])
    high = case.size("height") - 2.0 * shop["side_gap"]
    count, sight = rules.panels_across(shop, wide)
    raised = case.choice("panels") == "raised"
    tall = blocks.panel_tall(case, high)
    blocks.panel_fit(case, "door panel", "up", sight, tall, alike=count, raised=raised)
    case.part("door stile", "up", shop["stile"], high, shop["frame_thick"], alike=2)
    fronts.framed_in_opening(case, "door", 2, gap)
    blocks.draw_frame(case, case.front, "door panel", (0.0, 0.0, wide, high), count)


PATTERN = CasePattern(
    key="door",
    what="One framed door for an opening of this size.",
    sizes=(
        CaseSize("width", "width of the opening", (18, 6, 24), (450, 150, 600)),
        CaseSize("height", "height of the opening", (30, 8, 84), (750, 200, 2100)),
    ),
    choices=(PROFILE,),
    make=make,
)
