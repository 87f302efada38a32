"""What a client sees of a fit at the dry and the damp end of a year; lengths stay numbers [mm]."""

from collections.abc import Callable
from dataclasses import dataclass

from model.wood.design.setting_out import LENGTH, Spoken, spoken

NOTHING_MM = 0.2
"""Less than this nobody sees."""


@dataclass(frozen=True)
class Seen:
    """One place of a piece through the year, in a client's words.

    `where` says which side of the fit it is, if that needs saying. `swing_mm` is how much it changes over the
    year. `gap_mm` are its sizes in the dry and in the damp season where it is a gap or a line that a strip
    can measure, else None.
    """

    dry: Spoken
    damp: Spoken
    swing_mm: float
    gap_mm: tuple[float, float] | None = None
    where: str = ""


def seen_gap(dry_mm: float, damp_mm: float, least_mm: float = 0.0, where: str = "") -> Seen:
    """A gap that closes toward one end of the year; below `least_mm` it no longer runs freely."""

    def told(gap_mm: float, widest: bool) -> Spoken:
        if gap_mm <= 0.0:
            return ["it sticks: wait, wax it, do not plane it"]
        if gap_mm < 2.0 * least_mm and not widest:
            return ["snug, a gap of a hair"]
        return spoken(f"a gap of {'up to' if widest else 'about'} {LENGTH}", gap_mm)

    return Seen(
        told(dry_mm, dry_mm >= damp_mm),
        told(damp_mm, damp_mm > dry_mm),
        abs(dry_mm - damp_mm),
        (max(dry_mm, 0.0), max(damp_mm, 0.0)),
        where,
    )


def seen_change(
    dry_mm: float, damp_mm: float, unchanged: str, told: Callable[[bool], str], where: str = ""
) -> Seen:
    """Something that moves one way or the other; `told(more)` says it, with a `LENGTH` for how far."""

    def one(change_mm: float) -> Spoken:
        if abs(change_mm) < NOTHING_MM:
            return [unchanged]
        return spoken(told(change_mm > 0.0), abs(change_mm))

    return Seen(one(dry_mm), one(damp_mm), abs(damp_mm - dry_mm), where=where)
