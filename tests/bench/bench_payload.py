"""Time of reading one payload, beside json.loads and msgspec on the same bytes in the same run.

Run: python -m tests.bench.bench_payload. Prints microseconds a message, best of five, and the ratio.
"""

import argparse
import json
from datetime import UTC, datetime
from timeit import repeat

import cbor2
import msgspec

from ingest.payload.decode import reader
from ingest.payload.shapes import PayloadReading
from ingest.recognise.proposal import propose
from tests.bench.smoke import parsed

NOW = datetime(2024, 6, 10, 6, 15, tzinfo=UTC)
FIELDS = PayloadReading(
    shape="json", temperature="/temperature", rh="/humidity", battery="/battery", time="/ts"
)
LIST = PayloadReading(
    shape="json", each="/sensors", part_at="/id", temperature="/t", rh="/h", shared_time="/ts"
)
CASES = {
    "flat, four fields": (
        b'{"temperature": 21.37, "humidity": 45.2, "battery": 87, "ts": 1718000000, "lqi": 120}',
        FIELDS,
    ),
    "flat, no time": (b'{"temperature": 21.37, "humidity": 45.2}', FIELDS),
    "flat, ISO time": (b'{"temperature": 21.37, "humidity": 45.2, "ts": "2024-06-10T06:13:20Z"}', FIELDS),
    "flat, numbers as text": (b'{"temperature": "21,37", "humidity": "45.2 %", "ts": "1718000000"}', FIELDS),
    "nested three deep": (
        b'{"id":"x","up":{"payload":{"t":21.37,"h":45.2},"at":"2024-06-10T06:13:20Z"},"rx":[{"rssi":-60}]}',
        PayloadReading(shape="json", temperature="/up/payload/t", rh="/up/payload/h", time="/up/at"),
    ),
    "list of ten sensors": (
        json.dumps(
            {"ts": 1718000000, "sensors": [{"id": f"s{i}", "t": 20.5, "h": 45.5} for i in range(10)]}
        ).encode(),
        LIST,
    ),
    "bare number": (b"21.37", PayloadReading(shape="number", quantity="temperature")),
    "SenML JSON, two records": (
        b'[{"bn":"rack/","bt":1718000000,"n":"temp","u":"Cel","v":20.4},{"n":"rh","u":"%RH","v":41.2}]',
        PayloadReading(shape="senml-json"),
    ),
    "SenML CBOR, two records": (
        cbor2.dumps(
            [{-2: "rack/", -3: 1718000000, 0: "temp", 1: "Cel", 2: 20.4}, {0: "rh", 1: "%RH", 2: 41.2}]
        ),
        PayloadReading(shape="senml-cbor"),
    ),
}


def best_us(call, number: int) -> float:
    """Microseconds a call, best of five rounds."""
    return min(repeat(call, number=number, repeat=5)) / number * 1e6


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=20_000, help="calls of each kind")
    times = parsed(parser, times=20).times
    print(f"{'payload':<26}{'read µs':>9}{'json µs':>9}{'msgspec':>9}{'read/json':>11}")
    for name, (body, reading) in CASES.items():
        read = reader(reading).read
        ours = best_us(lambda read=read, body=body: read("shop/bench", body, NOW), times)
        if reading.shape == "senml-cbor":
            print(f"{name:<26}{ours:>9.2f}{'':>9}{'':>9}{'':>11}")
            continue
        bare = best_us(lambda body=body: json.loads(body), times)
        fast = best_us(lambda body=body: msgspec.json.decode(body), times)
        print(f"{name:<26}{ours:>9.2f}{bare:>9.2f}{fast:>9.2f}{ours / bare:>11.2f}")
    flat = CASES["flat, four fields"][0]
    recognition = best_us(lambda: propose("shop/bench", [flat] * 10), max(times // 60, 1))
    print(f"{'recognition, flat':<26}{recognition:>9.0f}")


if __name__ == "__main__":
    main()
