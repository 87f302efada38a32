"""Column types shared by every table."""

from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import BigInteger, DateTime, Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def to_epoch_ms(at: datetime) -> int:
    """Whole milliseconds since 1970 in UTC; a naive datetime is refused."""
    if at.tzinfo is None:
        raise ValueError(f"a stored instant must carry its zone, got {at!r}")
    return round((at - EPOCH) / timedelta(milliseconds=1))


def from_epoch_ms(milliseconds: int) -> datetime:
    """The aware UTC instant of a count of milliseconds since 1970."""
    return EPOCH + timedelta(milliseconds=milliseconds)


class UtcDateTime(TypeDecorator[datetime]):
    """An aware instant, kept in UTC to the millisecond. A naive value is refused.

    SQLite keeps whole milliseconds since 1970 (eight bytes, sorts and compares as a number);
    a database with a type of its own for it keeps a timestamp with time zone.
    """

    impl = BigInteger
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        if dialect.name == "sqlite":
            return dialect.type_descriptor(BigInteger())
        return dialect.type_descriptor(DateTime(timezone=True))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        if value is None:
            return None
        milliseconds = to_epoch_ms(value)
        return milliseconds if dialect.name == "sqlite" else from_epoch_ms(milliseconds)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if dialect.name == "sqlite":
            return from_epoch_ms(value)
        result: datetime = value.astimezone(UTC)
        return result
