"""Rules of a shop: grooves, gaps, slots and boards for wood of today's moisture and a home's year.

Each takes the shop's usual figures and the stock, and gives sizes in mm, rounded the cautious way. The rules
are those of the trade (common practice, no source) on this project's own definition of width.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

from model.wood.design.patterns.shop_figures import ShopFigures
from model.wood.errors import BadInput
from model.wood.material.movement import Movement, width_at

WET_STOCK_PCT = 9.5


@dataclass(frozen=True)
class Stock:
    """Wood at today's moisture content that will live between a home's dry and wet end [%].

    `doubt_pct` is how far today's may be out, as in `ServiceRange`. Where it is said, what the shop leaves
    against it otherwise is left only as far as the doubt itself doesn't ask for as much: see `beyond_doubt`.
    """

    movement: Movement
    mc_pct: float
    dry_pct: float
    wet_pct: float
    doubt_pct: float = 0.0

    def up(self, width_mm: float) -> float:
        """How much a width grows from today to the wet end at most [mm]; nought if it only shrinks."""
        driest = max(self.mc_pct - self.doubt_pct, 0.0)
        return max(float(width_at(width_mm, driest, self.wet_pct, self.movement)) - width_mm, 0.0)

    def down(self, width_mm: float) -> float:
        """How much it shrinks from today to the dry end at most [mm]; nought if it only grows."""
        wettest = self.mc_pct + self.doubt_pct
        return max(width_mm - float(width_at(width_mm, wettest, self.dry_pct, self.movement)), 0.0)

    def beyond_doubt(self, reserve_mm: float, width_mm: float, *, both_ways: bool) -> float:
        """What is left of a shop's reserve [mm] once the doubt is counted in the movement of a width."""
        sure = replace(self, doubt_pct=0.0)
        counted = self.up(width_mm) - sure.up(width_mm)
        if both_ways:
            counted += self.down(width_mm) - sure.down(width_mm)
        return max(reserve_mm - counted, 0.0)


@dataclass(frozen=True)
class PanelSet:
    """A panel set out: its width, its grooves and, if raised, the gap at its shoulders [mm]."""

    width_mm: float
    groove_depth_mm: float
    shoulder_gap_mm: float


def panel(shop: ShopFigures, stock: Stock, sight_mm: float, *, back: bool = False) -> PanelSet:
    """A panel pinned at its centre in grooves as deep as it needs.

    Raises
    ------
    BadInput
        Where no groove of the shop's is deep enough.
    """
    steps = shop.steps
    hand = stock.beyond_doubt(shop["hand"], sight_mm, both_ways=False)
    swelling = steps.gap_up((stock.up(sight_mm) + hand) / 2.0)
    floor = shop["clearance_wet" if stock.mc_pct >= WET_STOCK_PCT else "clearance"]
    clearance = max(swelling, floor)
    usual = shop["wide_groove" if back or sight_mm > shop["wide_panel"] + 1e-6 else "groove"]
    needed = max(usual, clearance + shop["tongue_kept"] + stock.down(sight_mm) / 2.0)
    deep = [depth for depth in (usual, *shop.grooves_mm) if depth >= needed - 1e-6]
    if not deep:
        rule = "must leave a panel that its grooves can hold: use a muntin, or quarter-sawn wood"
        raise BadInput("", "sight", rule, f"{sight_mm:.4g} mm")
    groove = min(deep)
    width = steps.gap_down(sight_mm + 2.0 * (groove - clearance))
    return PanelSet(width, groove, max(swelling, shop["clear_along"]))


def front_gap(shop: ShopFigures, stock: Stock, opening_mm: float) -> float:
    """Gap over a slab drawer front in an opening of this height."""
    return _gap(shop, stock, opening_mm, shop["front_gap"])


def door_gap(shop: ShopFigures, stiles: Stock, count: int) -> float:
    """Gap beside a framed door, or between a pair, of so many stiles across."""
    return _gap(shop, stiles, count * shop["stile"], shop["door_gap"])


def _gap(shop: ShopFigures, stock: Stock, width_mm: float, least_mm: float) -> float:
    """A gap that still runs at the wet end; the doubt widens it only while it looks right at the dry end.

    A tight front can be planed in its place, and one that was cut too low can't be mended.
    """
    sure = replace(stock, doubt_pct=0.0)
    run, doubted = (shop.steps.gap_up(shop["run"] + one.up(width_mm)) for one in (sure, stock))
    looks_right = shop.steps.gap_down(shop["widest_gap"] - sure.down(width_mm))
    return max(run, min(doubted, looks_right), least_mm)


