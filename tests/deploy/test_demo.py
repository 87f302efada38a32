"""The sample shop as a maker starts it: one command, an address, verdicts, Ctrl-C."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.slow

PATIENCE_S = 240.0  # a loaded machine may take its time; a sound one never waits so long


def wait_until(condition: Callable[[], bool]) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, "waited too long"
        threading.Event().wait(0.1)


def fetch(address: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(address, timeout=60) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


class Demo:
    def __init__(self, folder: Path) -> None:
        self.log = folder / "demo.log"
        environment = {k: v for k, v in os.environ.items() if not k.startswith("PANELTIDE_")}
        environment |= {"TMPDIR": str(folder), "PANELTIDE_PORT": "0", "PYTHONUNBUFFERED": "1"}
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "deploy", "demo"], env=environment, stdout=out, stderr=out
            )

    def address(self) -> str:
        found = re.search(r"http://127\.0\.0\.1:\d+/", self.log.read_text("utf-8"))
        return found[0] if found else ""

    def health(self) -> dict[str, Any]:
        document: dict[str, Any] = json.loads(fetch(self.address() + "healthz")[1])
        return document


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    started = Demo(tmp_path)
    try:
        wait_until(lambda: bool(started.address()) or started.process.poll() is not None)
        assert started.process.poll() is None, started.log.read_text("utf-8")
        yield started
    finally:
        if started.process.poll() is None:
            started.process.kill()
            started.process.wait()


def test_demo_opens_the_shop_follows_it_live_and_ends_cleanly(demo: Demo, tmp_path: Path) -> None:
    wait_until(lambda: bool(demo.health().get("ok")))
    first = demo.health()
    assert first["broker_connected"]
    assert first["database_writable"]
    wait_until(lambda: demo.health()["last_reading_at"] > first["last_reading_at"])
    wait_until(lambda: demo.health()["last_evaluation_at"] > first["last_evaluation_at"])
    # It can be read before any script has run; what is being worked out at this moment is waited for.
    words = ("Wall cupboard", "past a limit", "near a limit", "not known")
    wait_until(lambda: all(word in fetch(demo.address())[1] for word in words))
    assert fetch(demo.address())[0] == 200
    parts = demo.health()["parts"]["supervisor"]
    pids = [parts[name]["pid"] for name in ("ingest", "watch", "dashboard")]
    assert all(running(pid) for pid in pids)

    demo.process.send_signal(signal.SIGINT)
    demo.process.wait(PATIENCE_S)
    assert demo.process.returncode == 0, demo.log.read_text("utf-8")
    assert not any(running(pid) for pid in pids)
    assert not list(tmp_path.glob("paneltide-demo-*"))
    assert "Traceback" not in demo.log.read_text("utf-8")
