"""What to cut for a piece: each part once, with how many are alike, its three widths, the wood it takes."""

from dataclasses import dataclass

from model.wood.design.cutting import cut_advice
from model.wood.design.gap_table import GapRow, gap_table
from model.wood.design.setting_out import INCH_STEPS, Increments
from model.wood.design.stock import CUBIC_M_PER_BOARD_FOOT, cubic_metres
from model.wood.doubt import start_doubt_pct
from model.wood.fits.front_in_opening import FrontInOpening
from model.wood.piece import Piece


@dataclass(frozen=True)
class CutRow:
    """One part to cut [mm]; the three widths are None where no fit asks for one, or none will do all year."""

    name: str
    role: str
    alike: int
    species: str
    width_mm: float
    length_mm: float
    thickness_mm: float
    width_least_mm: float | None
    width_best_mm: float | None
    width_most_mm: float | None

    @property
    def volume_m3(self) -> float:
        """Of all that are alike, as cut."""
        return cubic_metres(self.thickness_mm, self.width_mm, self.length_mm, self.alike)


def cut_list(
    piece: Piece, home_mc_pct: tuple[float, float], steps: Increments = INCH_STEPS
) -> tuple[CutRow, ...]:
    """The parts of a piece whose length is known, with today's widths for its home.

    Parameters
    ----------
    piece : Piece
    home_mc_pct : (float, float)
        Dry and wet end of the home's year [%].
    steps : Increments
        What widths are rounded to.
    """
    widths: dict[str, tuple[float | None, float | None, float | None]] = {}
    for name, fit in piece.fits.items():
        stock = max(member.mc_pct for member in fit.members)
        advice = cut_advice(piece, name, stock, home_mc_pct, steps=steps)
        least, most = advice.width_least_mm, advice.width_most_mm
        if advice.width_best_mm is None or least is None or most is None or least > most:
            continue
        best = advice.width_best_rounded_mm or advice.width_best_mm
        widths.setdefault(advice.member, (least, best, most))
    return tuple(
        CutRow(
            name,
            member.role or name,
            member.alike,
            member.species.name,
            member.width_mm,
            member.length_mm,
            member.thickness_mm,
            *widths.get(name, (None, None, None)),
        )
        for name, member in piece.members.items()
        if member.length_mm is not None
    )


def board_feet_in_all(rows: tuple[CutRow, ...]) -> float:
    """Solid wood in all, as cut, without waste [board feet]."""
    return sum(row.volume_m3 for row in rows) / CUBIC_M_PER_BOARD_FOOT


def litres_in_all(rows: tuple[CutRow, ...]) -> float:
    """The same [l]."""
    return sum(row.volume_m3 for row in rows) * 1000.0


def drawer_gaps(
    piece: Piece, home_mc_pct: tuple[float, float], steps: Increments = INCH_STEPS
) -> tuple[GapRow, ...]:
    """The gap above each slab drawer front by the month it is fitted, by opening; none without such fronts.

    How far the wood's moisture may be out counts as in the fronts' own gaps.
    """
    found: list[GapRow] = []
    for fit in piece.fits.values():
        if isinstance(fit, FrontInOpening) and fit.construction == "slab" and fit.opening_size_mm is not None:
            (front, *_) = fit.members
            heights_mm, doubt_pct = [fit.opening_size_mm], start_doubt_pct(front)
            found += gap_table(front.movement, heights_mm, home_mc_pct, steps=steps, doubt_pct=doubt_pct)
    return tuple(found)
