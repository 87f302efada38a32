"""Grain direction round a case: whether its sides move together, and what is needed where they do not."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from model.wood.errors import BadInput
from model.wood.fits.base import IGNORED_WIDTH_MM, INCH
from model.wood.movement import movement_of, width_at
from model.wood.setting_out import both_units
from model.wood.species import Species
from model.wood.wanted import HomeRange


@dataclass(frozen=True)
class CaseSide:
    """One side of a case as its grain lies: round the case, or across it (along the case's depth).

    `stands` says how the grain of the upright sides runs: upright as in a cupboard, level as in a chest.
    """

    name: str
    species: Species
    ring_angle_deg: float
    depth_mm: float
    grain: Literal["round", "across"] = "round"
    stands: Literal["upright", "level", "not known"] = "not known"


@dataclass(frozen=True)
class CaseGrain:
    """Whether the sides of a case move together, and what is needed where they don't.

    Attributes
    ----------
    together : bool
        No corner holds anything back.
    step_mm : float
        Greatest step that comes and goes at the front edge of a corner over the year.
    held_mm : float
        Movement that a corner of crossed grain would hold back.
    needs_frame : bool
        Crossed over more width than is ignored.
    says : str
    """

    together: bool
    step_mm: float
    held_mm: float
    needs_frame: bool
    says: str


def grain_round_case(sides: Sequence[CaseSide], home: HomeRange, mc_pct: float = 8.0) -> CaseGrain:
    """What grain direction does to a case.

    Sides whose grain runs round the case all grow deeper together and may be joined any way, dovetails and
    all. Where one lies across, its depth stays and its neighbours' changes: up to about 4 in that is ignored
    (common practice, no source), beyond it the wide part needs a frame, or a joint fast only in front.

    Parameters
    ----------
    sides : sequence of CaseSide
        In order round the case, two or more; each meets the next and the last the first.
    home : HomeRange
    mc_pct : float
        Moisture content at which it is built [%].
    """
    if len(sides) < 2:
        raise BadInput("", "sides", "must be two or more", len(sides))

    def movement_mm(side: CaseSide) -> float:
        if side.grain == "across":
            return 0.0
        movement = movement_of(side.species, side.ring_angle_deg)
        dry, wet = (float(width_at(side.depth_mm, mc_pct, mc, movement)) for mc in home.mc_range_pct)
        return wet - dry

    step, held = 0.0, 0.0
    for one, other in zip(sides, [*sides[1:], sides[0]], strict=True):
        apart = abs(movement_mm(one) - movement_mm(other))
        if one.grain == other.grain:
            step = max(step, apart)
        elif max(one.depth_mm, other.depth_mm) > 0.0:
            held = max(held, apart)
    crossed = {side.grain for side in sides} == {"round", "across"}
    wide = crossed and max(side.depth_mm for side in sides) > IGNORED_WIDTH_MM
    if crossed and wide:
        says = (
            f"Grain crosses at a corner: one side would move {both_units(held)} over the year and its "
            "neighbour holds it. Turn the grain to run all round, make the wide part a frame and panel, or "
            "fix it fast in front only and let the rest slide."
        )
    elif crossed:
        says = f"Grain crosses at a corner, but over so little width ({both_units(held)}) that it is ignored."
    elif step > INCH / 64.0:
        says = (
            f"All round, but not alike: a step of up to {both_units(step)} comes and goes at a corner's "
            "front edge. Use the same wood and cut all round, or leave a reveal there."
        )
    else:
        says = f"Grain runs all round and moves together: join it any way. {_mouldings(sides)}"
    return CaseGrain(not crossed, step, held, wide, says)


WITH_THE_GRAIN = "mouldings run with the grain: glue them all along"
ACROSS_THE_GRAIN = (
    "a moulding along a side crosses its grain, and glued all along it splits the side: glue the mitre and "
    "the first few inches in front, and slot or key the rest"
)


def _mouldings(sides: Sequence[CaseSide]) -> str:
    """How mouldings are fixed to a case whose grain runs all round, by how its sides stand."""
    stands = {side.stands for side in sides} - {"not known"}
    if stands == {"level"}:
        return f"On such a box {WITH_THE_GRAIN}."
    if stands == {"upright"}:
        return f"On a standing case {ACROSS_THE_GRAIN}."
    return (
        f"On a standing case, whose sides have their grain upright, {ACROSS_THE_GRAIN}. On a chest, whose "
        f"grain runs level round it, {WITH_THE_GRAIN}."
    )
