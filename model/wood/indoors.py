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

from .air import GAS_CONSTANT_OF_VAPOUR, saturation_vapour_pressure, vapour_pressure
from .errors import BadInput
from .units import KELVIN_AT_0_C, Floats, Numbers, Range, apply

OUTDOOR_TEMPERATURE = Range("outdoor_temperature_c", -60.0, 60.0, "°C")
OUTDOOR_HUMIDITY = Range("outdoor_rh_pct", 0.0, 100.0, "%")
ROOM_TEMPERATURE = Range("indoor_temperature_c", 0.0, 40.0, "°C")

Points = tuple[tuple[float, float], ...]
"""Value by outdoor temperature [°C], straight between the points and level beyond them."""

EN_15026_ROOM: Points = ((10.0, 20.0), (20.0, 25.0))
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
_DRY = "outdoor moisture warmed, with a small excess; size of the excess is common practice, no source"

CLASS_EXCESS_PA: Mapping[int, float] = MappingProxyType({1: 270.0, 2: 540.0, 3: 810.0, 4: 1080.0, 5: 1360.0})
"""Upper limits of the ISO 13788 humidity classes at 0 °C and below. For class 2 some copies print
640; 540 agrees with its 4 g/m3, and is the default."""
CLASS_TAIL_PA: Mapping[int, float] = MappingProxyType({1: 100.0, 2: 100.0, 3: 100.0, 4: 100.0, 5: 200.0})
"""The excess left at 20 °C and above in some copies; the 2001 edition has none, as is the default."""
CLASS_USE: Mapping[int, str] = MappingProxyType(
    {
        1: "unoccupied or dry storage",
        2: "dwelling or office, ordinary occupancy, aired",
        3: "occupancy unknown",
        4: "kitchen, canteen or sports hall",
        5: "laundry, brewery or pool",
    }
)


class IndoorAir(NamedTuple):
    """Air of a room; floats, or arrays of one shape."""

    temperature_c: Any
    rh_pct: Any


