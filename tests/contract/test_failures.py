"""Full disk, database gone, broker gone, clock stepped, power cut: afterwards all is well, counts agree."""

import json
import os
import resource
import signal
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from ingest.broker import EmbeddedBroker
from ingest.settings import IngestSettings
from ingest.subscriber import Subscriber
from model.records.book import add_place
from model.records.hangings import hang_sensor
from model.records.store import Store
from model.records.tables import Record, Sensor
from model.watch.evaluation import Watch

pytestmark = pytest.mark.broker
Start = Callable[..., Any]
ROOT = Path(__file__).parents[2]
COMPUTED = ("air_hour", "checkpoint", "margin", "verdict", "warning")


class Service:
    """`paneltide run` as a maker's machine runs it, and what it says of itself."""

    def __init__(self, folder: Path, mqtt_url: str, port: int, database_url: str = "") -> None:
        self.folder, self.port = folder, port
        self.environment = {
            **{name: value for name, value in os.environ.items() if not name.startswith("PANELTIDE_")},
            "PANELTIDE_DATA_DIR": str(folder),
            "PANELTIDE_DATABASE_URL": database_url,
            "PANELTIDE_MQTT_URL": mqtt_url,
            "PANELTIDE_PORT": str(port),
            "PANELTIDE_WATCH_INTERVAL_S": "0.2",
        }
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with (self.folder / "run.log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "deploy", "run"],
                env=self.environment,
                cwd=ROOT,
                stdout=log,
                stderr=log,
            )

    def health(self) -> dict[str, Any]:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=5) as answer:
                found: dict[str, Any] = json.load(answer)
        except urllib.error.HTTPError as error:
            found = json.load(error)
        except OSError:
            found = {}
        return found

    def well(self) -> bool:
        found = self.health()
        return bool(found.get("ok") and found["parts"].keys() >= {"ingest", "watch", "supervisor"})

    def parts(self) -> list[int]:
        """Process ids of the parts, as the supervisor tells them."""
        state = self.health()["parts"]["supervisor"]
        return [part["pid"] for part in state.values() if isinstance(part, dict) and part.get("pid")]

    def cut_off(self) -> None:
        """As a power cut ends it: the supervisor and every part at once."""
        assert self.process is not None
        for pid in [self.process.pid, *self.parts()]:
            os.kill(pid, signal.SIGKILL)
        self.process.wait(10)

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()

    def doctor(self) -> dict[str, tuple[str, str]]:
        """State and finding of everything the doctor looked at."""
        done = subprocess.run(
            [sys.executable, "-m", "deploy", "doctor", "--json"],
            env=self.environment, cwd=ROOT, capture_output=True, text=True,
        )  # fmt: skip
        assert done.stdout, done.stderr
        return {
            finding["what"]: (finding["state"], finding["found"])
            for finding in json.loads(done.stdout)["findings"]
        }


@pytest.fixture
def service(tmp_path: Path, free_port: Callable[[], int]) -> Iterator[Start]:
    started: list[Service] = []

    def start(mqtt_url: str, database_url: str = "") -> Service:
        folder = tmp_path / "data"
        folder.mkdir(exist_ok=True)
        made = Service(folder, mqtt_url, free_port(), database_url)
        started.append(made)
        made.start()
        return made

    yield start
    for made in started:
        made.stop()


@pytest.fixture
def free_port() -> Callable[[], int]:
    import socket

    def find() -> int:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port: int = probe.getsockname()[1]
            return port

    return find


