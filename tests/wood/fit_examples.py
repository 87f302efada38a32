"""One sensible fit of each kind and shape, with the parameters that move its answers."""

# ruff: noqa: E501  (an example is read best on one line)

import numpy as np

from model.wood.fits import Fit, fit_from_document
from model.wood.piece import Member, member_from_document

MEMBERS: dict[str, Member] = {
    name: member_from_document(
        name,
        {"species": species, "cut": cut, "width": width, "mc_pct": mc, "thickness": 19},
    )
    for name, species, cut, width, mc in (
        ("panel", "white ash", "flat-sawn", 368.3, 8.0),
        ("side", "sugar maple", "rift", 500.0, 9.0),
        ("left", "black walnut", "quarter-sawn", 57.0, 7.0),
        ("right", "black walnut", "flat-sawn", 60.0, 8.0),
        ("edge", "sugar maple", "flat-sawn", 19.0, 7.0),
    )
}

PANEL = {"kind": "panel-in-groove", "part": "panel", "sight_width": 355.6, "groove_depth": 9.525}
EXAMPLES: dict[str, dict[str, object]] = {
    "panel centred": PANEL,
    "panel free": PANEL | {"held": "free", "finished": "after assembly", "rattle": 9.0},
    "panel at one edge": PANEL | {"held": "one-edge", "held_engagement": 7.0, "finish_onto_tongue": 2.0},
    "raised panel": PANEL
    | {"profile": "raised", "shoulder_gap": 1.5, "bevel_deg": 12.0, "groove_slack": 0.4, "tongue_thickness": 6.0},
    "boards": {"kind": "board-back", "parts": ["left", "right"], "gap": 1.0, "lap": 6.0},
    "shiplap": {"kind": "board-back", "part": "left", "gap": 1.0, "lap": 6.0, "joint": "shiplap",
                "end_gap": 0.8, "widest_gap": 2.0, "finished": "after assembly"},
    "deep boards": {"kind": "board-back", "part": "left", "gap": 1.0, "lap": 6.0, "groove_depth": 5.5},
    "drawer bottom": {"kind": "drawer-bottom", "part": "panel", "slot_length": 9.5, "screw_at": 6.0,
                      "back_overhang": 12.0, "back_clearance": 4.0},
    "loose drawer bottom": {"kind": "drawer-bottom", "part": "panel", "travel": 3.0, "front_glued": False,
                            "front_engagement": 6.0},
    "slab door": {"kind": "front-in-opening", "part": "panel", "gap": 1.6, "opening_size": 371.0},
    "framed door": {"kind": "front-in-opening", "parts": ["left", "right"], "construction": "frame", "gap": 1.6},
    "front between dividers": {"kind": "front-in-opening", "part": "panel", "gap": 1.6, "opening": ["edge"],
                               "widens": ["left"]},
    "top on buttons": {"kind": "top-on-fasteners", "part": "side", "button_gap": 3.0, "engagement": 9.0,
                       "groove_depth": 11.0},
    "top on slots": {"kind": "top-on-fasteners", "part": "side", "fixed": "front", "fastener": "slotted-screw",
                     "slot_length": 16.0, "screw_at": 9.0},
    "top on figure-eights": {"kind": "top-on-fasteners", "part": "panel", "fastener": "figure-eight"},
    "breadboard": {"kind": "breadboard-end", "part": "side", "pin_distance": 200.0, "slot_length": 12.0,
                   "mortise_clearance": 4.0, "flush_within": 3.0, "end_longer": 1.0},
    "runner": {"kind": "cross-grain-fixing", "part": "side", "travel": 2.4, "drawer_stopped_at": "back"},
    "tight cleat": {"kind": "cross-grain-fixing", "part": "side", "across": "cleat", "fixing": "tight"},
    "telescoping frame": {"kind": "cross-grain-fixing", "part": "side", "across": "web frame",
                          "fixing": "telescoping", "shoulder_gap": 4.0, "tenon_length": 12.0},
    "one tenon": {"kind": "wide-tenon", "part": "side", "tenon_width": 150.0},
    "split tenon": {"kind": "wide-tenon", "part": "side", "tenons": "split", "centre_distance": 90.0, "slack": 0.8},
    "both glued": {"kind": "wide-tenon", "part": "side", "tenons": "split", "centre_distance": 90.0,
                   "tenon_width": 70.0, "both_glued": True},
    "mitre": {"kind": "mitre", "parts": ["left", "right"]},
    "lid": {"kind": "lid-on-box", "part": "panel", "overhang": 6.0, "widest_overhang": 9.0, "lip_clearance": 2.0,
            "lock_play": 1.5},
    "inset lid": {"kind": "lid-on-box", "part": "panel", "held": "lift-off", "inset_gap": 1.2},
    "edging": {"kind": "edging-on-sheet", "part": "edge"},
}  # fmt: skip


def make(example: str, **changes: object) -> Fit:
    return fit_from_document("it", EXAMPLES[example] | changes, MEMBERS, "test.toml")


def margins(fit: Fit, mc_pct: float | np.ndarray) -> dict[str, object]:
    return {limit.name: limit.margin_mm for limit in fit.limits(dict.fromkeys(MEMBERS, mc_pct))}
