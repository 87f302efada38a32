"""One sentence a limit: what is seen, or what gives, when it is passed.

A name that is not in the table is said from its direction and severity.
"""

from collections.abc import Mapping
from typing import Any

# By name, and by name and `how` where the way matters. {part} is the part that moves, {across} what is fixed
# across it, and {screws}, {lip}, {lock}, {overhang} are its own.
LIMITS = {
    "bare-line": "a bare line shows each side of {part}",
    "bare-line free": "a bare line shows along one edge of {part}",
    "bare-line one-edge": "a bare line shows along one edge of {part}",
    "bare-line boards": "bare wood shows between the boards",
    "bevel-wedges": "the bevel of {part} wedges its groove open",
    "binds": "{part} sticks in its opening",
    "binds box": "{part} sticks in its box",
    "binds frame": "the framed door sticks in its opening",
    "binds pair": "{part} stick in their opening",
    "board-meets-case": "an end board meets the case and pushes it",
    "boards-touch": "the boards butt and buckle",
    "button-leaves-groove": "a button of {part} pulls out of its groove",
    "button-meets-apron": "{part} pushes its buttons into the apron",
    "crushes": "{part} is held across its grain and is crushed as it swells: gaps follow when it dries",
    "end-proud": "the breadboard end stands proud of the edges of {part}",
    "end-shy": "the edges of {part} stand proud of the breadboard end",
    "front-proud": "drawer fronts stand proud of {part}: the drawers stop at the back",
    "front-sunk": "drawer fronts sit back in {part}: the drawers stop at the back",
    "gap-shows": "the gap at {part} looks too wide",
    "gap-shows boards": "the gaps between the boards look too wide",
    "gap-shows front": "the gap at the front of {part} looks too wide",
    "groove-bottom": "{part} is hard in its grooves and pushes the frame apart",
    "groove-bottom boards": "a tongue is hard in its groove and pushes the boards apart",
    "groove-bottom button": "a button is hard in its groove and {part} pushes the apron",
    "heel-opens": "the mitre of {part} opens at the heel, the inside corner",
    "leaves-back": "{part} draws out from under the drawer's back",
    "leaves-front-groove": "{part} draws out of the front groove",
    "leaves-groove": "{part} drops out of its groove",
    "leaves-groove free": "{part} slides over and out of the far groove",
    "leaves-lap": "a board's tongue leaves its groove",
    "leaves-lap shiplap": "a lap opens and daylight shows",
    "lip-binds": "{lip} closes on the box and the lid sticks",
    "lock-misses-dry": "{lock} is out of line",
    "lock-misses-wet": "{lock} is out of line",
    "meets-case-back": "{part} meets the case's back and keeps the drawer from shutting",
    "mortise-end-dry": "the dry tenon of {part} meets the end of its mortise and the wood splits",
    "mortise-end-wet": "the dry tenon of {part} meets the end of its mortise and forces the joint",
    "overhang-gone": "{overhang} is gone",
    "overhang-shows": "{overhang} looks too wide",
    "rattle": "{part} is loose in its grooves and rattles",
    "shoulder-closes": "the shoulders of {part} close on the stiles and push the frame apart",
    "shoulder-closes across": "the shoulder of {across} closes, and {part} splits or bows",
    "slot-end-dry": "{screws} run out of slot: a screw bends or {part} splits",
    "slot-end-dry pins": "the breadboard end's pins run out of slot: a pin bends or {part} splits",
    "slot-end-wet": "{screws} run out of slot: a screw bends or {part} buckles",
    "slot-end-wet pins": "the breadboard end's pins run out of slot: a pin bends or {part} buckles",
    "splits": "{part} is held across its grain and splits as it shrinks",
    "stands-proud": "{part} stands proud of the sheet",
    "stands-shy": "{part} stands shy of the sheet",
    "tenon-bottoms": "the outer tenon of {part} meets the end of its mortise and splits the breadboard end",
    "tenon-pulls-out": "the dry tenon of {across} pulls out as {part} swells",
    "toe-opens": "the mitre of {part} opens at the toe, the outside point",
}

# Of a limit that has no sentence of its own, by direction and severity.
ELSE: Mapping[tuple[Any, Any], str] = {
    ("swelling", "harms"): "{part} has no room left to swell: something bends or breaks",
    ("shrinking", "harms"): "{part} shrinks past its hold: it splits or comes loose",
    ("swelling", "shows"): "{part} swells enough to show",
    ("shrinking", "shows"): "{part} shrinks enough to show",
}


def limit_slots(values: Mapping[str, Any]) -> dict[str, str]:
    """The names of parts that a limit's sentence has room for."""
    part = " and ".join(dict.fromkeys(values["parts"]))
    across = f"the {values['across']}" if values["across"] else part
    return {
        "part": part,
        "across": across,
        "screws": _own(across, "screws"),
        "lip": _own(part, "lip"),
        "lock": _own(part, "lock"),
        "overhang": _own(part, "front overhang"),
    }


def _own(owner: str, thing: str) -> str:
    """`the lid's screws`, `the screws of the panel of each door`."""
    return f"the {thing} of {owner}" if " of " in owner or owner.endswith("s") else f"{owner}'s {thing}"
