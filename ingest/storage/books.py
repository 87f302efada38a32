"""How a batch reaches one kind of database: the plain driver underneath, its locks and its fastest way in.

The ORM takes several times as long for rows by the thousand, so the statements are written out here, against
the columns of model.records.schema.tables.
"""

import sqlite3
from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from ingest.mqtt.batch import HOUR_MS, RowValues
from model.records.schema.arrived import kept_sql, pair_sql
from model.records.schema.types import from_epoch_ms
from model.records.store import Store

if TYPE_CHECKING:
    import psycopg

LOCK_WAIT_MS = 200
CONNECT_WAIT_S = 3
STATEMENT_WAIT_MS = 10_000
CHANGE_CHANNEL = "paneltide_readings"


class BookAway(RuntimeError):
    """The database can't be written just now: locked, full, gone. The batch is kept and tried again."""


class BadRow(ValueError):
    """The database refuses a value."""


class Book(ABC):
    """A connection of ingest's own to the database, used by one thread."""

    @abstractmethod
    def begin(self) -> None: ...

    @abstractmethod
    def commit(self) -> None: ...

    @abstractmethod
    def rollback(self) -> None: ...

    @abstractmethod
    def execute(self, sql: str, values: Sequence[Any] = ()) -> Any:
        """Run one statement, written with ``?`` for its values; its cursor."""

    @abstractmethod
    def executemany(self, sql: str, values: Iterable[Sequence[Any]]) -> Any: ...

    @abstractmethod
    def at(self, milliseconds: int) -> Any:
        """An instant as this database takes it."""

    @abstractmethod
    def upsert(self, rows: Sequence[RowValues]) -> int:
        """Store rows that differ from each other and mark their hours; how many are new.

        Raises
        ------
        BadRow
            If the database refuses one of them; the transaction is as it was before.
        """

    mark_is_sure: bool
    """Whether an unchanged mark proves that the registry is unchanged."""

    @abstractmethod
    def change_mark(self) -> Any:
        """Something that differs when another connection has changed the registry; quickly told."""

    @abstractmethod
    def durable(self, on: bool) -> None:
        """Whether a commit reaches the disk before it returns; only between transactions."""

    @abstractmethod
    def close(self) -> None: ...


# What is told again is the same row; another value for the same instant is another.
UPSERT = """
INSERT INTO reading (sensor_id, observed_at, received_at, temperature_c, rh_pct, clock, pair)
{source}
ON CONFLICT (sensor_id, observed_at, pair) DO NOTHING
"""
MARK_HOUR = """
INSERT INTO stale_hour (sensor_id, hour_at, revision) VALUES (?, ?, 1)
ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1
"""


# A quantity that comes alone is paired with its partner within half an hour, so it touches that far.
PAIRED_MS = HOUR_MS // 2
SHIFTS = f"SELECT 0 AS shift UNION ALL SELECT {-PAIRED_MS} UNION ALL SELECT {PAIRED_MS}"


def _hours(rows: Sequence[RowValues]) -> set[tuple[int, int]]:
    """The hours that these readings touch, by sensor."""
    hours = set()
    for sensor_id, observed_ms, _received_ms, temperature_c, rh_pct, _clock in rows:
        hours.add((sensor_id, observed_ms - observed_ms % HOUR_MS))
        if temperature_c is None or rh_pct is None:
            for at_ms in (observed_ms - PAIRED_MS, observed_ms + PAIRED_MS):
                hours.add((sensor_id, at_ms - at_ms % HOUR_MS))
    return hours


