"""Tells when the air was measured, from a device's own time and the arrival of its message."""

import re
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from math import isfinite
from typing import Final
from zoneinfo import ZoneInfo

# A device's time is believed within this window round the arrival of its message, else the arrival is used.
# Nodes that store and forward deliver months late; a clock that runs ahead is wrong.
AHEAD: Final = timedelta(minutes=10)
BEHIND: Final = timedelta(days=400)

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_DIGITS = re.compile(r"[+-]?[0-9]{1,20}(?:[.,][0-9]{1,12})?\Z")
_LONGEST_TIME = 48
# Smallest number (in size) of each unit. 1e11 s is the year 5138 and 1e11 ms is 1973, so within the window
# of belief the four units cannot be taken for one another: this tells apart, it does not guess.
_MILLI, _MICRO, _NANO = 1e11, 1e14, 1e17
AGO: Final = {"s-ago": 1.0, "ms-ago": 1e-3, "min-ago": 60.0}  # [s]
_UTC_BEHIND = re.compile(r"\s*(?:UTC|GMT)\Z", re.I)
_DAY_FIRST = re.compile(r"[A-Za-z]|[0-9]{1,2} ")
_SLASHES = re.compile(r"([0-9]{4})/([0-9]{2})/([0-9]{2})(?=[ T])")


def instant(raw: object, zone: ZoneInfo, received_at: datetime) -> datetime | None:
    """The instant a device names, in UTC, or None when it names none that can be read.

    Parameters
    ----------
    raw : object
        Seconds, milliseconds, microseconds or nanoseconds since 1970 as number or text; or text in ISO 8601,
        RFC 3339 or RFC 5322, with offset, Z, UTC or neither.
    zone : ZoneInfo
        The sensor's zone, for text with neither. Of the two instants of a doubled hour the later one that
        is not ahead of the arrival is meant, so a message that comes at once is always right. An hour that
        the clocks skip is read with the offset from before the change.
    received_at : datetime
        Arrival, aware.
    """
    kind = type(raw)
    if kind is int or kind is float:
        return _from_epoch(raw)  # type: ignore[arg-type]
    if kind is str:
        text = raw.strip()  # type: ignore[attr-defined]
        if not 1 <= len(text) <= _LONGEST_TIME:
            return None
        if _DIGITS.match(text):
            text = text.replace(",", ".")
            return _from_epoch(float(text) if "." in text else int(text))
        return _from_text(text, zone, received_at)
    if isinstance(raw, datetime):
        return raw.astimezone(UTC) if raw.tzinfo else _from_wall(raw, zone, received_at)
    return None


def ago(raw: object, unit: str = "auto") -> timedelta | None:
    """How long before the arrival, for a time that is given as a distance from it; None when it is none.

    Parameters
    ----------
    raw : object
        A number, or one as text. With `unit` one of `AGO` it counts back from the arrival; else, as in SenML
        (RFC 8428, section 4.5.3), a negative number of seconds lies before it.
    """
    if isinstance(raw, str) and len(raw) <= _LONGEST_TIME and _DIGITS.match(raw.strip()):
        raw = float(raw.strip().replace(",", "."))
    if isinstance(raw, bool) or not isinstance(raw, (int, float)):
        return None
    if unit in AGO:
        seconds = raw * AGO[unit]
    elif raw != -1:  # -1 is what a clock that was never set says
        seconds = -raw
    else:
        return None
    return timedelta(seconds=seconds) if 0.0 <= seconds <= BEHIND.total_seconds() else None


def sane(at: datetime, received_at: datetime) -> bool:
    """Whether a device's time is believed: at most `AHEAD` after and `BEHIND` before the arrival."""
    ahead = at - received_at
    return -BEHIND <= ahead <= AHEAD


def _from_epoch(value: int | float) -> datetime | None:
    try:
        size = abs(value)
        per_s = 1 if size < _MILLI else 10**3 if size < _MICRO else 10**6 if size < _NANO else 10**9
        if isinstance(value, int):
            if abs(value) >= 10**20:
                return None
            if per_s == 1:
                return datetime.fromtimestamp(value, UTC)
            return _EPOCH + timedelta(microseconds=value * 10**6 // per_s)
        if not isfinite(value):
            return None
        return datetime.fromtimestamp(value / per_s, UTC)
    except (OverflowError, ValueError, OSError):
        return None  # outside the years 1 to 9999


def _from_text(text: str, zone: ZoneInfo, received_at: datetime) -> datetime | None:
    # A date alone, or a clock time alone, is no instant.
    if ":" not in text and "T" not in text.upper():
        return None
    try:
        if _DAY_FIRST.match(text):
            at = parsedate_to_datetime(text)  # RFC 5322: "Sun, 01 Jun 2025 11:55:00 GMT"
        else:
            text = _SLASHES.sub(r"\1-\2-\3", _UTC_BEHIND.sub("Z", text))
            at = datetime.fromisoformat(text.upper() if text[-1] == "z" or "t" in text else text)
    except (ValueError, OverflowError, TypeError, IndexError):
        return None
    try:
        return at.astimezone(UTC) if at.tzinfo else _from_wall(at, zone, received_at)
    except (OverflowError, ValueError):
        return None


def _from_wall(wall: datetime, zone: ZoneInfo, received_at: datetime) -> datetime | None:
    try:
        first = wall.replace(tzinfo=zone, fold=0).astimezone(UTC)
        second = wall.replace(tzinfo=zone, fold=1).astimezone(UTC)
    except (OverflowError, ValueError):
        return None
    if second > first and second <= received_at + AHEAD:
        return second
    return first
