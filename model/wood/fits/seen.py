"""What a client sees of a fit at the dry and the damp end of a year."""

from dataclasses import dataclass

from model.wood.reason import Reason

NOTHING_MM = 0.2
"""Less than this nobody sees."""


@dataclass(frozen=True)
class Seen:
    """One place of a piece through the year, dry and damp.

    `where` says which side of the fit it is, if that needs saying. `swing_mm` is how much it changes over the
    year. `gap_mm` are its sizes in the dry and in the damp season where it is a gap or a line that a strip
    can measure, else None.
    """

    dry: Reason
    damp: Reason
    swing_mm: float
    gap_mm: tuple[float, float] | None = None
    where: str = ""


def seen_gap(dry_mm: float, damp_mm: float, least_mm: float = 0.0, where: str = "") -> Seen:
    """A gap that closes toward one end of the year; below `least_mm` it no longer runs freely."""

    def one(gap_mm: float, widest: bool) -> Reason:
        if gap_mm <= 0.0:
            return Reason("seen-sticks")
        if gap_mm < 2.0 * least_mm and not widest:
            return Reason("seen-snug")
        return Reason("seen-gap", {"how": "most" if widest else "", "gap_mm": gap_mm})

    return Seen(
        one(dry_mm, dry_mm >= damp_mm),
        one(damp_mm, damp_mm > dry_mm),
        abs(dry_mm - damp_mm),
        (max(dry_mm, 0.0), max(damp_mm, 0.0)),
        where,
    )


def seen_change(dry_mm: float, damp_mm: float, key: str, where: str = "") -> Seen:
    """Something that moves one way or the other; the reason of this key says `more`, `less` or neither."""

    def one(change_mm: float) -> Reason:
        if abs(change_mm) < NOTHING_MM:
            return Reason(key)
        return Reason(key, {"how": "more" if change_mm > 0.0 else "less", "change_mm": abs(change_mm)})

    return Seen(one(dry_mm), one(damp_mm), abs(damp_mm - dry_mm), where=where)
