"""What a pin meter set for one wood says of another: both by the resistance that the meter measures.

A pin meter measures the resistance between its pins, and shows the moisture content at which the wood it is
set for has as much. Another wood has as much at another moisture content.

References
----------
.. [1] W. L. James, "Electric moisture meters for wood", General Technical Report FPL-GTR-6, Forest Products
       Laboratory, 1988, table 1: resistance by species and moisture content. The rows here are from memory,
       unverified.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from model.wood.material.species_tables import rows

MOISTURES_PCT = (7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0)
TABLE_C = 27.0
"""Of the wood, where the table's resistances were measured [1]_."""
LEAST_DOUBT_PCT = 0.5
"""Of a correction by rows from memory, unverified; half of the correction where that is more (assumed)."""


@cache
def _resistances() -> dict[str, tuple[float, ...]]:
    """Logarithm of the resistance at `MOISTURES_PCT` by wood, falling."""
    return {
        row["common_name"]: tuple(float(np.log(float(row[f"{mc_pct:g}"]))) for mc_pct in MOISTURES_PCT)
        for row in rows("meter_resistance_remembered")
    }


def moisture_in(wood: str, set_for: str, reading_pct: float) -> float | None:
    """Moisture content of a wood at what a pin meter set for another shows [%].

    None where either wood isn't in the table, or either moisture content is outside its 7 to 14 %.

    Parameters
    ----------
    wood, set_for : str
        By the names of `find_species`.
    reading_pct : float
        At the meter's neutral temperature [%].

    Examples
    --------
    >>> round(moisture_in("sugar maple", "Douglas-fir (coast)", 8.0), 2)
    8.72
    """
    found = _resistances()
    if wood == set_for or wood not in found or set_for not in found:
        return reading_pct if wood == set_for else None
    if not MOISTURES_PCT[0] <= reading_pct <= MOISTURES_PCT[-1]:
        return None
    at = float(np.interp(reading_pct, MOISTURES_PCT, found[set_for]))
    if not found[wood][-1] <= at <= found[wood][0]:
        return None
    return float(np.interp(at, found[wood][::-1], MOISTURES_PCT[::-1]))


def has_resistance(wood: str) -> bool:
    """Whether the resistance of a wood is known, by the name of `find_species`."""
    return wood in _resistances()


def moisture_at(wood: str, resistance_ohm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Moisture content of a wood at resistances between needle electrodes, at `TABLE_C`, as printed [%].

    NaN outside 7 to 14 %.

    Examples
    --------
    >>> moisture_at("black walnut", np.array([890e6, 4e6])).round(2)
    array([10., nan])
    """
    row = _resistances()[wood]
    at = np.log(np.maximum(resistance_ohm, 1.0) / 1e6)
    return np.interp(at, row[::-1], MOISTURES_PCT[::-1], np.nan, np.nan)
