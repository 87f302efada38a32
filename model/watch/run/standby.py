"""One watch works on a book and any others stand by, by one lock that ends with the process holding it.

On PostgreSQL it is a session advisory lock on a connection of its own: the server lets go of it when a watch
that was killed is gone, and another takes it at its next look. On SQLite it is a locked file beside the book.
Two that both believe they hold it, because a connection was lost unnoticed, overtake each other harmlessly
(`ledger.writing`).
"""

import os
import socket
from contextlib import suppress
from pathlib import Path
from typing import IO, Protocol

from sqlalchemy import Connection, create_engine, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from model.records.store import Store

KEY = 0x7061_6E65_6C77_6368
"""Number of the advisory lock: "panelwch" in ASCII."""
NAME = "paneltide watch"
PRESENT = (
    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND application_name LIKE :name"
)


class Lock(Protocol):
    """Says whether this process is the one that watches."""

    def look(self) -> bool:
        """Take the lock if it is free; whether it is held now."""
        ...

    def close(self) -> None:
        """Give it up."""
        ...


def lock_of(store: Store) -> Lock:
    """The lock of a book; nobody else can watch one in memory."""
    if not store.is_sqlite:
        return AdvisoryLock(store)
    return FileLock(Path(store.url.database) if store.url.database else None)


class FileLock:
    """A locked file beside a SQLite book. The file stays: taking it away would let two lock two."""

    def __init__(self, database: Path | None) -> None:
        self._path = None if database is None else database.with_name(f"{database.name}-watch")
        self._file: IO[bytes] | None = None

    def look(self) -> bool:
        import fcntl

        if self._file is None and self._path is not None:
            file = self._path.open("ab")
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                file.close()
                return False
            self._file = file
        return True

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None


class AdvisoryLock:
    """A session advisory lock of a PostgreSQL server."""

    def __init__(self, store: Store) -> None:
        # A connection that is closed must not live on in a pool, and its lock with it.
        self._engine = create_engine(
            store.url,
            poolclass=NullPool,
            isolation_level="AUTOCOMMIT",
            connect_args={"application_name": f"{NAME} {socket.gethostname()} {os.getpid()}"},
        )
        self._connection: Connection | None = None
        self._is_held = False

    def look(self) -> bool:
        """Take the lock if it is free.

        Raises
        ------
        DBAPIError
            If the server can't be reached; then it is not held.
        """
        try:
            if self._connection is None:
                self._connection = self._engine.connect()
                # A machine that is gone says nothing: the server asks after half a minute, and lets go.
                for name, value in (("idle", 15), ("interval", 5), ("count", 3)):
                    self._connection.execute(text(f"SET tcp_keepalives_{name} = {value}"))
            if self._is_held:
                self._connection.execute(text("SELECT 1"))
            else:
                take = text("SELECT pg_try_advisory_lock(:key)")
                self._is_held = bool(self._connection.scalar(take, {"key": KEY}))
        except BaseException:
            self.close()
            raise
        return self._is_held

    def close(self) -> None:
        connection, self._connection = self._connection, None
        self._is_held = False
        if connection is not None:
            with suppress(DBAPIError):
                connection.close()


def standing_by(connection: Connection) -> int:
    """How many watches stand by on a book on PostgreSQL besides the one at work."""
    present: int = connection.scalar(text(PRESENT), {"name": f"{NAME}%"}) or 0
    return max(present - 1, 0)
