"""Fuzz the reading of payloads for a minute, or as many seconds as are given: only BadPayload may be raised.

Run: python -m tests.bench.fuzz_payload [seconds] [seed]. Good messages meet accidents (bytes flipped, cut,
doubled, spliced) and go through every shape and through recognition. Prints what went through; exits 1 at the
first escape.
"""

import argparse
import random
import sys
import time
import traceback
from datetime import UTC, datetime

import cbor2

from ingest.payload.decode import read
from ingest.payload.presence import read_presence
from ingest.payload.quantities import BadPayload
from ingest.payload.shapes import PayloadReading
from ingest.recognise.proposal import propose
from tests.bench.smoke import parsed

NOW = datetime(2024, 6, 10, 6, 15, tzinfo=UTC)
SEEDS = [
    b'{"temperature":21.5,"humidity":45.5,"battery":87,"ts":1718000000,"unit":"C"}',
    b'{"Time":"2024-06-10T06:14:28","SHT3X":{"Temperature":22.1,"Humidity":51.3,"DewPoint":11.6},"TempUnit":"C"}',
    b'[{"mac":"AA","temperature":21,"humidity":40,"timestamp":"2024-06-10T06:13:20Z"},{"mac":"BB","temperature":22}]',
    b'{"Device A":[{"ts":1718000000000,"values":{"temperature":22,"humidity":60}}]}',
    b'{"values":[{"type":"temperature","value":"21,5","unit":"C"},{"type":"humidity","value":0.45,"unit":"/"}]}',
    b'[{"bn":"rack/","bt":1718000000,"n":"temp","u":"Cel","v":20.4},{"n":"rh","u":"%RH","v":41.2,"t":-60}]',
    cbor2.dumps([{-2: "rack/", -3: 1718000000, 0: "temp", 1: "Cel", 2: 20.4}, {0: "rh", 1: "%RH", 2: 41.2}]),
    b"21,5 \xc2\xb0C",
    b"online",
    b'{"t":nan,"h":45}\x00',
]
SPLICES = [
    b"[" * 2_000,
    b'{"a":' * 2_000,
    b"9" * 5_000,
    b"1e400",
    b"\\ud800",
    b"\xff",
    b"\x00",
    b"nan",
    b'"',
    b"}",
    b"\x81" * 500,
    b"-",
    b"\xd8\x1c",
    b"\xc4\x82",
    b"\xfb\x7f\xf8",
    b"true",
    b"null",
    b'"temperature":',
    b"\xe2\x80\xae",
]
READINGS = [
    PayloadReading(
        shape="json", temperature="/temperature", rh="/humidity", time="/ts", temperature_unit_at="/unit"
    ),
    PayloadReading(shape="json", temperature="/SHT3X/Temperature", rh="/SHT3X/Humidity", time="/Time"),
    PayloadReading(
        shape="json", each="", part_at="/mac", temperature="/temperature", rh="/humidity", time="/timestamp"
    ),
    PayloadReading(
        shape="json", each="", part_at="key", temperature="/values/temperature", rh="/values/humidity"
    ),
    PayloadReading(
        shape="json",
        each="/values",
        name_at="/type",
        value_at="/value",
        unit_at="/unit",
        temperature_names=("temperature",),
        rh_names=("humidity",),
    ),
    PayloadReading(shape="number", quantity="temperature"),
    PayloadReading(shape="number", quantity="rh", rh_unit="ratio"),
    PayloadReading(shape="senml-json"),
    PayloadReading(shape="senml-cbor"),
]
PRESENCE = PayloadReading(shape="presence")


def mutated(chance: random.Random) -> bytes:
    """One of the seeds after one to six small accidents."""
    body = bytearray(chance.choice(SEEDS))
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(body) + 1)
        match chance.randrange(5):
            case 0:
                body[at : at + 1] = bytes([chance.randrange(256)])
            case 1:
                del body[at : at + chance.randint(1, 12)]
            case 2:
                body[at:at] = chance.choice(SPLICES)
            case 3:
                body[at:at] = body[at : at + chance.randint(1, 40)]
            case _:
                other = chance.choice(SEEDS)
                body[at:] = other[chance.randrange(len(other)) :]
    return bytes(body)


def fuzz(seconds: float, seed: int) -> int:
    """Fuzz until the time is over."""
    chance = random.Random(seed)
    messages = readings = refused = proposals = 0
    slowest_s, slowest = 0.0, b""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        body = mutated(chance)
        began = time.perf_counter()
        try:
            for reading in READINGS:
                try:
                    readings += len(read("shop/bench", body, reading, NOW, retained=chance.random() < 0.1))
                except BadPayload as error:
                    refused += 1
                    if not str(error).isprintable() or len(str(error)) > 600:
                        raise AssertionError("a reason that is no short printable sentence") from error
            proposals += propose(chance.choice(["shop/bench", "shop/bench/temperature"]), [body]) is not None
            try:
                read_presence("shop/bench/status", body, PRESENCE)
            except BadPayload:
                refused += 1
        except Exception:
            traceback.print_exc()
            print(f"escaped with seed {seed}, message {messages}: {body[:200]!r}")
            return 1
        took = time.perf_counter() - began
        if took > slowest_s:
            slowest_s, slowest = took, body
        messages += 1
    print(
        f"{messages} messages in {seconds:g} s, each in {len(READINGS)} shapes: {readings} readings, "
        f"{refused} refusals, {proposals} proposals, no other exception. "
        f"Slowest {slowest_s * 1e3:.1f} ms ({len(slowest)} bytes)."
    )
    return 0


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seconds", type=float, nargs="?", default=60.0)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    given = parsed(parser, seconds=1.0)
    sys.exit(fuzz(given.seconds, given.seed))
