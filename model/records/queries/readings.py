"""Raw readings by sensor and time, a portion at a time."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, select, type_coerce

from model.records.schema.tables import Binding, Hanging, Place, Reading, Sensor
from model.records.schema.types import from_epoch_ms
from model.records.store import Store
from model.wood.errors import BadInput

PORTION_ROWS = 100_000


@dataclass(frozen=True)
class SensorSpan:
    """One sensor's readings from an instant up to, and without, another; either may be open."""

    sensor_id: int
    sensor: str
    topic: str | None
    since_at: datetime | None
    until_at: datetime | None


def sensor_spans(
    store: Store,
    *,
    sensor: str | None = None,
    place: str | None = None,
    since_at: datetime | None = None,
    until_at: datetime | None = None,
    where: str = "",
) -> list[SensorSpan]:
    """Whose readings are asked for: of every sensor, of one, or of those that hung at a place while they did.

    Raises
    ------
    BadInput
        If there is no such sensor or place.
    """
    with store.session() as session:
        sensors = session.execute(select(Sensor.id, Sensor.name).order_by(Sensor.name)).all()
        topics: dict[int, str] = {}
        for number, topic in session.execute(select(Binding.sensor_id, Binding.topic).order_by(Binding.id)):
            topics.setdefault(number, topic)
        spans: list[tuple[int, datetime | None, datetime | None]] = [(one.id, None, None) for one in sensors]
        if place is not None:
            place_id = session.scalar(select(Place.id).where(Place.name == place))
            if place_id is None:
                raise BadInput(where, "place", "must be one that is recorded", place)
            hung = select(Hanging.sensor_id, Hanging.since_at, Hanging.until_at).order_by(Hanging.since_at)
            rows = session.execute(hung.where(Hanging.place_id == place_id))
            spans = [(number, hung_at, taken_at) for number, hung_at, taken_at in rows]
    names = {number: name for number, name in sensors if sensor in (None, name)}
    if sensor is not None and not names:
        raise BadInput(where, "sensor", "must be one that is known", sensor)
    found = [
        SensorSpan(
            number,
            names[number],
            topics.get(number),
            max(filter(None, (since_at, hung_at)), default=None),
            min(filter(None, (until_at, taken_at)), default=None),
        )
        for number, hung_at, taken_at in spans
        if number in names
    ]
    return sorted(found, key=lambda one: one.sensor)


def portions(store: Store, span: SensorSpan, rows: int = PORTION_ROWS) -> Iterator[Sequence[Any]]:
    """A span's readings, so many at a time: instant, `temperature_c`, `rh_pct` and `pair` of each.

    From SQLite an instant is whole milliseconds: a million datetimes would be made only to be taken apart
    again. Each portion is a short read of its own, so that a long export holds no lock and no old snapshot.
    """
    instant = type_coerce(Reading.observed_at, BigInteger) if store.is_sqlite else Reading.observed_at
    after, pair = span.since_at, -1
    while True:
        query = select(instant, Reading.temperature_c, Reading.rh_pct, Reading.pair).where(
            Reading.sensor_id == span.sensor_id
        )
        if after is not None:
            beyond = (Reading.observed_at > after) | (Reading.pair > pair)
            query = query.where(Reading.observed_at >= after, beyond)
        if span.until_at is not None:
            query = query.where(Reading.observed_at < span.until_at)
        with store.engine.connect() as connection:
            found = connection.execute(query.order_by(Reading.observed_at, Reading.pair).limit(rows)).all()
        if found:
            yield found
            last: Any = found[-1][0]
            after, pair = from_epoch_ms(last) if isinstance(last, int) else last, found[-1][3]
        if len(found) < rows:
            return
