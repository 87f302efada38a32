"""What patterns share: frames, sides, tops, backs, drawers, doors, and the fits that come with them."""

from model.wood.design.patterns import rules
from model.wood.design.patterns.base import Case, CaseChoice, CaseSize, Grain, Outline, Wood

SIDES = CaseChoice("sides", "sides of the case", ("framed", "slab", "dovetailed"))
SLAB_SIDES = CaseChoice("sides", "sides of the case", ("slab", "dovetailed"))
INSIDE = CaseChoice(
    "inside", "what the drawers run on", ("web frames", "runners"), ("sides", ("slab", "dovetailed"))
)
BACK = CaseChoice("back", "back of the case", ("framed", "boards"))
BASE = CaseSize("base", "floor to the bottom of the case", (4, 0, 12), (100, 0, 300))
OVERHANG = CaseSize("overhang", "top beyond its frame", (2, 0, 12), (50, 0, 300))


def three_sizes(
    width: tuple[float, ...], height: tuple[float, ...], depth: tuple[float, ...]
) -> tuple[CaseSize, CaseSize, CaseSize]:
    """Width, height and depth, each as usual, least, most in inches and then the same in mm."""
    named = (("width", width), ("height", height), ("depth", depth))
    what = {"width": "width of the case", "height": "height", "depth": "depth of the case"}
    return tuple(  # type: ignore[return-value]
        CaseSize(key, what[key], (v[0], v[1], v[2]), (v[3], v[4], v[5])) for key, v in named
    )


def sides_of(case: Case) -> str:
    """How the sides are made; a case that doesn't ask has slabs."""
    return case.choices.get("sides", "slab")


def side_thick(case: Case) -> float:
    """Thickness of a side, as it is seen from the front."""
    return case.shop["frame_thick" if sides_of(case) == "framed" else "slab_thick"]


def is_framed(case: Case) -> bool:
    return sides_of(case) == "framed"


def top_thick(case: Case) -> float:
    """Thickness of the top; a dovetailed top is as thick as the sides it is cut with."""
    return case.shop["slab_thick" if sides_of(case) == "dovetailed" else "top_thick"]


def reach(case: Case) -> float:
    """From what is glued in front to the farthest screw across a side."""
    return case.size("depth") - case.shop["held_in_front"]


def back_thick(case: Case) -> float:
    return case.shop["back_frame_thick" if case.choice("back") == "framed" else "boards_thick"]


def back_wide(case: Case) -> float:
    """Width of the back between its rabbets."""
    return case.size("width") - 2.0 * side_thick(case) + 2.0 * case.shop["rabbet"]


def panel_fit(
    case: Case,
    name: str,
    grain: Grain,
    sight_mm: float,
    long_sight_mm: float,
    *,
    wood: Wood = "show",
    alike: int = 1,
    back: bool = False,
    raised: bool = False,
    stile: float | None = None,
) -> None:
    """A panel and the grooves it floats in, centred."""
    shop = case.shop
    made = rules.panel(shop, case.stock(name, wood), sight_mm, back=back)
    length = long_sight_mm + 2.0 * (made.groove_depth_mm - shop["clear_along"])
    case.part(name, grain, made.width_mm, length, shop["panel_thick"], wood, alike)
    case.fit(
        name,
        "panel-in-groove",
        alike,
        part=name,
        held="centre",
        sight_width=sight_mm,
        groove_depth=made.groove_depth_mm,
        least_engagement=shop["tongue_kept"],
        stile_width=stile or shop["stile"],
        profile="raised" if raised else "flat",
        shoulder_gap=made.shoulder_gap_mm if raised else None,
    )


def draw_frame(
    case: Case,
    view: list[Outline],
    panel: str,
    at: tuple[float, float, float, float],
    count: int,
) -> None:
    """Two stiles, rails, muntins and the panels between, in a rectangle (x, y, w, h) [mm]."""
    x, y, w, h = at
    shop = case.shop
    stile, top, bottom = shop["stile"], shop["top_rail"], shop["bottom_rail"]
    sight = (w - (count + 1) * stile) / count
    case.draw(view, "stile", x, y, stile, h, "up")
    case.draw(view, "stile", x + w - stile, y, stile, h, "up")
    case.draw(view, "rail", x + stile, y, w - 2.0 * stile, bottom, "across")
    case.draw(view, "rail", x + stile, y + h - top, w - 2.0 * stile, top, "across")
    for nth in range(count):
        left = x + stile + nth * (sight + stile)
        if nth:
            case.draw(view, "muntin", left - stile, y + bottom, stile, h - top - bottom, "up")
        case.draw(view, panel, left, y + bottom, sight, h - top - bottom, "up")


