"""Dates, times of day and spans of time, as people say them."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from model.words.display import NBSP, NOTHING, Units

SEASONS = ("winter", "spring", "summer", "autumn")


def zone_of(name: str) -> ZoneInfo:
    """A place's zone; UTC when the name is not known on this machine."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


def day(at: datetime | None, zone: str, units: Units = "inch", now: datetime | None = None) -> str:
    """A date at a place: `Aug 14` where inches are read, `14 Aug` elsewhere; the year when it differs."""
    if at is None:
        return NOTHING
    local = at.astimezone(zone_of(zone))
    text = f"{local:%b} {local.day}" if units == "inch" else f"{local.day} {local:%b}"
    if now is not None and now.astimezone(zone_of(zone)).year != local.year:
        return f"{text}, {local.year}" if units == "inch" else f"{text} {local.year}"
    return text


def moment(at: datetime | None, zone: str, units: Units = "inch", now: datetime | None = None) -> str:
    """A date and time at a place: `Aug 14, 3:20 pm` or `14 Aug 15:20`."""
    if at is None:
        return NOTHING
    return f"{day(at, zone, units, now)}{',' if units == 'inch' else ''} {clock(at, zone, units)}"


def clock(at: datetime, zone: str, units: Units = "inch") -> str:
    """A time of day at a place: `3:20 pm` or `15:20`."""
    local = at.astimezone(zone_of(zone))
    if units == "metric":
        return f"{local:%H:%M}"
    return f"{local.hour % 12 or 12}:{local:%M}{NBSP}{'am' if local.hour < 12 else 'pm'}"


def span(elapsed: timedelta) -> str:
    """A length of time in its largest useful unit, rounded down: `4 minutes`, `36 hours`, `3 weeks`."""
    seconds = max(elapsed.total_seconds(), 0.0)
    # The unit changes late (at 48 hours, at 21 days) because a maker counts sensors' silence in hours and
    # a season's movement in weeks.
    for limit_s, unit_s, unit in (
        (7_200, 60, "minute"),
        (48 * 3_600, 3_600, "hour"),
        (21 * 86_400, 86_400, "day"),
        (120 * 86_400, 7 * 86_400, "week"),
        (float("inf"), 30.44 * 86_400, "month"),
    ):
        if seconds < limit_s:
            return _count(int(seconds // unit_s), unit)
    raise AssertionError("the last limit is infinite")


def ago(at: datetime | None, now: datetime) -> str:
    """How long ago an instant was: `just now`, `4 minutes ago`; `never` when there was none."""
    if at is None:
        return "never"
    if now - at < timedelta(minutes=1):
        return "just now"
    return f"{span(now - at)} ago"


def lead_time(days_low: float, days_high: float) -> str:
    """When something is to be expected, as a range rounded early: `in 10 to 20 days`, `in 2 to 3 weeks`.

    Parameters
    ----------
    days_low, days_high : float
        Soonest and latest [days], 0 or more.
    """
    days_low, days_high = sorted((max(days_low, 0.0), max(days_high, 0.0)))
    if days_high < 1:
        return "within a day"
    if days_high <= 21:
        return _range(max(int(days_low), 1), max(int(days_high), 1), "day")
    if days_high <= 120:
        return _range(int(days_low // 7), int(days_high // 7), "week")
    return _range(int(days_low // 30.44), int(days_high // 30.44), "month")


def _range(low: int, high: int, unit: str) -> str:
    if low == 0:
        return f"within {_count(high, unit)}"
    if low == high:
        return f"in about {_count(low, unit)}"
    return f"in {low} to {high}{NBSP}{unit}s"


def _count(number: int, unit: str) -> str:
    return f"{number}{NBSP}{unit}{'' if number == 1 else 's'}"


def season(at: datetime, zone: str, latitude_deg: float | None = None) -> str:
    """The season at a place: `winter`, `spring`, `summer` or `autumn`, by whole months.

    Parameters
    ----------
    latitude_deg : float or None
        South is negative. When it isn't known the zone's continent decides, north unless it says south.
    """
    local = at.astimezone(zone_of(zone))
    southern = latitude_deg < 0 if latitude_deg is not None else zone.startswith(SOUTHERN_ZONES)
    return SEASONS[(local.month % 12 // 3 + (2 if southern else 0)) % 4]


# Zones of the IANA database that lie wholly south of the equator, by prefix; a place's own latitude wins.
SOUTHERN_ZONES = (
    "Australia/",
    "Antarctica/",
    "Pacific/Auckland",
    "Pacific/Chatham",
    "Pacific/Fiji",
    "Pacific/Tongatapu",
    "Africa/Johannesburg",
    "Africa/Maputo",
    "Africa/Harare",
    "Africa/Windhoek",
    "America/Argentina/",
    "America/Buenos_Aires",
    "America/Santiago",
    "America/Montevideo",
    "America/Asuncion",
    "America/Sao_Paulo",
    "America/Lima",
    "America/La_Paz",
)
