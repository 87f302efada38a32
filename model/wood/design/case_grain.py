"""Grain direction round a case: whether its sides move together, and what is needed where they do not."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from model.wood.design.part_request import HomeRange
from model.wood.errors import BadInput
from model.wood.fits.limit import IGNORED_WIDTH_MM, INCH
from model.wood.material.movement import movement_of, width_at
from model.wood.material.species import Species
from model.wood.reason import Reason


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
    reasons : tuple of Reason
    """

    together: bool
    step_mm: float
    held_mm: float
    needs_frame: bool
    reasons: tuple[Reason, ...]


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
    sizes = {"held_mm": held, "step_mm": step}
    if crossed:
        reasons: tuple[Reason, ...] = (Reason("grain-held" if wide else "grain-held-little", sizes),)
    elif step > INCH / 64.0:
        reasons = (Reason("grain-steps", sizes),)
    else:
        reasons = (Reason("grain-together"), *_mouldings(sides))
    return CaseGrain(not crossed, step, held, wide, reasons)


def _mouldings(sides: Sequence[CaseSide]) -> tuple[Reason, ...]:
    """How mouldings are fixed to a case whose grain runs all round, by how its sides stand."""
    stands = {side.stands for side in sides} - {"not known"}
    if stands == {"level"}:
        return (Reason("mouldings-level"),)
    if stands == {"upright"}:
        return (Reason("mouldings-upright"),)
    return Reason("mouldings-upright"), Reason("mouldings-chest")
