"""How several watches agree who takes which share of a book, by locks that end with the process holding them.

On PostgreSQL each watch keeps one connection of its own with session advisory locks: one that all watches
share says that it is there, and one for each share it holds. At every look it takes or gives up shares until
it has its fair part; what a watch held that was killed is free as soon as the server has closed its
connection, and taken by the others at their next look. On SQLite one watch has everything; others stand by.

The locks only divide the work. Two watches that hold the same share for a moment, because a connection was
lost unnoticed, overtake each other harmlessly (`ledger`).
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
from model.watch.shares import ALL, SHARES

CLASS = 0x7061_6E65
"""First of the two numbers of every advisory lock of the watch: "pane" in ASCII."""
PRESENT = SHARES
"""Second number of the lock that says that a watch is there; the shares come before."""
NAME = "paneltide watch"
_OURS = (
    "locktype = 'advisory' AND classid = :kind AND objsubid = 2 AND granted "
    "AND database = (SELECT oid FROM pg_database WHERE datname = current_database())"
)
HOLDERS = f"SELECT objid::int, COUNT(*)::int FROM pg_locks WHERE {_OURS} GROUP BY objid"
WHO_HOLDS = (
    "SELECT application_name, (COUNT(*) FILTER (WHERE objid <> :present))::int FROM pg_locks "
    f"JOIN pg_stat_activity USING (pid) WHERE {_OURS} GROUP BY pid, application_name ORDER BY 1, pid"
)


class Division(Protocol):
    """Says which shares a watch holds."""

    @property
    def held(self) -> frozenset[int]:
        """The shares held since the last look."""
        ...

    def look(self) -> frozenset[int]:
        """The shares held from now on, until the next look."""
        ...

    def close(self) -> None:
        """Give all up."""
        ...


def division_of(store: Store) -> Division:
    """The division of a book among watches that its database allows."""
    if not store.is_sqlite:
        return Locks(store)
    return LockFile(Path(store.url.database)) if store.url.database else Undivided()


def fair_part(watches: int) -> int:
    """How many shares each of some watches may hold."""
    return -(-SHARES // max(watches, 1))


class Undivided:
    """One watch alone: everything is its own."""

    held = ALL

    def look(self) -> frozenset[int]:
        return ALL

    def close(self) -> None:
        pass


class LockFile:
    """A file beside a SQLite book, locked by the watch at work; the system lets go when its process ends.

    The file stays, as taking it away would let two lock two.
    """

    def __init__(self, database: Path) -> None:
        self._path = database.with_name(f"{database.name}-watch")
        self._file: IO[bytes] | None = None

    @property
    def held(self) -> frozenset[int]:
        return ALL if self._file is not None else frozenset()

    def look(self) -> frozenset[int]:
        import fcntl

        if self._file is None:
            file = self._path.open("ab")
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                file.close()
                return frozenset()
            self._file = file
        return ALL

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None


class Locks:
    """Advisory locks of a PostgreSQL server, held by one connection of its own."""

    def __init__(self, store: Store) -> None:
        # A connection that is closed must not live on in a pool, and its locks with it.
        self._engine = create_engine(
            store.url,
            poolclass=NullPool,
            isolation_level="AUTOCOMMIT",
            connect_args={"application_name": f"{NAME} {socket.gethostname()} {os.getpid()}"},
        )
        self._connection: Connection | None = None
        self._held: set[int] = set()

    @property
    def held(self) -> frozenset[int]:
        return frozenset(self._held)

    def look(self) -> frozenset[int]:
        """Take or give up what makes the part fair.

        Raises
        ------
        DBAPIError
            If the server can't be reached; then nothing is held.
        """
        try:
            if self._connection is None:
                self._connection = self._engine.connect()
                self._arrive(self._connection)
            self._settle(self._connection)
        except BaseException:
            self.close()
            raise
        return self.held

    def close(self) -> None:
        connection, self._connection = self._connection, None
        self._held = set()
        if connection is not None:
            with suppress(DBAPIError):
                connection.close()

    def _arrive(self, connection: Connection) -> None:
        # A machine that is gone says nothing: the server asks after half a minute, and lets go.
        for name, value in (("idle", 15), ("interval", 5), ("count", 3)):
            connection.execute(text(f"SET tcp_keepalives_{name} = {value}"))
        connection.execute(
            text("SELECT pg_advisory_lock_shared(:kind, :share)"), {"kind": CLASS, "share": PRESENT}
        )

    def _settle(self, connection: Connection) -> None:
        found: dict[int, int] = dict(connection.execute(text(HOLDERS), {"kind": CLASS}).all())
        part = fair_part(found.get(PRESENT, 1))
        for share in sorted(self._held, reverse=True)[: max(len(self._held) - part, 0)]:
            connection.execute(
                text("SELECT pg_advisory_unlock(:kind, :share)"), {"kind": CLASS, "share": share}
            )
            self._held.discard(share)
        for share in range(SHARES):
            if len(self._held) >= part:
                break
            if share not in found and connection.scalar(
                text("SELECT pg_try_advisory_lock(:kind, :share)"), {"kind": CLASS, "share": share}
            ):
                self._held.add(share)


def watches_at_work(connection: Connection) -> list[tuple[str, int]]:
    """Machine and process of each watch on a book on PostgreSQL, and how many shares it holds."""
    rows = connection.execute(text(WHO_HOLDS), {"kind": CLASS, "present": PRESENT})
    return [(name.removeprefix(NAME).strip(), shares) for name, shares in rows]
