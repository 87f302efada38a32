"""Soak: many sensors, one message a second each, while parts are killed and stopped at random.

    python tests/bench/soak.py [--minutes 30] [--sensors 200] [--rate 1] [--restart-every 45] [--seed 7]

Starts a mosquitto and a PostgreSQL of its own on free loopback ports, and ingest, watch and dashboard as the
commands that a server runs. Every message is numbered; those the broker has acknowledged count as sent. At
the end rows are counted against what was sent, sensor by sensor. Probes measure the way from message to page:
the first message of a place turns its verdict from unknown to known, and its page is asked until it shows so.

Exit status 0 when nothing is lost, nothing doubled, memory flat and the 99th percentile of the way to the
page below ten seconds.
"""

import argparse
import contextlib
import json
import os
import pwd
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select, text
from sqlalchemy.exc import SQLAlchemyError

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from model.records.book import add_piece, add_place  # noqa: E402
from model.records.hangings import hang_sensor  # noqa: E402
from model.records.rewind import HOUR  # noqa: E402
from model.records.store import Store  # noqa: E402
from model.records.tables import Binding, Place, Sensor  # noqa: E402
from model.wood.piece import read_piece  # noqa: E402

PLACES = 20
PROBE_EVERY_S = 2.0
LIMIT_S = 10.0
MEMORY_GROWTH = 1.25
"""A part may take this much more at the end than when it had settled."""
PAYLOAD = {"shape": "json", "temperature": "/t", "rh": "/h", "time": "/at"}
PIECE = """
[piece]
name = "{name}"
[member.panel]
species = "black walnut"
cut = "flat-sawn"
width = "300mm"
mc_pct = 8.0
thickness = "16mm"
finish = {{ face = "oil-modified urethane varnish", coats = 2 }}
[fit.panel]
kind = "panel-in-groove"
member = "panel"
held = "centre"
sight_width = "288mm"
groove_depth = "10mm"
"""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def wait_for(condition: Callable[[], Any], timeout_s: float, what: str) -> Any:
    deadline = time.monotonic() + timeout_s
    while True:
        found = condition()
        if found:
            return found
        if time.monotonic() > deadline:
            raise SystemExit(f"{what} didn't come within {timeout_s:g} s")
        time.sleep(0.05)


# ---------------------------------------------------------------- parts


class Part:
    """A process that may be killed or stopped, and starts again."""

    def __init__(
        self, name: str, command: list[str], log: Path, environment: Mapping[str, str], user: Any = None
    ) -> None:
        self.name, self.command, self.log, self.environment, self.user = name, command, log, environment, user
        self.process: subprocess.Popen[bytes] | None = None
        self.starts = 0
        self.memory: list[tuple[float, int]] = []  # seconds since this start, resident bytes
        self.started_s = 0.0

    def start(self) -> None:
        who: dict[str, Any] = {}
        if self.user is not None:
            who = {"user": self.user.pw_uid, "group": self.user.pw_gid, "extra_groups": []}
        with self.log.open("ab") as out:
            self.process = subprocess.Popen(
                self.command, env=dict(self.environment), cwd="/" if self.user else ROOT,
                stdin=subprocess.DEVNULL, stdout=out, stderr=out, **who,
            )  # fmt: skip
        self.starts += 1
        self.started_s = time.monotonic()

    def end(self, number: int, timeout_s: float = 30.0) -> None:
        if self.process is None or self.process.poll() is not None:
            return
        self.process.send_signal(number)
        try:
            self.process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def sample_memory(self) -> None:
        if self.process is None or self.process.poll() is not None:
            return
        with contextlib.suppress(OSError, IndexError):
            pages = int(Path(f"/proc/{self.process.pid}/statm").read_text().split()[1])
            self.memory.append((time.monotonic() - self.started_s, pages * os.sysconf("SC_PAGE_SIZE")))


