"""Judges whether values can be what their name says, and in which unit; a person accepts the proposal."""

from collections.abc import Iterable
from typing import NamedTuple

from ingest.payload import quantities
from ingest.payload.quantities import FAHRENHEIT, KELVIN, RATIO, BadPayload, celsius, shown

# Where wood is stored, worked and lived with: outside of it a unit is doubted, not a value refused.
USUAL_LOW_C, USUAL_HIGH_C = -25.0, 45.0


class UnitGuess(NamedTuple):
    """The unit to fix (None: what the message or the setting says), how sure, and a sentence."""

    unit: str | None
    weight: float
    why: str


def judge(
    quantity: str, raws: Iterable[object], written: str | None = None, named: str | None = None
) -> UnitGuess | None:
    """Judge the values of a field named like a quantity; None when they can be none.

    Parameters
    ----------
    quantity : str
        `temperature`, `rh` or `battery`.
    raws : iterable
        As decoded; those that are missing say nothing.
    written : str, optional
        The unit the message writes in a field of its own; one behind a number goes before it.
    named : str, optional
        C, F or K when the field's name says so.

    Examples
    --------
    >>> judge("temperature", [70.2]).unit, judge("temperature", ["70.2 °F"]).unit
    ('F', None)
    >>> judge("rh", ["45 %"]).weight, judge("rh", ["on"])
    (1.0, None)
    """
    if quantity == "battery":
        # Up to 5 it is as likely volts, a flag or a ratio; a charge that low shows itself another day.
        charges = [charge for charge in map(quantities.battery_or_none, raws) if charge is not None]
        is_charge = charges and not any(0 < charge <= 5 for charge in charges)
        return UnitGuess(None, 1.0, "a battery's charge goes with its sensor") if is_charge else None
    values: list[float] = []
    behind = ""
    unit_of = quantities.rh_unit if quantity == "rh" else quantities.temperature_unit
    try:
        for raw in raws:
            value, unit = quantities.number_and_unit(raw)
            if value is not None:
                values.append(value)
                behind = behind or unit
        if not values:
            return UnitGuess(None, 0.5, "no value has come yet")
        written = behind or written
        told = unit_of(written)
    except BadPayload:
        return None
    low, high = min(values), max(values)
    span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    source = f"the message gives the unit {shown(written)}"
    if quantity == "rh":
        return _rh(low, high, span, told, source)
    if told is None and named:
        told, source = named, f"the name says {'K' if named == KELVIN else f'°{named}'}"
        return _fits(low, high, told, UnitGuess(named, 1.0, f"{span}, and {source}"))
    if told is not None:
        return _fits(low, high, told, UnitGuess(None, 1.0, f"{span}, and {source}"))
    return _temperature(low, high, span)


def fixed_unit(quantity: str, guess: UnitGuess) -> dict[str, str]:
    """What a reading fixes of a quantity's unit: no entry where the message or the setting says it."""
    if quantity == "temperature" and guess.unit is not None:
        return {"temperature_unit": guess.unit}
    return {"rh_unit": RATIO} if quantity == "rh" and guess.unit == RATIO else {}


def _temperature(low: float, high: float, span: str) -> UnitGuess | None:
    """Judge temperatures without a unit, by the range of a room."""
    if low >= USUAL_LOW_C and high <= USUAL_HIGH_C:
        why = f"{span} fits a room in °C; no unit is given, so the sensor's setting counts"
        return UnitGuess(None, 0.95, why)
    # Hotter than any room in °C: the person who accepts is told which unit would make it one.
    for unit, why in (
        (FAHRENHEIT, "would be hot in °C but fits a room in °F"),
        (KELVIN, "can't be °C but fits a room in K"),
    ):
        if celsius(low, unit) >= USUAL_LOW_C and celsius(high, unit) <= USUAL_HIGH_C:
            return UnitGuess(unit, 0.6, f"{span} {why}; check before accepting")
    unusual = UnitGuess(None, 0.5, f"{span} is unusual for a room; check before accepting")
    return _fits(low, high, quantities.CELSIUS, unusual)


def _fits(low: float, high: float, unit: str, guess: UnitGuess) -> UnitGuess | None:
    """The guess, if an air sensor can have measured these."""
    fits = (
        celsius(low, unit) >= quantities.TEMPERATURE_LOW_C
        and celsius(high, unit) <= quantities.TEMPERATURE_HIGH_C
    )
    return guess if fits else None


def _rh(low: float, high: float, span: str, told: str | None, source: str) -> UnitGuess | None:
    per_unit = 100.0 if told == RATIO else 1.0
    if low * per_unit >= quantities.RH_LEAST_PCT and high * per_unit <= 100.0:
        if told is not None:
            return UnitGuess(told, 1.0, f"{span}, and {source}")
        return UnitGuess(None, 0.95, f"{span} fits a percentage")
    if told is None and low >= 0.01 and high < 1.0:
        why = f"{span} is too low for a percentage and may be a ratio; check before accepting"
        return UnitGuess(RATIO, 0.6, why)
    return None