@pytest.fixture
def saving_broker(
    tmp_path: Path, free_port: Callable[[], int], broker_answers: Start, until: Start
) -> Iterator[Any]:
    """mosquitto that writes its queue to disk every ten changes, on a port that stays the same."""
    from ingest.broker import mosquitto_program

    program = mosquitto_program()
    if program is None:
        pytest.skip("the program mosquitto is missing (Debian package mosquitto)")

    class Broker:
        port = free_port()
        process: "subprocess.Popen[bytes] | None" = None

        @property
        def url(self) -> str:
            return f"mqtt://127.0.0.1:{self.port}"

        def start(self) -> None:
            self.process = subprocess.Popen([program, "-c", str(config)], stderr=subprocess.DEVNULL)
            until(lambda: broker_answers("127.0.0.1", self.port), 20, "the broker")

        def kill(self) -> None:
            assert self.process is not None
            self.process.kill()
            self.process.wait(10)

    broker = Broker()
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    config = folder / "own.conf"
    config.write_text(
        f"listener {broker.port} 127.0.0.1\nallow_anonymous true\npersistence true\n"
        f"persistence_location {folder}/\nautosave_on_changes true\nautosave_interval 10\n"
        "max_queued_messages 0\nmax_inflight_messages 5000\n" + ("user root\n" if os.geteuid() == 0 else "")
    )
    broker.start()
    yield broker
    broker.kill()


def hang_all(store: Store) -> None:
    """Hang every sensor in the shop, so that the watch has work."""
    with store.session() as session:
        shop = add_place(session, "shop", "shop")
        for sensor in session.query(Sensor):
            hang_sensor(session, sensor, shop, datetime(2020, 1, 1, tzinfo=UTC))


def counts_agree(store: Store, world: Any, sent: int) -> None:
    assert world.rows(store) == sent
    assert world.tally(store, "stored") == sent
    received = world.tally(store, "received")
    assert received == sent + world.tally(store, "duplicate")
    assert world.scalar(store, "SELECT count(*) FROM rejected_message") == 0


def computed(store: Store) -> dict[str, list[str]]:
    with store.engine.connect() as connection:
        return {
            name: sorted(
                str(tuple(row))
                for row in connection.execute(
                    text(f"SELECT * FROM {name}")
                    if name != "verdict"
                    else text("SELECT subject_kind, subject_id, verdict FROM verdict")
                )
            )
            for name in COMPUTED
        }


