"""Reading a year of outdoor air from an EnergyPlus weather file (EPW), a public text format.

Eight header lines, of which LOCATION (the first) and DATA PERIODS (the eighth) matter here, then one line
an hour: year, month, day, hour 1 to 24 (the hour that ends then), minute, flags, dry bulb [°C], dew point
[°C], relative humidity [%], and much that wood does not feel. A missing dry bulb or dew point is 99.9, a
missing humidity 999 (EnergyPlus, Auxiliary Programs, "EnergyPlus Weather File (EPW) Data Dictionary").

Humidity below freezing is taken as the file has it. Weather services refer it to supercooled water and
`air` to ice, which makes the little water of air at -10 °C a tenth too little: 1 % of humidity in a room.
"""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd

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
    city, country, origin = (_text(place, at) for at in (1, 3, 4))
    zone_h = _number(place, 8, f"{where}, line 1", "time zone", -12.0, 14.0)
    records = pd.DataFrame(_records(lines, where), columns=("hour", "temperature_c", "rh_pct"))
    hours = records.groupby("hour").mean()
    absent = np.setdiff1d(np.arange(HOURS), hours.index)
    if absent.size:
        at = datetime(2023, 1, 1, tzinfo=UTC) + int(absent[0]) * timedelta(hours=1)
        raise BadInput(
            where,
            "a weather file",
            "must have a line for every hour of the year",
            f"none for month {at.month}, day {at.day}, hour {at.hour + 1} ({absent.size} are absent)",
        )
    return OutdoorClimate(
        name=", ".join(part for part in (city, country) if part) or where,
        temperature_c=_filled(hours["temperature_c"].to_numpy(), where, "dry bulb temperature"),
        rh_pct=_filled(hours["rh_pct"].to_numpy(), where, "relative humidity"),
        zone_h=zone_h,
        source=f"weather file {where}" + (f" ({origin})" if origin else ""),
        filled_hours=int(hours.isna().any(axis=1).sum()),
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


def _humidity(fields: list[str], where: str, dry_bulb_c: float) -> float:
    value = _number(fields, _RH, where, "relative humidity", 0.0, MISSING_RH_PCT)
    if value <= 110.0:
        # The format allows up to 110; air that is more than saturated is saturated here.
        return min(value, 100.0)
    if value < MISSING_RH_PCT:
        raise BadInput(where, f"relative humidity (field {_RH + 1})", "must lie in 0 to 110 %", value)
    dew_point = _number(fields, _DEW_POINT, where, "dew point", -99.0, MISSING_TEMPERATURE_C)
    if np.isnan(dry_bulb_c) or dew_point >= MISSING_TEMPERATURE_C:
        return np.nan
    return min(relative_humidity_from_dew_point(dry_bulb_c, dew_point), 100.0)


def _records(lines: list[str], where: str) -> Iterator[tuple[int, float, float]]:
    """Of each line: the hour of the year it belongs to, temperature and humidity; NaN for a missing one."""
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
        if (month, day) == (2, 29):
            continue
        dry_bulb = _number(fields, _DRY_BULB, here, "dry bulb temperature", -70.0, MISSING_TEMPERATURE_C)
        dry_bulb = np.nan if dry_bulb >= MISSING_TEMPERATURE_C else dry_bulb
        row = int(FIRST_DAY_OF_MONTH[month - 1] + day - 1) * 24 + hour - 1
        yield row, dry_bulb, _humidity(fields, here, dry_bulb)


def _filled(hours: Floats, where: str, what: str) -> Floats:
    """The hours with gaps filled in a straight line, round the year."""
    known = np.flatnonzero(~np.isnan(hours))
    if not known.size:
        raise BadInput(where, what, "must be given", "missing in every hour")
    longest = int(np.diff(np.concatenate([known, [known[0] + HOURS]])).max()) - 1
    if longest > LONGEST_GAP_H:
        rule = f"must not be missing for more than {LONGEST_GAP_H} hours on end"
        raise BadInput(where, what, rule, longest)
    return np.asarray(np.interp(np.arange(HOURS), known, hours[known], period=HOURS), dtype=np.float64)
