"""Pieces of one fit, as they are planned."""

from model.wood.piece import Piece, piece_from_document

INCH = 25.4


def a_piece(fit: dict, species: str = "black cherry", width: str = "14.5in", **changes: object) -> Piece:
    member = {"species": species, "cut": "flat-sawn", "width": width, "mc_pct": 8.0, "thickness": "3/4in"}
    return piece_from_document(
        {"piece": {"name": "Case"}, "part": {"part": member | changes}, "fit": {"fit": fit}}
    )


BOTTOM = {"kind": "drawer-bottom", "part": "part", "slot_length": "3/8in"}
SLOTTED = {
    "drawer bottom": BOTTOM,
    "top": {
        "kind": "top-on-fasteners",
        "part": "part",
        "fastener": "slotted-screw",
        "slot_length": "1/2in",
    },
    "breadboard": {"kind": "breadboard-end", "part": "part", "pin_distance": "6in", "slot_length": "3/8in"},
    "runner": {"kind": "cross-grain-fixing", "part": "part", "slot_length": "1/2in"},
}
