"""How the service itself is, for whoever looks after it: one answer for page, command and notice."""

import shutil
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.metadata import version
from pathlib import Path

from sqlalchemy import and_, func, select
from sqlalchemy.orm import Session

from model.records.clock import Now, machine_now
from model.records.queries.health import health
from model.records.schema.tables import Doubt, Preference, Reading, Sensor
from model.records.store import Store, newest_revision

PROVEN = "proven backup"
"""The preference that names the newest archive that came back whole."""
HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class OpenDoubt:
    """A doubt that still holds: whose, of what kind, and since when."""

    sensor: str
    kind: str
    since_at: datetime


@dataclass(frozen=True)
class ServiceNow:
    """How the service is.

    Attributes
    ----------
    problems : tuple of str
        Sentences; empty when all is well.
    readings : int or None
        Stored in the last hour, from `heard` of `sensors` sensors. None where the book can't be read.
    oldest_doubt : OpenDoubt or None
    free_mb, days_left : float or None
        Disk beside the book [MB], and for how long that is enough as it has grown so far; None where the
        book is on a server.
    backup_at : datetime or None
        When a copy of the book last came back whole.
    version, schema_revision : str
    """

    problems: tuple[str, ...]
    readings: int | None
    heard: int
    sensors: int
    oldest_doubt: OpenDoubt | None
    free_mb: float | None
    days_left: float | None
    backup_at: datetime | None
    version: str
    schema_revision: str


def service_now(store: Store, now: Now) -> ServiceNow:
    """How the service is at this moment; a book that can't be read is a problem, not an error."""
    problems = tuple(health(store, now)["problems"])
    free_mb = days_left = None
    readings, heard, sensors, doubt, backup_at = None, 0, 0, None, None
    if not any("can't be used" in problem for problem in problems):
        with store.session() as session:
            of_now = and_(Reading.sensor_id == Sensor.id, Reading.observed_at > now() - HOUR)
            count = select(func.count(), func.count(Sensor.id.distinct())).select_from(Sensor)
            readings, heard = session.execute(count.join(Reading, of_now)).one()
            accepted = Sensor.accepted_at.is_not(None)
            sensors = session.scalar(select(func.count()).select_from(Sensor).where(accepted)) or 0
            doubt = _oldest_doubt(session)
            begun_at = session.scalar(select(func.min(Sensor.accepted_at)))
            backup_at = proven_at(session)
        free_mb, days_left = _disk(store, begun_at)
    return ServiceNow(
        problems, readings, heard, sensors, doubt, free_mb, days_left, backup_at,
        version("paneltide"), newest_revision(),
    )  # fmt: skip


def note_proven(store: Store, at: datetime, archive: Path) -> None:
    """Remember that an archive came back whole."""
    with store.session() as session:
        session.merge(Preference(name=PROVEN, value={"at": at.isoformat(), "archive": archive.name}))


def proven_at(session: Session) -> datetime | None:
    """When a copy of the book last came back whole."""
    proven = session.get(Preference, PROVEN)
    return None if proven is None else datetime.fromisoformat(proven.value["at"])


def _oldest_doubt(session: Session) -> OpenDoubt | None:
    found = session.execute(
        select(Sensor.name, Doubt.kind, Doubt.since_at)
        .join(Sensor, Sensor.id == Doubt.sensor_id)
        .where(Doubt.until_at.is_(None), Doubt.undone_at.is_(None))
        .order_by(Doubt.since_at)
        .limit(1)
    ).first()
    return None if found is None else OpenDoubt(*found)


def _disk(store: Store, begun_at: datetime | None) -> tuple[float | None, float | None]:
    """Free disk beside a SQLite book [MB], and for how many days that is enough."""
    if not store.is_sqlite or not store.url.database:
        return None, None
    book = Path(store.url.database)
    free = shutil.disk_usage(book.absolute().parent).free
    days = 0.0 if begun_at is None else (machine_now() - begun_at) / timedelta(days=1)
    # The first days hold the empty book itself, and what was imported at once.
    left = free / (book.stat().st_size / days) if days >= 7.0 else None
    return free / 1e6, left