class World:
    """Broker, database and the three parts, in a folder of their own."""

    def __init__(self, folder: Path, save_every: int = 10) -> None:
        self.folder = folder
        self.mqtt_port, self.sql_port, self.page_port = free_port(), free_port(), free_port()
        self.url = f"postgresql+psycopg://paneltide@127.0.0.1:{self.sql_port}/book"
        environment = {name: value for name, value in os.environ.items() if not name.startswith("PANELTIDE_")}
        environment |= {
            "PANELTIDE_DATA_DIR": str(folder / "data"),
            "PANELTIDE_DATABASE_URL": self.url,
            "PANELTIDE_MQTT_URL": f"mqtt://127.0.0.1:{self.mqtt_port}",
            "PANELTIDE_PORT": str(self.page_port),
        }
        (folder / "data").mkdir()
        self.bin = next(iter(sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)), None)
        found = shutil.which("mosquitto") or shutil.which("/usr/sbin/mosquitto")
        if self.bin is None or found is None:
            raise SystemExit(
                "this needs the programs mosquitto and postgres (Debian packages of those names)"
            )
        self.user = pwd.getpwnam("postgres") if os.geteuid() == 0 else None
        (folder / "mosquitto").mkdir()
        config = folder / "mosquitto" / "soak.conf"
        config.write_text(
            f"listener {self.mqtt_port} 127.0.0.1\nallow_anonymous true\npersistence true\n"
            f"persistence_location {folder}/mosquitto/\nautosave_on_changes true\n"
            f"autosave_interval {save_every}\nmax_queued_messages 0\nmax_inflight_messages 5000\n"
            "set_tcp_nodelay true\n" + ("user root\n" if os.geteuid() == 0 else "")
        )
        data = folder / "postgres"
        data.mkdir()
        if self.user is not None:
            folder.chmod(0o755)
            os.chown(data, self.user.pw_uid, self.user.pw_gid)
        self._initdb(data)
        plain = {"PATH": os.environ["PATH"]}
        python = [sys.executable, "-m", "deploy"]
        self.parts = {
            "broker": Part("broker", [found, "-c", str(config)], folder / "broker.log", environment),
            "database": Part(
                "database",
                [str(self.bin / "postgres"), "-D", str(data / "data"), "-p", str(self.sql_port),
                 "-h", "127.0.0.1", "-k", str(data)],
                folder / "database.log", plain, self.user,
            ),
            **{
                name: Part(name, [*python, name], folder / f"{name}.log", environment)
                for name in ("ingest", "watch", "dashboard")
            },
        }  # fmt: skip

    def _initdb(self, data: Path) -> None:
        assert self.bin is not None
        who: dict[str, Any] = {}
        if self.user is not None:
            who = {"user": self.user.pw_uid, "group": self.user.pw_gid, "extra_groups": []}
        subprocess.run(
            [str(self.bin / "initdb"), "-D", str(data / "data"), "-U", "paneltide", "-A", "trust",
             "-E", "UTF8"],
            check=True, capture_output=True, cwd="/", **who,
        )  # fmt: skip

    def database_answers(self) -> bool:
        import psycopg

        where = f"host=127.0.0.1 port={self.sql_port} user=paneltide dbname=postgres connect_timeout=2"
        with contextlib.suppress(psycopg.OperationalError):
            psycopg.connect(where).close()
            return True
        return False

    def make_database(self) -> None:
        import psycopg

        where = f"host=127.0.0.1 port={self.sql_port} user=paneltide dbname=postgres"
        with psycopg.connect(where, autocommit=True) as connection:
            connection.execute("CREATE DATABASE book")

    def page(self, path: str, timeout_s: float = 5.0) -> str | None:
        try:
            with urllib.request.urlopen(
                f"http://127.0.0.1:{self.page_port}{path}", timeout=timeout_s
            ) as answer:
                return str(answer.read().decode())
        except (OSError, urllib.error.URLError):
            return None

    def stop(self) -> None:
        for name in ("dashboard", "watch", "ingest", "broker", "database"):
            self.parts[name].end(signal.SIGINT if name == "database" else signal.SIGTERM)


# ---------------------------------------------------------------- sensors


