"""What a workshop's machine goes through: nothing is lost, and whoever looks is told in plain words."""

import json
import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, event

from deploy import doctor
from deploy.cli import safety_commands
from deploy.cli.commands import main
from ingest.broker.embedded import EmbeddedBroker
from ingest.mqtt import link
from ingest.mqtt.subscriber import Subscriber
from ingest.settings import IngestSettings
from model.records.acts.places import add_place
from model.records.schema.tables import Pulse
from model.records.store import Store

Ask = Callable[..., tuple[int, str]]


@pytest.fixture
def book(
    tmp_path: Path, new_book: Callable[[Path], Store], monkeypatch: pytest.MonkeyPatch
) -> Iterator[Store]:
    """The book of an installation of its own, with two places."""
    folder = tmp_path / "data"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(folder))
    made = new_book(folder / "paneltide.sqlite")
    with made.session() as session:
        add_place(session, "Shop", "shop")
        add_place(session, "Mill lane", "home")
    yield made
    made.close()


@pytest.fixture
def ask(capsys: pytest.CaptureFixture[str]) -> Ask:
    """Runs a command: its exit status, and what it said."""

    def run(*words: object) -> tuple[int, str]:
        with pytest.raises(SystemExit) as ended:
            main([str(word) for word in words])
        printed = capsys.readouterr()
        return int(str(ended.value.code)), printed.out + printed.err

    return run


def places(ask: Ask) -> list[str]:
    return sorted(place["name"] for place in json.loads(ask("state", "--json")[1])["places"])


# ---------------------------------------------------------------- the disk


def test_a_read_only_disk_is_said_in_one_line_and_what_is_there_can_be_read(book: Store, ask: Ask) -> None:
    def mount_read_only(connection: Any, _record: object) -> None:
        connection.execute("PRAGMA query_only = ON")

    event.listen(Engine, "connect", mount_read_only)
    try:
        status, said = ask("place", "add", "Loft", "--kind", "home")
        assert status == 3
        assert said.count("\n") == 1
        assert "nothing was stored; its disk is full or read-only: mend it, then try again" in said
        assert places(ask) == ["Mill lane", "Shop"]
        status, said = ask("status")
        assert status == 1
        assert "The database can't be written" in said
        assert "can be read, not written" in ask("doctor")[1]
    finally:
        event.remove(Engine, "connect", mount_read_only)
    assert ask("place", "add", "Loft", "--kind", "home")[0] == 0
    assert places(ask) == ["Loft", "Mill lane", "Shop"]


def test_a_copy_without_its_log_lacks_what_a_backup_holds_and_the_doctor_says_so(
    book: Store, ask: Ask, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, said = ask("doctor")
    assert "Its newest part is in the log beside it: the file alone is no backup" in said
    archive, log = tmp_path / "book.zip", Path(f"{book.url.database}-wal")
    assert ask("place", "add", "Loft", "--kind", "home")[0] == 0
    whole = log.read_bytes()
    assert ask("backup", "--out", archive)[0] == 0

    def look_at(folder: str) -> list[str]:
        monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / folder))
        return places(ask)

    for folder in ("copy", "torn"):
        (tmp_path / folder).mkdir()
        shutil.copy(str(book.url.database), tmp_path / folder)
    # As of a power cut while the last place was written: the log ends in the middle of it.
    (tmp_path / "torn" / "paneltide.sqlite-wal").write_bytes(whole[:-100])
    assert look_at("copy") == []
    assert look_at("torn") == ["Mill lane", "Shop"]
    assert ask("place", "add", "Loft", "--kind", "home")[0] == 0  # whole as far as it goes
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "restored"))
    assert ask("restore", archive)[0] == 0
    assert places(ask) == ["Loft", "Mill lane", "Shop"]


# ---------------------------------------------------------------- the database server


