"""What came from sensors, and what is thought of it: readings, doubts, corrections, what was no reading."""

from datetime import datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from model.records.schema.base import Document, Record

STEPS = 1_000_000
"""Values are kept to a millionth of a degree and of a percent: no element resolves it."""
_LOWEST, _BELOW_ONE = 60 * STEPS, 1 << 27


def as_stored(temperature_c: float | None, rh_pct: float | None) -> tuple[float | None, float | None, int]:
    """The two values of a reading to a millionth, and both as one whole number, a part of the reading's key.

    The number is another for any two pairs that differ by a millionth or more.
    """
    high = 0 if temperature_c is None else int(temperature_c * STEPS + (_LOWEST + 1.5))
    low = 0 if rh_pct is None else int(rh_pct * STEPS + 1.5)
    return (
        None if temperature_c is None else (high - _LOWEST - 1) / STEPS,
        None if rh_pct is None else (low - 1) / STEPS,
        high * _BELOW_ONE + low,
    )


def _own_pair(context: Any) -> int:
    values = context.get_current_parameters()
    return as_stored(values.get("temperature_c"), values.get("rh_pct"))[2]


class Reading(Record):
    """One observation from one sensor, as it came. A redelivery is the same row.

    A sensor that sends its two quantities apart leaves one of them empty. Two different values for one
    instant are two rows: which of them counts is for those who read them to say, by the values alone.
    """

    __tablename__ = "reading"
    __table_args__ = (
        CheckConstraint("rh_pct BETWEEN 0 AND 100", name="rh_pct"),
        CheckConstraint("temperature_c BETWEEN -60 AND 100", name="temperature_c"),
        CheckConstraint("temperature_c IS NOT NULL OR rh_pct IS NOT NULL", name="something"),
        {"sqlite_with_rowid": False},
    )

    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id", ondelete="CASCADE"), primary_key=True)
    observed_at: Mapped[datetime] = mapped_column(primary_key=True)
    pair: Mapped[int] = mapped_column(
        BigInteger().with_variant(Integer, "sqlite"),
        primary_key=True,
        autoincrement=False,
        default=_own_pair,
        server_default=text("0"),
    )  # both values as a part of the key
    received_at: Mapped[datetime]
    temperature_c: Mapped[float | None]
    rh_pct: Mapped[float | None]
    clock: Mapped[str] = mapped_column(default="device")  # whose clock gave observed_at: device or arrival

    @classmethod
    def smaller_first(cls) -> tuple[Any, ...]:
        """What puts the readings of one instant in order: the smaller pair first, a missing value last."""
        return cls.temperature_c.is_(None), cls.temperature_c, cls.rh_pct.is_(None), cls.rh_pct


class WoodReading(Record):
    """One observation of a sensor on wood, as it came, in grams, percent, ohms or millimetres.

    A redelivery is the same row; two different values for one instant are two rows.
    """

    __tablename__ = "wood_reading"

    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id", ondelete="CASCADE"), primary_key=True)
    observed_at: Mapped[datetime] = mapped_column(primary_key=True)
    value: Mapped[float] = mapped_column(primary_key=True)
    received_at: Mapped[datetime]
    wood_c: Mapped[float | None]  # the wood's temperature, where the message tells it
    clock: Mapped[str] = mapped_column(default="device")


class StaleHour(Record):
    """A sensor's hour whose readings, trust or place changed and whose air is to be computed again.

    Ingest adds one to `revision` at each change; the watch deletes only the revision it has read,
    so that a change that comes in between is never lost.
    """

    __tablename__ = "stale_hour"

    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id", ondelete="CASCADE"), primary_key=True)
    hour_at: Mapped[datetime] = mapped_column(primary_key=True)
    revision: Mapped[int] = mapped_column(default=1)


class HeardMessage(Record):
    """One of the last messages on a topic no sensor is bound to; kept until accepted or crowded out."""

    __tablename__ = "heard_message"
    __table_args__ = (Index(None, "topic", "received_at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    topic: Mapped[str]
    payload: Mapped[bytes] = mapped_column(LargeBinary)
    retained: Mapped[bool] = mapped_column(default=False)
    received_at: Mapped[datetime]


class DismissedTopic(Record):
    """A topic that is no sensor of ours: not listed, and no more kept of it, until it is brought back."""

    __tablename__ = "dismissed_topic"

    id: Mapped[int] = mapped_column(primary_key=True)
    topic: Mapped[str] = mapped_column(unique=True)
    dismissed_at: Mapped[datetime]


class RejectedMessage(Record):
    """A message that could not become a reading, as it came, with the reason."""

    __tablename__ = "rejected_message"
    __table_args__ = (Index(None, "received_at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    topic: Mapped[str]
    payload: Mapped[bytes] = mapped_column(LargeBinary)  # cut at the stated size; `size` is the whole
    size: Mapped[int]
    reason: Mapped[str]
    received_at: Mapped[datetime]


class RunningCount(Record):
    """A running count, by name: messages received, stored, rejected, dropped for being too many."""

    __tablename__ = "tally"

    name: Mapped[str] = mapped_column(primary_key=True)
    count: Mapped[int] = mapped_column(BigInteger().with_variant(Integer, "sqlite"), default=0)


class Doubt(Record):
    """A span of a sensor's readings that is not believed, and why. Undone, it counts no more."""

    __tablename__ = "doubt"
    __table_args__ = (
        CheckConstraint("until_at IS NULL OR until_at >= since_at", name="order"),
        UniqueConstraint("sensor_id", "kind", "since_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id", ondelete="CASCADE"))
    kind: Mapped[str]
    since_at: Mapped[datetime]
    until_at: Mapped[datetime | None]
    reason: Mapped[str]
    raised_at: Mapped[datetime]
    undone_at: Mapped[datetime | None]


class Correction(Record):
    """A salt check's correction: true RH = intercept + slope x reading, from an instant on."""

    __tablename__ = "correction"
    __table_args__ = (UniqueConstraint("sensor_id", "since_at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id", ondelete="CASCADE"))
    since_at: Mapped[datetime]
    intercept_pct: Mapped[float]
    slope: Mapped[float]
    uncertainty_pct: Mapped[float]
    evidence: Mapped[Document]  # the salt points read
    made_at: Mapped[datetime]
    undone_at: Mapped[datetime | None]


class Unacknowledged(Record):
    """Messages without a time of their own that a broker may send again, to be known when they come.

    Written by ingest in the transaction of their readings; one row a session of a client.
    """

    __tablename__ = "unacknowledged"

    client_id: Mapped[str] = mapped_column(primary_key=True)
    entries: Mapped[bytes] = mapped_column(LargeBinary)  # packet id (16 bits) and checksum (32) of each