@dataclass(frozen=True)
class IndoorScheme:
    """A way from outdoor to indoor air.

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


def _room(indoor_temperature_c: float | None) -> Points:
    if indoor_temperature_c is None:
        return EN_15026_ROOM
    return ((0.0, float(ROOM_TEMPERATURE.check(indoor_temperature_c))),)


def en_15026(high_load: bool = False) -> IndoorScheme:
    """EN 15026 Annex C: 30 to 60 % for -10 to 20 °C outdoors, 10 more under high moisture load.

    The room is at 20 °C, rising to 25 with 10 to 20 °C outdoors.
    """
    load, more = ("high", 10.0) if high_load else ("normal", 0.0)
    return IndoorScheme(
        f"en-15026-{load}",
        f"House with {load} moisture load",
        _EN_15026,
        EN_15026_ROOM,
        ((-10.0, 30.0 + more), (20.0, 60.0 + more)),
        cooled=True,
    )


def iso_13788_continental(high_occupancy: bool = False) -> IndoorScheme:
    """The simple form of ISO 13788: 35 to 65 % for -10 to 20 °C outdoors, 5 more with high occupancy."""
    load, more = ("high", 5.0) if high_occupancy else ("normal", 0.0)
    return IndoorScheme(
        f"iso-13788-continental-{load}",
        f"House of {load} occupancy, continental climate",
        _CONTINENTAL,
        EN_15026_ROOM,
        ((-10.0, 35.0 + more), (20.0, 65.0 + more)),
        cooled=True,
    )


def ashrae_160() -> IndoorScheme:
    """ASHRAE 160 simplified: 40 to 70 % for -10 to 20 °C outdoors, the same line as EN 15026 high load.

    Heated to 21.1 °C and cooled to 23.9. From memory, unverified.
    """
    line = ((-10.0, 40.0), (20.0, 70.0))
    return IndoorScheme(
        "ashrae-160", "Design humidity, damp side", _ASHRAE, ASHRAE_160_ROOM, line, cooled=True
    )


def iso_13788_class(
    number: int,
    indoor_temperature_c: float | None = None,
    class_2_pa: float = CLASS_EXCESS_PA[2],
    warm_tail: bool = False,
) -> IndoorScheme:
    """A humidity class of ISO 13788: outdoor vapour pressure plus the class's upper limit.

    Parameters
    ----------
    number : int
        1 unoccupied, 2 dwellings and offices, 3 occupancy unknown, 4 kitchens and halls, 5 pools.
    indoor_temperature_c : float, optional
        Room temperature [°C], 0 to 40; if left out that of EN 15026.
    class_2_pa : float
        Limit of class 2 [Pa]; copies print 540 (default) or 640.
    warm_tail : bool
        Whether 100 Pa (200 in class 5) of the excess stay at 20 °C outdoors and above; by default none does.

    Raises
    ------
    BadInput
        For a class that does not exist, or a limit for class 2 outside 270 to 810 Pa.
    """
    if number not in CLASS_EXCESS_PA:
        raise BadInput("", "class", "must be 1, 2, 3, 4 or 5", number)
    class_2 = float(Range("class_2_pa", 270.0, 810.0, "Pa").check(class_2_pa))
    cold = class_2 if number == 2 else CLASS_EXCESS_PA[number]
    warm = CLASS_TAIL_PA[number] if warm_tail else 0.0
    return IndoorScheme(
        f"iso-13788-class-{number}",
        f"Humidity class {number}: {CLASS_USE[number]}",
        _CLASSES,
        _room(indoor_temperature_c),
        excess_pa=((0.0, cold), (20.0, warm)),
    )


def measured_dwelling(
    indoor_temperature_c: float | None = 20.0, cold_g_m3: float = 4.0, warm_g_m3: float = 1.5
) -> IndoorScheme:
    """Excess as measured in dwellings: so much water at 5 °C outdoors and below, so much at 15 and above.

    Parameters
    ----------
    indoor_temperature_c : float, optional
        Room temperature [°C], 0 to 40; None for that of EN 15026.
    cold_g_m3, warm_g_m3 : float
        Excess in cold and in warm weather [g/m3], 0 to 15. The defaults are exceeded by one house in ten.
    """
    grams = Range("excess_g_m3", 0.0, 15.0, "g/m3")
    return IndoorScheme(
        "measured-dwelling",
        "Lived-in house, as measured",
        _DWELLINGS,
        _room(indoor_temperature_c),
        excess_g_m3=((5.0, float(grams.check(cold_g_m3))), (15.0, float(grams.check(warm_g_m3)))),
    )


def dry_unhumidified(indoor_temperature_c: float = 21.0, excess_g_m3: float = 1.0) -> IndoorScheme:
    """A heated house without a humidifier: outdoor air warmed to 21 °C, and little added to it.

    Parameters
    ----------
    indoor_temperature_c : float
        Room temperature [°C], 0 to 40.
    excess_g_m3 : float
        What people add [g/m3] at 5 °C outdoors and below, falling to nothing at 20, where windows stand open.
        The default of 1 puts 0 °C and 80 % outdoors at 25 % indoors; common practice, no source.
    """
    excess = float(Range("excess_g_m3", 0.0, 15.0, "g/m3").check(excess_g_m3))
    return IndoorScheme(
        "dry-unhumidified",
        "Heated house without a humidifier",
        _DRY,
        _room(indoor_temperature_c),
        excess_g_m3=((5.0, excess), (20.0, 0.0)),
    )


SCHEMES: Mapping[str, IndoorScheme] = MappingProxyType(
    {
        scheme.name: scheme
        for scheme in (
            en_15026(),
            en_15026(high_load=True),
            dry_unhumidified(),
            measured_dwelling(),
            *(iso_13788_class(number) for number in CLASS_EXCESS_PA),
            iso_13788_continental(),
            iso_13788_continental(high_occupancy=True),
            ashrae_160(),
        )
    }
)
"""Every scheme with its defaults, by name."""
DEFAULT_SCHEME = "en-15026-normal"


def scheme_named(name: str, where: str = "", what: str = "scheme") -> IndoorScheme:
    """The scheme of this name, with its defaults.

    Raises
    ------
    BadInput
        If there is none, with the names there are.
    """
    if name not in SCHEMES:
        raise BadInput(where, what, f"must be one of {', '.join(SCHEMES)}", name)
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
