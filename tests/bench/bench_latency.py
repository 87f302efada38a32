"""Time from publishing to the commit, at a steady rate.

``python -m tests.bench.bench_latency [--messages N] [--rate N] [--kind mosquitto|iotcore] [--database URL]``

Each message carries the instant at which it was published as its device time; the commit is seen from
outside, by asking the database every few milliseconds for rows that are new. So the figures are upper bounds.
"""

import argparse
import json
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench import bench_ingest as bench
from tests.bench.publisher import Publisher
from tests.bench.smoke import parsed


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--messages", type=int, default=20_000)
    parser.add_argument("--rate", type=float, default=1_000.0)
    parser.add_argument("--kind", choices=("mosquitto", "iotcore"), default="mosquitto")
    parser.add_argument("--database", help="PostgreSQL address; SQLite in a temporary folder when missing")
    given = parsed(parser, messages=200)
    with tempfile.TemporaryDirectory() as folder:
        store = bench.Store(given.database or f"sqlite:///{folder}/bench.sqlite")
        store.bring_up_to_date()
        bench.fresh_book(store)
        with bench.EmbeddedBroker(Path(folder) / "broker", kind=given.kind) as broker:
            child = bench.start_ingest(store, broker.url, "3.1.1")
            try:
                latencies = measure(store, broker.port, given.messages, given.rate)
            finally:
                child.terminate()
                child.wait(20)
        p50, p99, most = np.percentile(latencies, [50, 99, 100])
        print(
            f"publish to commit at {given.rate:g}/s ({given.kind}, {store.url.get_backend_name()}): "
            f"p50 {p50:.0f} ms, p99 {p99:.0f} ms, longest {most:.0f} ms, {len(latencies)} messages"
        )
        store.close()


def measure(store: Any, port: int, count: int, rate: float) -> list[float]:
    """Milliseconds from publishing to the first look that sees the row committed."""
    publisher = Publisher(port)

    def publish() -> None:
        begun = time.monotonic()
        last_ms: dict[int, int] = {}
        for number in range(count):
            time.sleep(max(0.0, begun + number / rate - time.monotonic()))
            sensor = number % bench.SENSORS
            # After a pause the publisher catches up in a burst; one instant twice would be one row.
            last_ms[sensor] = max(time.time_ns() // 1_000_000, last_ms.get(sensor, 0) + 1)
            document = {"time": last_ms[sensor], "temperature": 20, "humidity": 45, "n": number}
            publisher.send([(f"bench/{sensor}/air", json.dumps(document).encode())])

    threading.Thread(target=publish, daemon=True).start()
    latencies: list[float] = []
    newest: dict[int, Any] = {}
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        deadline = time.monotonic() + count / rate + 60
        while len(latencies) < count and time.monotonic() < deadline:
            looked_ms = time.time() * 1_000
            for sensor_id in range(1, bench.SENSORS + 1):
                rows = connection.execute(
                    bench.text("SELECT observed_at FROM reading WHERE sensor_id = :s AND observed_at > :n"),
                    {"s": sensor_id, "n": newest.get(sensor_id, 0 if store.is_sqlite else bench.EPOCH)},
                ).all()
                for (at,) in rows:
                    at_ms = at if isinstance(at, int) else at.timestamp() * 1_000
                    latencies.append(max(0.0, looked_ms - at_ms))
                    newest[sensor_id] = max(at, newest.get(sensor_id, at))
            time.sleep(0.005)
    assert len(latencies) == count, f"{len(latencies)} rows for {count} messages"
    return latencies


if __name__ == "__main__":
    main()
