"""Setting out a part as slab, in a frame or of sheet goods: members, fits sized for a home, stock, weight."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from model.wood.design.cutting import cut_document
from model.wood.design.part_request import PartWanted
from model.wood.design.setting_out import Increments
from model.wood.design.stock import CLEAN_UP_MM, EDGE_TRIM_MM, board_feet, cubic_metres, resaw, weight_kg
from model.wood.errors import BadInput
from model.wood.fits import Fit, fit_from_document
from model.wood.fits.front_in_opening import WIDEST_GAP_MM
from model.wood.fits.limit import INCH
from model.wood.material.member import Member
from model.wood.piece import Piece
from model.wood.reason import Reason

# Trade sizes to begin from (common practice, no source).
USUAL_GROOVE_MM = 3.0 * INCH / 8.0
CASE_GROOVE_MM = INCH / 2.0
USUAL_TONGUE_MM = INCH / 4.0
WIDEST_PANEL_MM = 18.0 * INCH
RAIL_TENON_MM = INCH
EDGING_MM = 3.0 * INCH / 16.0
REAR_SCREW_IN_MM = 2.0 * INCH
ROUGH_QUARTERS = (4, 5, 6, 8, 10, 12, 16)
ROUGH_OVER_MM, ROUGH_WIDER_MM, ROUGH_LONGER_MM = 3.0 * INCH / 16.0, 3.0 * INCH / 8.0, INCH
"""What 4/4 to 16/4 lumber loses in planing, and what is left on widths and lengths for milling twice."""
WASTE_SHARE = 0.25
"""Bought beyond what is cut: knots, sapwood, matching (common practice, no source)."""
SHEET_DENSITY_KG_M3 = 600.0
"""Plywood of hardwood veneers, 500 to 700 (common practice, no source)."""


@dataclass(frozen=True)
class StockNeeded:
    """What to buy for a part.

    Attributes
    ----------
    net_m3, net_board_feet : float
        Solid wood in it.
    rough_board_feet : float
        Counted by the rough thickness of the lumber and with what milling takes.
    buy_board_feet : float
        The same with waste.
    sheet_m2 : float
    leaves_from_a_board : int or None
        Leaves of the panel's thickness that a rough board gives, where it gives two or more.
    board_thickness_mm : float or None
        Rough thickness of the board resawn.
    leaf_width_needed_mm : float or None
        Width of each of two book-matched leaves that make a panel.
    boards_to_resaw : int or None
        Boards at hand that make all panels, in matched pairs where leaves come in pairs.
    """

    net_m3: float = 0.0
    net_board_feet: float = 0.0
    rough_board_feet: float = 0.0
    buy_board_feet: float = 0.0
    sheet_m2: float = 0.0
    leaves_from_a_board: int | None = None
    board_thickness_mm: float | None = None
    leaf_width_needed_mm: float | None = None
    boards_to_resaw: int | None = None


@dataclass(frozen=True)
class Layout:
    """A part set out one way: as a piece with fits, with its stock, weight and what is worth saying."""

    piece: Piece | None
    stock: StockNeeded
    weight_kg: float
    cuts: tuple[dict[str, Any], ...] = ()
    groove_depth_mm: float | None = None
    slot_length_mm: float | None = None
    panels: int = 0
    enough: bool = True
    notes: tuple[Reason, ...] = field(default=())


def rough_thickness_mm(net_mm: float) -> float:
    """Thinnest lumber, in its quarters of an inch, that gives a net thickness [mm].

    Examples
    --------
    13/16 in comes out of 4/4, 7/8 in does not:

    >>> rough_thickness_mm(20.6), rough_thickness_mm(22.2)
    (25.4, 31.75)
    """
    for quarters in ROUGH_QUARTERS:
        if quarters * INCH / 4.0 >= net_mm + ROUGH_OVER_MM - 0.05:
            return quarters * INCH / 4.0
    raise BadInput("", "thickness", "must be at most 3-3/4 in, to come out of 16/4 lumber", net_mm)


def _boards(*pieces: tuple[float, float, float, int]) -> StockNeeded:
    """Stock of pieces (thickness, width, length, how many), net and as bought."""
    net = sum(cubic_metres(*piece) for piece in pieces)
    net_feet = sum(board_feet(*piece) for piece in pieces)
    rough = sum(
        board_feet(rough_thickness_mm(t), w + ROUGH_WIDER_MM, length + ROUGH_LONGER_MM, n)
        for t, w, length, n in pieces
    )
    return StockNeeded(net, net_feet, rough, rough * (1.0 + WASTE_SHARE))


def _piece(part: PartWanted, members: Mapping[str, Member], fits: Mapping[str, Mapping[str, Any]]) -> Piece:
    made: dict[str, Fit] = {
        name: fit_from_document(name, table, members, f"{part.role} as planned")
        for name, table in fits.items()
    }
    return Piece(f"{part.role.capitalize()} as planned", dict(members), made)


def _cut(
    piece: Piece, fit: str, part: PartWanted, mc_range: tuple[float, float], steps: Increments
) -> dict[str, Any]:
    return cut_document(piece, fit, part.mc_pct, mc_range, steps)


# ---------------------------------------------------------------- slab


def slab_layout(
    part: PartWanted, mc_range: tuple[float, float], middle_pct: float, steps: Increments
) -> Layout:
    """A part as one solid slab."""
    name: str = part.role
    members = {name: part.member(name, part.width_mm, role=part.role)}
    stock = _boards((part.thickness_mm, part.width_mm, part.length_mm, 1))
    weight = weight_kg(part.species, middle_pct, part.thickness_mm, part.width_mm, part.length_mm)
    setting = {"side": _slab_side, "door": _slab_door, "top": _slab_top, "back": _slab_back}
    if part.role == "bottom":
        piece, cut, notes = _slab_bottom(part, members, mc_range, steps)
    else:
        piece, cut, notes = setting[part.role](part, members, mc_range, steps)
    groove = cut.get("groove_depth_mm") if cut.get("held") else None
    return Layout(
        piece, stock, weight, (cut,), groove, cut.get("slot_length_rounded_mm"), 0, bool(cut["enough"]), notes
    )


Set = tuple[Piece, dict[str, Any], tuple[Reason, ...]]


def _slotted(
    part: PartWanted,
    members: Mapping[str, Member],
    table: dict[str, Any],
    mc_range: tuple[float, float],
    steps: Increments,
) -> Set:
    """A fit in a slot, made as long as this home asks and its screw set for the season."""
    fit = f"{part.role}_slot"
    first = _piece(part, members, {fit: table | {"slot_length": 3.0 * INCH / 8.0}})
    asked = _cut(first, fit, part, mc_range, steps)
    slot = max(asked["slot_length_rounded_mm"], INCH / 4.0)
    # A slot rounded up has a little over; it goes to both ends alike.
    at = asked["screw_at_mm"] + (slot - asked["slot_length_mm"]) / 2.0
    piece = _piece(part, members, {fit: table | {"slot_length": slot, "screw_at": round(at, 3)}})
    return piece, _cut(piece, fit, part, mc_range, steps), ()


def _slab_side(part: PartWanted, members: Mapping[str, Member], mc_range: Any, steps: Increments) -> Set:
    reach = part.width_mm - REAR_SCREW_IN_MM if part.width_mm > 2.0 * REAR_SCREW_IN_MM else part.width_mm
    table = {
        "kind": "cross-grain-fixing", "part": "side", "across": "runner", "fixing": "slotted",
        "distance": reach,
    }  # fmt: skip
    return _slotted(part, members, table, mc_range, steps)


def _slab_bottom(part: PartWanted, members: Mapping[str, Member], mc_range: Any, steps: Increments) -> Set:
    return _slotted(part, members, {"kind": "drawer-bottom", "part": "bottom"}, mc_range, steps)


def _slab_door(part: PartWanted, members: Mapping[str, Member], mc_range: Any, steps: Increments) -> Set:
    table = {"kind": "front-in-opening", "parts": "door", "construction": "slab"}
    first = _piece(part, members, {"opening": table | {"gap": INCH / 16.0}})
    gap = _cut(first, "opening", part, mc_range, steps)["gap_rounded_mm"]
    piece = _piece(part, members, {"opening": table | {"gap": gap}})
    cut = _cut(piece, "opening", part, mc_range, steps)
    notes: tuple[Reason, ...] = ()
    if not cut["enough"]:
        notes = (Reason("door-gap-dry", {"gap_mm": cut["gap_dry_mm"]}),)
    return piece, cut, notes


def _slab_top(part: PartWanted, members: Mapping[str, Member], mc_range: Any, steps: Increments) -> Set:
    table = {"kind": "top-on-fasteners", "part": "top", "fixed": "centre", "fastener": "button"}
    first = _piece(
        part, members, {"buttons": table | {"button_gap": INCH / 8.0, "engagement": 3.0 * INCH / 8.0}}
    )
    asked = _cut(first, "buttons", part, mc_range, steps)
    gap = max(steps.gap_up(asked["gap_mm"]), INCH / 16.0)
    engagement = max(steps.gap_up(asked["engagement_mm"]), INCH / 4.0)
    piece = _piece(part, members, {"buttons": table | {"button_gap": gap, "engagement": engagement}})
    return piece, _cut(piece, "buttons", part, mc_range, steps), ()


def _slab_back(part: PartWanted, members: Mapping[str, Member], mc_range: Any, steps: Increments) -> Set:
    sight = part.width_mm - 2.0 * USUAL_TONGUE_MM
    piece, cut = _in_grooves(part, "back", dict(members), sight, CASE_GROOVE_MM, mc_range, steps)
    return piece, cut, (Reason("narrow-boards"),)


def _in_grooves(
    part: PartWanted,
    name: str,
    members: dict[str, Member],
    sight_mm: float,
    groove_mm: float,
    mc_range: tuple[float, float],
    steps: Increments,
    more: Mapping[str, Mapping[str, Any]] | None = None,
) -> tuple[Piece, dict[str, Any]]:
    """A panel held at its centre, its grooves as deep and itself as wide as this home asks."""
    fit = f"{name}_in_grooves"
    table = {
        "kind": "panel-in-groove", "part": name, "held": "centre", "sight_width": sight_mm,
        "finished": "before assembly",
    }  # fmt: skip

    def built(groove: float, width: float) -> Piece:
        inside = members | {name: replace(members[name], width_mm=width)}
        return _piece(part, inside, {fit: table | {"groove_depth": groove}, **(more or {})})

    asked = _cut(built(groove_mm, sight_mm + 1.2 * groove_mm), fit, part, mc_range, steps)
    groove = max(steps.slot_up(groove_mm), asked["groove_depth_centre_rounded_mm"])
    asked = _cut(built(groove, sight_mm + 1.2 * groove), fit, part, mc_range, steps)
    piece = built(groove, asked["width_best_rounded_mm"])
    return piece, _cut(piece, fit, part, mc_range, steps)


# ---------------------------------------------------------------- frame and panel


def framed_layout(
    part: PartWanted, mc_range: tuple[float, float], middle_pct: float, steps: Increments
) -> Layout:
    """A part as a frame of stiles and rails with a panel, or with two and a muntin when it is wide."""
    stile, inside = part.stile_mm, part.width_mm - 2.0 * part.stile_mm
    if inside < 2.0 * stile or part.length_mm < 3.0 * stile:
        note = Reason("too-small-to-frame", {"stile_mm": stile})
        return Layout(None, StockNeeded(), 0.0, enough=False, notes=(note,))
    panels = 1
    while (inside - (panels - 1) * stile) / panels > WIDEST_PANEL_MM:
        panels += 1
    sight = (inside - (panels - 1) * stile) / panels
    notes = []
    if panels > 1:
        notes.append(Reason("muntins", {"panel_count": panels, "widest_mm": WIDEST_PANEL_MM}))
    members = {
        "panel": part.member(
            "panel", sight, part.panel_thickness_mm, "panel" if panels == 1 else "each panel"
        ),
        "stile": part.member("stile", stile, role="each stile"),
    }
    more: dict[str, dict[str, Any]] = {}
    if part.role == "door":
        table: dict[str, Any] = {
            "kind": "front-in-opening", "parts": ["stile", "stile"], "construction": "frame",
        }  # fmt: skip
        probe = _piece(part, members, {"opening": table | {"gap": INCH / 16.0}})
        asked = _cut(probe, "opening", part, mc_range, steps)
        # A gap that must open wider than looks right is accepted with the plan, and recorded as wide as that.
        widest = max(asked["gap_rounded_mm"], asked["gap_dry_mm"], asked["gap_wet_mm"])
        if widest > WIDEST_GAP_MM:
            table["widest_gap"] = steps.gap_up(widest)
        more["opening"] = table | {"gap": asked["gap_rounded_mm"]}
    piece, cut = _in_grooves(part, "panel", members, sight, USUAL_GROOVE_MM, mc_range, steps, more)
    cuts = [cut] + [_cut(piece, name, part, mc_range, steps) for name in more]
    groove, panel_width = cut["groove_depth_mm"], cut["width_best_rounded_mm"]
    panel_length = part.length_mm - 2.0 * stile + 2.0 * groove - INCH / 8.0
    uprights = (part.thickness_mm, stile, part.length_mm, 2)
    muntins = (part.thickness_mm, stile, part.length_mm - 2.0 * stile + 2.0 * groove, panels - 1)
    rails = (part.thickness_mm, stile, inside + 2.0 * RAIL_TENON_MM, 2)
    boards = _boards(uprights, muntins, rails, (part.panel_thickness_mm, panel_width, panel_length, panels))
    weight = sum(
        weight_kg(part.species, middle_pct, *size)
        for size in (uprights, muntins, rails, (part.panel_thickness_mm, panel_width, panel_length, panels))
    )
    stock, said = _leaves(boards, part, panel_width, panels)
    if said:
        notes.append(said)
    return Layout(
        piece, stock, weight, tuple(cuts), groove, None, panels, all(c["enough"] for c in cuts), tuple(notes)
    )


def _leaves(
    boards: StockNeeded, part: PartWanted, panel_mm: float, panels: int
) -> tuple[StockNeeded, Reason | None]:
    """Whether the panels can come of resawn boards, and how many boards that takes."""
    rough = rough_thickness_mm(max(part.thickness_mm, 2.0 * part.panel_thickness_mm))
    thinnest = resaw(rough, part.board_width_mm, part.panel_thickness_mm)
    if thinnest.leaves < 2:
        return boards, None
    needed = panel_mm / 2.0 + EDGE_TRIM_MM
    across = math.ceil(panel_mm / thinnest.leaf_width_mm - 1e-9)
    # Leaves are matched in pairs, so an odd one over waits for another panel.
    leaves = panels * (across + across % 2 if across > 1 else across)
    number = math.ceil(leaves / thinnest.leaves)
    said = Reason(
        "resawn",
        {"quarters": f"{rough / INCH * 4:.0f}/4", "leaves": thinnest.leaves, "needed_mm": needed},
    )
    return (
        replace(
            boards,
            leaves_from_a_board=thinnest.leaves,
            board_thickness_mm=rough,
            leaf_width_needed_mm=needed,
            boards_to_resaw=number,
        ),
        said,
    )


# ---------------------------------------------------------------- sheet goods


def sheet_layout(
    part: PartWanted, mc_range: tuple[float, float], middle_pct: float, steps: Increments
) -> Layout:
    """A part of sheet goods; a side, top or door has solid edging, which is all that moves."""
    area = part.width_mm * part.length_mm / 1e6
    weight = area * part.thickness_mm / 1000.0 * SHEET_DENSITY_KG_M3
    if part.role in ("back", "bottom"):
        return Layout(None, StockNeeded(sheet_m2=area), weight, notes=(Reason("nothing-moves"),))
    edging = part.member("edging", part.thickness_mm, EDGING_MM, "edging")
    piece = _piece(part, {"edging": edging}, {"edging_step": {"kind": "edging-on-sheet", "part": "edging"}})
    around = 2.0 * (part.width_mm + part.length_mm)
    stock = replace(_boards((EDGING_MM + CLEAN_UP_MM, part.thickness_mm, around, 1)), sheet_m2=area)
    movement = abs(float(edging.width_at(mc_range[1])) - float(edging.width_at(mc_range[0])))
    return Layout(piece, stock, weight, notes=(Reason("edging-moves", {"moved_mm": movement}),))
