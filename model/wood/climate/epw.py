"""Reading a year of outdoor air from an EnergyPlus weather file (EPW), a public text format.

Eight header lines, of which LOCATION (the first) and DATA PERIODS (the eighth) matter here, then one line
an hour: year, month, day, hour 1 to 24 (the hour that ends then), minute, flags, dry bulb [°C], dew point
[°C], relative humidity [%], and much that wood does not feel. A missing dry bulb or dew point is 99.9, a
missing humidity 999 (EnergyPlus, Auxiliary Programs, "EnergyPlus Weather File (EPW) Data Dictionary").

Humidity below freezing is taken as the file has it. Weather services refer it to supercooled water and
`air` to ice, which makes the little water of air at -10 °C a tenth too little: 1 % of humidity in a room.
"""

from collections.abc import Callable, Iterator

import numpy as np

from model.wood.air.psychrometrics import relative_humidity_from_dew_point
from model.wood.climate.outdoor import DAYS_IN_MONTH, FIRST_DAY_OF_MONTH, HOURS, OutdoorClimate
from model.wood.errors import BadInput
from model.wood.units import Floats

HEADER_LINES = 8
MISSING_TEMPERATURE_C, MISSING_RH_PCT = 99.9, 999.0
LONGEST_GAP_H = 24
"""Missing hours in a row that are filled in a straight line; a longer gap is no weather file to build by."""
_MONTH, _DAY, _HOUR, _DRY_BULB, _DEW_POINT, _RH = 1, 2, 3, 6, 7, 8


def read_epw(text: str, where: str = "weather file") -> OutdoorClimate:
    """The climate in the text of an EPW file.

    Parameters
    ----------
    text : str
        The file; 8760 hours, or 8784 with a 29 February, which is left out. Months may come from different
        years, as typical years are put together so. Several records an hour are averaged.
    where : str
        What to call it in an error: the file's name.

    Returns
    -------
    OutdoorClimate
        Missing humidity is taken from the dew point where that is there; up to 24 missing hours in a row are
        filled in a straight line and counted in `filled_hours`.

    Raises
    ------
    BadInput
        In one sentence with the line, if it is no such file.
    """
    lines = text.splitlines()
    if not lines or not lines[0].upper().startswith("LOCATION,"):
        raise BadInput(f"{where}, line 1", "a weather file", "must begin with LOCATION,", "".join(lines[:1]))
    if len(lines) <= HEADER_LINES:
        raise BadInput(
            where, "a weather file", "must hold eight header lines and a year of hours", len(lines)
        )
    if not lines[7].upper().startswith("DATA PERIODS,"):
        raise BadInput(f"{where}, line 8", "the eighth line", "must begin with DATA PERIODS,", lines[7])
    place = lines[0].split(",")
    city, country = (_text(place, at) for at in (1, 3))
    here = f"{where}, line 1"
    latitude, longitude, zone, altitude = (
        _number(place, at, here, what, low, high)
        for at, what, low, high in (
            (6, "latitude", -90.0, 90.0),
            (7, "longitude", -180.0, 180.0),
            (8, "time zone", -12.0, 14.0),
            (9, "elevation", -1000.0, 9999.9),
        )
    )
    temperature, filled_temperature = _filled(_hours(lines, where, _dry_bulb), where, "dry bulb temperature")
    humidity, filled_humidity = _filled(_hours(lines, where, _humidity), where, "relative humidity")
    return OutdoorClimate(
        name=", ".join(part for part in (city, country) if part) or where,
        temperature_c=temperature,
        rh_pct=humidity,
        zone_h=zone,
        source=f"weather file {where}" + (f" ({_text(place, 4)})" if _text(place, 4) else ""),
        latitude_deg=latitude,
        longitude_deg=longitude,
        altitude_m=altitude,
        filled_hours=int(np.count_nonzero(filled_temperature | filled_humidity)),
    )


def _text(fields: list[str], at: int) -> str:
    return fields[at].strip() if at < len(fields) else ""


