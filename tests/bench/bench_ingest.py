"""Durable rate of ingest beside a bare subscriber's, in pairs, through the same broker.

``python -m tests.bench.bench_ingest [--messages N] [--pairs N] [--kind mosquitto|iotcore] [--database URL]
[--protocol 3.1.1|5] [--memory]``

The bare subscriber is paho's own network loop at QoS 1 with an empty callback: what the client library can do
at best without storing anything. Ingest commits before it acknowledges. Both are processes of their own and
get the same messages from the same publisher; the rate is messages over the time from the first publish to
the last one received (bare) or committed (ingest). `--memory` instead sends a million messages and prints
ingest's memory on the way.
"""

import argparse
import contextlib
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from sqlalchemy import text

from ingest.broker.embedded import EmbeddedBroker
from model.records.clock import machine_now
from model.records.schema.tables import Binding, Sensor
from model.records.schema.types import EPOCH
from model.records.store import Store
from tests.bench.smoke import parsed

__all__ = ["EPOCH", "SENSORS", "EmbeddedBroker", "Store", "fresh_book", "start_ingest", "text"]
SENSORS = 50
READING = {
    "shape": "json",
    "temperature": "/temperature",
    "rh": "/humidity",
    "battery": "/battery",
    "time": "/time",
}


def bare(port: int, protocol: str) -> None:
    """Child process: receive messages with an empty callback, and say when the last one came."""
    five = protocol == "5"
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2,
        client_id="bare",
        clean_session=None if five else True,
        protocol=mqtt.MQTTv5 if five else mqtt.MQTTv311,
    )
    client.on_message = lambda _client, _data, _message: None
    client.on_subscribe = lambda *_: print("ready", flush=True)
    client.connect("127.0.0.1", port)

    def last(_client: mqtt.Client, _data: object, _message: mqtt.MQTTMessage) -> None:
        print(time.time(), flush=True)

    # The callback that ends the run is for the last topic only, so that the others pay for nothing.
    client.message_callback_add("bench-end", last)
    client.subscribe([("bench/#", 1), ("bench-end", 1)])
    client.loop_forever()


class Publishing:
    """The publisher's process, ready to begin."""

    def __init__(self, port: int, count: int, *options: str) -> None:
        self._process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "tests.bench.publisher",
                str(port),
                str(count),
                "--sensors",
                str(SENSORS),
                *options,
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "ready\n"

    def begin(self) -> float:
        assert self._process.stdin is not None
        begun = time.time()
        self._process.stdin.write("\n")
        self._process.stdin.flush()
        return begun

    def finish(self) -> None:
        self._process.communicate(timeout=600)


def bare_rate(port: int, count: int, protocol: str) -> float:
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.bench_ingest", "--bare", str(port), "--protocol", protocol],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        publishing = Publishing(port, count, "--end")
        begun = publishing.begin()
        ended = float(child.stdout.readline())
        publishing.finish()
        return count / (ended - begun)
    finally:
        child.kill()
        child.wait()


def fresh_book(store: Store) -> None:
    """The same empty book each time, with a sensor for each topic."""
    with store.session() as session:
        for table in ("reading", "stale_hour", "tally", "pulse", "preference"):
            session.execute(text(f"DELETE FROM {table}"))
        if session.execute(text("SELECT count(*) FROM sensor")).scalar() == 0:
            for number in range(SENSORS):
                sensor = Sensor(name=f"s{number}", accepted_at=machine_now())
                sensor.bindings.append(Binding(topic=f"bench/{number}/air", payload=READING))
                session.add(sensor)


def start_ingest(store: Store, url: str, protocol: str) -> "subprocess.Popen[str]":
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.ingest_process", "--mqtt-url", url, "--topics", "bench/#",
         "--protocol", protocol,
         "--client-id", "bench", "--database-url", store.url.render_as_string(hide_password=False)],
        stderr=subprocess.PIPE,
        text=True,
    )  # fmt: skip
    assert child.stderr is not None
    for line in child.stderr:
        if "connected to the broker" in line:
            break
    threading.Thread(target=child.stderr.read, daemon=True).start()
    return child


