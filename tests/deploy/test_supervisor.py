"""The supervisor restarts what dies, says so, and leaves nothing behind."""

import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from deploy import supervisor
from deploy.supervisor import Supervisor
from model.records.schema.tables import Pulse
from model.records.store import Store

pytestmark = pytest.mark.slow


def wait_until(condition: Callable[[], bool], within_s: float = 120.0) -> None:
    deadline = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < deadline, "waited too long"
        threading.Event().wait(0.02)


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def pulse(store: Store) -> dict[str, dict[str, object]]:
    with store.session() as session:
        row = session.get(Pulse, "supervisor")
        return dict(row.detail) if row else {}


@pytest.fixture(autouse=True)
def _from_a_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    """Here the supervisor is a thread among others, beside which nothing may be forked."""
    monkeypatch.setattr(supervisor, "PROCESSES", multiprocessing.get_context("spawn"))


@pytest.fixture
def environment(tmp_path: Path, store: Store) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith("PANELTIDE_")}
    return kept | {
        "PANELTIDE_DATA_DIR": str(tmp_path),
        "PANELTIDE_DATABASE_URL": store.url.render_as_string(hide_password=False),
    }


def test_part_that_dies_is_started_again_and_said(store: Store, environment: dict[str, str]) -> None:
    keeper = Supervisor({"watch": ["watch"]}, environment, store)
    stop = threading.Event()
    runner = threading.Thread(target=keeper.run, args=(stop,))
    runner.start()
    try:
        wait_until(lambda: bool(pulse(store).get("watch", {}).get("pid")))
        first = int(str(pulse(store)["watch"]["pid"]))
        os.kill(first, signal.SIGKILL)
        wait_until(lambda: pulse(store)["watch"]["pid"] not in (None, first))
        assert pulse(store)["watch"]["restarts"] == 1
        second = int(str(pulse(store)["watch"]["pid"]))
    finally:
        stop.set()
        runner.join(120.0)
    assert not runner.is_alive()
    assert not alive(second)


def test_part_ends_when_its_supervisor_is_killed(store: Store, environment: dict[str, str]) -> None:
    script = (
        "import sys, threading\n"
        "from deploy.supervisor import Supervisor\n"
        "from model.records.store import Store\n"
        "import os\n"
        "store = Store(os.environ['PANELTIDE_DATABASE_URL'])\n"
        "Supervisor({'watch': ['watch']}, os.environ, store).run(threading.Event())\n"
    )
    process = subprocess.Popen([sys.executable, "-c", script], env=environment)
    try:
        wait_until(lambda: bool(pulse(store).get("watch", {}).get("pid")))
        part = int(str(pulse(store)["watch"]["pid"]))
    finally:
        process.kill()
        process.wait()
    wait_until(lambda: not alive(part))
    assert not alive(part)


def test_a_model_py_where_it_is_started_does_not_stop_the_parts(
    store: Store, environment: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = tmp_path / "drawings"
    elsewhere.mkdir()
    (elsewhere / "model.py").write_text("raise SystemExit('this is a drawing of a bench, not the program')\n")
    monkeypatch.chdir(elsewhere)
    keeper = Supervisor({"watch": ["watch"]}, environment, store)
    stop = threading.Event()
    runner = threading.Thread(target=keeper.run, args=(stop,))
    runner.start()

    def watch_beats() -> bool:
        with store.session() as session:
            return session.get(Pulse, "watch") is not None

    def restarts() -> object:
        return pulse(store).get("watch", {}).get("restarts", 0)

    try:
        wait_until(lambda: watch_beats() or bool(restarts()))
        assert watch_beats()
        assert restarts() == 0
    finally:
        stop.set()
        runner.join(120.0)
