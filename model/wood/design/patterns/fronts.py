"""What fills the front of a case: drawers with what they run on, and framed doors."""

from model.wood.design.patterns import blocks, rules
from model.wood.design.patterns.base import Case, count_of


def room_for_drawers(case: Case, dividers: int) -> float:
    """Height left for openings between top and base, dividers taken off."""
    used = blocks.top_thick(case) + case.size("base") + dividers * case.shop["divider_thick"]
    return case.size("height") - used


def drawers_run_on(case: Case, count: int, banks: int = 1) -> None:
    """Runners or web frames across slab sides; nothing in a framed case, which stands still."""
    if blocks.is_framed(case):
        return
    if case.choice("inside") == "runners":
        blocks.across_side(case, "runner", "runner", 2 * count * banks)
        return
    levels = count - 1 if blocks.sides_of(case) == "dovetailed" else count + 1
    if levels:
        web_frames(case, 2 * levels * banks)


def web_frames(case: Case, alike: int) -> None:
    """Web frames, glued in front, their rear tenons dry, across each slab side."""
    far, shop = blocks.reach(case), case.shop
    case.fit(
        "web frame",
        "cross-grain-fixing",
        alike,
        part="side",
        across="web frame",
        fixing="telescoping",
        distance=far,
        shoulder_gap=rules.web_frame_shoulder(shop, case.stock("side"), far),
        tenon_length=shop["dry_tenon"],
        least_tenon=shop["tongue_kept"],
        drawer_stopped_at="front",
    )


def drawer(case: Case, nth: int, opening_mm: float, deep_mm: float, wide_mm: float, alike: int = 1) -> None:
    """A drawer's slab front in its opening and its bottom, `deep_mm` long outside."""
    shop, name = case.shop, f"front {nth}" if nth else "front"
    gap = rules.front_gap(shop, case.stock(name), opening_mm)
    case.part(
        name, "across", opening_mm - gap, wide_mm, shop["front_thick"], alike=alike,
        role=f"front of drawer {nth}" if nth else "drawer front",
    )  # fmt: skip
    case.fit(
        name,
        "front-in-opening",
        alike,
        parts=[name],
        gap=gap,
        opening_size=opening_mm,
        least_gap=shop["run"],
        widest_gap=shop["widest_gap"],
    )
    bottom(case, deep_mm, wide_mm, alike)


def bottom(case: Case, deep_mm: float, wide_mm: float, alike: int = 1) -> None:
    """A drawer's bottom, glued in front and slotted at the back; all of one depth are alike."""
    shop, name = case.shop, "drawer bottom"
    wide = deep_mm - shop["front_thick"] + shop["bottom_in_groove"]
    case.part(name, "across", wide, wide_mm - shop["frame_thick"], shop["bottom_thick"], "inside", alike)
    case.fit(
        name,
        "drawer-bottom",
        alike,
        part=name,
        back_overhang=shop["drawer_back_thick"],
        back_clearance=shop["behind_drawer"],
        **rules.slot(shop, case.stock(name, "inside"), wide, shop["screw"], moving_has_slot=True),
    )


def drawer_stack(case: Case, heights_mm: list[float], x_mm: float, wide_mm: float) -> None:
    """A bank of drawers from the top down, dividers between, in both elevations."""
    shop = case.shop
    deep = case.size("depth") - blocks.back_thick(case) - shop["behind_drawer"]
    y = case.sizes.get("base", 0.0)
    dovetailed = blocks.sides_of(case) == "dovetailed"
    y += shop["slab_thick"] if dovetailed else shop["divider_thick"]
    for nth, opening in enumerate(heights_mm, start=1):
        drawer(case, nth, opening, deep, wide_mm)
    for nth in range(len(heights_mm), 0, -1):
        opening = heights_mm[nth - 1]
        name = f"front {nth}"
        gap = opening - case.parts[name].width_mm
        side_gap = shop["side_gap"]
        case.draw(case.front, name, x_mm + side_gap, y, wide_mm - 2.0 * side_gap, opening - gap, "across")
        if x_mm < blocks.side_thick(case) + 1e-6:
            thick = shop["front_thick"]
            d = case.size("depth")
            case.draw(case.side, name, d - thick, y, thick, opening - gap, "across", hidden=True)
            behind = blocks.back_thick(case) + shop["behind_drawer"]
            case.draw(
                case.side, "drawer bottom", behind, y + shop["drawer_back_thick"],
                case.parts["drawer bottom"].width_mm, shop["bottom_thick"], "deep", hidden=True,
            )  # fmt: skip
        y += opening
        if nth > 1:
            case.draw(case.front, "divider", x_mm, y, wide_mm, shop["divider_thick"], "across")
            y += shop["divider_thick"]


def framed_in_opening(case: Case, name: str, stiles: int, gap_mm: float) -> None:
    """Framed doors beside one gap: their stiles add up across it."""
    shop = case.shop
    case.fit(
        name,
        "front-in-opening",
        parts=["door stile"] * stiles,
        construction="frame",
        gap=gap_mm,
        least_gap=shop["run"],
        widest_gap=shop["widest_gap"],
    )


DOORS = count_of("doors", "how many doors", 2, 1, 2)


def doors(case: Case, *, overlay: bool, raised: bool) -> None:
    """One or two framed doors, inset or overlaid, their panels floating."""
    shop, w, ts = case.shop, case.size("width"), blocks.side_thick(case)
    count = case.count("doors")
    gap = rules.door_gap(shop, case.stock("door stile"), 2 * count)
    opening, side_gap = w - 2.0 * ts, shop["side_gap"]
    base, td = case.sizes.get("base", 0.0), shop["divider_thick"]
    high = case.size("height") - blocks.top_thick(case) - base - 2.0 * td - 2.0 * side_gap
    x, y = ts + side_gap, base + td + side_gap
    wide = opening - 2.0 * side_gap - gap if count == 2 else opening - side_gap - gap
    if overlay:
        grown = shop["door_overlay"]
        wide = opening + 2.0 * grown - (gap if count == 2 else 0.0)
        high += 2.0 * (grown + side_gap)
        x, y = ts - grown, base + td - grown
    wide = shop.steps.gap_down(wide / count)
    if wide - 2.0 * shop["stile"] < 2.0 * shop["stile"]:
        rules.panels_across(shop, wide)  # refuses it in its own words
    sight = wide - 2.0 * shop["stile"]
    blocks.panel_fit(
        case, "door panel", "up", sight, blocks.panel_tall(case, high), alike=count, raised=raised
    )
    case.part("door stile", "up", shop["stile"], high, shop["frame_thick"], alike=2 * count)
    if not overlay or count == 2:
        framed_in_opening(case, "doors" if count == 2 else "door", 2 * count, gap)
    for nth in range(count):
        blocks.draw_frame(case, case.front, "door panel", (x + nth * (wide + gap), y, wide, high), 1)
