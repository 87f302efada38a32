"""Whether values can be what their name says, and in which unit: for proposals, which a person accepts."""

from collections.abc import Sequence
from typing import NamedTuple

from ingest import quantities
from ingest.quantities import FAHRENHEIT, KELVIN, RATIO

# Where wood is stored, worked and lived with: outside of it a unit is doubted, not a value refused.
USUAL_LOW_C, USUAL_HIGH_C = -25.0, 45.0


class UnitGuess(NamedTuple):
    """The unit to fix (None: what the message or the setting says), how sure, and a sentence."""

    unit: str | None
    weight: float
    why: str


def judge_temperature(values: Sequence[float], written: str | None, named: str | None) -> UnitGuess | None:
    """Judge the values of a field named like a temperature; None when they can be none.

    Parameters
    ----------
    written : str or None
        The unit the message writes (a unit field's text, or what stands behind the number).
    named : str or None
        C, F or K when the field's name says so.
    """
    low, high = min(values), max(values)
    span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    if written:
        try:
            unit = quantities.temperature_unit("", written)
        except quantities.BadPayload:
            return None
        if unit is not None:
            return _fits(
                low, high, unit, f"{span}, and the message writes {quantities.shown(written)}", fix=False
            )
    if named:
        return _fits(low, high, named, f"{span}, and the name says {_degree(named)}", fix=True)
    if low >= USUAL_LOW_C and high <= USUAL_HIGH_C:
        return UnitGuess(
            None, 0.95, f"{span} lies in the range of a room in °C; no unit is written, so the setting holds"
        )
    # Hotter than any room in °C: the person who accepts is told which unit would make it one.
    if _usual(low, high, FAHRENHEIT):
        return UnitGuess(
            FAHRENHEIT, 0.6, f"{span} would be hot in °C and is a room's in °F: check before accepting"
        )
    if _usual(low, high, KELVIN):
        return UnitGuess(KELVIN, 0.6, f"{span} can't be °C and is a room's in K: check before accepting")
    if low >= quantities.TEMPERATURE_LOW_C and high <= quantities.TEMPERATURE_HIGH_C:
        return UnitGuess(None, 0.5, f"{span} is unusual for the air of a room: check before accepting")
    return None


def judge_rh(values: Sequence[float], written: str | None) -> UnitGuess | None:
    """Judge the values of a field named like a humidity; None when they can be none."""
    low, high = min(values), max(values)
    span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    if written:
        try:
            unit = quantities.rh_unit("", written)
        except quantities.BadPayload:
            return None
        if unit is not None:
            factor = 100.0 if unit == RATIO else 1.0
            if low * factor >= quantities.RH_LEAST_PCT and high * factor <= 100.0:
                return UnitGuess(unit, 1.0, f"{span}, and the message writes {quantities.shown(written)}")
            return None
    if low >= quantities.RH_LEAST_PCT and high <= 100.0:
        return UnitGuess(None, 0.95, f"{span} lies in 1 to 100 %")
    if low >= 0.01 and high < 1.0:
        return UnitGuess(
            RATIO, 0.6, f"{span} is no percentage that air has, and could be a ratio: check before accepting"
        )
    return None


def _usual(low: float, high: float, unit: str) -> bool:
    return quantities.celsius(low, unit) >= USUAL_LOW_C and quantities.celsius(high, unit) <= USUAL_HIGH_C


def _fits(low: float, high: float, unit: str, why: str, fix: bool) -> UnitGuess | None:
    if quantities.celsius(low, unit) < quantities.TEMPERATURE_LOW_C:
        return None
    if quantities.celsius(high, unit) > quantities.TEMPERATURE_HIGH_C:
        return None
    return UnitGuess(unit if fix else None, 1.0, why)


def _degree(unit: str) -> str:
    return "K" if unit == KELVIN else f"°{unit}"