class SqliteBook(Book):
    """SQLite through the standard library's driver."""

    mark_is_sure = True

    _T, _RH = (kept_sql(value, is_sqlite=True) for value in ("?4", "?5"))
    _ONE_BY_ONE = UPSERT.format(
        source=f"VALUES (?1, ?2, ?3, {_T}, {_RH}, ?6, {pair_sql('?4', '?5', is_sqlite=True)})"
    )
    _STAGE = (
        f"INSERT INTO staged VALUES (?1, ?2, ?3, {_T}, {_RH}, ?6, {pair_sql('?4', '?5', is_sqlite=True)})"
    )
    # WHERE true keeps the parser from taking ON CONFLICT for a join's (sqlite.org, "Parsing Ambiguity").
    _FROM_STAGED = UPSERT.format(source="SELECT * FROM staged WHERE true")

    def __init__(self, store: Store) -> None:
        try:
            pooled = store.engine.raw_connection()
        except Exception as error:
            raise BookAway(_first_line(error)) from error
        connection = pooled.driver_connection
        assert isinstance(connection, sqlite3.Connection)
        pooled.detach()
        self._pooled = pooled  # kept: the connection ends with it
        self._connection = connection
        connection.isolation_level = None  # transactions are begun here, not by the driver's guess
        self.execute(f"PRAGMA busy_timeout = {LOCK_WAIT_MS}")
        self.durable(True)
        self.execute("PRAGMA temp_store = MEMORY")
        self.execute(
            "CREATE TEMP TABLE IF NOT EXISTS staged "
            "(sensor_id, observed_at, received_at, temperature_c, rh_pct, clock, pair)"
        )

    def begin(self) -> None:
        self.execute("BEGIN IMMEDIATE")

    def commit(self) -> None:
        self.execute("COMMIT")

    def rollback(self) -> None:
        if self._connection.in_transaction:
            self.execute("ROLLBACK")

    def execute(self, sql: str, values: Sequence[Any] = ()) -> sqlite3.Cursor:
        try:
            return self._connection.execute(sql, values)
        except (sqlite3.IntegrityError, sqlite3.DataError) as error:
            raise BadRow(_first_line(error)) from error
        except sqlite3.Error as error:
            raise BookAway(_first_line(error)) from error

    def executemany(self, sql: str, values: Iterable[Sequence[Any]]) -> sqlite3.Cursor:
        try:
            return self._connection.executemany(sql, values)
        except (sqlite3.IntegrityError, sqlite3.DataError, OverflowError) as error:
            raise BadRow(_first_line(error)) from error
        except sqlite3.Error as error:
            raise BookAway(_first_line(error)) from error

    def at(self, milliseconds: int) -> int:
        return milliseconds

    def upsert(self, rows: Sequence[RowValues]) -> int:
        self.execute("SAVEPOINT readings")
        try:
            changed = self._upsert(rows)
        except BadRow:
            self.execute("ROLLBACK TO readings")
            self.execute("RELEASE readings")
            raise
        self.execute("RELEASE readings")
        return changed

    def _upsert(self, rows: Sequence[RowValues]) -> int:
        changed: int = self.executemany(self._ONE_BY_ONE, rows).rowcount
        if changed == 0:
            return 0
        if changed == len(rows):
            self.executemany(MARK_HOUR, sorted(_hours(rows)))
            return changed
        # Some were there already: undo, and let the database say which hours really change.
        self.execute("ROLLBACK TO readings")
        self.execute("DELETE FROM staged")
        self.executemany(self._STAGE, rows)
        self.execute(
            f"""
            INSERT INTO stale_hour (sensor_id, hour_at, revision)
            SELECT DISTINCT staged.sensor_id, (staged.observed_at + shift) / {HOUR_MS} * {HOUR_MS}, 1
            FROM staged LEFT JOIN reading USING (sensor_id, observed_at, pair) JOIN ({SHIFTS}) AS shifts
              ON shift = 0 OR staged.temperature_c IS NULL OR staged.rh_pct IS NULL
            WHERE reading.sensor_id IS NULL
            ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1
            """
        )
        return self.execute(self._FROM_STAGED).rowcount

    def change_mark(self) -> int:
        mark: int = self.execute("PRAGMA data_version").fetchone()[0]
        return mark

    def durable(self, on: bool) -> None:
        # The store's own NORMAL may lose the last commits at a power cut; what the broker has been told we
        # hold must not be among them.
        self.execute(f"PRAGMA synchronous = {'FULL' if on else 'NORMAL'}")

    def close(self) -> None:
        self._connection.close()