class Sensors:
    """Publishes for every sensor, as sensors with a log do: what is not acknowledged is sent again."""

    def __init__(self, port: int, sensors: int, rate: float, begin: datetime) -> None:
        import paho.mqtt.client as mqtt
        from paho.mqtt.enums import CallbackAPIVersion

        self.sensors, self.rate, self.begin = sensors, rate, begin
        self.acknowledged = 0
        self.sent: dict[int, int] = {}  # packet id to message number, unacknowledged
        self.last_of: list[int] = [0] * sensors
        self._lock = threading.Lock()
        self._mqtt = mqtt
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, "soak-sensors", clean_session=False, protocol=mqtt.MQTTv311
        )
        self._client.max_inflight_messages_set(2_000)
        self._client.max_queued_messages_set(0)
        self._client.on_publish = self._on_publish
        self._client.reconnect_delay_set(1, 2)
        self._client.connect_async("127.0.0.1", port)
        self._client.loop_start()

    def _on_publish(self, *_: Any) -> None:
        with self._lock:
            self.acknowledged += 1

    def run(self, stop: threading.Event) -> None:
        """Each sensor once in 1/rate seconds, spread evenly."""
        begun, number = time.monotonic(), 0
        while not stop.is_set():
            due = int((time.monotonic() - begun) * self.rate * self.sensors)
            for each in range(number, due):
                self.publish(each)
            number = max(number, due)
            stop.wait(0.02)
        self.count = number

    def publish(self, number: int) -> None:
        sensor, step = number % self.sensors, number // self.sensors
        self.send(
            sensor, 20.0 + step % 40 / 10, 42.0 + number % 61 / 10, self.begin + timedelta(seconds=step)
        )

    def send(self, sensor: int | str, temperature_c: float, rh_pct: float, at: datetime) -> None:
        body = {"t": temperature_c, "h": rh_pct, "at": at.isoformat(timespec="milliseconds")}
        self._client.publish(f"soak/{sensor}", json.dumps(body), qos=1)

    def finish(self, expected: int) -> None:
        wait_for(lambda: self.acknowledged >= expected, 120, "the broker's acknowledgements")
        self._client.disconnect()
        self._client.loop_stop()


def fill(store: Store, sensors: int, probes: int) -> None:
    """Places with pieces, sensors spread over them, and for each probe a place and a sensor of its own."""
    long_ago = datetime.now(UTC) - timedelta(days=3)
    with store.session() as session:
        places = [add_place(session, f"home {number}", "home") for number in range(PLACES)]
        places += [add_place(session, f"probe {number}", "storage") for number in range(probes)]
        for number in range(PLACES):
            add_piece(session, read_piece(PIECE.format(name=f"cabinet {number}")), places[number], long_ago)
        own = [(f"s{number}", str(number), places[number % PLACES]) for number in range(sensors)]
        own += [(f"p{number}", f"probe-{number}", places[PLACES + number]) for number in range(probes)]
        for name, topic, place in own:
            sensor = Sensor(name=name, accepted_at=long_ago)
            sensor.bindings.append(Binding(topic=f"soak/{topic}", payload=PAYLOAD))
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, place, long_ago)


# ---------------------------------------------------------------- from message to page


