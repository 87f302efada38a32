"""Real brokers and a real database, each on a free loopback port, and ingest as the process it is in life."""

import contextlib
import importlib.util
import os
import pwd
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from ingest.broker.embedded import EmbeddedBroker, answers, mosquitto_program
from model.records.store import Store

HERE = Path(__file__).parent


def _load(name: str, path: Path) -> Any:
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


# Fixtures that only tests of the whole service use.
whole_service = _load("paneltide_whole_service", HERE / "whole_service.py")
service, saving_broker = whole_service.service, whole_service.saving_broker
World = _load("paneltide_contract_world", HERE / "world.py").World
publisher_module = _load("paneltide_bench_publisher", HERE.parent / "bench" / "publisher.py")


PATIENCE_S = 120.0  # a loaded machine may take its time; a wait for what comes costs no more than it takes


def until(condition: Callable[[], Any], timeout_s: float = PATIENCE_S, what: str = "the condition") -> Any:
    """Wait until the condition gives something true, and return that."""
    deadline, pause = time.monotonic() + timeout_s, threading.Event()
    while True:
        found = condition()
        if found:
            return found
        assert time.monotonic() < deadline, f"{what} didn't come within {timeout_s} s"
        pause.wait(0.02)


@pytest.fixture(name="until")
def until_fixture() -> Callable[..., Any]:
    return until


# ---------------------------------------------------------------- brokers