def slot(
    shop: ShopFigures, stock: Stock, reach_mm: float, thick_mm: float, moving_has_slot: bool
) -> dict[str, Any]:
    """Slot for a screw or pin so far from where the wood is fast, as the fields of a slotted fit."""
    up, down = stock.up(reach_mm), stock.down(reach_mm)
    spare = stock.beyond_doubt(shop["slot_spare"], reach_mm, both_ways=True)
    length = max(shop.steps.slot_up(thick_mm + up + down + spare), shop["least_slot"])
    near = up if moving_has_slot else down
    at = thick_mm / 2.0 + near + (length - thick_mm - up - down) / 2.0
    step = shop.steps.width_mm
    return {
        "slot_length": length,
        "screw_diameter": thick_mm,
        "screw_at": round(math.floor(at / step + 0.5) * step, 6),
    }


def web_frame_shoulder(shop: ShopFigures, stock: Stock, reach_mm: float) -> float:
    """Gap at the shoulder of a web frame's dry tenon."""
    return max(shop.steps.slot_up(stock.down(reach_mm) + shop["clear_along"]), shop["least_shoulder"])


def buttons(shop: ShopFigures, stock: Stock, reach_mm: float) -> dict[str, Any]:
    """Gap and engagement of buttons so far from the fixed line."""
    gap = shop.steps.gap_up(stock.up(reach_mm) + shop["run"])
    engagement = shop.steps.gap_up(stock.down(reach_mm) + shop["tongue_kept"] + shop["hand"])
    return {
        "button_gap": max(gap, shop["least_button_gap"]),
        "engagement": max(engagement, shop["least_engagement"]),
    }


@dataclass(frozen=True)
class BoardSet:
    """Shiplapped boards that fill a back [mm]."""

    count: int
    width_mm: float
    gap_mm: float
    lap_mm: float


def back_boards(shop: ShopFigures, stock: Stock, width_mm: float) -> BoardSet:
    """Whole boards across a back, a gap at each lap and at both ends."""
    count = math.ceil(width_mm / shop["board"] - 1e-9)
    gap = max(shop.steps.gap_up(stock.up(width_mm / count) + shop["run"]), shop["least_board_gap"])
    lap = max(shop.steps.slot_up(2.0 * (gap + stock.down(width_mm / count))), shop["lap"])
    return BoardSet(count, shop.steps.gap_down((width_mm - (count + 1) * gap) / count), gap, lap)


def split_tenon(shop: ShopFigures, stock: Stock, apron_mm: float) -> dict[str, Any]:
    """Two tenons of a wide apron, one of them dry, as the fields of a wide tenon."""
    tenon = round((apron_mm - shop["shoulders"]) / 2.0, 6)
    apart = round(tenon + shop["between_tenons"], 6)
    travel = max(stock.up(apart), stock.down(apart)) + shop["tenon_spare"]
    slack = max(shop.steps.gap_up(travel), shop["tenon_slack"])
    return {"tenon_width": tenon, "centre_distance": apart, "slack": slack}


def mortise_clearance(shop: ShopFigures, stock: Stock, reach_mm: float) -> float:
    """Room beyond the outer tenon of a breadboard end."""
    return max(shop.steps.gap_up(stock.up(reach_mm) + shop["hand"]), shop["clearance"])


def openings(shop: ShopFigures, height_mm: float, count: int) -> list[float]:
    """Heights of drawer openings from the top down, each a step higher than the one above [mm].

    Raises
    ------
    BadInput
        Where the lowest of them would be too low for a drawer.
    """
    step, coarse = shop["step"], shop.steps.slot_mm
    found = [
        round(math.floor((height_mm / count + (i - (count + 1) / 2.0) * step) / coarse + 1e-6) * coarse, 6)
        for i in range(1, count)
    ]
    found.append(round(height_mm - sum(found), 6))
    if min(found) < shop["least_opening"]:
        raise BadInput("", "drawers", "must be fewer: there are too many for this height", count)
    return found


def panels_across(shop: ShopFigures, width_mm: float) -> tuple[int, float]:
    """The fewest panels side by side that are not wide, and the sight of each [mm].

    Raises
    ------
    BadInput
        Where stiles leave no panel worth the name.
    """
    count = 1
    while (sight := (width_mm - (count + 1) * shop["stile"]) / count) > shop["wide_panel"] + 1e-6:
        count += 1
    if sight < 2.0 * shop["stile"]:
        raise BadInput("", "sight", "must be more: stiles leave no panel", f"{sight:.4g} mm")
    return count, round(sight, 6)
