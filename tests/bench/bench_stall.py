"""How long the watch is silent while it computes ten years of sixty pieces anew, in processor and real time.

    python -m tests.bench.bench_stall [--pieces 60] [--years 10]

Runs the watch as `paneltide watch` does on a book of its own that nothing is computed of, and notes each sign
of life it gives. The aim is a longest pause of 5 s.
"""

import argparse
import itertools
import tempfile
import threading
import time
from datetime import timedelta
from pathlib import Path

from model.records.store import Store
from model.watch.run import loop
from tests.bench.bench_watch import START, build
from tests.bench.smoke import parsed

AIM_S = 5.0
MEMBERS = 3  # of a piece


class Noted(loop.Heart):
    """Notes when it was asked for a sign of life, and when it gave one."""

    asked_s: list[float]
    given_s: list[float]
    stop: threading.Event

    def rest(self, every_s: float = loop.PULSE_EVERY_S) -> None:
        before = self._beat_s
        self.asked_s.append(time.monotonic())
        super().rest(every_s)
        if self._beat_s != before:
            self.given_s.append(self._beat_s)
        if self.last is not None:
            self.stop.set()


def longest_s(instants_s: list[float]) -> float:
    return max(after - before for before, after in itertools.pairwise(instants_s))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=60)
    parser.add_argument("--years", type=float, default=10.0)
    given = parsed(parser, pieces=3, years=0.1)
    days = round(given.years * 365)
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'book.sqlite'}")
        build(store, MEMBERS * given.pieces, days)
        at = START + timedelta(days=days)
        began_s, began_cpu_s = time.monotonic(), time.process_time()
        Noted.asked_s, Noted.given_s, Noted.stop = [began_s], [began_s], threading.Event()
        loop.Heart = Noted  # type: ignore[misc]
        loop.run(store, lambda: at, Noted.stop)
        ended_s, cpu_s = time.monotonic(), time.process_time() - began_cpu_s
    took_s = ended_s - began_s
    print(f"{given.pieces} pieces, {given.years:g} years: {took_s:.0f} s, {cpu_s:.0f} s of processor")
    print(f"longest portion               {longest_s(Noted.asked_s):6.1f} s")
    print(f"longest pause between signs   {longest_s([*Noted.given_s, ended_s]):6.1f} s   aim {AIM_S:g} s")


if __name__ == "__main__":
    main()
