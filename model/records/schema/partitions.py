"""On PostgreSQL, readings in a partition a month: old months go in one stroke, new rows meet small indexes.

Rows of a month that has no partition yet go to `reading_other`, so that none is ever refused; once a day they
are moved into a partition of their own. SQLite keeps one table, in which none of this does anything.
"""

from collections.abc import Iterator
from datetime import UTC, datetime

from sqlalchemy import Connection, text

from model.records.store import Store

AHEAD = 3
"""Months made before they begin."""
OLDEST_YEARS, NEWEST_YEARS = 30, 1
"""A clock that lies further than so from now gets no partition; its rows stay among the others."""
PREFIX = "reading_m"
OTHER = "reading_other"
TURN = "SELECT pg_advisory_xact_lock(hashtext('paneltide reading months'))"
"""Lets one process at a time make or drop months."""


def month_of(at: datetime) -> datetime:
    """The first instant of a UTC month."""
    at = at.astimezone(UTC)
    return datetime(at.year, at.month, 1, tzinfo=UTC)


def next_month(month: datetime) -> datetime:
    return datetime(month.year + month.month // 12, month.month % 12 + 1, 1, tzinfo=UTC)


def partition_name(month: datetime) -> str:
    return f"{PREFIX}{month:%Y%m}"


def months(connection: Connection) -> list[datetime]:
    """The months that have a partition, rising; empty where readings are one table."""
    if connection.dialect.name != "postgresql":
        return []
    names = connection.scalars(
        text(
            "SELECT child.relname FROM pg_inherits JOIN pg_class AS child ON child.oid = inhrelid "
            "WHERE inhparent = 'reading'::regclass ORDER BY 1"
        )
    )
    found = [name.removeprefix(PREFIX) for name in names if name.startswith(PREFIX)]
    return [datetime(int(name[:4]), int(name[4:]), 1, tzinfo=UTC) for name in found]


def is_partitioned(connection: Connection) -> bool:
    """Whether this database keeps readings by the month."""
    if connection.dialect.name != "postgresql":
        return False
    kind = connection.scalar(text("SELECT relkind FROM pg_class WHERE oid = to_regclass('reading')"))
    return kind in ("p", b"p")


def keep_months(store: Store, now: datetime) -> list[datetime]:
    """Make the partitions of this month and the next ones, and of every month with rows among the others.

    Each in a transaction of its own; safe to repeat and beside another process that does the same.

    Returns
    -------
    list of datetime
        The months made.
    """
    with store.engine.connect() as connection:
        if not is_partitioned(connection):
            return []
    made = []
    wanted = [month_of(now)]
    for _ in range(AHEAD):
        wanted.append(next_month(wanted[-1]))
    while True:
        for month in wanted:
            with store.engine.begin() as connection:
                # The second of two who ask finds it made.
                connection.execute(text(TURN))
                if month not in months(connection):
                    make_month(connection, month)
                    made.append(month)
        with store.engine.connect() as connection:
            stray = _stray_month(connection, now)
        if stray is None:
            return made
        wanted = [stray]


def make_month(connection: Connection, month: datetime) -> None:
    """Make one month's partition, with the rows of it that are among the others."""
    name, end = partition_name(month), next_month(month)
    connection.execute(text(f"LOCK TABLE {OTHER} IN ACCESS EXCLUSIVE MODE"))
    connection.execute(text(f"CREATE TABLE {name} (LIKE reading INCLUDING DEFAULTS INCLUDING CONSTRAINTS)"))
    connection.execute(
        text(
            f"WITH gone AS (DELETE FROM {OTHER} WHERE observed_at >= :since AND observed_at < :until "
            f"RETURNING *) INSERT INTO {name} SELECT * FROM gone"
        ),
        {"since": month, "until": end},
    )
    span = f"FROM ('{month.isoformat()}') TO ('{end.isoformat()}')"
    connection.execute(text(f"ALTER TABLE reading ATTACH PARTITION {name} FOR VALUES {span}"))


def drop_months_before(store: Store, before: datetime) -> Iterator[int]:
    """Drop each month that ends by an instant; yields about how many readings it held.

    The server's own estimate: to count a month exactly can take longer than anybody should wait.
    """
    with store.engine.connect() as connection:
        old = [month for month in months(connection) if next_month(month) <= before]
    for month in old:
        name = partition_name(month)
        with store.engine.begin() as connection:
            # Another process may have dropped it since, or be about to.
            connection.execute(text(TURN))
            if month not in months(connection):
                continue
            estimate = "SELECT reltuples FROM pg_class WHERE oid = to_regclass(:name)"
            count = connection.scalar(text(estimate), {"name": name}) or 0.0
            connection.execute(text(f"DROP TABLE {name}"))
        yield max(int(count), 0)


def _stray_month(connection: Connection, now: datetime) -> datetime | None:
    """A month that has rows among the others, of those that may have a partition."""
    span = {
        "since": month_of(now).replace(year=now.year - OLDEST_YEARS),
        "until": month_of(now).replace(year=now.year + NEWEST_YEARS),
    }
    at = connection.scalar(
        text(f"SELECT min(observed_at) FROM {OTHER} WHERE observed_at >= :since AND observed_at < :until"),
        span,
    )
    return None if at is None else month_of(at)
