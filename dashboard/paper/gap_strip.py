"""A gap strip: lettered bars of true width to hold across a gap, and a rule that proves the scale.

Held with its cut edge across a gap or a line, it is slid along until one bar carries the gap on exactly; the
letter comes back to the maker as a measurement.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dashboard.paper.page import FIGURES, INK
from model.wood.errors import BadInput
from model.wood.units import MM_PER_INCH
from model.words.display import Units

if TYPE_CHECKING:
    from dashboard.paper.pdf import Paper

LETTERS = "ABCDEFGHJKLM"
"""Without I, which reads as a one."""
SIXTY_FOURTHS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16)
TENTHS_MM = (3, 5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 60)
BAR_MM, PITCH_MM, NAMES_MM = 8.0, 10.5, 42.0
HEIGHT_MM, ROW_MM, FOOT_MM = 19.0, 4.6, 10.0
RULE_MM = {"metric": 100.0, "inch": 4.0 * MM_PER_INCH}


def step_widths_mm(units: Units) -> tuple[float, ...]:
    """Widths of the bars in the order of their letters [mm]."""
    if units == "inch":
        return tuple(n * MM_PER_INCH / 64.0 for n in SIXTY_FOURTHS)
    return tuple(n / 10.0 for n in TENTHS_MM)


@dataclass(frozen=True)
class StripReading:
    """A letter read off a strip, as a gap and its ± to the 10th and 90th percentile [mm]."""

    gap_mm: float
    uncertainty_mm: float


def read_letter(letter: str, units: Units) -> StripReading:
    """The gap that a client's letter means.

    Parameters
    ----------
    letter : str
        A to M without I, any case.
    units : 'inch' or 'metric'
        Of the sheet the strip was cut from.

    Raises
    ------
    BadInput
        For a letter no bar has.
    """
    plain = letter.strip().upper()
    if len(plain) != 1 or plain not in LETTERS:
        raise BadInput("gap strip", "letter", f"must be one of {', '.join(LETTERS)}", letter)
    widths = step_widths_mm(units)
    at = LETTERS.index(plain)
    lower = (widths[at] - widths[at - 1]) / 2.0 if at else widths[0] / 2.0
    upper = (widths[at + 1] - widths[at]) / 2.0 if at + 1 < len(widths) else lower
    # Whatever lies nearest to this bar is equally likely: eight tenths of an even spread.
    return StripReading(widths[at], 0.4 * (lower + upper))


def letter_for(gap_mm: float, units: Units) -> str:
    """The letter whose bar is nearest to a gap; a dash below half the first bar, a plus beyond the last."""
    widths = step_widths_mm(units)
    if gap_mm < widths[0] / 2.0:
        return "–"
    if gap_mm > widths[-1] + (widths[-1] - widths[-2]) / 2.0:
        return "+"
    nearest = min(range(len(widths)), key=lambda at: (abs(widths[at] - gap_mm), at))
    return LETTERS[nearest]


@dataclass(frozen=True)
class Marked:
    """A gap of the piece, with its size in the dry and in the damp season [mm]."""

    name: str
    dry_mm: float
    damp_mm: float


def strip_height_mm(marks: int) -> float:
    """How tall the strip is with so many gaps marked on it, its rule included [mm]."""
    return HEIGHT_MM + marks * ROW_MM + FOOT_MM


def bar_left_mm(x: float, at: int, width_mm: float) -> float:
    """Left edge of a bar on a strip that begins at x [mm]."""
    return x + NAMES_MM + (at + 1) * PITCH_MM - width_mm / 2.0


def draw_strip(
    paper: "Paper", x: float, y: float, marks: Sequence[Marked], units: Units, dry: str, damp: str
) -> float:
    """Draw the strip with its top edge, the one that is held across a gap, at y; returns the y below it.

    Parameters
    ----------
    paper : Paper
    x, y : float
        Top left corner [mm].
    marks : sequence of Marked
        Gaps to mark, at most three.
    units : 'inch' or 'metric'
    dry, damp : str
        What the two seasons are called.
    """
    widths = step_widths_mm(units)
    right = x + NAMES_MM + (len(widths) + 1) * PITCH_MM
    below = y + HEIGHT_MM + len(marks) * ROW_MM
    paper.set_fill_color(0, 0, 0)
    for at, width in enumerate(widths):
        paper.rect(bar_left_mm(x, at, width), y, width, BAR_MM, style="F")
    paper.set_fill_color(*INK)
    for at, letter in enumerate(LETTERS):
        middle = x + NAMES_MM + (at + 1) * PITCH_MM
        paper.line_of(middle, y + BAR_MM + 5.0, letter, 12.0, FIGURES, "B", "middle")
    _legend(paper, x + 2.0, y, dry, damp, bool(marks))
    line = y + HEIGHT_MM - 0.6
    if marks:
        paper.hairline(y + 15.0, x + 2.0, right - 2.0)
    for marked in marks:
        paper.line_of(x + 2.0, line, marked.name, 9.5)
        dry_at, damp_at = (_column(size, units) for size in (marked.dry_mm, marked.damp_mm))
        # Two seasons at one letter stand side by side.
        aside = 1.6 if dry_at == damp_at else 0.0
        left = x + NAMES_MM
        _triangle(paper, left + dry_at * PITCH_MM - aside, line, filled=True)
        _triangle(paper, left + damp_at * PITCH_MM + aside, line, filled=False)
        line += ROW_MM
    paper.set_dash_pattern(1.2, 1.0)
    paper.set_line_width(0.25)
    paper.rect(x, y, right - x, below - y)
    paper.set_dash_pattern()
    paper.set_line_width(0.2)
    _rule(paper, x, below + 3.0, units)
    return below + FOOT_MM


def _legend(paper: "Paper", x: float, y: float, dry: str, damp: str, wanted: bool) -> None:
    paper.line_of(x, y + 4.0, "Gap strip", 11.0, "words", "B")
    if not wanted:
        return
    for row, (words, filled) in enumerate(((f"in {dry}", True), (f"in {damp}", False))):
        base = y + 8.6 + row * 4.2
        _triangle(paper, x + 1.4, base, filled)
        paper.line_of(x + 4.4, base, words, 9.5)


def _triangle(paper: "Paper", x: float, base: float, filled: bool) -> None:
    """A mark that stands on a baseline: full for the dry season, open for the damp."""
    points = [(x - 1.2, base), (x + 1.2, base), (x, base - 2.4)]
    paper.set_line_width(0.3)
    paper.polygon(points, style="DF" if filled else "D")
    paper.set_line_width(0.2)


def _column(gap_mm: float, units: Units) -> float:
    """Where along the strip a gap belongs, in pitches: at its letter, before the first or beyond the last."""
    letter = letter_for(gap_mm, units)
    if letter == "–":
        return 0.0
    return len(LETTERS) + 0.6 if letter == "+" else LETTERS.index(letter) + 1.0


def _rule(paper: "Paper", x: float, y: float, units: Units) -> None:
    """A rule whose ink is exactly as long as it says: its first and last ticks lie within it."""
    length, thin = RULE_MM[units], 0.2
    paper.rect(x, y - 0.15, length, 0.3, style="F")
    parts, long_every = (100, 10) if units == "metric" else (64, 16)
    for part in range(parts + 1):
        tick = 3.0 if part % long_every == 0 else (2.0 if part % (long_every // 2) == 0 else 1.2)
        at = min(max(x + length * part / parts - thin / 2.0, x), x + length - thin)
        paper.rect(at, y, thin, tick, style="F")
    said = "100 mm" if units == "metric" else "4 in"
    paper.line_of(x + length + 3.0, y + 1.6, f"This rule is {said} long. If yours is", 9.5)
    paper.line_of(x + length + 3.0, y + 5.6, "not, print again at 100 %.", 9.5)