class PostgresBook(Book):
    """PostgreSQL through psycopg: rows are copied into a staging table and merged from there."""

    mark_is_sure = False

    _MERGE = (
        "WITH changed AS ("
        + UPSERT.format(
            source=f"""SELECT sensor_id, TIMESTAMPTZ 'epoch' + observed_ms * INTERVAL '1 millisecond',
              TIMESTAMPTZ 'epoch' + received_ms * INTERVAL '1 millisecond', t, rh, clock,
              {pair_sql("t", "rh", is_sqlite=False)}
            FROM (SELECT *, {kept_sql("temperature_c", is_sqlite=False)} AS t,
              {kept_sql("rh_pct", is_sqlite=False)} AS rh FROM staged) AS kept
            ORDER BY sensor_id, observed_ms"""
        )
        + f""" RETURNING sensor_id, observed_at,
          temperature_c IS NULL OR rh_pct IS NULL AS apart), hours AS (
        INSERT INTO stale_hour (sensor_id, hour_at, revision)
        SELECT DISTINCT sensor_id,
          date_trunc('hour', observed_at + shift * INTERVAL '1 millisecond', 'UTC'), 1
        FROM changed JOIN ({SHIFTS}) AS shifts ON shift = 0 OR apart
        ORDER BY 1, 2
        ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1)
        SELECT count(*) FROM changed"""
    )

    def __init__(self, store: Store) -> None:
        import psycopg

        self._psycopg = psycopg
        try:
            self._connection: psycopg.Connection[Any] = psycopg.connect(
                store.url.set(drivername="postgresql").render_as_string(hide_password=False),
                autocommit=True,
                connect_timeout=CONNECT_WAIT_S,
                options=f"-c statement_timeout={STATEMENT_WAIT_MS} -c lock_timeout={STATEMENT_WAIT_MS // 2}",
                tcp_user_timeout=STATEMENT_WAIT_MS,
            )
        except psycopg.Error as error:
            raise BookAway(_first_line(error)) from None
        self.execute(
            "CREATE TEMP TABLE staged (sensor_id int, observed_ms bigint, received_ms bigint,"
            " temperature_c double precision, rh_pct double precision, clock text) ON COMMIT DELETE ROWS"
        )

    def begin(self) -> None:
        self.execute("BEGIN")

    def commit(self) -> None:
        self.execute("COMMIT")

    def rollback(self) -> None:
        self.execute("ROLLBACK")

    def execute(self, sql: str, values: Sequence[Any] = ()) -> "psycopg.Cursor[Any]":
        try:
            return self._connection.execute(sql.replace("?", "%s"), values or None)
        except self._psycopg.Error as error:
            raise self._meaning(error) from error

    def executemany(self, sql: str, values: Iterable[Sequence[Any]]) -> "psycopg.Cursor[Any]":
        cursor = self._connection.cursor()
        try:
            cursor.executemany(sql.replace("?", "%s"), values)
        except self._psycopg.Error as error:
            raise self._meaning(error) from error
        return cursor

    def at(self, milliseconds: int) -> Any:
        return from_epoch_ms(milliseconds)

    def upsert(self, rows: Sequence[RowValues]) -> int:
        self.execute("SAVEPOINT readings")
        try:
            with self._connection.cursor() as cursor:
                with cursor.copy("COPY staged FROM STDIN") as copy:
                    copy.write("".join(map(_copy_line, rows)))
                cursor.execute(self._MERGE)
                changed: int = cursor.fetchone()[0]  # type: ignore[index]
                cursor.execute("DELETE FROM staged")
                if changed:
                    cursor.execute("SELECT pg_notify(%s, '')", (CHANGE_CHANNEL,))
        except self._psycopg.Error as error:
            meaning = self._meaning(error)
            if isinstance(meaning, BadRow):
                self.execute("ROLLBACK TO readings")
                self.execute("RELEASE readings")
            raise meaning from error
        self.execute("RELEASE readings")
        return changed

    def change_mark(self) -> Any:
        return self.execute("SELECT count(*), max(id) FROM binding").fetchone()

    def durable(self, on: bool) -> None:
        self.execute(f"SET synchronous_commit = {'on' if on else 'off'}")

    def close(self) -> None:
        self._connection.close()

    def _meaning(self, error: Exception) -> Exception:
        if isinstance(error, (self._psycopg.IntegrityError, self._psycopg.DataError)):
            return BadRow(_first_line(error))
        return BookAway(_first_line(error))


_NOTHING = "\\N"


def _copy_line(row: RowValues) -> str:
    # Numbers and one of two known words: nothing here can need COPY's escapes.
    sensor_id, observed_ms, received_ms, temperature_c, rh_pct, clock = row
    temperature = _NOTHING if temperature_c is None else temperature_c
    rh = _NOTHING if rh_pct is None else rh_pct
    return f"{sensor_id}\t{observed_ms}\t{received_ms}\t{temperature}\t{rh}\t{clock}\n"


def _first_line(error: Exception) -> str:
    lines = str(getattr(error, "orig", None) or error).strip().splitlines()
    return lines[0] if lines else type(error).__name__


def open_book(store: Store) -> Book:
    """A connection of ingest's own.

    Raises
    ------
    BookAway
        If the database can't be reached.
    """
    return SqliteBook(store) if store.is_sqlite else PostgresBook(store)
