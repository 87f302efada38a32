"""What the tests of files share: the clock, and what the book holds."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import select

from model.records.schema.tables import Reading
from model.records.store import Store

NOW = datetime(2025, 12, 1, tzinfo=UTC)
Write = Callable[..., Path]


def now() -> datetime:
    return NOW


def stored(store: Store) -> list[tuple[str, float | None, float | None]]:
    with store.session() as session:
        rows = session.scalars(select(Reading).order_by(Reading.sensor_id, Reading.observed_at))
        return [(f"{row.observed_at:%Y-%m-%d %H:%M}", row.temperature_c, row.rh_pct) for row in rows]