@pytest.fixture(params=["mosquitto", "iotcore"])
def broker(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[EmbeddedBroker]:
    """The embedded broker, in both its kinds. Its queue is saved rarely: here the rate counts."""
    if request.param == "mosquitto" and mosquitto_program() is None:
        pytest.skip("the program mosquitto is missing (Debian package mosquitto)")
    if request.param == "iotcore":
        pytest.importorskip("iotcore", reason="the wheel iotcore is missing")
    with EmbeddedBroker(tmp_path / "broker", kind=request.param, save_every=1_000) as started:
        yield started


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[EmbeddedBroker]:
    """mosquitto as paneltide embeds it."""
    if mosquitto_program() is None:
        pytest.skip("the program mosquitto is missing (Debian package mosquitto)")
    with EmbeddedBroker(tmp_path / "broker", kind="mosquitto") as started:
        yield started


class OwnMosquitto:
    """A mosquitto of somebody else's, with a configuration that isn't ours."""

    def __init__(self, folder: Path, config: str) -> None:
        program = mosquitto_program()
        assert program is not None
        folder.mkdir(exist_ok=True)
        self.port = free_port()
        text_of_it = config.format(port=self.port, folder=f"{folder}/")
        if os.geteuid() == 0:
            text_of_it += "user root\n"
        (folder / "own.conf").write_text(text_of_it)
        self._process = subprocess.Popen([program, "-c", str(folder / "own.conf")], stderr=subprocess.DEVNULL)

    def wait_for_port(self) -> None:
        def listens() -> bool:
            with contextlib.suppress(OSError):
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return True
            return False

        until(listens, what="the broker")

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(PATIENCE_S)


@pytest.fixture
def own_mosquitto(tmp_path: Path) -> Iterator[Callable[[str], OwnMosquitto]]:
    """Starts a mosquitto with the configuration given; ``{port}`` and ``{folder}`` are filled in."""
    if mosquitto_program() is None:
        pytest.skip("the program mosquitto is missing (Debian package mosquitto)")
    started: list[OwnMosquitto] = []

    def start(config: str) -> OwnMosquitto:
        broker = OwnMosquitto(tmp_path / f"own{len(started)}", config)
        started.append(broker)
        broker.wait_for_port()
        return broker

    yield start
    for broker in started:
        broker.stop()


def free_port() -> int:
    """A port nobody holds, below those the system hands out to clients.

    A client that tries again and again to reach a server that is down would else, now and then, be given
    the server's own port, connect to itself and keep the server from coming back (RFC 9293, 3.5: simultaneous
    open).
    """
    while True:
        port = random.randrange(15_000, 32_000)
        with socket.socket() as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port


@pytest.fixture(name="free_port")
def free_port_fixture() -> Callable[[], int]:
    return free_port


# ---------------------------------------------------------------- PostgreSQL


class Postgres:
    """A PostgreSQL server of the test's own."""

    def __init__(self, folder: Path) -> None:
        self._bin = _postgres_programs()
        self._folder = folder
        self._user = _server_user()
        self.port = free_port()
        if self._user is not None:
            for part in (folder, *folder.parents):
                # The server's user must be able to get to its folder.
                with contextlib.suppress(PermissionError):
                    part.chmod(part.stat().st_mode | 0o011)
            os.chown(folder, self._user.pw_uid, self._user.pw_gid)
        self._run(
            "initdb", "-D", str(folder / "data"), "-U", "paneltide", "-A", "trust", "--no-sync", "-E", "UTF8"
        )
        self._server: subprocess.Popen[bytes] | None = None
        self.start()

    @property
    def _admin(self) -> str:
        return f"host=127.0.0.1 port={self.port} user=paneltide dbname=postgres"

    def url(self, database: str) -> str:
        return f"postgresql+psycopg://paneltide@127.0.0.1:{self.port}/{database}"

    def start(self) -> None:
        log = self._folder / "server.log"
        with log.open("ab") as out:
            self._server = subprocess.Popen(
                [str(self._bin / "postgres"), "-D", str(self._folder / "data"), "-p", str(self.port),
                 "-h", "127.0.0.1", "-k", str(self._folder), "-c", "fsync=off", "-c", "full_page_writes=off"],
                stdout=out, stderr=out, cwd="/", **self._as_user(),
            )  # fmt: skip
        server = self._server
        until(lambda: self._ready() or server.poll() is not None, what="PostgreSQL")
        assert server.poll() is None, log.read_text("utf-8", "replace")

    def stop(self) -> None:
        assert self._server is not None
        self._server.send_signal(2)  # SIGINT: fast shutdown, sessions are cut off
        self._server.wait(PATIENCE_S)

    def create(self, database: str, template: str = "template1") -> None:
        import psycopg

        with psycopg.connect(self._admin, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {database} TEMPLATE {template}")

    def _ready(self) -> bool:
        import psycopg

        with contextlib.suppress(psycopg.OperationalError):
            psycopg.connect(self._admin, connect_timeout=2).close()
            return True
        return False

    def _run(self, program: str, *arguments: str) -> None:
        subprocess.run(
            [str(self._bin / program), *arguments],
            check=True,
            capture_output=True,
            cwd="/",
            **self._as_user(),
        )

    def _as_user(self) -> dict[str, Any]:
        if self._user is None:
            return {}
        return {
            "user": self._user.pw_uid,
            "group": self._user.pw_gid,
            "extra_groups": [],
            "env": {"PATH": os.environ["PATH"]},
        }


def _postgres_programs() -> Path:
    found = shutil.which("initdb")
    places = [Path(found).resolve().parent] if found else []
    places += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    for place in places:
        if (place / "postgres").exists() and (place / "initdb").exists():
            return place
    pytest.skip("the program postgres is missing (Debian package postgresql)")


def _server_user() -> pwd.struct_passwd | None:
    """PostgreSQL refuses to run as root; then it runs as a system user."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        with contextlib.suppress(KeyError):
            return pwd.getpwnam(name)
    pytest.skip("PostgreSQL doesn't run as root, and there is no user postgres or nobody")


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """One server for all tests; each makes a database of its own."""
    pytest.importorskip("psycopg", reason="the driver psycopg is missing (extra postgres)")
    # Not in pytest's own folder: another run of pytest closes that to the server's user.
    with tempfile.TemporaryDirectory(prefix="paneltide-postgres-") as folder:
        server = Postgres(Path(folder))
        yield server
        server.stop()


@pytest.fixture(scope="session")
def empty_postgres_book(postgres: Postgres) -> str:
    """A database that went through every migration, to copy."""
    postgres.create("empty_book")
    book = Store(postgres.url("empty_book"))
    book.bring_up_to_date()
    book.close()
    return "empty_book"


@pytest.fixture
def postgres_store(
    postgres: Postgres, empty_postgres_book: str, request: pytest.FixtureRequest
) -> Iterator[Store]:
    name = f"book_{abs(hash(request.node.nodeid))}"
    postgres.create(name, empty_postgres_book)
    book = Store(postgres.url(name))
    yield book
    book.close()


# ---------------------------------------------------------------- ingest and its world


class IngestProcess:
    """Ingest as a process of its own, as `paneltide run` keeps it."""

    def __init__(self, store: Store, url: str, log: Path, *options: str) -> None:
        self._log = log.open("ab")
        self.log = log
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.ingest_process", "--mqtt-url", url, "--database-url",
             store.url.render_as_string(hide_password=False), *options],
            cwd=HERE.parents[1], stdout=self._log, stderr=self._log,
        )  # fmt: skip

    def kill(self) -> None:
        """As a power cut ends it."""
        self.process.kill()
        self.process.wait(PATIENCE_S)
        self._log.close()

    def stop(self) -> int:
        self.process.terminate()
        status = self.process.wait(PATIENCE_S)
        self._log.close()
        return status

    @property
    def said(self) -> str:
        return self.log.read_text("utf-8", "replace")


@pytest.fixture
def ingest(tmp_path: Path) -> Iterator[Callable[..., IngestProcess]]:
    """Starts ingest on a store and a broker's address."""
    started: list[IngestProcess] = []

    def start(store: Store, url: str, *options: str, wait: bool = True) -> IngestProcess:
        process = IngestProcess(store, url, tmp_path / f"ingest{len(started)}.log", *options)
        started.append(process)
        if wait:
            until(lambda: "connected to the broker" in process.said, what="ingest")
        return process

    yield start
    for process in started:
        if process.process.poll() is None:
            process.kill()


@pytest.fixture
def publisher() -> Iterator[Callable[[int], Any]]:
    """Connects a publisher to a port."""
    started: list[Any] = []

    def connect(port: int) -> Any:
        made = publisher_module.Publisher(port, f"test-publisher-{len(started)}")
        started.append(made)
        return made

    yield connect
    for made in started:
        with contextlib.suppress(OSError):
            made.close()


@pytest.fixture
def world() -> Any:
    """What the tests say about sensors, messages and rows."""
    return World


@pytest.fixture
def broker_answers() -> Callable[[str, int], bool]:
    return answers


@pytest.fixture(scope="session")
def contract_kit() -> Iterator[Any]:
    """Makers of everything, for tests that need more than one of a kind at a time."""
    publishers: list[Any] = []

    def postgres(folder: Path) -> Postgres:
        pytest.importorskip("psycopg", reason="the driver psycopg is missing (extra postgres)")
        folder.mkdir()
        return Postgres(folder)

    def publisher(port: int) -> Any:
        publishers.append(publisher_module.Publisher(port, f"test-kit-{len(publishers)}"))
        return publishers[-1]

    def ingest(store: Store, url: str, log: Path) -> IngestProcess:
        process = IngestProcess(store, url, log)
        until(lambda: "connected to the broker" in process.said, what="ingest")
        return process

    yield SimpleNamespace(
        until=until,
        world=World,
        postgres=postgres,
        broker=lambda folder: whole_service.SavingBroker(folder, free_port(), until),
        publisher=publisher,
        ingest=ingest,
    )
    for made in publishers:
        with contextlib.suppress(OSError):
            made.close()