def panel_tall(case: Case, frame_high_mm: float) -> float:
    """Sight of a panel along its grain in a frame so high."""
    return frame_high_mm - case.shop["top_rail"] - case.shop["bottom_rail"]


def sides(case: Case, partitions: int = 0) -> None:
    """Both sides of the case and its partitions, framed or slab, in both elevations."""
    h, d = case.size("height"), case.size("depth")
    base, tt, ts = case.sizes.get("base", 0.0), top_thick(case), side_thick(case)
    if is_framed(case):
        frame_high = h - tt - base
        sight = d - 2.0 * case.shop["stile"]
        if sight < 2.0 * case.shop["stile"]:
            rules.panels_across(case.shop, d)  # refuses it in its own words
        panel_fit(case, "side panel", "up", sight, panel_tall(case, frame_high), alike=2 + partitions)
        draw_frame(case, case.side, "side panel", (0.0, base, d, frame_high), 1)
        if base:
            for x in (0.0, d - case.shop["stile"]):
                case.draw(case.side, "stile", x, 0.0, case.shop["stile"], base, "up")
        names = "stile"
    else:
        case.part("side", "up", d, h - tt, case.shop["slab_thick"], alike=2 + partitions)
        case.draw(case.side, "side", 0.0, 0.0, d, h - tt, "up")
        names = "side"
    bay = bank_wide(case, partitions + 1)
    for nth in range(partitions + 2):
        low = base if 0 < nth <= partitions else 0.0
        case.draw(case.front, names, nth * (bay + ts), low, ts, h - tt - low, "up")


def top(case: Case) -> None:
    """The top: slotted screws where framed sides stand still, none where it moves with slab sides."""
    w, h, d = (case.size(key) for key in ("width", "height", "depth"))
    tt, shop = top_thick(case), case.shop
    dovetailed = sides_of(case) == "dovetailed"
    front = 0.0 if dovetailed else shop["overhang_front"]
    ends = 0.0 if dovetailed else shop["overhang_ends"]
    case.part("top", "across", d + front, w + 2.0 * ends, tt)
    if is_framed(case):
        far = reach(case)
        case.fit(
            "top",
            "top-on-fasteners",
            part="top",
            fixed="front",
            fastener="slotted-screw",
            fastener_distance=far,
            **rules.slot(shop, case.stock("top"), far, shop["screw"], moving_has_slot=False),
        )
    case.draw(case.front, "top", -ends, h - tt, w + 2.0 * ends, tt, "across")
    case.draw(case.side, "top", 0.0, h - tt, d + front, tt, "deep")


def bottom_board(case: Case) -> None:
    """The bottom board of a case whose sides are slabs: it moves with them."""
    w, d = case.size("width"), case.size("depth")
    base, thick = case.sizes.get("base", 0.0), case.shop["slab_thick"]
    case.part("bottom", "across", d, w, thick)
    ts = side_thick(case)
    case.draw(case.front, "bottom", ts, base, w - 2.0 * ts, thick, "across")


def round_corners(case: Case) -> None:
    """The four sides of a case of slabs whose grain runs all round."""
    d = case.size("depth")
    for name in ("side", "top", "side", "bottom"):
        case.corner(name if name in case.parts else "top", "upright", d)


def back(case: Case) -> None:
    """A framed back of floating panels, or shiplapped boards."""
    shop, wide = case.shop, back_wide(case)
    base, tt = case.sizes.get("base", 0.0), top_thick(case)
    high = case.size("height") - tt - base
    if case.choice("back") == "framed":
        count, sight = rules.panels_across(shop, wide)
        tall = panel_tall(case, high)
        panel_fit(case, "back panel", "up", sight, tall, wood="inside", alike=count, back=True)
        name = "back panel"
    else:
        made = rules.back_boards(shop, case.stock("back board", "inside"), wide)
        case.part("back board", "up", made.width_mm, high, shop["boards_thick"], "inside", made.count)
        case.fit(
            "back",
            "board-back",
            part="back board",
            joint="shiplap",
            gap=made.gap_mm,
            end_gap=made.gap_mm,
            lap=made.lap_mm,
        )
        name = "back board"
    case.draw(case.side, name, 0.0, base, back_thick(case), high, "up", hidden=True)


