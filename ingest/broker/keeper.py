"""Keeps one embedded broker as a child, and ends it when whoever started this process goes away.

Run as ``python -m ingest.broker.keeper mosquitto PROGRAM CONFIG`` or ``... iotcore CONFIG``. The parent holds
this process's standard input open; when that closes, by a clean stop or because the parent was killed, the
broker is asked to end, so that it writes its queue down and frees its port.
"""

import contextlib
import ctypes
import logging
import os
import signal
import subprocess
import sys
import threading
from typing import IO

END_WAIT_S = 8.0
MOST_LINES = 1_000
SAVE_S = 60.0
PR_SET_PDEATHSIG = 1


def keep_mosquitto(program: str, config: str) -> int:
    """Run mosquitto until standard input closes or it ends; its exit status."""
    child = subprocess.Popen(
        [program, "-c", config],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        preexec_fn=_die_with_parent,
    )

    def end(*_: object) -> None:
        with contextlib.suppress(ProcessLookupError):
            child.terminate()

    signal.signal(signal.SIGTERM, end)
    # A Ctrl-C reaches the whole terminal's group; the parent decides the order in which things stop.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    ending = threading.Event()

    def watch_parent() -> None:
        _wait_for_end_of_input()
        end()
        if not ending.wait(END_WAIT_S):
            child.kill()

    threading.Thread(target=watch_parent, daemon=True).start()
    assert child.stderr is not None
    threading.Thread(target=_pass_on, args=(child.stderr,), daemon=True).start()
    while True:
        try:
            status = child.wait(SAVE_S)
        except subprocess.TimeoutExpired:
            # Its own rule counts changes only: in a quiet shop the last few would wait for ever.
            child.send_signal(signal.SIGUSR1)
        else:
            ending.set()
            return status


def keep_iotcore(config: str) -> int:
    """Run the broker of the iotcore wheel in this process until standard input closes."""
    from iotcore import IotCoreBroker

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Its tracing output is one error record a packet, so nothing below critical is let through.
    logging.getLogger("rumqttd").setLevel(logging.CRITICAL)

    def leave_with_parent() -> None:
        _wait_for_end_of_input()
        os._exit(0)

    threading.Thread(target=leave_with_parent, daemon=True).start()
    IotCoreBroker(config_path=config).run_forever()
    return 1


def _pass_on(lines: IO[bytes]) -> None:
    """What the broker says, up to a bound: strangers can make it say one line a connection, for ever."""
    for count, line in enumerate(lines):
        if count < MOST_LINES:
            sys.stderr.buffer.write(line)
            sys.stderr.buffer.flush()


def _wait_for_end_of_input() -> None:
    while os.read(0, 4096):
        pass


def _die_with_parent() -> None:
    """On Linux the broker also ends when this keeper is killed outright."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def main(arguments: list[str]) -> int:
    kind, *rest = arguments
    return keep_mosquitto(*rest) if kind == "mosquitto" else keep_iotcore(*rest)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
