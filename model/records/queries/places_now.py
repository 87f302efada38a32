"""Places as they are now: their latest air, what hangs there, when it was last heard."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased, joinedload

from model.records.queries.answers import AirNow, PlaceNow
from model.records.queries.verdicts import judgements
from model.records.schema.tables import AirHour, Hanging, Place, Reading, Sensor


def places(session: Session, now: datetime, only: int | None = None) -> tuple[PlaceNow, ...]:
    """Every place with its latest air, shop first, then by name.

    Parameters
    ----------
    now : datetime
        Aware UTC; air hours later than this are not looked at.
    only : int, optional
        One place's id.
    """
    wanted = select(Place).options(joinedload(Place.client))
    if only is not None:
        wanted = wanted.where(Place.id == only)
    rows = session.scalars(wanted).all()
    ids = [row.id for row in rows]
    latest = _latest_air(session, ids, now)
    heard, names = _hanging_now(session, ids, now)
    judged = judgements(session, "place", ids, now)
    found = [
        PlaceNow(
            id=row.id,
            name=row.name,
            kind=row.kind,
            zone=row.zone,
            air=latest.get(row.id),
            last_reading_at=heard.get(row.id),
            sensors=tuple(names.get(row.id, ())),
            judgement=judged[row.id],
            note=row.note,
            climate=row.climate,
            client_id=row.client_id,
            client=row.client.name if row.client else "",
        )
        for row in rows
    ]
    order = {"shop": 0, "storage": 1, "home": 2}
    return tuple(sorted(found, key=lambda place: (order[place.kind], place.name.casefold())))


def _latest_air(session: Session, ids: Sequence[int], now: datetime) -> dict[int, AirNow]:
    # One seek a place, at the end of its part of the key, instead of a pass over every hour ever.
    other = aliased(AirHour)
    newest = (
        select(func.max(other.hour_at))
        .where(other.place_id == Place.id, other.hour_at <= now)
        .correlate(Place)
        .scalar_subquery()
    )
    found = session.execute(
        select(AirHour.place_id, AirHour.hour_at, AirHour.temperature_c, AirHour.rh_pct, AirHour.basis)
        .join(Place, AirHour.place_id == Place.id)
        .where(Place.id.in_(ids), AirHour.hour_at == newest)
    )
    return {
        place_id: AirNow(hour_at, temperature_c, rh_pct, basis)
        for place_id, hour_at, temperature_c, rh_pct, basis in found
    }


def _hanging_now(
    session: Session, ids: Sequence[int], now: datetime
) -> tuple[dict[int, datetime], dict[int, list[str]]]:
    newest = (
        select(func.max(Reading.observed_at))
        .where(Reading.sensor_id == Hanging.sensor_id, Reading.observed_at <= now)
        .scalar_subquery()
    )
    rows = session.execute(
        select(Hanging.place_id, Sensor.name, newest)
        .join(Sensor)
        .where(Hanging.place_id.in_(ids), Hanging.until_at.is_(None), Sensor.retired_at.is_(None))
        .order_by(Sensor.name)
    )
    heard: dict[int, datetime] = {}
    names: dict[int, list[str]] = defaultdict(list)
    for place_id, name, at in rows:
        names[place_id].append(name)
        if at is not None:
            heard[place_id] = max(at, heard.get(place_id, at))
    return heard, names
