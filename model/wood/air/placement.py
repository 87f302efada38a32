"""One room, several climates: the same moisture in the air, at the temperature of each spot.

The water in a room's air is spread evenly; its relative humidity is not, because temperature isn't. From one
sensor's air follows that beside a radiator, on a sunlit top or behind a case on an outside wall.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from model.wood.air.psychrometrics import dew_point, relative_humidity_at
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import BadInput
from model.wood.units import Range

ROOM_TEMPERATURE = Range("temperature_c", -20.0, 60.0, "°C")
ROOM_HUMIDITY = Range("rh_pct", 0.0, 100.0, "%")
SPOT_TEMPERATURE = Range("spot temperature", -40.0, 60.0, "°C")

MOULD_RH_PCT = 80.0


@dataclass(frozen=True)
class Spot:
    """The air at one spot of a room.

    Attributes
    ----------
    name : str
    temperature_c, rh_pct, emc_pct : float
        There [°C, %, %]; humidity and the moisture content that wood would settle to, at most those of
        saturated air.
    condenses : bool
        Whether the room's air would be saturated there: water on the surface.
    mould : bool
        Whether it is at 80 % or more, where mould grows if that lasts (ISO 13788; not re-read).
    """

    name: str
    temperature_c: float
    rh_pct: float
    emc_pct: float
    condenses: bool
    mould: bool


@dataclass(frozen=True)
class Room:
    """The room's own air, and that of its spots.

    Attributes
    ----------
    dew_point_c : float
        The one figure they all share [°C].
    room : Spot
    spots : tuple of Spot
        In the order given.
    """

    dew_point_c: float
    room: Spot
    spots: tuple[Spot, ...]


def spots_in(temperature_c: float, rh_pct: float, spots_c: Mapping[str, float]) -> Room:
    """Air at several spots of a room, from the air measured in it.

    Parameters
    ----------
    temperature_c, rh_pct : float
        Where the sensor hangs [°C], -20 to 60, and [%], above 0 to 100.
    spots_c : mapping of str to float
        Temperature of each spot [°C], -40 to 60.

    Returns
    -------
    Room

    Raises
    ------
    BadInput
        If a number lies outside its range; a spot is named.

    Examples
    --------
    >>> room = spots_in(21.0, 35.0, {"radiator": 32.0, "corner": 10.0})
    >>> round(room.dew_point_c, 1), [round(spot.rh_pct) for spot in room.spots]
    (5.0, [18, 71])
    """
    temperature = float(ROOM_TEMPERATURE.check(temperature_c))
    humidity = float(ROOM_HUMIDITY.check(rh_pct))
    if not (humidity > 0.0 and temperature == temperature):
        raise BadInput(
            "", "the room's air", "must be a temperature and a humidity above 0 %", (temperature_c, rh_pct)
        )
    spots = tuple(_spot(name, temperature, humidity, there) for name, there in spots_c.items())
    return Room(
        dew_point(temperature, humidity), _spot("the room", temperature, humidity, temperature), spots
    )


def _spot(name: str, temperature_c: float, rh_pct: float, there_c: float) -> Spot:
    limits = Range(f"temperature {name}", SPOT_TEMPERATURE.low, SPOT_TEMPERATURE.high, "°C")
    there = float(limits.check(there_c))
    if there != there:
        raise BadInput("", limits.what, limits.rule, there_c)
    moved = relative_humidity_at(temperature_c, rh_pct, there)
    humidity = min(moved, 100.0)
    return Spot(
        name,
        there,
        humidity,
        equilibrium_moisture_content(there, humidity),
        moved >= 100.0,
        moved >= MOULD_RH_PCT,
    )