@pytest.mark.postgres
def test_a_move_through_a_restart_of_the_server_is_refused_and_succeeds_the_second_time(
    book: Store, postgres: Any, ask: Ask, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    postgres.create("moved")

    def move_to(address: str, restart_while: str = "") -> tuple[int, str]:
        """Move to an address, with a restart of the server while one book is copied or the other filled."""
        stages = iter(("copied", "filled"))

        def by_table(_advance: Any) -> Callable[[str, int], None]:
            due = [next(stages) == restart_while]

            def step(table: str, rows: int) -> None:
                if table == "place" and rows and due.pop():
                    postgres.stop()
                    postgres.start()
                    due.append(False)

            return step

        monkeypatch.setattr(safety_commands, "by_table", by_table)
        return ask("move", "--to", address)

    def refused(told: tuple[int, str]) -> bool:
        status, said = told
        return status == 3 and said.count("\n") == 1 and "run it again" in said

    server, back = postgres.url("moved"), f"sqlite:///{tmp_path / 'back.sqlite'}"
    assert refused(move_to(server, "filled"))
    assert places(ask) == ["Mill lane", "Shop"]
    assert move_to(server)[0] == 0
    monkeypatch.setenv("PANELTIDE_DATABASE_URL", server)
    assert refused(move_to(back, "copied"))
    assert move_to(back)[0] == 0
    monkeypatch.setenv("PANELTIDE_DATABASE_URL", back)
    assert places(ask) == ["Mill lane", "Shop"]


# ---------------------------------------------------------------- the broker


class CuttingWay:
    """The network before a broker: it can close every connection that goes through it."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._open: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                ours, _ = self._listener.accept()
                theirs = socket.create_connection(("127.0.0.1", self._to))
                self._open += [ours, theirs]
                for one, other in ((ours, theirs), (theirs, ours)):
                    threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    @staticmethod
    def _carry(one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while data := one.recv(4_096):
                other.sendall(data)
        for end in (one, other):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def cut(self) -> None:
        """Close what is open now, in the middle of whatever is on its way."""
        closing_now, self._open = self._open, []
        for one in closing_now:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._listener.close()
        self.cut()


@pytest.mark.broker
def test_a_broker_that_closes_on_us_again_and_again_loses_and_doubles_nothing(
    mosquitto: EmbeddedBroker,
    book: Store,
    world: Any,
    publisher: Callable[..., Any],
    until: Callable[..., Any],
    ask: Ask,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(link, "SETTLED_S", 0.0)  # a second stands for the minute
    count, cuts = 6_000, doctor.MANY_CUTS + 2
    world.bind(book, timed=False)  # without a time of their own, nothing but the packet tells twins apart
    with closing(CuttingWay(mosquitto.port)) as way:
        settings = replace(IngestSettings(port=way.port), client_id="cut")
        stop = threading.Event()
        thread = threading.Thread(
            target=Subscriber(book, settings, lambda: datetime.now(UTC)).run, args=(stop,), daemon=True
        )
        thread.start()

        def told() -> dict[str, Any]:
            with book.session() as session:
                pulse = session.get(Pulse, "ingest")
                return {} if pulse is None else pulse.detail["broker"]

        until(lambda: told().get("connected"), what="the first connection")
        sender = publisher(mosquitto.port)
        sender.send(world.messages(count, timed=False))
        for cut in range(1, cuts + 1):
            until(
                lambda cut=cut: world.rows(book) >= count * cut // (2 * cuts), what=f"rows before cut {cut}"
            )
            until(lambda: told()["connected"], what="the connection")
            way.cut()
            until(lambda cut=cut: told()["cuts"] >= cut, what=f"cut {cut} to be noticed")
        until(lambda: world.rows(book) >= count, what="the last rows")
        _, said = ask("doctor")
        stop.set()
        thread.join(120)
    assert f"its connection to the broker ended {cuts} times in the last hour, nothing is lost" in said
    assert "look at the network between them" in said
    assert world.rows(book) == count
    values = "SELECT count(*) FROM (SELECT DISTINCT sensor_id, temperature_c, rh_pct FROM reading) AS one"
    assert world.scalar(book, values) == count
