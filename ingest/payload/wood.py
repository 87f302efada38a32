"""Reads the bytes of a message of a sensor on wood: one quantity, brought to g, %, ohms or mm."""

from collections.abc import Container
from datetime import datetime
from functools import lru_cache
from typing import Final

from ingest.payload import quantities
from ingest.payload.bodies import document_of, text_of
from ingest.payload.decode import NothingThere, Reader, value_at
from ingest.payload.quantities import BadPayload
from ingest.payload.shapes import Observed, PayloadReading

FIELDS: Final = {
    "weight": "mass_g",
    "moisture": "mc_pct",
    "resistance": "resistance_ohm",
    "length": "length_mm",
}
"""What a refusal calls each quantity."""
UNITS: Final[dict[str, dict[str, float]]] = {
    "weight": {"g": 1.0, "kg": 1_000.0, "mg": 0.001, "lb": 453.59237, "oz": 28.349523125},
    "moisture": {"%": 1.0},
    "resistance": {"ohm": 1.0, "kohm": 1e3, "mohm": 1e6, "gohm": 1e9},
    "length": {"mm": 1.0, "cm": 10.0, "m": 1_000.0, "um": 0.001, "in": 25.4},
}
"""By quantity, how many g, %, ohm or mm a unit is (pounds, ounces and inches are exact by definition)."""
_SPELLINGS: Final = {
    **dict.fromkeys(("gram", "grams", "gramm", "gr", "gm"), "g"),
    **dict.fromkeys(("kgs", "kilogram", "kilograms", "kilo"), "kg"),
    **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
    **dict.fromkeys(("ounce", "ounces"), "oz"),
    **dict.fromkeys(("pct", "percent", "%mc", "mc%", "prozent", "percentage"), "%"),
    **dict.fromkeys(("ω", "Ω".lower(), "ohms", "r"), "ohm"),
    **dict.fromkeys(("kω", "kohms", "k"), "kohm"),
    **dict.fromkeys(("mω", "mohms", "megohm", "megohms", "megaohm"), "mohm"),
    **dict.fromkeys(("gω", "gohms", "gigaohm", "gigohm"), "gohm"),
    **dict.fromkeys(("millimeter", "millimetre", "millimeters", "millimetres"), "mm"),
    **dict.fromkeys(("inch", "inches", '"', "″"), "in"),
    **dict.fromkeys(("µm", "μm", "micron", "microns", "micrometer"), "um"),
}
RANGES: Final = {
    "weight": (-100_000.0, 1_000_000.0),
    "moisture": (0.0, 300.0),
    "resistance": (1.0, 1e15),
    "length": (-10_000.0, 10_000.0),
}
"""What such a sensor can say at all [g, %, ohm, mm] (common practice, no source)."""


def unit_of(quantity: str, written: object) -> str | None:
    """The unit that is written, by its own name; None when nothing is written.

    Raises
    ------
    BadPayload
        If it is none of this quantity.

    Examples
    --------
    >>> unit_of("resistance", "MΩ"), unit_of("length", "inches"), unit_of("weight", "")
    ('mohm', 'in', None)
    """
    if written is None or written == "":
        return None
    if isinstance(written, str) and len(written) <= 24:
        text = written.strip().lower()
        text = _SPELLINGS.get(text, text)
        if text in UNITS[quantity]:
            return text
    raise BadPayload(FIELDS[quantity], f"must be in {', '.join(UNITS[quantity])}", written)


def in_si(quantity: str, value: float, unit: str) -> float:
    """A value in g, %, ohm or mm, checked against what such a sensor can say."""
    found = round(value * UNITS[quantity][unit], 6)
    low, high = RANGES[quantity]
    if not low <= found <= high:
        raise BadPayload(FIELDS[quantity], f"must lie in {low:g}..{high:g}", found)
    return found


@lru_cache(maxsize=4096)
def reader_of(reading: PayloadReading, temperature_unit: str = "C", zone: str = "UTC") -> Reader:
    """The compiled form of any reading of a payload, of air or of wood."""
    kind = Reader if reading.wood_quantity is None else WoodReader
    return kind(reading, temperature_unit, zone)


class WoodReader(Reader):
    """Reads the messages of one sensor on wood."""

    def read(
        self,
        topic: str,
        payload: bytes,
        received_at: datetime,
        retained: bool = False,
        parts: Container[str] | None = None,
    ) -> list[Observed]:
        try:
            if self.reading.shape == "number":
                return [self._of(text_of(payload), None, self.reading.part, received_at, retained)]
            document = document_of(payload, self._guarded)
            part = self._part_of(document, parts)
            raw = value_at(document, self._paths["wood"])
            return [self._of(raw, document, part, received_at, retained)]
        except BadPayload as error:
            error.topic = topic
            raise

    def _of(
        self, raw: object, document: object, part: str, received_at: datetime, retained: bool
    ) -> Observed:
        def at(field: str) -> object:
            return value_at(document, self._paths.get(field))

        quantity = str(self.reading.wood_quantity)
        value, written = quantities.number_and_unit(raw, FIELDS[quantity])
        if value is None:
            raise NothingThere(FIELDS[quantity], "is missing or makes no sense", raw)
        unit = unit_of(quantity, written) or unit_of(quantity, at("wood_unit_at")) or self.reading.wood_unit
        if unit is None:
            raise BadPayload(FIELDS[quantity], "must say its unit", raw)
        battery = at("battery")
        battery_pct = None if battery is None else quantities.battery_or_none(battery)
        wood_c = self._temperature_c(at("temperature"), at("temperature_unit_at"))
        observed_at, clock = self._when(at("time"), received_at, retained)
        return Observed(part, observed_at, wood_c, None, battery_pct, clock, in_si(quantity, value, unit))
