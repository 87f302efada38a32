"""Plain statements in bulk on the connection's own driver, one wording for SQLite and PostgreSQL.

The watch writes thousands of rows an hour. Statements are written with ``?`` for a value and instants
are whole milliseconds since 1970; each database gets its own form of both here.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection

from model.records.schema.types import from_epoch_ms

Row = Sequence[Any]


class Bulk:
    """Statements on one connection, within its transaction."""

    def __init__(self, connection: Connection) -> None:
        self._is_sqlite = connection.dialect.name == "sqlite"
        self._cursor: Any = connection.connection.cursor()

    @property
    def is_sqlite(self) -> bool:
        return self._is_sqlite

    def instant(self, milliseconds: int) -> Any:
        """An instant as a value of a statement."""
        return milliseconds if self._is_sqlite else from_epoch_ms(milliseconds)

    def instant_of(self, column: str) -> str:
        """An instant's column, selected as milliseconds since 1970."""
        return column if self._is_sqlite else f"(EXTRACT(EPOCH FROM {column}) * 1000)::bigint"

    def rows(self, statement: str, values: Row = ()) -> list[tuple[Any, ...]]:
        self._cursor.execute(self._worded(statement), tuple(values))
        found: list[tuple[Any, ...]] = self._cursor.fetchall()
        return found

    def run(self, statement: str, values: Row = ()) -> int:
        """Run one statement; returns how many rows it changed."""
        self._cursor.execute(self._worded(statement), tuple(values))
        changed: int = self._cursor.rowcount
        return changed

    def each(self, statement: str, rows: Iterable[Row]) -> int:
        """Run one statement for each row of values; returns how many rows all of them changed."""
        many = list(rows)
        if not many:
            return 0
        self._cursor.executemany(self._worded(statement), many)
        changed: int = self._cursor.rowcount
        return changed

    def put(
        self, table: str, key: Sequence[str], columns: Sequence[str], rows: Iterable[Row], where: str = ""
    ) -> None:
        """Insert rows, or replace those of the same key; only `where` this holds, if given."""
        setting = ", ".join(f"{column} = excluded.{column}" for column in columns if column not in key)
        self.each(
            f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))}) "
            f"ON CONFLICT ({', '.join(key)}) DO UPDATE SET {setting}{f' WHERE {where}' if where else ''}",
            rows,
        )

    def close(self) -> None:
        self._cursor.close()

    def _worded(self, statement: str) -> str:
        return statement if self._is_sqlite else statement.replace("?", "%s")
