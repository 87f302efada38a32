"""The report of an import: lines taken, known already and rejected."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from ingest.files.columns import ColumnGuess

REJECTED_KEPT = 10_000


class FirstRow(NamedTuple):
    """A row of a file as it was understood."""

    sensor: str
    observed_at: datetime
    temperature_c: float | None
    rh_pct: float | None


@dataclass
class ImportReport:
    """What became of a file.

    Attributes
    ----------
    guess : ColumnGuess
        How its columns were taken.
    accepted : int
        Readings that are new, or filled what was missing in one.
    duplicate : int
        Readings that were there already.
    rejected : list of (int, str)
        Line number (the first line is 1) and reason; the first ten thousand.
    rejected_count : int
    wet : int
        Lines of which only the temperature counts: their humidity is a little above 100 %.
    lines : int
        Lines read, the header's among them; pass it as `from_line` less one to go on with a file that grew.
    sensors : Counter
        Readings by sensor.
    created : list of str
        Sensors that the file made.
    first : list of FirstRow
        Its first rows as they were understood.
    nowhere : dict of str to (int, str or None, datetime or None)
        By sensor, how many readings on record belong to no place, for they came before it was hung anywhere;
        and where it was hung first, since when.
    hung : dict of str to (str, datetime)
        By sensor, the place it hangs at for this file, and since when.
    notes : list of str
        What else should be known, in sentences.
    """

    guess: ColumnGuess
    accepted: int = 0
    duplicate: int = 0
    rejected: list[tuple[int, str]] = field(default_factory=list)
    rejected_count: int = 0
    wet: int = 0
    lines: int = 0
    sensors: Counter[str] = field(default_factory=Counter)
    created: list[str] = field(default_factory=list)
    first: list[FirstRow] = field(default_factory=list)
    nowhere: dict[str, tuple[int, str | None, datetime | None]] = field(default_factory=dict)
    hung: dict[str, tuple[str, datetime]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def refuse(self, line: int, reason: str) -> None:
        """Count a line that is no reading, and keep why."""
        self.rejected_count += 1
        if len(self.rejected) < REJECTED_KEPT:
            self.rejected.append((line, reason))