def across_side(case: Case, name: str, across: str, alike: int) -> None:
    """Something fast in front and slotted across a slab side: a runner, a moulding."""
    far = reach(case)
    case.fit(
        name,
        "cross-grain-fixing",
        alike,
        part="side",
        across=across,
        fixing="slotted",
        distance=far,
        **rules.slot(case.shop, case.stock("side"), far, case.shop["screw"], moving_has_slot=False),
    )


def bank_wide(case: Case, banks: int) -> float:
    """Width of each of so many bays side by side."""
    ts = side_thick(case)
    return (case.size("width") - 2.0 * ts - (banks - 1) * ts) / banks


def top_on_buttons(case: Case, wide_mm: float, long_mm: float, overhang_mm: float) -> None:
    """A solid top fast along its middle, on buttons inside its aprons."""
    shop = case.shop
    far = wide_mm / 2.0 - overhang_mm - shop["button_from_edge"]
    case.part("top", "across", wide_mm, long_mm, shop["top_thick"])
    case.fit(
        "top",
        "top-on-fasteners",
        part="top",
        fixed="centre",
        fastener="button",
        fastener_distance=far,
        least_engagement=shop["tongue_kept"],
        **rules.buttons(shop, case.stock("top"), far),
    )


def ends_of(case: Case, member: str, pin_mm: float, reach_mm: float, ends: str, *, at_edge: bool) -> None:
    """Breadboard ends or cleats on a top or lid, fast at its middle or at its back edge."""
    shop, stock = case.shop, case.stock(member)
    if ends == "breadboard":
        case.fit(
            f"{member} ends",
            "breadboard-end",
            2,
            part=member,
            fixed="edge" if at_edge else "centre",
            pin_distance=pin_mm,
            mortise_clearance=rules.mortise_clearance(shop, stock, reach_mm),
            flush_within=shop["flush_lid" if at_edge else "flush"],
            **rules.slot(shop, stock, pin_mm, shop["pin"], moving_has_slot=True),
        )
        return
    case.fit(
        f"{member} cleats",
        "cross-grain-fixing",
        2,
        part=member,
        across="cleat",
        fixing="slotted",
        distance=pin_mm,
        **rules.slot(shop, stock, pin_mm, shop["screw"], moving_has_slot=False),
    )


def shelves(case: Case) -> None:
    """The case's bottom and its shelves: slotted in framed sides, which stand still; else they move along."""
    shop, count = case.shop, case.count("shelves")
    wide = case.size("depth") - back_thick(case)
    long, ts = case.size("width") - 2.0 * side_thick(case), side_thick(case)
    base = case.sizes.get("base", 0.0)
    td = shop["divider_thick"]
    fixed = case.choice("shelves_are") == "fixed"
    for name, alike in (("bottom", 1), ("shelf", count if fixed else 0)):
        if not alike:
            continue
        case.part(name, "across", wide, long, shop["shelf_thick"], "inside", alike)
        if is_framed(case):
            far = wide - shop["held_in_front"]
            case.fit(
                name,
                "cross-grain-fixing",
                alike,
                part=name,
                across="bottom rail" if name == "bottom" else "side rail",
                fixing="slotted",
                distance=far,
                **rules.slot(shop, case.stock(name, "inside"), far, shop["screw"], moving_has_slot=False),
            )
    case.draw(case.front, "bottom", ts, base, long, td, "across")
    case.draw(case.front, "divider", ts, case.size("height") - top_thick(case) - td, long, td, "across")
    room = case.size("height") - top_thick(case) - base - 2.0 * td
    for nth in range(1, count + 1):
        y = base + td + nth * room / (count + 1)
        case.draw(case.front, "shelf", ts, y, long, shop["shelf_thick"], "across", hidden=True)
