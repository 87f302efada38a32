"""A publisher that keeps a broker busy: QoS 1 packets made beforehand, sent in bulk on one socket.

``python -m tests.bench.publisher PORT COUNT [--rate N] [--sensors N] [--start N]`` publishes COUNT messages
of about 100 bytes with a device time of their own each, prints "ready" first, waits for a line on standard
input, and prints when the broker has acknowledged all of them.
"""

import argparse
import json
import socket
import struct
import sys
import threading
import time

CHUNK = 500
UNACKNOWLEDGED = 20_000


def publish_packet(topic: str, payload: bytes, packet_id: int) -> bytes:
    """One PUBLISH at QoS 1 (MQTT 3.1.1, 3.3)."""
    name = topic.encode()
    body = struct.pack("!H", len(name)) + name + struct.pack("!H", packet_id) + payload
    length, left = bytearray(), len(body)
    while True:
        left, digit = divmod(left, 128)
        length.append(digit | (0x80 if left else 0))
        if not left:
            return b"\x32" + bytes(length) + body


def message(number: int, start_ms: int, sensors: int) -> tuple[str, bytes]:
    """Message `number`: its own sensor and second, so every one is a row of its own."""
    at_ms = start_ms + number // sensors * 1_000
    return f"bench/{number % sensors}/air", json.dumps(
        {
            "time": at_ms,
            "temperature": 18 + number % 70 / 10,
            "humidity": 40 + number % 200 / 10,
            "battery": 88,
            "n": number,
        }
    ).encode()


class Publisher:
    """One connection that publishes what it is given, and counts the broker's acknowledgements."""

    def __init__(self, port: int, name: str = "bench-publisher") -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), 10)
        client = name.encode()
        self._socket.sendall(
            bytes([0x10, 12 + len(client), 0, 4]) + b"MQTT" + bytes([4, 2, 0, 0xFF, 0, len(client)]) + client
        )
        assert self._socket.recv(4)[:1] == b"\x20"
        self.acknowledged = 0
        self.sent = 0
        self._more = threading.Condition()
        self._left = b""
        threading.Thread(target=self._count, daemon=True).start()

    def send(self, messages: list[tuple[str, bytes]]) -> None:
        """Publish these; waits while too many are unacknowledged."""
        with self._more:
            self._more.wait_for(lambda: self.sent - self.acknowledged < UNACKNOWLEDGED, 120)
        packets = []
        for topic, payload in messages:
            self.sent += 1
            packets.append(publish_packet(topic, payload, self.sent % 65_535 + 1))
        self._socket.sendall(b"".join(packets))

    def wait(self, timeout_s: float = 120.0) -> bool:
        """Until everything is acknowledged."""
        with self._more:
            return self._more.wait_for(lambda: self.acknowledged >= self.sent, timeout_s)

    def close(self) -> None:
        self._socket.sendall(b"\xe0\x00")
        self._socket.close()

    def _count(self) -> None:
        try:
            while data := self._socket.recv(65_536):
                data = self._left + data
                whole = len(data) // 4 * 4  # every PUBACK has four bytes
                self._left = data[whole:]
                with self._more:
                    self.acknowledged += whole // 4
                    self._more.notify_all()
        except OSError:
            return


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("port", type=int)
    parser.add_argument("count", type=int)
    parser.add_argument(
        "--rate", type=float, default=0.0, help="messages a second; as fast as it goes when 0"
    )
    parser.add_argument("--sensors", type=int, default=50)
    parser.add_argument(
        "--start", type=int, default=0, help="first device time, ms since 1970; now less a day if 0"
    )
    parser.add_argument("--end", action="store_true", help="publish one last message on bench-end")
    given = parser.parse_args()
    start_ms = given.start or int(time.time() * 1_000) - 86_400_000
    publisher = Publisher(given.port)
    made = [message(number, start_ms, given.sensors) for number in range(given.count)]
    print("ready", flush=True)
    sys.stdin.readline()
    begun = time.monotonic()
    chunk = CHUNK if not given.rate else max(1, int(given.rate / 200))
    for first in range(0, given.count, chunk):
        if given.rate:
            time.sleep(max(0.0, begun + first / given.rate - time.monotonic()))
        publisher.send(made[first : first + chunk])
    if given.end:
        publisher.send([("bench-end", b"")])
    publisher.wait()
    print(f"{given.count / (time.monotonic() - begun):.0f} messages a second acknowledged to the publisher")
    publisher.close()


if __name__ == "__main__":
    main()
