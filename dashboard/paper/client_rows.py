"""What a client sees of a piece's movement through the year, fit by fit, with sizes.

Sizes are those of the piece's own members at the dry and the wet end of its home's year; gaps that open are
rounded up and gaps that close down, so that what is called normal covers what comes.
"""

from dataclasses import dataclass

from model.answers.annual_range import HomeYear
from model.wood.doubt import as_measured, margin_doubts
from model.wood.fits import Fit
from model.wood.piece import Piece
from model.words.display import Display
from model.words.reasons import clause


@dataclass(frozen=True)
class SeenRow:
    """What is normal at one place of a piece.

    `gap_mm` are its sizes in the dry and in the damp season where it is a gap or a line that a strip can
    measure, else none. `swing_mm` is how much it changes over the year, `doubt_mm` how far the sizes may be
    out, either way.
    """

    fit: str
    what: str
    dry: str
    damp: str
    swing_mm: float
    gap_mm: tuple[float, float] | None = None
    doubt_mm: float = 0.0


def seen_rows(piece: Piece, year: HomeYear, display: Display, most: int = 5) -> tuple[SeenRow, ...]:
    """What a client may see of each fit, gaps first, then by how much they change."""
    found = []
    for fit in piece.fits.values():
        row = seen_of(fit, year, display)
        if row is not None:
            found.append(row)
    found.sort(key=lambda row: (row.gap_mm is None, -row.swing_mm))
    return tuple(found[:most])


def seen_of(fit: Fit, year: HomeYear, display: Display) -> SeenRow | None:
    """What a client may see of one fit; none of a fit that works out of sight."""
    seen = fit.seen(year.mc_low_pct, year.mc_high_pct)
    if seen is None:
        return None
    what = ", ".join(filter(None, (fit.called, seen.where)))
    dry, damp = clause(seen.dry, display), clause(seen.damp, display)
    ends = (year.mc_low_pct, year.mc_high_pct)
    doubts = [margin_doubts(fit, {m.name: as_measured(m, mc[m.name]) for m in fit.members}) for mc in ends]
    doubt_mm = max(doubt.total for end in doubts for doubt in end.values())
    return SeenRow(fit.name, what, dry, damp, seen.swing_mm, seen.gap_mm, doubt_mm)
