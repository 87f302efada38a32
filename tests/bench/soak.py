"""Soak: many sensors, one message a second each, while parts are killed and stopped at random.

    python -m tests.bench.soak [--minutes 30] [--sensors 200] [--rate 1] [--restart-every 45] [--seed 7]

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
import random
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import text

from model.records.store import Store
from tests.bench.smoke import parsed
from tests.bench.soak_probes import PROBE_EVERY_S, Probe, Sensors, fill
from tests.bench.soak_report import judge
from tests.bench.soak_world import World, wait_for

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
        probe.restarted.append((time.monotonic(), name))
        part.end(number)
        stop.wait(rng.uniform(0.2, 4.0))
        part.start()
        probe.restarted.append((time.monotonic(), name))
        yield f"{name} {'killed' if number == signal.SIGKILL else 'stopped'}"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0] if __doc__ else None)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--sensors", type=int, default=200)
    parser.add_argument("--rate", type=float, default=1.0, help="messages a second of each sensor")
    parser.add_argument("--restart-every", type=float, default=45.0, help="seconds between restarts, about")
    parser.add_argument("--seed", type=int, default=7)
    given = parsed(parser, minutes=0.2, sensors=3, restart_every=60.0)
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


if __name__ == "__main__":
    sys.exit(main())
