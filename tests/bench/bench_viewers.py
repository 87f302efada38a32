"""How long the first page takes for one viewer and for 20 at once, and whether server memory stays flat.

Run as ``python -m tests.bench.bench_viewers FILE`` on a book by `big_book.py`; four minutes. The dashboard
runs in a process of its own, once as shipped (an unchanged page is made once for all who ask within a
second) and once with nothing kept. Each viewer asks for the document, then for what its scripts ask for (the
page again, as data), waits half a second, and begins again: far more than people do, of whom a page left
open asks once in six seconds. A sender writes a reading every two seconds meanwhile, so that pages go out of
date as they do in use. Told are the times of the document alone, which is what can be read, and of both
together. Memory is looked at over 500 pages.
"""

import argparse
import logging
import multiprocessing
import resource
import socket
import statistics
import threading
import time
import urllib.request
from collections.abc import Iterable
from datetime import timedelta

from tests.bench.big_book import NOW
from tests.bench.smoke import parsed

ROUNDS, READS_S = 12, 0.5
PATHS = ("/", "/pieces", "/piece/1", "/place/2", "/places", "/stock", "/sensors", "/warnings", "/settings")


def serve_book(file: str, port: int, stop, kept: bool) -> None:
    """The dashboard, until told to stop."""
    from dashboard.shell import page_cache as fresh
    from dashboard.shell.app import build_app, serve
    from model.records.store import Store

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # requests are meant to queue up here
    if not kept:
        fresh.KEPT_S = -1.0
    done = threading.Event()
    threading.Thread(target=lambda: (stop.wait(), done.set()), daemon=True).start()
    serve(build_app(Store(f"sqlite:///{file}"), lambda: NOW), "127.0.0.1", port, done)


def seconds(url: str, referrer: str = "") -> float:
    began = time.perf_counter()
    headers = {"Accept-Encoding": "gzip", "Referer": referrer}
    with urllib.request.urlopen(urllib.request.Request(url, headers=headers)) as answer:
        answer.read()
    return time.perf_counter() - began


def looked(address: str, number: int, rounds: int) -> list[tuple[float, float]]:
    """What every document took, and what it took with its data, with so many viewers [s]."""
    found: list[tuple[float, float]] = []

    def view(late_s: float) -> None:
        time.sleep(late_s)
        for _ in range(rounds):
            document = seconds(address + "/")
            found.append((document, document + seconds(address + "/_dash-layout", address + "/")))
            time.sleep(READS_S)

    threads = [threading.Thread(target=view, args=(READS_S * k / number,)) for k in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


def write_now_and_then(file: str, stop: threading.Event) -> None:
    """A reading every two seconds."""
    from model.records.schema.tables import Reading
    from model.records.store import Store

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


def p95_ms(took: Iterable[float]) -> float:
    return 1000 * statistics.quantiles(took, n=20)[-1]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", help="a book by big_book")
    parser.add_argument("--rounds", type=int, default=ROUNDS, help="looks of each viewer")
    parser.add_argument("--viewers", type=int, default=20, help="viewers at once")
    parser.add_argument("--pages", type=int, default=500, help="pages over which memory is looked at")
    given = parsed(parser, rounds=1, viewers=2, pages=9)
    for kept in (True, False):
        measure(given.file, kept, given.rounds, given.viewers, given.pages)


def measure(file: str, kept: bool, rounds: int, many: int, pages: int) -> None:
    """One dashboard, looked at by one viewer and by many, twice."""
    print("as shipped" if kept else "with nothing kept")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    stop, quiet = multiprocessing.Event(), threading.Event()
    server = multiprocessing.Process(target=serve_book, args=(file, port, stop, kept))
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
        all_took: dict[int, list[tuple[float, float]]] = {1: [], many: []}
        for number in (1, many, 1, many):
            # One viewer alone says little in a few looks.
            for _ in range(3 if number == 1 else 1):
                all_took[number] += looked(address, number, rounds)
        for index, what in enumerate(("the document alone", "with what its scripts ask for")):
            print(f"  {what}:")
            p95 = {}
            for number in (1, many):
                took = [both[index] for both in all_took[number]]
                middle, p95[number] = 1000 * statistics.median(took), p95_ms(took)
                print(f"    viewers at once {number}: median {middle:.0f} ms, p95 {p95[number]:.0f} ms")
            print(f"    p95 of {many} is {p95[many] / p95[1]:.2f} x that of one")
        for _ in range(1 if rounds == 1 else 10):
            for path in PATHS:
                seconds(address + path)
        before = memory_kb(server.pid or 0)
        for number in range(pages):
            seconds(address + PATHS[number % len(PATHS)])
        after = memory_kb(server.pid or 0)
        print(f"  server memory over {pages} pages: {before / 1024:.0f} to {after / 1024:.0f} MB")
    finally:
        quiet.set()
        stop.set()
        server.join(10)


if __name__ == "__main__":
    main()
