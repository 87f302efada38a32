"""Raw readings older than the maker keeps are let go; the air hours made of them stay for ever.

What may go is settled first and written down as `kept_since`: from then on no earlier hour of air is
computed again or taken back, because there is nothing left to compute it from. Only then are readings
deleted, a portion at a time, each a short transaction of its own: a stop at any moment loses nothing, and the
next call goes on.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from model.records.acts.invalidation import HOUR, erase, hour_of
from model.records.schema.partitions import drop_months_before, keep_months
from model.records.schema.tables import Preference, Reading, Sensor, StaleHour
from model.records.schema.types import from_epoch_ms, to_epoch_ms
from model.records.store import Store
from model.wood.errors import BadInput

KEPT_SINCE = "readings-kept-since"
"""Name of the preference that holds the hour before which air is final."""

AT_ONCE = 20_000
"""Readings in one transaction: about a tenth of a second in which SQLite lets nobody else write."""
DAY = timedelta(days=1)


def kept_since(session: Session) -> datetime | None:
    """The hour before which raw readings may be gone and air hours are final; none while all are kept."""
    row = session.get(Preference, KEPT_SINCE)
    return None if row is None else from_epoch_ms(int(row.value["at_ms"]))


def settle_kept_since(store: Store, now: datetime, keep_days: int) -> datetime | None:
    """Move `kept_since` on, as far as the air of every earlier hour has been computed.

    Parameters
    ----------
    now : datetime
        By the book's clock, aware.
    keep_days : int
        1 or more.

    Returns
    -------
    datetime or None
        Where it stands now. It never moves back, even when more days are kept than before.

    Raises
    ------
    BadInput
        If `keep_days` is below 1.
    """
    if keep_days < 1:
        raise BadInput("settings", "retention_days", "must be 1 or more", keep_days)
    with store.session() as session:
        before = kept_since(session)
        wanted = hour_of(now - keep_days * DAY)
        # A marked hour has readings that no air hour was made of yet: they stay until it has.
        marked = session.scalar(select(func.min(StaleHour.hour_at)))
        if marked is not None:
            wanted = min(wanted, marked)
        if before is not None and wanted <= before:
            return before
        session.merge(Preference(name=KEPT_SINCE, value={"at_ms": to_epoch_ms(wanted)}))
        return wanted


def forget_portions(store: Store, now: datetime, keep_days: int, at_once: int = AT_ONCE) -> Iterator[int]:
    """Delete readings that need not be kept, a portion at a step; yields how many each step took.

    An hour's air is made of readings up to half an hour around it, so one hour more than `kept_since` says
    stays. On PostgreSQL a month that may go as a whole is dropped as a partition.

    Parameters
    ----------
    at_once : int
        Most readings of one transaction.
    """
    since = settle_kept_since(store, now, keep_days)
    if since is None:
        return
    before = since - HOUR
    yield from drop_months_before(store, before)
    with store.session() as session:
        sensors = list(session.scalars(select(Sensor.id).order_by(Sensor.id)))
    for sensor_id in sensors:
        own = Reading.sensor_id == sensor_id
        while True:
            with store.session() as session:
                oldest = select(Reading.observed_at).where(own, Reading.observed_at < before)
                # The last of this portion, in the order of the key: no pass over the table.
                end = session.scalar(oldest.order_by(Reading.observed_at).offset(at_once - 1).limit(1))
                # With all of its instant, however many that are: so there is always a way on.
                gone = Reading.observed_at < before if end is None else Reading.observed_at <= end
                count = erase(session, delete(Reading).where(own, gone))
            if count:
                yield count
            if end is None:
                break


@dataclass
class Housekeeper:
    """Once a day by the book's clock, in small steps: months made ahead, old readings let go.

    Parameters
    ----------
    store : Store
    keep_days : int
        Days that raw readings are kept; 0 keeps all.
    """

    store: Store
    keep_days: int

    def __post_init__(self) -> None:
        self._day: int | None = None
        self._steps: Iterator[int] | None = None

    def __call__(self, at: datetime) -> int:
        """Do the next step, if there is one; how many readings it took."""
        if self._steps is None:
            day = to_epoch_ms(at) // 86_400_000
            if day == self._day:
                return 0
            keep_months(self.store, at)
            self._day = day
            self._steps = forget_portions(self.store, at, self.keep_days) if self.keep_days else iter(())
        try:
            return next(self._steps)
        except StopIteration:
            self._steps = None
            return 0
        except BaseException:
            self._steps, self._day = None, None  # begun again at the next look
            raise
