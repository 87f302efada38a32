"""The parts of the soak: broker, database, ingest, watch and dashboard, as processes that start and end."""

import contextlib
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


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
