"""The book's database: one engine, one session for one unit of work, and the schema's version."""

from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

from sqlalchemy import create_engine, event, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError
from sqlalchemy.orm import Session

from model.records.private import keep_private
from model.wood.errors import BadInput, ServiceMissing

MIGRATIONS = Path(__file__).parent / "migrations"
BUSY_TIMEOUT_S = 30.0
SERVER_WAITS = {"connect_timeout": 3, "tcp_user_timeout": 10_000}
"""How long a server may be silent [s, ms] before it counts as away (PostgreSQL's manual, libpq)."""
WAL_PAGES = 8_000
"""Pages of 4 kB that SQLite's log gathers before they are carried over into the file: 32 MB."""
BUSY_STATES = ("40001", "40P01", "55P03")
"""PostgreSQL's serialization failure, deadlock and lock not available (its manual, appendix A)."""
UNWRITABLE_STATES = ("25006", "53100")
"""PostgreSQL's read-only transaction and full disk."""
UNWRITABLE_WORDS = ("readonly", "disk is full", "disk I/O error")
"""SQLite's words for a disk that is read-only, full, or refuses a write (sqlite.org/rescode.html)."""


class StoreUnavailable(ServiceMissing):
    """The database can't be opened, written or understood; the message says which and what to do."""


class Store:
    """One database and the way to work with it.

    Parameters
    ----------
    url : str
        SQLAlchemy address: ``sqlite:///file`` or ``postgresql+psycopg://...``.
    busy_timeout_s : float
        How long a statement waits while another program writes a SQLite book.

    Raises
    ------
    BadInput
        If the address is none, or another database's.
    """

    def __init__(self, url: str, busy_timeout_s: float = BUSY_TIMEOUT_S) -> None:
        # The address itself is never repeated: a password may stand in it.
        scheme = url.partition(":")[0]
        try:
            self.url = make_url(url)
            backend = self.url.get_backend_name()
        except (ArgumentError, ValueError):
            raise BadInput("", "database address", "must be one such as sqlite:///file", scheme) from None
        if backend not in ("sqlite", "postgresql"):
            raise BadInput("", "database address", "must name sqlite or postgresql", backend)
        if self.is_sqlite:
            self.engine = create_engine(self.url, connect_args={"timeout": busy_timeout_s})
            event.listen(self.engine, "connect", _set_up_sqlite)
        else:
            self.url = self.url.set(drivername="postgresql+psycopg")
            self.engine = create_engine(self.url, pool_pre_ping=True, connect_args=SERVER_WAITS)

    @property
    def is_sqlite(self) -> bool:
        return self.url.get_backend_name() == "sqlite"

    @contextmanager
    def session(self) -> Iterator[Session]:
        """A unit of work: committed at the end, rolled back if it raises."""
        with Session(self.engine) as session, session.begin():
            yield session

    def close(self) -> None:
        self.engine.dispose()

    # ------------------------------------------------------------ schema

    def schema_revision(self) -> str | None:
        """The revision the database is at; none when it is empty."""
        with self.engine.connect() as connection:
            if not inspect(connection).has_table("alembic_version"):
                return None
            found: str | None = connection.scalar(text("SELECT version_num FROM alembic_version"))
            return found

    def exists(self) -> bool:
        """Whether there is a book; looking for one makes none.

        Raises
        ------
        StoreUnavailable
            If the database can't be asked.
        """
        if self.is_sqlite and not Path(self.url.database or "").exists():
            return False
        try:
            return self.schema_revision() is not None
        except SQLAlchemyError as error:
            raise self._unavailable(error) from error

    def bring_up_to_date(self) -> str:
        """Create or migrate the schema, and return its revision.

        Raises
        ------
        StoreUnavailable
            If the database can't be opened or written, or is from a newer version of the program.
        """
        try:
            if self.is_sqlite and self.url.database:
                keep_private(Path(self.url.database))
            current = self.schema_revision()
            self._refuse_newer(current)
            if current != newest_revision():
                self._migrate()
        except (DBAPIError, OSError) as error:
            raise self._unavailable(error) from error
        return newest_revision()

    def _migrate(self) -> None:
        from alembic import command  # here: a sixth of every start otherwise
        from alembic.config import Config

        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        with self.engine.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def require_current(self) -> None:
        """Refuse a database that is empty, older or newer than this program."""
        try:
            current = self.schema_revision()
        except SQLAlchemyError as error:
            raise self._unavailable(error) from error
        self._refuse_newer(current)
        if current != newest_revision():
            raise StoreUnavailable(
                f"the database {self.shown} is at schema {current or 'none'}, this program needs "
                f"{newest_revision()}: run `paneltide migrate`"
            )

    @property
    def shown(self) -> str:
        """The address for people, password masked."""
        return self.url.render_as_string(hide_password=True)

    @property
    def place(self) -> str:
        """Where the book is, for people: a file, or a server's address with its password masked."""
        return str(self.url.database) if self.is_sqlite else self.shown

    @property
    def mark(self) -> str:
        """Tells this book from others: a digest of its address, without user and password."""
        where = Path(self.url.database or "").resolve() if self.is_sqlite else self.url.database
        return sha256(f"{self.url.host}:{self.url.port}/{where}".encode()).hexdigest()

    def _refuse_newer(self, current: str | None) -> None:
        if current is not None and current not in _known_revisions():
            raise StoreUnavailable(
                f"the database {self.shown} is from a newer version of paneltide (schema {current}): "
                "update the program, or point database_url elsewhere"
            )

    def _unavailable(self, error: Exception) -> StoreUnavailable:
        return StoreUnavailable(f"the database {self.shown} can't be used: {cause_of(error)}")


def cause_of(error: BaseException) -> str:
    """The first line of what the database's driver says of an error."""
    lines = str(getattr(error, "orig", None) or error).strip().splitlines()
    return lines[0] if lines else type(error).__name__


def is_busy(error: BaseException) -> bool:
    """Whether a database error only says that another one writes just now: what failed can be tried again."""
    state, said = getattr(getattr(error, "orig", None), "sqlstate", None), cause_of(error)
    return state in BUSY_STATES or "locked" in said or "busy" in said


def is_unwritable(error: BaseException) -> bool:
    """Whether a database error says that its disk takes nothing: it is full or read-only."""
    state, said = getattr(getattr(error, "orig", None), "sqlstate", None), cause_of(error)
    return state in UNWRITABLE_STATES or any(words in said for words in UNWRITABLE_WORDS)


def newest_revision() -> str:
    """The schema revision this program writes."""
    return max(_known_revisions())


def _known_revisions() -> set[str]:
    # A migration's file is named after its revision.
    return {file.name.partition("_")[0] for file in (MIGRATIONS / "versions").glob("[0-9]*.py")}


def _set_up_sqlite(connection: object, _record: object) -> None:
    cursor = connection.cursor()  # type: ignore[attr-defined]
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.execute("PRAGMA synchronous = NORMAL")
    cursor.execute("PRAGMA foreign_keys = ON")
    # The watch changes the same pages each hour: carried over once in several hours, not at each.
    cursor.execute(f"PRAGMA wal_autocheckpoint = {WAL_PAGES}")
    cursor.close()