class Probe:
    """One message at a time, each the first of its own place, whose verdict it turns from unknown to known.

    Counts until the place's page shows so: broker, ingest, database, watch and dashboard are on the way.
    """

    def __init__(self, world: World, sensors: Sensors, store: Store) -> None:
        self.world, self.sensors, self.store = world, sensors, store
        with store.session() as session:
            found = session.execute(
                select(Place.id, Place.name).where(Place.name.like("probe%")).order_by(Place.id)
            )
            self.places = [(place, name.split()[1]) for place, name in found]
        self.took_s: list[tuple[float, bool]] = []
        self.verdict_s: list[float] = []
        self.sent = 0
        self.disturbed = threading.Event()

    def run(self, stop: threading.Event) -> None:
        for place, number in self.places:
            if stop.is_set():
                return
            self.disturbed.clear()
            begun = time.monotonic()
            # Of the hour before last: that hour is over, so that its verdict waits for nothing but the parts.
            self.sent += 1
            self.sensors.send(f"probe-{number}", 20.0, 45.0, datetime.now(UTC) - 2 * HOUR)
            while not self._known(place) and not stop.is_set():
                time.sleep(0.05)
            verdict_s = time.monotonic() - begun
            while not self._shown(place) and not stop.is_set():
                time.sleep(0.05)
            if not stop.is_set():
                self.verdict_s.append(verdict_s)
                self.took_s.append((time.monotonic() - begun, self.disturbed.is_set()))
            stop.wait(PROBE_EVERY_S)

    def _known(self, place: int) -> bool:
        found = "SELECT verdict FROM verdict WHERE subject_kind = 'place' AND subject_id = :place"
        with contextlib.suppress(SQLAlchemyError), self.store.engine.connect() as connection:
            return connection.scalar(text(found), {"place": place}) not in (None, "unknown")
        return False

    def _shown(self, place: int) -> bool:
        page = self.world.page(f"/place/{place}")
        return page is not None and "mark mark-" in page and "mark mark-unknown" not in page


# ---------------------------------------------------------------- the soak


def restarts(
    world: World, every_s: float, rng: random.Random, stop: threading.Event, probe: Probe
) -> Iterator[str]:
    """Every so often one part at random: killed, or asked to end."""
    names = list(world.parts)
    while not stop.wait(every_s * rng.uniform(0.6, 1.4)):
        # Each of them once before any of them again.
        name = names.pop(rng.randrange(len(names)))
        names = names or list(world.parts)
        part = world.parts[name]
        # A database asked to end cuts off its clients (fast shutdown); killed, it recovers from its log.
        polite = signal.SIGINT if name == "database" else signal.SIGTERM
        number = rng.choice([polite, signal.SIGKILL])
        probe.disturbed.set()
        part.end(number)
        stop.wait(rng.uniform(0.2, 4.0))
        part.start()
        probe.disturbed.set()
        yield f"{name} {'killed' if number == signal.SIGKILL else 'stopped'}"


def verdict(name: str, good: bool, found: str) -> bool:
    print(f"{'well ' if good else 'AMISS'}  {name:<38} {found}")
    return good


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0] if __doc__ else None)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--sensors", type=int, default=200)
    parser.add_argument("--rate", type=float, default=1.0, help="messages a second of each sensor")
    parser.add_argument("--restart-every", type=float, default=45.0, help="seconds between restarts, about")
    parser.add_argument("--seed", type=int, default=7)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="paneltide-soak-") as folder:
        world = World(Path(folder))
        try:
            return soak(world, given)
        finally:
            world.stop()


def soak(world: World, given: argparse.Namespace) -> int:
    rng = random.Random(given.seed)
    world.parts["broker"].start()
    world.parts["database"].start()
    wait_for(world.database_answers, 60, "PostgreSQL")
    world.make_database()
    store = Store(world.url)
    store.bring_up_to_date()
    fill(store, given.sensors, int(given.minutes * 60 / PROBE_EVERY_S))
    for name in ("ingest", "watch", "dashboard"):
        world.parts[name].start()
    wait_for(lambda: "paneltide" in (world.page("/healthz") or "") or world.page("/healthz"), 90, "the page")
    wait_for(lambda: json.loads(world.page("/healthz") or "{}").get("broker_connected"), 60, "ingest")

    begin = datetime.now(UTC).replace(microsecond=0)
    sensors = Sensors(world.mqtt_port, given.sensors, given.rate, begin)
    probe = Probe(world, sensors, store)
    stop, quiet = threading.Event(), threading.Event()
    threads = [
        threading.Thread(target=sensors.run, args=(stop,)),
        threading.Thread(target=probe.run, args=(stop,)),
        threading.Thread(target=sample, args=(world, stop)),
    ]
    for thread in threads:
        thread.start()
    done: list[str] = []
    restarter = threading.Thread(
        target=lambda: done.extend(restarts(world, given.restart_every, rng, quiet, probe))
    )
    restarter.start()
    time.sleep(given.minutes * 60)
    quiet.set()
    restarter.join(60)
    stop.set()
    for thread in threads:
        thread.join(60)
    sensors.finish(sensors.count + probe.sent)
    expected = sensors.count

    def rows() -> int:
        with store.engine.connect() as connection:
            count = "SELECT count(*) FROM reading JOIN sensor ON sensor.id = sensor_id WHERE name LIKE 's%'"
            return int(connection.scalar(text(count)) or 0)

    with contextlib.suppress(SystemExit):
        wait_for(lambda: rows() >= expected, 120, "the last rows")
    world.parts["ingest"].end(signal.SIGTERM)
    return judge(store, world, probe, done, rows(), expected, given)


