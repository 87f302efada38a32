"""Ingest's own connection to the book: its waits are short, and what it is told is on the disk, is."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from model.records.bulk import Bulk
from model.records.store import Store, is_busy

log = logging.getLogger("paneltide.ingest")

LOCK_WAIT_MS = 200
STATEMENT_WAIT_MS = 10_000


class IngestConnection:
    """Opened when it is wanted, and again when it broke. Not for several threads.

    Statements outside a transaction commit themselves. Whatever the database refuses or is too busy for is
    raised as SQLAlchemy's `DBAPIError`.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._connection: Connection | None = None
        self._durable: bool | None = None

    @property
    def bulk(self) -> Bulk:
        """Statements on the connection in use."""
        if self._connection is None or self._connection.invalidated:
            connection = self._store.engine.connect()
            connection = connection.execution_options(isolation_level="AUTOCOMMIT")
            connection.detach()  # its settings are no others'
            self._connection, bulk, self._durable = connection, Bulk(connection), None
            if bulk.is_sqlite:
                bulk.run(f"PRAGMA busy_timeout = {LOCK_WAIT_MS}")
            else:
                bulk.run(f"SET statement_timeout = {STATEMENT_WAIT_MS}")
                bulk.run(f"SET lock_timeout = {STATEMENT_WAIT_MS // 2}")
        return Bulk(self._connection)

    @contextmanager
    def transaction(self, durable: bool = True) -> Iterator[Bulk]:
        """Commit what is done inside, or nothing of it; one that is durable is on the disk by then.

        Raises
        ------
        DBAPIError
            If the database is locked, full or gone; the connection is given up unless it was only busy.
        """
        try:
            bulk = self.bulk
            if durable != self._durable:
                # The store's own NORMAL may lose the last commits at a power cut; messages that the broker
                # has been told we hold must not be among them.
                full, off = ("FULL", "NORMAL") if bulk.is_sqlite else ("on", "off")
                setting = "PRAGMA synchronous" if bulk.is_sqlite else "SET synchronous_commit"
                bulk.run(f"{setting} = {full if durable else off}")
                self._durable = durable
            bulk.run("BEGIN IMMEDIATE" if bulk.is_sqlite else "BEGIN")
            try:
                yield bulk
                bulk.run("COMMIT")
            except BaseException:
                with suppress(SQLAlchemyError):
                    bulk.run("ROLLBACK")
                raise
        except DBAPIError as error:
            if not is_busy(error):
                self.drop()
            raise

    def drop(self) -> None:
        """Give up a connection that may be broken."""
        connection, self._connection = self._connection, None
        if connection is not None:
            try:
                connection.close()
            except Exception as error:
                log.debug("closing a broken database connection: %s", error)