def _number(fields: list[str], at: int, where: str, what: str, low: float, high: float) -> float:
    got = _text(fields, at)
    try:
        number = float(got)
    except ValueError:
        number = np.nan
    if not low <= number <= high:
        raise BadInput(where, f"{what} (field {at + 1})", f"must be a number in {low:g} to {high:g}", got)
    return number


def _dry_bulb(fields: list[str], where: str) -> float:
    value = _number(fields, _DRY_BULB, where, "dry bulb temperature", -70.0, MISSING_TEMPERATURE_C)
    return np.nan if value >= MISSING_TEMPERATURE_C else value


def _humidity(fields: list[str], where: str) -> float:
    value = _number(fields, _RH, where, "relative humidity", 0.0, MISSING_RH_PCT)
    if value <= 110.0:
        # The format allows up to 110; air that is more than saturated is saturated here.
        return min(value, 100.0)
    if value < MISSING_RH_PCT:
        raise BadInput(where, f"relative humidity (field {_RH + 1})", "must lie in 0 to 110 %", value)
    dry_bulb = _dry_bulb(fields, where)
    dew_point = _number(fields, _DEW_POINT, where, "dew point", -99.0, MISSING_TEMPERATURE_C)
    if np.isnan(dry_bulb) or dew_point >= MISSING_TEMPERATURE_C:
        return np.nan
    return min(relative_humidity_from_dew_point(dry_bulb, dew_point), 100.0)


def _records(lines: list[str], where: str) -> Iterator[tuple[int, list[str], str]]:
    """Of each line with data: the hour of the year it belongs to, its fields, and what to call it."""
    for number, line in enumerate(lines[HEADER_LINES:], start=HEADER_LINES + 1):
        if not line.strip():
            continue
        fields = line.split(",")
        here = f"{where}, line {number}"
        if len(fields) <= _RH:
            raise BadInput(here, "an hour", f"must have at least {_RH + 1} fields", line)
        month = int(_number(fields, _MONTH, here, "month", 1, 12))
        day = int(_number(fields, _DAY, here, "day", 1, 29 if month == 2 else DAYS_IN_MONTH[month - 1]))
        hour = int(_number(fields, _HOUR, here, "hour", 1, 24))
        if (month, day) != (2, 29):
            yield int(FIRST_DAY_OF_MONTH[month - 1] + day - 1) * 24 + hour - 1, fields, here


def _hours(lines: list[str], where: str, value_of: Callable[[list[str], str], float]) -> Floats:
    """Mean of the records of each hour of the year, NaN where all are missing."""
    sums, counts, seen = np.zeros(HOURS), np.zeros(HOURS), np.zeros(HOURS, dtype=bool)
    for row, fields, here in _records(lines, where):
        value = value_of(fields, here)
        seen[row] = True
        if not np.isnan(value):
            sums[row] += value
            counts[row] += 1
    absent = np.flatnonzero(~seen)
    if absent.size:
        month = int(np.searchsorted(FIRST_DAY_OF_MONTH, absent[0] // 24, side="right"))
        day = int(absent[0] // 24 - FIRST_DAY_OF_MONTH[month - 1]) + 1
        raise BadInput(
            where,
            "a weather file",
            "must have a line for every hour of the year",
            f"none for month {month}, day {day}, hour {absent[0] % 24 + 1} ({absent.size} are absent)",
        )
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(counts > 0, sums / counts, np.nan)


def _filled(
    hours: Floats, where: str, what: str
) -> tuple[Floats, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """The hours with gaps filled in a straight line, round the year, and which they were."""
    missing = np.isnan(hours)
    if missing.all():
        raise BadInput(where, what, "must be given", "missing in every hour")
    known = np.flatnonzero(~missing)
    longest = int(np.diff(np.concatenate([known, [known[0] + HOURS]])).max()) - 1
    if longest > LONGEST_GAP_H:
        raise BadInput(
            where, what, f"must not be missing for more than {LONGEST_GAP_H} hours on end", longest
        )
    filled = np.interp(np.arange(HOURS), known, hours[known], period=HOURS)
    return np.asarray(filled, dtype=np.float64), missing
