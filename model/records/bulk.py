"""Plain statements in bulk on one connection, one wording for SQLite and PostgreSQL.

For rows by the thousand, for which the ORM takes several times as long. Statements are written with ``?``
for a value and instants are whole milliseconds since 1970; each database gets its own form of both here.
Errors are SQLAlchemy's.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from model.records.schema.types import from_epoch_ms

Row = Sequence[Any]


class Bulk:
    """Statements on one connection, within whatever transaction it is in."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection.execution_options(preserve_rowcount=True)
        self.is_sqlite = connection.dialect.name == "sqlite"

    def instant(self, milliseconds: int) -> Any:
        """An instant as a value of a statement."""
        return milliseconds if self.is_sqlite else from_epoch_ms(milliseconds)

    def instant_of(self, column: str) -> str:
        """An instant's column, selected as milliseconds since 1970."""
        return column if self.is_sqlite else f"(EXTRACT(EPOCH FROM {column}) * 1000)::bigint"

    def hour_of(self, column: str) -> str:
        """The whole UTC hour in which an instant's column lies."""
        return f"{column} / 3600000 * 3600000" if self.is_sqlite else f"date_trunc('hour', {column}, 'UTC')"

    def rows(self, statement: str, values: Row = ()) -> list[tuple[Any, ...]]:
        """What a statement selects, as the driver gives it."""
        cursor: Any = self._connection.exec_driver_sql(self._worded(statement), tuple(values)).cursor
        with self._translated(statement):
            found: list[tuple[Any, ...]] = cursor.fetchall()
        cursor.close()
        return found

    def run(self, statement: str, values: Row = ()) -> int:
        """Run one statement; returns how many rows it changed."""
        return self._connection.exec_driver_sql(self._worded(statement), tuple(values)).rowcount

    def each(self, statement: str, rows: Iterable[Row]) -> int:
        """Run one statement for each row of values; returns how many rows all of them changed."""
        many: list[Any] = list(rows)
        if not many:
            return 0
        return self._connection.exec_driver_sql(self._worded(statement), many).rowcount

    def insert(self, table: str, columns: Sequence[str], rows: Iterable[Row], more: str = "") -> int:
        """Insert rows; `more` follows the values. Returns how many were inserted."""
        marks = ", ".join("?" * len(columns))
        return self.each(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks}) {more}", rows)

    def put(
        self, table: str, key: Sequence[str], columns: Sequence[str], rows: Iterable[Row], where: str = ""
    ) -> None:
        """Insert rows, or replace those of the same key; only `where` this holds, if given."""
        setting = ", ".join(f"{column} = excluded.{column}" for column in columns if column not in key)
        only = f" WHERE {where}" if where else ""
        self.insert(table, columns, rows, f"ON CONFLICT ({', '.join(key)}) DO UPDATE SET {setting}{only}")

    def update(self, table: str, columns: Sequence[str], key: Sequence[str], rows: Iterable[Row]) -> int:
        """Set columns of the rows of a key, the key's values last; returns how many rows were there."""
        setting, finding = (" = ?, ".join(columns), " = ? AND ".join(key))
        return self.each(f"UPDATE {table} SET {setting} = ? WHERE {finding} = ?", rows)

    def count_up(self, counts: Iterable[tuple[str, int]]) -> None:
        """Add to running counts by name; each is held until the transaction ends, so that changes queue."""
        more = "ON CONFLICT (name) DO UPDATE SET count = tally.count + excluded.count"
        self.insert("tally", ("name", "count"), counts, more)

    def copy(self, table: str, lines: str) -> None:
        """Fill a table of PostgreSQL's from the lines of its COPY, the fastest way in."""
        statement = f"COPY {table} FROM STDIN"
        cursor: Any = self._connection.connection.cursor()
        with self._translated(statement), cursor, cursor.copy(statement) as copy:
            copy.write(lines)

    @contextmanager
    def savepoint(self) -> Iterator[None]:
        """What is done inside is undone if it raises, and the transaction goes on."""
        self.run("SAVEPOINT bulk")
        try:
            yield
        except BaseException:
            with suppress(SQLAlchemyError):
                self.run("ROLLBACK TO bulk")
                self.run("RELEASE bulk")
            raise
        self.run("RELEASE bulk")

    @contextmanager
    def _translated(self, statement: str) -> Iterator[None]:
        """Raises the driver's errors as SQLAlchemy's."""
        dialect = self._connection.dialect
        driver = dialect.loaded_dbapi
        try:
            yield
        except driver.Error as error:
            raise DBAPIError.instance(statement, None, error, driver.Error, dialect=dialect) from error

    def _worded(self, statement: str) -> str:
        return statement if self.is_sqlite else statement.replace("?", "%s")
