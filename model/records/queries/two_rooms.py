"""Whether the sensors of one place hang in two rooms: what they say of its humidity over the last hours.

The air of a place is the mean of its sensors. Two rooms made one place give air that neither of them has.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import combinations
from statistics import median
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.trusted import EXCLUDING
from model.records.bulk import Bulk
from model.records.schema.tables import Correction, Hanging, Place, Sensor
from model.records.schema.types import to_epoch_ms
from model.wood.air.psychrometrics import relative_humidity_from_pressure, vapour_pressure
from model.wood.reason import Reason

APART_PCT = 10.0
"""Two good sensors of one room agree to some points of humidity: each is good to 2 to 5 (common practice)."""
LOOKED_BACK = timedelta(hours=12)
LEAST_HOURS = 3

Hours = dict[int, tuple[float | None, float]]
"""Mean temperature [°C] and humidity [%] by hour [ms since 1970]."""


@dataclass(frozen=True)
class TwoRooms:
    """Two sensors of one place whose air differs: the damper one first.

    `apart_pct` is how far, in points of humidity at one temperature: the median of the hours both were heard.
    """

    place_id: int
    place: str
    damp_id: int
    damp: str
    dry_id: int
    dry: str
    apart_pct: float

    @property
    def reason(self) -> Reason:
        """The caution."""
        return Reason("two-rooms", self._values)

    @property
    def in_short(self) -> Reason:
        """The same in few words."""
        return Reason("two-rooms-in-short", self._values)

    @property
    def _values(self) -> dict[str, Any]:
        return {"place": self.place, "damp": self.damp, "dry": self.dry, "apart_pct": round(self.apart_pct)}


def two_rooms(session: Session, now: datetime, place_id: int | None = None) -> tuple[TwoRooms, ...]:
    """Pairs of sensors of one place that differ by more than ten points of humidity over the last hours.

    Both are brought to one temperature at constant vapour pressure first: a sensor that hangs warmer in the
    same room reads drier, and is no other room. Doubted readings don't count, corrections do.

    Parameters
    ----------
    now : datetime
        Aware UTC.
    place_id : int, optional
        One place; all of them when none is given.
    """
    hung: dict[Place, list[Sensor]] = defaultdict(list)
    wanted = select(Place, Sensor).join(Hanging, Hanging.place_id == Place.id).join(Sensor)
    wanted = wanted.where(Hanging.until_at.is_(None), Sensor.retired_at.is_(None))
    if place_id is not None:
        wanted = wanted.where(Place.id == place_id)
    for place, sensor in session.execute(wanted.order_by(Place.name, Sensor.name)):
        hung[place].append(sensor)
    found = []
    for place, sensors in hung.items():
        if len(sensors) < 2:
            continue
        hours = {sensor.id: _hours(session, sensor.id, now) for sensor in sensors}
        for a, b in combinations(sensors, 2):
            apart = _apart(hours[a.id], hours[b.id])
            if apart is not None and abs(apart) > APART_PCT:
                damp, dry = (a, b) if apart > 0 else (b, a)
                found.append(TwoRooms(place.id, place.name, damp.id, damp.name, dry.id, dry.name, abs(apart)))
    return tuple(found)


def by_sensor(pairs: tuple[TwoRooms, ...]) -> Mapping[int, TwoRooms]:
    """The widest of the pairs each sensor is one of."""
    widest: dict[int, TwoRooms] = {}
    for pair in sorted(pairs, key=lambda pair: pair.apart_pct):
        widest[pair.damp_id] = widest[pair.dry_id] = pair
    return widest


def _apart(one: Hours, other: Hours) -> float | None:
    both = sorted(one.keys() & other.keys())
    if len(both) < LEAST_HOURS:
        return None
    return median(_difference(one[hour], other[hour]) for hour in both)


def _difference(one: tuple[float | None, float], other: tuple[float | None, float]) -> float:
    """Points of humidity between two hours at one temperature, the mean of theirs."""
    if one[0] is None or other[0] is None:
        return one[1] - other[1]
    at_c = (one[0] + other[0]) / 2
    return _rh_at(at_c, one[0], one[1]) - _rh_at(at_c, other[0], other[1])


def _rh_at(at_c: float, temperature_c: float, rh_pct: float) -> float:
    return float(relative_humidity_from_pressure(at_c, vapour_pressure(temperature_c, rh_pct)))


def _hours(session: Session, sensor_id: int, now: datetime) -> Hours:
    """The last hours of a sensor, each from its believed readings, corrected."""
    bulk = Bulk(session.connection())
    hour = bulk.hour_of("observed_at")
    rows = bulk.rows(
        f"SELECT {bulk.instant_of(hour)}, avg(temperature_c), avg(rh_pct) FROM reading "
        "WHERE sensor_id = ? AND observed_at > ? AND observed_at <= ? AND NOT EXISTS ("
        "SELECT 1 FROM doubt AS d WHERE d.sensor_id = reading.sensor_id AND d.undone_at IS NULL "
        f"AND d.kind IN ({', '.join('?' * len(EXCLUDING))}) AND d.since_at <= reading.observed_at "
        f"AND (d.until_at IS NULL OR d.until_at >= reading.observed_at)) GROUP BY {hour}",
        (sensor_id, *(bulk.instant(to_epoch_ms(at)) for at in (now - LOOKED_BACK, now)), *EXCLUDING),
    )
    correction = session.scalars(
        select(Correction)
        .where(Correction.sensor_id == sensor_id, Correction.undone_at.is_(None), Correction.since_at <= now)
        .order_by(Correction.since_at.desc())
        .limit(1)
    ).first()
    intercept, slope = (correction.intercept_pct, correction.slope) if correction else (0.0, 1.0)
    return {
        int(at): (None if t is None else float(t), min(max(intercept + slope * float(rh), 0.0), 100.0))
        for at, t, rh in rows
        if rh is not None
    }
