"""A shop's usual figures for cases: thicknesses, widths of stiles, allowances; each a shop's own to change.

An inch shop and a metric shop have figures of their own; neither is a conversion of the other. Grooves,
tongues and laps are those of furniture makers' magazines and forums; the rest is common practice, no source.
"""

from collections.abc import Mapping
from typing import Literal

from model.wood.design.setting_out import INCH_STEPS, METRIC_STEPS, Increments
from model.wood.errors import BadInput
from model.wood.piece_table import near_matches
from model.wood.units import MM_PER_INCH as INCH

ShopUnits = Literal["inch", "metric"]

# What it is, then its usual size in an inch shop [in] and in a metric shop [mm].
FIGURES: dict[str, tuple[str, float, float]] = {
    "groove": ("groove for a panel up to 15 in or 380 mm of sight", 3 / 8, 10.0),
    "wide_groove": ("groove for a wider panel and for case backs", 1 / 2, 12.0),
    "clearance": ("least clearance in each groove", 1 / 8, 3.0),
    "clearance_wet": ("the same for wood at 9.5 % or more", 1 / 16, 1.5),
    "wide_panel": ("sight from which a panel counts as wide", 15.0, 380.0),
    "tongue_kept": ("tongue that has to stay in its groove", 1 / 8, 3.0),
    "hand": ("play left at the wettest", 1 / 32, 1.0),
    "clear_along": ("clearance along the grain", 1 / 16, 1.5),
    "run": ("gap a front needs to run freely", 1 / 64, 0.4),
    "front_gap": ("least gap of a drawer front as built", 1 / 32, 1.0),
    "door_gap": ("least gap of a door as built", 1 / 16, 1.5),
    "widest_gap": ("widest gap that still looks right", 1 / 8, 3.0),
    "side_gap": ("gap at the ends of a front and on the hinge side", 1 / 32, 1.0),
    "stile": ("stile and muntin wide", 2.25, 55.0),
    "top_rail": ("top rail wide", 2.25, 55.0),
    "bottom_rail": ("bottom rail wide", 3.5, 90.0),
    "frame_thick": ("frame thick", 13 / 16, 20.0),
    "front_thick": ("drawer front thick", 13 / 16, 20.0),
    "slab_thick": ("slab side thick", 7 / 8, 22.0),
    "top_thick": ("top thick", 7 / 8, 24.0),
    "lid_thick": ("lid thick", 7 / 8, 22.0),
    "shelf_thick": ("shelf thick", 7 / 8, 22.0),
    "panel_thick": ("panel thick", 1 / 2, 12.0),
    "boards_thick": ("back boards thick", 1 / 2, 12.0),
    "back_frame_thick": ("framed back thick", 3 / 4, 18.0),
    "bottom_thick": ("drawer bottom thick", 3 / 8, 9.0),
    "drawer_back_thick": ("drawer back thick", 1 / 2, 12.0),
    "divider_thick": ("divider thick", 7 / 8, 22.0),
    "apron_thick": ("apron thick", 7 / 8, 22.0),
    "step": ("each drawer higher than the one above it by", 1.0, 25.0),
    "rabbet": ("rabbet for the back", 3 / 8, 10.0),
    "lap": ("least lap of back boards", 3 / 8, 10.0),
    "board": ("widest back board", 4.0, 100.0),
    "overhang_front": ("top beyond the case in front", 3 / 4, 20.0),
    "overhang_ends": ("top beyond the case at each end", 3 / 4, 20.0),
    "overhang_lid": ("lid beyond the chest", 3 / 4, 20.0),
    "overhang_table": ("table top beyond its legs", 2.0, 50.0),
    "screw": ("screw thick", 0.138, 4.0),
    "pin": ("breadboard pin thick", 1 / 4, 6.0),
    "held_in_front": ("runner or web frame glued in front", 3.0, 75.0),
    "dry_tenon": ("dry tenon of a web frame", 1.0, 25.0),
    "behind_drawer": ("room behind a drawer", 3 / 4, 20.0),
    "bottom_in_groove": ("drawer bottom into the front's groove", 1 / 4, 6.0),
    "door_overlay": ("door over the case all round", 3 / 8, 10.0),
    "lip": ("lip of a lipped front", 1 / 4, 6.0),
    "reveal": ("gap between overlay fronts", 1 / 8, 3.0),
    "pin_from_edge": ("outer breadboard pin from the edge of the panel", 1.5, 40.0),
    "pin_from_front": ("outer pin of a lid from its front", 2.5, 65.0),
    "button_from_edge": ("button inside the apron", 1.5, 40.0),
    "flush": ("how far an end may stand from flush", 1 / 8, 3.0),
    "flush_lid": ("the same of a lid fixed at its back edge", 3 / 16, 5.0),
    "leg": ("leg square", 1.75, 45.0),
    "shoulders": ("both shoulders of an apron's tenons", 1.5, 40.0),
    "between_tenons": ("wood between an apron's two tenons", 3 / 4, 20.0),
    "lid_least_overhang": ("overhang of a lid that has to stay", 1 / 2, 12.0),
    "lid_widest_overhang": ("widest overhang of a lid that looks right", 1.0, 26.0),
    "slot_spare": ("spare in a slot beyond its travel", 1 / 16, 1.5),
    "least_slot": ("shortest slot", 3 / 8, 10.0),
    "least_shoulder": ("least gap at a dry tenon's shoulder", 1 / 8, 3.0),
    "least_button_gap": ("least gap of a button", 1 / 16, 2.0),
    "least_engagement": ("least engagement of a button", 3 / 8, 10.0),
    "least_board_gap": ("least gap between back boards", 1 / 32, 1.0),
    "tenon_slack": ("least slack of a dry tenon", 1 / 32, 1.0),
    "tenon_spare": ("spare of a dry tenon beyond its travel", 1 / 64, 0.2),
    "narrow": ("width up to which a part's movement is ignored", 4.0, 100.0),
    "least_opening": ("lowest drawer opening", 2.0, 50.0),
    "wide_slab_door": ("slab front that will hardly stay flat", 8.0, 200.0),
    "widest_apron": ("apron that two tenons hold", 9.5, 240.0),
}
# Depths of groove that a shop cuts.
GROOVES: dict[ShopUnits, tuple[float, ...]] = {
    "inch": (3 / 8 * INCH, 1 / 2 * INCH, 5 / 8 * INCH, 3 / 4 * INCH),
    "metric": (10.0, 12.0, 15.0, 18.0),
}
STEPS: dict[ShopUnits, Increments] = {"inch": INCH_STEPS, "metric": METRIC_STEPS}


class ShopFigures(dict[str, float]):
    """The usual figures of a shop by name [mm], its own in place of ours where it gave any.

    Raises
    ------
    BadInput
        For the name of no figure, or one that is not more than 0.
    """

    def __init__(self, units: ShopUnits, own_mm: Mapping[str, float] | None = None) -> None:
        inch = units == "inch"
        super().__init__({name: row[1] * INCH if inch else row[2] for name, row in FIGURES.items()})
        self.units: ShopUnits = units
        for name, value_mm in (own_mm or {}).items():
            if name not in FIGURES:
                raise BadInput("", name, f"is no figure of a shop{near_matches(name, FIGURES)}", value_mm)
            if not value_mm > 0.0:
                raise BadInput("", name, "must be a length more than 0", value_mm)
            self[name] = value_mm

    @property
    def steps(self) -> Increments:
        """What sizes are rounded to."""
        return STEPS[self.units]

    @property
    def grooves_mm(self) -> tuple[float, ...]:
        return GROOVES[self.units]
