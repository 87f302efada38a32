"""Sentences that carry a length in both units, said in the viewer's own."""

import re

from dashboard.display import Display
from model.wood.units import MM_PER_INCH

_BOTH = re.compile(r"(-?\d+(?:\.\d+)?) mm \((-?[\d/-]+) in\)")
_ALONE = re.compile(r"(-?\d+\.\d+) mm\b(?! \()")


def in_units(text: str, display: Display) -> str:
    """A sentence of advice with each of its lengths in the viewer's unit.

    >>> in_units("Cut it 370.68 mm (14-19/32 in) wide.", Display("inch"))
    'Cut it 14-19/32\xa0in wide.'
    >>> in_units("Cut it 370.68 mm (14-19/32 in) wide.", Display("metric"))
    'Cut it 370.7\xa0mm wide.'
    """
    nbsp = "\u00a0"
    if display.units == "inch":
        told = _BOTH.sub(lambda found: f"{found[2]}{nbsp}in", text)
        # Less than a rule can show is said in thousandths, as a feeler gauge is marked.
        return _ALONE.sub(lambda found: f"{float(found[1]) / MM_PER_INCH:.3f}{nbsp}in", told)
    return _BOTH.sub(lambda found: f"{float(found[1]):.1f}{nbsp}mm".replace(f".0{nbsp}", nbsp), text)
