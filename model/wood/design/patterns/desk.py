"""A desk or table: a solid top on buttons over aprons and legs, drawers in the front if there are any."""

from model.wood.design.patterns import blocks, fronts, rules
from model.wood.design.patterns.base import Case, CasePattern, CaseSize, count_of
from model.wood.errors import BadInput


def _aprons(case: Case) -> None:
    wide, shop = case.size("apron"), case.shop
    if wide > shop["widest_apron"] + 1e-6:
        raise BadInput("", "apron", "must be narrower, or have three tenons", f"{wide:.4g} mm")
    if wide <= shop["narrow"] + 1e-6:
        return
    count = 3 if case.count("drawers") else 4
    over = case.size("overhang")
    length = max(case.size("width"), case.size("depth")) - 2.0 * (over + shop["leg"])
    case.part("apron", "across", wide, length, shop["apron_thick"], alike=count)
    fields = rules.split_tenon(shop, case.stock("apron"), wide)
    case.fit("apron", "wide-tenon", 2 * count, part="apron", tenons="split", **fields)


def _drawers(case: Case) -> None:
    count, shop = case.count("drawers"), case.shop
    if not count:
        return
    opening = case.size("apron") - 2.0 * shop["divider_thick"]
    if opening < shop["least_opening"]:
        raise BadInput("", "apron", "must be wider for a drawer in it", f"{case.size('apron'):.4g} mm")
    over = case.size("overhang")
    bay = case.size("width") - 2.0 * (over + shop["leg"])
    wide = (bay - (count - 1) * shop["divider_thick"]) / count
    deep = case.size("depth") - 2.0 * over - shop["apron_thick"] - shop["behind_drawer"]
    fronts.drawer(case, 0, opening, deep, wide, alike=count)
    y = case.size("height") - shop["top_thick"] - case.size("apron") + shop["divider_thick"]
    for nth in range(count):
        x = over + shop["leg"] + nth * (wide + shop["divider_thick"])
        high = case.parts["front"].width_mm
        case.draw(case.front, "front", x + shop["side_gap"], y, wide - 2.0 * shop["side_gap"], high, "across")


def make(case: Case) -> None:
    """Top, aprons with their tenons, drawers."""
    w, h, d = (case.size(key) for key in ("width", "height", "depth"))
    shop, over, apron = case.shop, case.size("overhang"), case.size("apron")
    tt, leg = shop["top_thick"], shop["leg"]
    blocks.top_on_buttons(case, d, w, over)
    for view, wide, grain in ((case.front, w, "across"), (case.side, d, "deep")):
        low = h - tt - apron
        case.draw(view, "leg", over, 0.0, leg, h - tt, "up")
        case.draw(view, "leg", wide - over - leg, 0.0, leg, h - tt, "up")
        inner = wide - 2.0 * (over + leg)
        case.draw(view, "apron", over + leg, low, inner, apron, "across" if view is case.front else "deep")
        case.draw(view, "top", 0.0, h - tt, wide, tt, "across" if grain == "across" else "deep")
    _aprons(case)
    _drawers(case)


PATTERN = CasePattern(
    key="desk",
    what="A desk or table: a solid top on buttons, aprons and legs.",
    sizes=(
        *blocks.three_sizes(
            (52, 24, 84, 1300, 600, 2100), (29, 16, 42, 740, 400, 1050), (26, 14, 48, 650, 350, 1200)
        ),
        CaseSize("apron", "apron wide", (4, 2.5, 9.5), (100, 60, 240)),
        blocks.OVERHANG,
        count_of("drawers", "how many drawers in the front apron", 1, 0, 3),
    ),
    choices=(),
    make=make,
)
