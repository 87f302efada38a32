"""Runs the parts as processes of their own, restarts one that dies, and stops them all together.

Parts are forked from the supervisor, which has imported them all: what they don't change they share, so that
together they take the memory of little more than one, and a part that died is back in a moment. For that the
supervisor keeps to one thread, and to arithmetic that starts none.
"""

import gc
import importlib
import logging
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from pathlib import Path

from sqlalchemy import delete
from sqlalchemy.exc import SQLAlchemyError

from model.records.clock import machine_now
from model.records.queries.health import PULSE_EVERY_S
from model.records.schema.tables import Pulse
from model.records.store import Store

log = logging.getLogger("paneltide.supervisor")

FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 30.0
STEADY_AFTER_S = 60.0  # a part that ran this long starts its next pauses afresh
STOP_WITHIN_S = 4.0

NEEDED = (
    "dashboard.shell.app",
    "deploy.notice_door",
    "ingest.mqtt.subscriber",
    "model.records.acts.retention",
    "model.watch.questions.clamps",
    "model.watch.questions.glue_board",
    "model.watch.questions.measure_next",
    "model.watch.run.loop",
    "model.watch.state.outlook_store",
    "model.watch.tell.notices",
)
"""What `wiring` imports to run the parts."""

# macOS' own libraries don't survive a fork; there each part imports for itself.
if sys.platform == "darwin":
    PROCESSES = multiprocessing.get_context("spawn")
else:
    PROCESSES = multiprocessing.get_context("fork")


@dataclass
class KeptProcess:
    """One process to keep alive: its name and the command's arguments."""

    name: str
    arguments: list[str]
    process: BaseProcess | None = None
    started_s: float = 0.0
    pause_s: float = FIRST_PAUSE_S
    due_s: float = 0.0
    restarts: int = 0
    last_exit: int | None = None


class Supervisor:
    """Keeps parts running until told to stop.

    Parameters
    ----------
    arguments : mapping of part name to list of str
        Command-line arguments of each part, after `paneltide`.
    environment : mapping
        Variables the parts are started with.
    store : Store
        Where the pulse is written that /healthz reads.
    """

    def __init__(
        self, arguments: Mapping[str, list[str]], environment: Mapping[str, str], store: Store
    ) -> None:
        self.parts = [KeptProcess(name, words) for name, words in arguments.items()]
        self.environment = dict(environment)
        self.store = store

    def run(self, stop: threading.Event, idle: Callable[[], object] | None = None) -> None:
        """Start every part and watch over them until `stop` is set; then stop them all.

        `idle` is called about four times a second, for what the caller keeps alive beside the parts.
        """
        pulse_due_s = 0.0
        try:
            while not stop.is_set():
                now_s = time.monotonic()
                changed = [self._look_after(part, now_s) for part in self.parts]
                if any(changed) or now_s >= pulse_due_s:
                    self._write_pulse()
                    pulse_due_s = now_s + PULSE_EVERY_S
                if idle is not None:
                    idle()
                stop.wait(0.25)
        finally:
            self._stop_all()
            with suppress(SQLAlchemyError), self.store.session() as session:
                session.execute(delete(Pulse).where(Pulse.part == "supervisor"))

    def _look_after(self, part: KeptProcess, now_s: float) -> bool:
        if part.process is not None:
            code = part.process.exitcode
            if code is None:
                return False
            part.process.close()
            part.process = None
            part.last_exit = code
            part.restarts += 1
            if now_s - part.started_s > STEADY_AFTER_S:
                part.pause_s = FIRST_PAUSE_S
            part.due_s = now_s + part.pause_s
            log.warning("%s ended with status %s; starting it again in %.1f s", part.name, code, part.pause_s)
            part.pause_s = min(part.pause_s * 2.0, LONGEST_PAUSE_S)
            return True
        if now_s < part.due_s:
            return False
        self.store.close()  # SQLite's connections must not be carried into another process
        part.process = PROCESSES.Process(target=_be, args=(part.arguments, self.environment), name=part.name)
        part.process.start()
        part.started_s = now_s
        return True

    def _write_pulse(self) -> None:
        detail = {
            part.name: {
                "running": part.process is not None,
                "pid": part.process.pid if part.process else None,
                "restarts": part.restarts,
                "last_exit": part.last_exit,
            }
            for part in self.parts
        }
        try:
            with self.store.session() as session:
                session.merge(Pulse(part="supervisor", at=machine_now(), detail=detail))
        except SQLAlchemyError as error:
            log.warning("the supervisor's pulse could not be written: %s", type(error).__name__)

    def _stop_all(self) -> None:
        running = [part.process for part in self.parts if part.process is not None]
        for process in running:
            process.terminate()
        until_s = time.monotonic() + STOP_WITHIN_S
        for process in running:
            process.join(max(0.05, until_s - time.monotonic()))
            if process.exitcode is None:
                process.kill()
                process.join()


def import_parts() -> None:
    """Import everything the parts need, once for all of them."""
    for name in NEEDED:
        importlib.import_module(name)
    # It lives as long as any part: a collection that looked through it would write to every page of it, and
    # so give each part a copy of its own.
    gc.collect()
    gc.freeze()


def begin_process(name: str, environment: Mapping[str, str] | None = None) -> None:
    """Make a forked process one of its own: Ctrl-C and logging are not its parent's."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, signal.SIG_DFL)
    os.setsid()
    logging.getLogger().handlers.clear()
    if environment is not None:
        os.environ.clear()
        os.environ.update(environment)
    with suppress(OSError):  # for `ps` and `top`, on Linux
        Path("/proc/self/comm").write_text(name[:15])


def _be(arguments: list[str], environment: Mapping[str, str]) -> None:
    """Be one part, from here to its end."""
    from deploy.cli.commands import main

    begin_process(arguments[0], environment)
    main(arguments)


def stop_on_signals() -> threading.Event:
    """An event set by Ctrl-C, by a polite kill, and, in a part, by the end of its supervisor."""
    stop = threading.Event()

    def ask_to_stop(_number: int, _frame: object) -> None:
        stop.set()

    signal.signal(signal.SIGINT, ask_to_stop)
    signal.signal(signal.SIGTERM, ask_to_stop)
    supervisor = multiprocessing.parent_process()
    if supervisor is not None:
        threading.Thread(target=_wait_for_end_of, args=(supervisor, stop), daemon=True).start()
    return stop


def _wait_for_end_of(supervisor: BaseProcess, stop: threading.Event) -> None:
    supervisor.join()
    stop.set()
