"""Turns local times without an offset into instants, through hours that come twice or never."""

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from ingest.files.lines import cast_whole
from model.wood.errors import BadInput

Instants = tuple[NDArray[np.int64], NDArray[np.bool_]]


class WallTime:
    """Reads one file's times; remembers where each sensor stands in a doubled hour.

    Parameters
    ----------
    where : str
        The file, for messages.
    zone : str
        IANA zone of times without an offset.
    """

    def __init__(self, where: str, zone: str) -> None:
        try:
            self._zone = ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise BadInput(where, "zone", "must be an IANA time zone such as Europe/Paris", zone) from None
        self._last: dict[int, tuple[datetime | None, bool]] = {}  # wall time, second pass?
        self._doubled = self._skipped = 0

    def notes(self) -> list[str]:
        """What had to be settled, in sentences."""
        notes = []
        if self._doubled:
            notes.append(
                f"{self._doubled} readings lie in an hour that came twice in {self._zone.key}: taken as its "
                "first pass until the times step back, then as its second"
            )
        if self._skipped:
            notes.append(
                f"{self._skipped} readings lie in an hour that was skipped in {self._zone.key}: read with "
                "the offset before it"
            )
        return notes

    def iso(self, written: "pd.Series[Any]", sensor_ids: NDArray[np.int64]) -> Instants:
        """Times in ISO 8601, with or without an offset."""
        whole = cast_whole(written, pa.timestamp("ms", "UTC"))
        if whole is not None:
            return whole.astype("datetime64[ms]").astype(np.int64), ~np.isnat(whole)
        text = written.str.strip()
        own = text.str.contains(r"(?:Z|[+-]\d\d(?::?\d\d)?)$", case=False, regex=True).to_numpy(dtype=bool)
        # A bare date ends in "-05" too; it has no time of day and so no offset.
        own = own & (text.str.len().to_numpy(dtype=int) > len("2025-01-01"))
        if own.all():
            return _milliseconds(pd.to_datetime(text, format="ISO8601", utc=True, errors="coerce"))
        instants = np.zeros(len(text), dtype=np.int64)
        readable = np.zeros(len(text), dtype=bool)
        if own.any():
            with_offset = pd.to_datetime(text[own], format="ISO8601", utc=True, errors="coerce")
            instants[own], readable[own] = _milliseconds(with_offset)
        local = pd.to_datetime(text[~own], format="ISO8601", errors="coerce")
        instants[~own], readable[~own] = self.localized(local, sensor_ids[~own])
        return instants, readable

    def localized(self, naive: "pd.Series[Any]", sensor_ids: NDArray[np.int64]) -> Instants:
        """Naive wall times as instants."""
        if self._zone.key == "UTC":
            return _milliseconds(naive.dt.tz_localize("UTC"))
        known = naive.dt.tz_localize(self._zone, ambiguous="NaT", nonexistent="NaT")
        whole, readable = _milliseconds(known)
        for place in np.flatnonzero(naive.notna().to_numpy() & ~readable):
            wall = naive.iloc[place].to_pydatetime()
            whole[place] = self._settled(wall, int(sensor_ids[place]))
            readable[place] = True
        return whole, readable

    def _settled(self, wall: datetime, sensor_id: int) -> int:
        """One time that no rule of the calendar settles."""
        first, second = (wall.replace(tzinfo=self._zone, fold=fold) for fold in (0, 1))
        if first.utcoffset() < second.utcoffset():  # type: ignore[operator]
            self._skipped += 1
            return _ms(first)  # fold 0 of a skipped hour carries the offset before it (PEP 495)
        self._doubled += 1
        last_wall, passed = self._last.get(sensor_id, (None, False))
        if last_wall is None or abs(wall - last_wall) > timedelta(hours=3):
            passed = False  # another autumn
        elif wall <= last_wall:
            passed = True
        self._last[sensor_id] = (wall, passed)
        return _ms(second if passed else first)


def _ms(at: datetime) -> int:
    return round(at.timestamp() * 1_000)


def _milliseconds(instants: "pd.Series[Any]") -> Instants:
    readable = instants.notna().to_numpy(dtype=bool, copy=True)
    whole = np.zeros(len(instants), dtype=np.int64)
    kept = instants[readable].dt.tz_convert("UTC").dt.tz_localize(None)
    whole[readable] = kept.to_numpy(dtype="datetime64[ms]").astype(np.int64)
    return whole, readable