def count_rows(store: Store) -> int:
    with store.engine.connect() as connection:
        return connection.execute(text("SELECT count FROM tally WHERE name = 'stored'")).scalar() or 0


def ingest_rate(store: Store, url: str, port: int, count: int, protocol: str) -> float:
    fresh_book(store)
    child = start_ingest(store, url, protocol)
    try:
        publishing = Publishing(port, count)
        begun = publishing.begin()
        deadline = begun + 600
        while count_rows(store) < count and time.time() < deadline:
            time.sleep(0.03)  # asking oftener would take from ingest what the bare subscriber keeps
        ended = time.time()
        publishing.finish()
    finally:
        child.terminate()
        child.wait(20)
    forget_session(port)
    with store.engine.connect() as connection:
        rows = connection.execute(text("SELECT count(*) FROM reading")).scalar()
    assert rows == count, f"{rows} rows for {count} messages"
    return count / (ended - begun)


def forget_session(port: int) -> None:
    """Let the broker drop ingest's queue, which would fill while the bare subscriber has its turn."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="bench", clean_session=True)
    gone = threading.Event()
    client.on_connect = lambda *_: client.disconnect()
    client.on_disconnect = lambda *_: gone.set()
    client.connect("127.0.0.1", port)
    client.loop_start()
    gone.wait(5)
    client.loop_stop()


def memory(store: Store, broker: EmbeddedBroker, count: int) -> None:
    """Ingest's resident memory while a great many messages go through."""
    fresh_book(store)
    child = start_ingest(store, broker.url, "3.1.1")
    try:
        publishing = Publishing(broker.port, count)
        begun = publishing.begin()
        for tenth in range(1, 11):
            while count_rows(store) < count * tenth // 10:
                time.sleep(0.05)
            print(f"after {count * tenth // 10:>9,} messages: {resident_mib(child.pid):6.1f} MiB", flush=True)
        print(f"{count / (time.time() - begun):,.0f} messages a second over all")
        publishing.finish()
    finally:
        child.terminate()
        child.wait(20)


def resident_mib(pid: int) -> float:
    """Resident memory as the kernel counts it (proc(5))."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * 4_096 / 1_048_576


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--messages", type=int)
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--kind", choices=("mosquitto", "iotcore"), default="mosquitto")
    parser.add_argument("--database", help="PostgreSQL address; SQLite in a temporary folder when missing")
    parser.add_argument("--protocol", choices=("3.1.1", "5"), default="3.1.1")
    parser.add_argument("--memory", action="store_true")
    parser.add_argument("--bare", type=int, help=argparse.SUPPRESS)
    given = parsed(parser, messages=500, pairs=1)
    if given.bare:
        with contextlib.suppress(KeyboardInterrupt):
            bare(given.bare, given.protocol)
        return
    with tempfile.TemporaryDirectory() as folder:
        store = Store(given.database or f"sqlite:///{folder}/bench.sqlite")
        store.bring_up_to_date()
        with EmbeddedBroker(Path(folder) / "broker", kind=given.kind, save_every=1_000_000) as broker:
            if given.memory:
                memory(store, broker, given.messages or 1_000_000)
                return
            count = given.messages or 50_000
            pairs = []
            for number in range(given.pairs):
                first = bare_rate(broker.port, count, given.protocol)
                second = ingest_rate(store, broker.url, broker.port, count, given.protocol)
                pairs.append((first, second))
                print(f"pair {number + 1}: bare {first:,.0f}/s, durable {second:,.0f}/s", flush=True)
            bare_median = statistics.median(pair[0] for pair in pairs)
            ours = statistics.median(pair[1] for pair in pairs)
            ratio = statistics.median(pair[1] / pair[0] for pair in pairs)
            where = f"{given.kind}, {store.url.get_backend_name()}, MQTT {given.protocol}"
            print(f"median: bare {bare_median:,.0f}/s, durable {ours:,.0f}/s, ratio {ratio:.2f} ({where})")
        store.close()


if __name__ == "__main__":
    main()