def sample(world: World, stop: threading.Event) -> None:
    while not stop.wait(1.0):
        for part in world.parts.values():
            part.sample_memory()


def judge(
    store: Store, world: World, probe: Probe, done: list[str], rows: int, expected: int,
    given: argparse.Namespace,
) -> int:  # fmt: skip
    kinds = ", ".join(f"{done.count(kind)} x {kind}" for kind in sorted(set(done)))
    print(
        f"{given.minutes:g} minutes, {given.sensors} sensors x {given.rate:g}/s; "
        f"{len(done)} restarts ({kinds or 'none'}); load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores\n"
    )
    with store.engine.connect() as connection:
        tallies = dict(connection.execute(text("SELECT name, count FROM tally")).all())  # type: ignore[arg-type]
        wrong = connection.scalar(
            text(
                "SELECT count(*) FROM (SELECT sensor_id, count(*) AS n FROM reading JOIN sensor "
                "ON sensor.id = sensor_id WHERE name LIKE 's%' GROUP BY sensor_id) AS own "
                "WHERE abs(n - :each) > 1"
            ),
            {"each": expected // given.sensors},
        )
        refused = connection.scalar(text("SELECT count(*) FROM rejected_message"))
        stored_all = connection.scalar(text("SELECT count(*) FROM reading"))
    good = [
        verdict("nothing lost", rows >= expected, f"{expected} sent, {rows} stored"),
        verdict("nothing doubled", rows <= expected and not wrong, f"{wrong} sensors with odd counts"),
        verdict(
            "counts agree",
            tallies.get("stored") == stored_all and not refused,
            f"tally stored {tallies.get('stored')}, rows {stored_all}, "
            f"redelivered {tallies.get('duplicate', 0)}, rejected {refused}",
        ),
    ]
    took = np.array([seconds for seconds, _ in probe.took_s])
    calm = np.array([seconds for seconds, disturbed in probe.took_s if not disturbed])
    if len(took):
        p50, p99 = np.percentile(took, [50, 99])
        of_calm = f"{np.percentile(calm, 99):.1f}" if len(calm) else "-"
        good.append(
            verdict(
                "message to page, p99 < 10 s",
                bool(p99 < LIMIT_S),
                f"p50 {p50:.1f} s, p99 {p99:.1f} s, longest {took.max():.1f} s over {len(took)} probes; "
                f"p99 without a restart meanwhile {of_calm} s ({len(calm)})",
            )
        )
        print(f"       of that until the verdict is stored      p50 {np.median(probe.verdict_s):.1f} s")
        with store.engine.connect() as connection:
            detail = connection.scalar(text("SELECT detail FROM pulse WHERE part = 'watch'")) or {}
        print(f"       the last evaluation took                 {detail.get('durations_s')}")
    else:
        good.append(verdict("message to page, p99 < 10 s", False, "no probe ever reached the page"))
    for name, part in world.parts.items():
        if name in ("broker", "database"):
            continue
        settled = [size for since, size in part.memory if since > 15]
        if len(settled) < 20:
            print(f"       memory of {name:<27} too few samples since its restarts")
            continue
        early, late = np.median(settled[:10]), np.median(settled[-10:])
        good.append(
            verdict(
                f"memory of {name} flat",
                bool(late < MEMORY_GROWTH * early),
                f"{early / 1e6:.0f} MB settled, {late / 1e6:.0f} MB at the end, {part.starts} starts",
            )
        )
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
