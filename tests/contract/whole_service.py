"""The service as a maker's machine runs it, and a broker of its own that is killed and comes back."""

import json
import os
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ingest.broker.embedded import answers, mosquitto_program

ROOT = Path(__file__).parents[2]


class Service:
    """`paneltide run` as a maker's machine runs it, and what it says of itself."""

    def __init__(
        self, folder: Path, mqtt_url: str, port: int, database_url: str = "", **settings: object
    ) -> None:
        self.folder, self.port = folder, port
        self.environment = {
            **{name: value for name, value in os.environ.items() if not name.startswith("PANELTIDE_")},
            "PANELTIDE_DATA_DIR": str(folder),
            "PANELTIDE_DATABASE_URL": database_url,
            "PANELTIDE_MQTT_URL": mqtt_url,
            "PANELTIDE_PORT": str(port),
            "PANELTIDE_WATCH_INTERVAL_S": "0.2",
            **{f"PANELTIDE_{name.upper()}": str(value) for name, value in settings.items()},
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
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=30) as answer:
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
        self.process.wait(120)

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(120)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()

    def ask(self, *words: str) -> "subprocess.CompletedProcess[str]":
        """What a command answers beside it."""
        return subprocess.run(
            [sys.executable, "-m", "deploy", *words],
            env=self.environment, cwd=ROOT, capture_output=True, text=True,
        )  # fmt: skip

    def doctor(self, *words: str) -> dict[str, tuple[str, str]]:
        """State and finding of everything the doctor looked at."""
        done = self.ask("doctor", "--json", *words)
        assert done.stdout, done.stderr
        return {
            finding["what"]: (finding["state"], finding["found"])
            for finding in json.loads(done.stdout)["findings"]
        }


@pytest.fixture
def service(tmp_path: Path, free_port: Callable[[], int]) -> Iterator[Callable[..., Service]]:
    """Starts `paneltide run` against a broker and a database."""
    started: list[Service] = []

    def start(mqtt_url: str, database_url: str = "", **settings: object) -> Service:
        folder = tmp_path / "data"
        folder.mkdir(exist_ok=True)
        made = Service(folder, mqtt_url, free_port(), database_url, **settings)
        started.append(made)
        made.start()
        return made

    yield start
    for made in started:
        made.stop()


class SavingBroker:
    """mosquitto that writes its queue to disk every ten changes, on a port that stays the same."""

    def __init__(self, folder: Path, port: int, until: Callable[..., Any]) -> None:
        program = mosquitto_program()
        if program is None:
            pytest.skip("the program mosquitto is missing (Debian package mosquitto)")
        self.port = port
        self._until = until
        folder.mkdir()
        self._command = [program, "-c", str(folder / "own.conf")]
        (folder / "own.conf").write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence true\n"
            f"persistence_location {folder}/\nautosave_on_changes true\nautosave_interval 10\n"
            "max_queued_messages 0\nmax_inflight_messages 5000\n"
            + ("user root\n" if os.geteuid() == 0 else "")
        )
        self.start()

    @property
    def url(self) -> str:
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> None:
        self._process = subprocess.Popen(self._command, stderr=subprocess.DEVNULL)
        self._until(lambda: answers("127.0.0.1", self.port), what="the broker")

    def kill(self) -> None:
        self._process.kill()
        self._process.wait(120)


@pytest.fixture
def saving_broker(
    tmp_path: Path, free_port: Callable[[], int], until: Callable[..., Any]
) -> Iterator[SavingBroker]:
    broker = SavingBroker(tmp_path / "mosquitto", free_port(), until)
    yield broker
    broker.kill()