# ---------------------------------------------------------------- a full disk


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="only Linux can limit a running process")
def test_a_full_disk_loses_nothing_and_is_said_once(
    mosquitto: EmbeddedBroker, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    world.bind(store)
    process = ingest(store, mosquitto.url)
    pid = process.process.pid
    sender = publisher(mosquitto.port)
    sender.send(world.messages(500))
    until(lambda: world.rows(store) >= 500)
    # A file of this process can't grow any more: the kernel answers each write as it would on a full disk.
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (4096, resource.RLIM_INFINITY))
    sender.send(world.messages(3_000, first=500))
    until(lambda: "the database can't be written" in process.said)
    assert sender.wait(10)  # the broker keeps them
    assert world.rows(store) == 500
    assert process.process.poll() is None
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    until(lambda: world.rows(store) >= 3_500)
    until(lambda: "the database can be written again" in process.said)
    counts_agree(store, world, 3_500)
    assert world.scalar(store, "PRAGMA integrity_check") == "ok"
    assert process.said.count("the database can't be written") == 1


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="only Linux can limit a running process")
def test_the_watch_waits_for_a_full_disk_to_be_freed(
    store: Store, world: Any, until: Start, tmp_path: Path
) -> None:
    world.bind(store, 1)
    hang_all(store)
    command = [sys.executable, "-m", "deploy", "watch"]
    environment = {
        **os.environ,
        "PANELTIDE_DATA_DIR": str(tmp_path),
        "PANELTIDE_DATABASE_URL": store.url.render_as_string(hide_password=False),
        "PANELTIDE_WATCH_INTERVAL_S": "0.1",
    }
    log = tmp_path / "watch.log"
    with log.open("wb") as out:
        watch = subprocess.Popen(command, env=environment, cwd=ROOT, stdout=out, stderr=out)
    try:
        until(lambda: world.scalar(store, "SELECT count(*) FROM pulse WHERE part = 'watch'"))
        resource.prlimit(watch.pid, resource.RLIMIT_FSIZE, (1024, resource.RLIM_INFINITY))
        with store.session() as session:
            session.execute(
                text(
                    "INSERT INTO reading (sensor_id, observed_at, received_at, temperature_c, rh_pct, clock) "
                    "VALUES (1, 1770120600000, 1770120600000, 20.0, 45.0, 'device')"
                )
            )
            session.execute(text("INSERT INTO stale_hour VALUES (1, 1770120000000, 1)"))
        until(lambda: "can't be used" in log.read_text())
        assert world.scalar(store, "SELECT count(*) FROM air_hour") == 0
        resource.prlimit(watch.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
        until(lambda: world.scalar(store, "SELECT count(*) FROM air_hour WHERE n_readings = 1"), 60)
        until(lambda: not world.scalar(store, "SELECT count(*) FROM stale_hour"))
        assert watch.poll() is None
    finally:
        watch.terminate()
        watch.wait(10)


# ---------------------------------------------------------------- database and broker gone and back


@pytest.mark.postgres
def test_database_and_then_broker_gone_and_back(
    saving_broker: Any,
    postgres: Any,
    postgres_store: Store,
    world: Any,
    service: Start,
    publisher: Start,
    until: Start,
) -> None:
    world.bind(postgres_store)
    hang_all(postgres_store)
    running = service(saving_broker.url, postgres_store.url.render_as_string(hide_password=False))
    until(running.well, 60, "the service")
    sender = publisher(saving_broker.port)
    sender.send(world.messages(1_000))
    until(lambda: world.rows(postgres_store) >= 1_000)

    postgres.stop()
    postgres_store.close()
    sender.send(world.messages(1_000, first=1_000))
    assert sender.wait(10)

    def told() -> bool:
        found = running.health()
        return not found.get("ok", True) and "database can't be used" in " ".join(found["problems"])

    until(told, 30, "the page to say that the database is gone")
    postgres.start()
    until(lambda: world.rows(postgres_store) >= 2_000, 60)
    until(running.well, 60, "the service after the database came back")

    saving_broker.kill()
    until(lambda: "the broker is not connected" in running.health()["problems"], 30)
    saving_broker.start()
    until(running.well, 60, "the service after the broker came back")
    again = publisher(saving_broker.port)
    again.send(world.messages(1_000, first=2_000))
    until(lambda: world.rows(postgres_store) >= 3_000)
    until(lambda: world.tally(postgres_store, "stored") >= 3_000)
    counts_agree(postgres_store, world, 3_000)
    until(lambda: not world.scalar(postgres_store, "SELECT count(*) FROM stale_hour"), 60)
    assert {state for state, _ in running.doctor().values()} == {"well"}, running.doctor()


# ---------------------------------------------------------------- a clock that steps


def test_ingest_keeps_every_message_through_a_clock_that_steps_by_a_day(
    mosquitto: EmbeddedBroker, store: Store, world: Any, publisher: Start, until: Start
) -> None:
    world.bind(store, timed=False)
    step = timedelta()
    subscriber = Subscriber(store, IngestSettings(port=mosquitto.port), lambda: datetime.now(UTC) + step)
    stop = threading.Event()
    thread = threading.Thread(target=subscriber.run, args=(stop,), daemon=True)
    thread.start()
    until(lambda: '"broker_connected": true' in (world.scalar(store, "SELECT detail FROM pulse") or ""))
    sender = publisher(mosquitto.port)
    sent = 0
    for step in (timedelta(), timedelta(days=1), timedelta(), timedelta(days=-1), timedelta()):  # noqa: B007
        sender.send(world.messages(400, first=sent, timed=False))
        sent += 400
        until(lambda sent=sent: world.rows(store) >= sent)
    stop.set()
    thread.join(5)
    counts_agree(store, world, sent)
    values = "SELECT count(*) FROM (SELECT DISTINCT sensor_id, temperature_c, rh_pct FROM reading) AS one"
    assert world.scalar(store, values) == sent


def test_the_watch_comes_to_the_same_through_a_clock_that_steps_by_a_day(tmp_path: Path) -> None:
    start = datetime(2026, 1, 5, tzinfo=UTC)

    def book(name: str) -> Store:
        made = Store(f"sqlite:///{tmp_path / name}")
        made.bring_up_to_date()
        with made.session() as session:
            session.add(Sensor(name="bench", accepted_at=start))
            session.flush()
        hang_all(made)
        return made

    def send(store: Store, first: int, hours: int) -> None:
        with store.session() as session:
            for hour in range(first, first + hours):
                at = round((start + (hour + 0.5) * timedelta(hours=1)).timestamp() * 1_000)
                session.execute(
                    text(
                        "INSERT INTO reading (sensor_id, observed_at, received_at, temperature_c, rh_pct,"
                        " clock) VALUES (1, :at, :at, :t, :rh, 'device')"
                    ),
                    {"at": at, "t": 20 + hour % 5 / 10, "rh": 45 + hour % 7 / 10},
                )
                session.execute(text("INSERT INTO stale_hour VALUES (1, :h, 1)"), {"h": at - 1_800_000})

    def at(hours: float) -> datetime:
        return start + hours * timedelta(hours=1)

    stepped, steady = book("stepped.sqlite"), book("steady.sqlite")
    watch = Watch(stepped)
    send(stepped, 0, 30)
    for now in (at(30), at(54), at(30.1), at(6)):  # right, a day ahead, right, a day behind
        watch.bring_up_to_date(now)
    send(stepped, 30, 50)
    watch.bring_up_to_date(at(80))
    send(steady, 0, 80)
    Watch(steady).bring_up_to_date(at(80))
    assert computed(stepped) == computed(steady)
    assert len(computed(steady)["air_hour"]) == 80
    for store in (stepped, steady):
        store.close()


# ---------------------------------------------------------------- a power cut


def test_a_power_cut_leaves_a_whole_book_and_counts_that_agree(
    saving_broker: Any, world: Any, service: Start, publisher: Start, until: Start, tmp_path: Path
) -> None:
    (tmp_path / "data").mkdir()
    store = Store(f"sqlite:///{tmp_path / 'data' / 'paneltide.sqlite'}")
    store.bring_up_to_date()
    world.bind(store)
    hang_all(store)
    running = service(saving_broker.url)
    until(running.well, 60, "the service")
    sender = publisher(saving_broker.port)
    for first in range(0, 2_000, 250):
        sender.send(world.messages(250, first=first))
    until(lambda: world.rows(store) >= 1_000)
    running.cut_off()
    saving_broker.kill()
    kept = world.rows(store)
    assert kept >= 1_000
    assert world.scalar(store, "PRAGMA integrity_check") == "ok"
    assert world.tally(store, "stored") == kept

    saving_broker.start()
    running.start()
    until(running.well, 60, "the service after the power came back")
    # What the broker held unsaved is gone with it; sensors that keep a log hand it in again.
    again = publisher(saving_broker.port)
    again.send(world.messages(2_000))
    assert again.wait(60)
    until(lambda: world.rows(store) >= 2_000)
    last = world.messages(1, first=2_000)
    again.send(last)
    until(lambda: world.tally(store, "stored") >= 2_001)
    counts_agree(store, world, 2_001)
    until(lambda: not world.scalar(store, "SELECT count(*) FROM stale_hour"), 60)
    found = running.doctor()
    assert {state for state, _ in found.values()} == {"well"}, found
    running.stop()
    fresh = Store(f"sqlite:///{tmp_path / 'fresh.sqlite'}")
    fresh.bring_up_to_date()
    # The air that the watch made through the cut is the air made at once from the same readings.
    with store.engine.connect() as old, fresh.engine.begin() as new:
        for table in Record.metadata.sorted_tables:
            if table.name in ("place", "sensor", "hanging", "reading"):
                rows = [dict(row._mapping) for row in old.execute(table.select())]
                new.execute(table.insert(), rows)
        new.execute(
            text(
                "INSERT INTO stale_hour SELECT DISTINCT sensor_id, observed_at / 3600000 * 3600000, 1 "
                "FROM reading"
            )
        )
    Watch(fresh).bring_up_to_date(datetime.now(UTC))
    measured = (
        "SELECT place_id, hour_at, temperature_c, rh_pct, n_readings FROM air_hour WHERE n_readings > 0"
    )
    with store.engine.connect() as old, fresh.engine.connect() as new:
        assert sorted(map(tuple, old.execute(text(measured)))) == sorted(
            map(tuple, new.execute(text(measured)))
        )
    store.close()
    fresh.close()
