"""A bank of drawers: the gap to leave above each front, by its height and the month it is fitted.

The gap runs freely once the front has swelled to the wet end of its home's year. Where nobody metered the
stock, its moisture content is that of a heated northern shop by the month, half a year shifted in the south
(common practice, no source).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from model.wood.design.setting_out import INCH_STEPS, Increments
from model.wood.errors import BadInput
from model.wood.material.movement import Movement, width_at
from model.wood.units import MM_PER_INCH as INCH

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SHOP_MC_PCT = (6.5, 6.5, 6.5, 7.5, 8.5, 10.0, 10.0, 10.0, 10.0, 9.0, 8.0, 7.0)
RUN_MM = INCH / 64.0
"""What a front needs to run freely at the wettest."""
LEAST_MM = INCH / 32.0
WIDEST_MM = INCH / 8.0


@dataclass(frozen=True)
class GapRow:
    """The gaps of one height.

    `gaps_mm` are for January to December, rounded up to the maker's rule; `opens_mm` is how wide each may
    open by the dry end. Wider than an eighth of an inch looks wrong: `looks_right` says which stay below.
    """

    height_mm: float
    gaps_mm: tuple[float, ...]
    opens_mm: tuple[float, ...]

    @property
    def looks_right(self) -> tuple[bool, ...]:
        return tuple(opens <= WIDEST_MM + 1e-9 for opens in self.opens_mm)


def shop_mc_pct(southern: bool = False) -> tuple[float, ...]:
    """Moisture content of stock in a heated shop, January to December [%], assumed."""
    return SHOP_MC_PCT[6:] + SHOP_MC_PCT[:6] if southern else SHOP_MC_PCT


def gap_table(
    movement: Movement,
    heights_mm: Sequence[float],
    range_mc_pct: tuple[float, float],
    southern: bool = False,
    steps: Increments = INCH_STEPS,
    doubt_pct: float = 0.0,
) -> tuple[GapRow, ...]:
    """The gap above a front of each height, fitted in each month.

    Parameters
    ----------
    movement : Movement
        Of the fronts' wood and cut.
    heights_mm : sequence of float
        Heights of the openings [mm], 20 to 600.
    range_mc_pct : (float, float)
        Dry and wet end of the home's year [%].
    southern : bool
        Whether the shop lies south of the equator.
    steps : Increments
    doubt_pct : float
        How far the month's moisture content may be out [points]; it widens a gap only while that looks right.

    Raises
    ------
    BadInput
        For a height outside its range, or none.
    """
    if not heights_mm:
        raise BadInput("", "height", "must be given, one or more", "none")
    dry_pct, wet_pct = range_mc_pct
    rows = []
    for height in heights_mm:
        if not 20.0 <= height <= 600.0:
            raise BadInput("", "height", "must lie in 20 to 600 mm", height)
        gaps, opens = [], []
        for mc_pct in shop_mc_pct(southern):
            swells = max(float(width_at(height, mc_pct, wet_pct, movement)) - height, 0.0)
            shrinks = max(height - float(width_at(height, mc_pct, dry_pct, movement)), 0.0)
            gap = steps.gap_up(max(RUN_MM + swells, LEAST_MM))
            if doubt_pct:
                driest = float(width_at(height, mc_pct - doubt_pct, wet_pct, movement)) - height
                gap = max(gap, min(steps.gap_up(RUN_MM + driest), steps.gap_down(WIDEST_MM - shrinks)))
            gaps.append(gap)
            opens.append(gap + shrinks)
        rows.append(GapRow(height, tuple(gaps), tuple(opens)))
    return tuple(rows)
