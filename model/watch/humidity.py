"""The humidity to advise for a piece in some weather: its own range, never more than the house can bear."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from model.wood.condensation import DOUBLE_GLAZING, HIGHEST_ROOM_RH_PCT, ColdSurfaces, condensation_ceiling
from model.wood.units import fahrenheit_to_celsius

_SLACK = 1e-9

SHEET_OUTDOOR_F = (40.0, 32.0, 20.0, 10.0, 0.0, -10.0, -20.0)
"""Outdoor temperatures for which a sheet names the ceiling; those of the published table [°F]."""
SHEET_OUTDOOR_C = (5.0, 0.0, -5.0, -10.0, -15.0, -20.0, -25.0)

INSTEAD = (
    "keep it off the register and away from the heat",
    "lower the thermostat a few degrees, which raises the humidity for nothing",
    "expect the gap: it closes by itself when the heating stops",
    "ask a heating contractor before humidifying the house",
)
"""What to do when a house can't bear the humidity that a piece would like (common practice, no source)."""


@dataclass(frozen=True)
class AdvisedHumidity:
    """What to advise in some weather.

    Attributes
    ----------
    rh_low_pct, rh_high_pct : float or None
        Whole percents, rounded inward; none where there is nothing to keep above.
    ceiling_pct : float
        Highest that the house can bear in this weather, rounded down [%].
    ceiling_source : str
    enough : bool
        Whether the piece's own low end can be reached under the ceiling.
    says : str
    instead : tuple of str
        What to do where it cannot.
    """

    rh_low_pct: float | None
    rh_high_pct: float
    ceiling_pct: float
    ceiling_source: str
    enough: bool
    says: str
    instead: tuple[str, ...] = ()


def advised_humidity(
    rh_low_pct: float | None,
    rh_high_pct: float | None,
    outdoor_temperature_c: float,
    indoor_temperature_c: float = 20.0,
    surfaces: ColdSurfaces = DOUBLE_GLAZING,
) -> AdvisedHumidity:
    """The room humidity to advise for a piece, capped by the coldest surface of the house.

    Parameters
    ----------
    rh_low_pct, rh_high_pct : float or None
        The piece's comfortable range [%]; None where it has no limit.
    outdoor_temperature_c, indoor_temperature_c : float
        [°C]. Take the coldest of the days ahead, not their mean.
    surfaces : ColdSurfaces

    Raises
    ------
    OutsideValidity
        If a temperature is out of range or not known: no weather, no advice.

    Examples
    --------
    A piece that wants 31 % or more, at 0 °F:

    >>> told = advised_humidity(31.0, 73.0, -17.78)
    >>> told.rh_high_pct, told.enough
    (24.0, False)
    """
    ceiling = condensation_ceiling(outdoor_temperature_c, indoor_temperature_c, surfaces)
    cap = float(floor(ceiling.rh_pct + _SLACK))
    low = None if rh_low_pct is None else float(ceil(rh_low_pct - _SLACK))
    high = min(cap, HIGHEST_ROOM_RH_PCT if rh_high_pct is None else float(floor(rh_high_pct + _SLACK)))
    if low is None or low <= high:
        says = f"up to {high:.0f} %" if low is None else f"{low:.0f} to {high:.0f} %"
        if high == cap and (rh_high_pct is None or rh_high_pct > cap):
            says += f"; not above {cap:.0f} % in this weather, whatever the piece would like"
        return AdvisedHumidity(low, high, cap, ceiling.source, True, says)
    if low > cap:
        says = (
            f"The piece would like {low:.0f} % or more, but in this weather the house bears no more than "
            f"{cap:.0f} %: {ceiling.source}. Go no higher"
        )
        return AdvisedHumidity(None, min(high, cap), cap, ceiling.source, False, says, INSTEAD)
    says = "There is no humidity at which every fit of this piece has something left; hold the room steady"
    return AdvisedHumidity(None, high, cap, ceiling.source, False, says, INSTEAD[:1])


def ceilings(
    outdoor_temperatures_c: Sequence[float] | None = None, indoor_temperature_c: float = 20.0
) -> list[tuple[float, int]]:
    """Outdoor temperatures [°C] with the highest humidity to keep indoors [%, whole, rounded down]."""
    temperatures = (
        [float(fahrenheit_to_celsius(f)) for f in SHEET_OUTDOOR_F]
        if outdoor_temperatures_c is None
        else list(outdoor_temperatures_c)
    )
    return [
        (at_c, floor(condensation_ceiling(at_c, indoor_temperature_c).rh_pct + _SLACK))
        for at_c in temperatures
    ]
