"""How long the first page takes for one viewer and for 20 at once, and whether memory stays flat.

Run as ``python tests/bench/bench_viewers.py FILE`` on a book by `big_book.py`. The dashboard runs in a
process of its own; each viewer asks for the first page, waits half a second, and asks again. A sender
writes a reading every two seconds meanwhile, so that pages go out of date as they do in use. Memory is
looked at over 500 pages.
"""

import multiprocessing
import resource
import socket
import statistics
import sys
import threading
import time
import urllib.request
from datetime import timedelta

from big_book import NOW

ROUNDS, READS_S = 12, 0.5
PATHS = ("/", "/pieces", "/piece/1", "/place/2", "/places", "/stock", "/sensors", "/warnings", "/settings")


def serve_book(file: str, port: int, stop) -> None:
    """The dashboard, until told to stop."""
    from dashboard.app import build_app, serve
    from model.records.store import Store

    done = threading.Event()
    threading.Thread(target=lambda: (stop.wait(), done.set()), daemon=True).start()
    serve(build_app(Store(f"sqlite:///{file}"), lambda: NOW), "127.0.0.1", port, done)


def seconds(url: str) -> float:
    began = time.perf_counter()
    with urllib.request.urlopen(urllib.request.Request(url, headers={"Accept-Encoding": "gzip"})) as answer:
        answer.read()
    return time.perf_counter() - began


def viewers(address: str, number: int) -> list[float]:
    """What every request took, with so many viewers."""
    found: list[float] = []

    def view(late_s: float) -> None:
        time.sleep(late_s)
        for _ in range(ROUNDS):
            found.append(seconds(address + "/"))
            time.sleep(READS_S)

    threads = [threading.Thread(target=view, args=(READS_S * k / number,)) for k in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


def write_now_and_then(file: str, stop: threading.Event) -> None:
    """A reading every two seconds."""
    from model.records.store import Store
    from model.records.tables import Reading

    store, k = Store(f"sqlite:///{file}"), 0
    while not stop.wait(2.0):
        k += 1
        at = NOW + timedelta(milliseconds=time.time_ns() // 1_000_000 % 10**9)
        with store.session() as session:
            session.add(Reading(sensor_id=1, observed_at=at, received_at=at, temperature_c=20.0, rh_pct=45.0))
    store.close()


def memory_kb(pid: int) -> int:
    """Memory a process holds [kB]."""
    with open(f"/proc/{pid}/statm") as told:
        return int(told.read().split()[1]) * resource.getpagesize() // 1024


def main() -> None:
    file = sys.argv[1]
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    stop, quiet = multiprocessing.Event(), threading.Event()
    server = multiprocessing.Process(target=serve_book, args=(file, port, stop))
    server.start()
    address = f"http://127.0.0.1:{port}"
    for _ in range(300):
        try:
            seconds(address + "/")
            break
        except OSError:
            time.sleep(0.1)
    threading.Thread(target=write_now_and_then, args=(file, quiet), daemon=True).start()
    try:
        p95 = {}
        for number in (1, 20, 1, 20):
            took = viewers(address, number)
            p95[number] = statistics.quantiles(took, n=20)[-1]
            middle = statistics.median(took)
            print(f"{number} viewers: median {1000 * middle:.0f} ms, p95 {1000 * p95[number]:.0f} ms")
        print(f"p95 of 20 viewers: {p95[20] / p95[1]:.2f} x that of one")
        for _ in range(10):
            for path in PATHS:
                seconds(address + path)
        before = memory_kb(server.pid or 0)
        for number in range(500):
            seconds(address + PATHS[number % len(PATHS)])
        after = memory_kb(server.pid or 0)
        print(f"server memory over 500 pages: {before / 1024:.0f} to {after / 1024:.0f} MB")
    finally:
        quiet.set()
        stop.set()
        server.join(10)


if __name__ == "__main__":
    main()
