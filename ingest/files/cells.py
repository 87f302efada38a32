"""Keeps a spreadsheet from taking a name in a CSV file for a formula."""

import re

FORMULA = re.compile(r"'*[=+\-@\t\r]")
"""How a text begins that a spreadsheet computes (OWASP, CSV injection), or that was made harmless before."""


def harmless(text: str) -> str:
    """A text as it is written: one that begins like a formula stands behind an apostrophe."""
    return f"'{text}" if FORMULA.match(text) else text


def as_meant(cell: str) -> str:
    """A text as it is read: without the apostrophe that `harmless` put before it."""
    return cell[1:] if cell.startswith("'") and FORMULA.match(cell) else cell
