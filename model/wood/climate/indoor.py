"""Indoor air where no sensor hangs, from the air outdoors.

Two kinds of scheme. A *line* gives the humidity of a room by the daily mean temperature outdoors alone
(EN 15026 Annex C, the continental form of ISO 13788, the simplified form of ASHRAE 160). An *excess* takes
the moisture of the outdoor air, adds what people give off, and warms it (ISO 13788 classes, measured
dwellings, a dry house without a humidifier). Lines are design profiles, somewhat damp in a cold winter; a
heated house in a dry cold place is nearer to `dry-unhumidified`.

Standards were not re-read for this: every scheme says in its `source` how it is known.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np

from model.wood.air.psychrometrics import GAS_CONSTANT_OF_VAPOUR, saturation_vapour_pressure, vapour_pressure
from model.wood.errors import BadInput
from model.wood.units import KELVIN_AT_0_C, Floats, Numbers, Range, apply

OUTDOOR_TEMPERATURE = Range("outdoor_temperature_c", -60.0, 60.0, "°C")
OUTDOOR_HUMIDITY = Range("outdoor_rh_pct", 0.0, 100.0, "%")

Points = tuple[tuple[float, float], ...]
"""Value by outdoor temperature [°C], straight between the points and level beyond them."""

EN_15026_ROOM: Points = ((10.0, 20.0), (20.0, 25.0))
LIVED_IN_ROOM: Points = ((-10.0, 21.0), (10.0, 21.0), (20.0, 24.0))
ASHRAE_160_ROOM: Points = ((18.3, 21.1), (21.1, 23.9))

_EN_15026 = (
    "EN 15026:2007 Annex C, break-points read in three public implementations; the standard not re-read"
)
_CONTINENTAL = "EN ISO 13788:2012 Annex A, read in two public copies; the standard not re-read"
_CLASSES = "EN ISO 13788 Annex A, read in three public copies; the standard not re-read"
_DWELLINGS = (
    "Kalamees, Vinha and Kurnitski, J. Building Physics 2006: 101 timber houses of low occupancy, the "
    "excess that one house in ten goes beyond, so rather damp than dry"
)
_ASHRAE = "ASHRAE 160 simplified method, from memory, unverified"
_RECORDED = (
    "a line through the recorded rooms of six lived-in houses of two countries: six points below the "
    "design profile of EN 15026"
)
_BY_DAY = "warm by day, cool by night, with little moisture of its own: common practice, no source"
_UNHEATED = "outdoor air, a degree warmer and hardly damper: common practice, no source"
_DRY = "outdoor moisture warmed, with a small excess; size of the excess is common practice, no source"

_CLASS_EXCESS_PA = {
    1: (270.0, "unoccupied or dry storage"),
    2: (540.0, "dwelling or office, ordinary occupancy, aired"),
    3: (810.0, "occupancy unknown"),
    4: (1080.0, "kitchen, canteen or sports hall"),
    5: (1360.0, "laundry, brewery or pool"),
}
"""Upper limits of the ISO 13788 humidity classes at 0 °C and below, and their use. For class 2 some copies
print 640; 540 agrees with its 4 g/m3. At 20 °C and above some copies leave 100 Pa (class 5: 200); the 2001
edition leaves none, as here."""


class IndoorAir(NamedTuple):
    """Air of a room; floats, or arrays of one shape."""

    temperature_c: Any
    rh_pct: Any


@dataclass(frozen=True)
class IndoorScheme:
    """From outdoor to indoor air.

    Attributes
    ----------
    name, title : str
        As a setting names it, and as people read it.
    source : str
        Where its figures come from, and how they are known.
    room_c : points
        Room temperature [°C] by outdoor temperature.
    humidity_pct : points
        For a line: room humidity [%] by outdoor temperature. Empty for an excess.
    excess_pa, excess_g_m3 : points
        For an excess: vapour pressure [Pa] or water [g/m3] above that outdoors, by outdoor temperature.
    cooled : bool
        Whether the room is kept at `room_c` in hot weather too; if not it is never cooler than outdoors.
    """

    name: str
    title: str
    source: str
    room_c: Points
    humidity_pct: Points = ()
    excess_pa: Points = ()
    excess_g_m3: Points = ()
    cooled: bool = False

    def room_temperature(self, outdoor_c: Floats) -> Floats:
        room = _along(self.room_c, outdoor_c)
        return room if self.cooled else np.maximum(room, outdoor_c)

    def room_humidity(self, outdoor_c: Floats, outdoor_rh: Floats) -> Floats:
        if self.humidity_pct:
            return _along(self.humidity_pct, outdoor_c)
        room = self.room_temperature(outdoor_c)
        pressure = vapour_pressure(outdoor_c, outdoor_rh)
        if self.excess_pa:
            pressure = pressure + _along(self.excess_pa, outdoor_c)
        if self.excess_g_m3:
            grams = _along(self.excess_g_m3, outdoor_c)
            pressure = pressure + grams / 1000.0 * GAS_CONSTANT_OF_VAPOUR * (room + KELVIN_AT_0_C)
        # More than saturated condenses: the room is then at 100 %.
        return np.minimum(100.0 * pressure / saturation_vapour_pressure(room), 100.0)


def _along(points: Points, outdoor_c: Floats) -> Floats:
    at, values = zip(*points, strict=True)
    return np.asarray(np.interp(outdoor_c, at, values), dtype=np.float64)


def _line(
    name: str, title: str, source: str, cold_pct: float, warm_pct: float, room_c: Points = EN_15026_ROOM
) -> IndoorScheme:
    """Humidity in a straight line from -10 to 20 °C outdoors."""
    return IndoorScheme(name, title, source, room_c, ((-10.0, cold_pct), (20.0, warm_pct)), cooled=True)


SCHEMES: Mapping[str, IndoorScheme] = MappingProxyType(
    {
        scheme.name: scheme
        for scheme in (
            _line("en-15026-normal", "House with normal moisture load", _EN_15026, 30.0, 60.0),
            _line("en-15026-high", "House with high moisture load", _EN_15026, 40.0, 70.0),
            # An excess of 1 g/m3 puts 0 °C and 80 % outdoors at 25 % indoors.
            IndoorScheme(
                "dry-unhumidified",
                "Heated house without a humidifier",
                _DRY,
                ((0.0, 21.0),),
                excess_g_m3=((5.0, 1.0), (20.0, 0.0)),
            ),
            IndoorScheme(
                "measured-dwelling",
                "Lived-in house, as measured",
                _DWELLINGS,
                ((0.0, 20.0),),
                excess_g_m3=((5.0, 4.0), (15.0, 1.5)),
            ),
            *(
                IndoorScheme(
                    f"iso-13788-class-{number}",
                    f"Humidity class {number}: {use}",
                    _CLASSES,
                    EN_15026_ROOM,
                    excess_pa=((0.0, excess_pa), (20.0, 0.0)),
                )
                for number, (excess_pa, use) in _CLASS_EXCESS_PA.items()
            ),
            _line(
                "iso-13788-continental-normal",
                "House of normal occupancy, continental climate",
                _CONTINENTAL,
                35.0,
                65.0,
            ),
            _line(
                "iso-13788-continental-high",
                "House of high occupancy, continental climate",
                _CONTINENTAL,
                40.0,
                70.0,
            ),
            _line("ashrae-160", "Design humidity, damp side", _ASHRAE, 40.0, 70.0, ASHRAE_160_ROOM),
            _line("heated-steadily", "Heated house", _RECORDED, 24.0, 53.0, LIVED_IN_ROOM),
            IndoorScheme(
                "heated-by-day",
                "Shop heated by day",
                _BY_DAY,
                ((-10.0, 14.0), (15.0, 19.0)),
                excess_g_m3=((5.0, 0.8), (15.0, 0.3)),
            ),
            IndoorScheme(
                "unheated",
                "Unheated room",
                _UNHEATED,
                ((-60.0, -59.0), (60.0, 61.0)),
                excess_g_m3=((0.0, 0.2),),
            ),
        )
    }
)
"""Every scheme by name."""
DEFAULT_SCHEME = "en-15026-normal"
UNHEATED = "unheated"
HEATING = MappingProxyType({"steadily": "heated-steadily", "by day": "heated-by-day", "not at all": UNHEATED})
"""What is expected of a place by how it is heated."""


def scheme_named(name: str) -> IndoorScheme:
    """The scheme of this name.

    Raises
    ------
    BadInput
        If there is none, with the names there are.
    """
    if name not in SCHEMES:
        raise BadInput("", "scheme", f"must be one of {', '.join(SCHEMES)}", name)
    return SCHEMES[name]


def indoor_air(
    outdoor_temperature_c: Numbers,
    outdoor_rh_pct: Numbers,
    scheme: IndoorScheme | str = DEFAULT_SCHEME,
) -> IndoorAir:
    """Air of a room from that outdoors.

    Parameters
    ----------
    outdoor_temperature_c : float, array or Series
        Daily mean outdoors [°C], -60 to 60: an hour says little of a room that stores heat and water.
    outdoor_rh_pct : same shape or scalar
        Relative humidity outdoors [%], 0 to 100. A line does not use it.
    scheme : IndoorScheme or str
        A scheme, or the name of one in `SCHEMES`.

    Returns
    -------
    IndoorAir
        temperature_c and rh_pct, each of the shape given. NaN in, NaN out.

    Raises
    ------
    OutsideValidity
        If a scalar lies outside its range; in an array it becomes NaN.
    BadInput
        For a name that is no scheme.

    Examples
    --------
    >>> indoor_air(-10.0, 80.0)
    IndoorAir(temperature_c=20.0, rh_pct=30.0)
    >>> round(indoor_air(0.0, 80.0, "dry-unhumidified").rh_pct)
    25
    """
    way = scheme_named(scheme) if isinstance(scheme, str) else scheme
    pairs = (OUTDOOR_TEMPERATURE, outdoor_temperature_c), (OUTDOOR_HUMIDITY, outdoor_rh_pct)
    return IndoorAir(
        apply(lambda outdoor, rh: way.room_temperature(outdoor) + 0.0 * rh, *pairs),
        apply(lambda outdoor, rh: way.room_humidity(outdoor, rh) + 0.0 * rh, *pairs),
    )
