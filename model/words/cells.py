"""Tables that spreadsheets open (CSV), in which no text can become a formula."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any

FORMULA = re.compile(r"'*[=+\-@\t\r]")
"""How a text begins that a spreadsheet computes (OWASP, CSV injection), or that was made harmless before."""


def harmless(text: str) -> str:
    """A text as it is written: one that begins like a formula stands behind an apostrophe."""
    return f"'{text}" if FORMULA.match(text) else text


def as_meant(cell: str) -> str:
    """A text as it is read: without the apostrophe that `harmless` put before it."""
    return cell[1:] if cell.startswith("'") and FORMULA.match(cell) else cell


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Rows under their columns; every text is harmless, and None is an empty cell."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([harmless(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)
    return text.getvalue()
