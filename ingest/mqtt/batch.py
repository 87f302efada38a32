"""Gathers what arrived since the last commit, merged and bounded, ready to be written."""

from collections import Counter
from dataclasses import dataclass, field
from typing import NamedTuple

HOUR_MS = 3_600_000


# A row's values without their names, which would take as long to make as the row takes to store.
RowValues = tuple[int, int, int, float | None, float | None, str]
RowKey = tuple[int, int, float | None, float | None]
"""Sensor, instant and both values: what tells a reading from another."""


class Row(NamedTuple):
    """One reading as it is stored; instants in milliseconds since 1970."""

    sensor_id: int
    observed_ms: int
    received_ms: int
    temperature_c: float | None
    rh_pct: float | None
    clock: str


class UnboundMessage(NamedTuple):
    """A message on a topic that no sensor is bound to."""

    payload: bytes
    retained: bool
    received_ms: int


class RefusedMessage(NamedTuple):
    """A message that can't become a reading."""

    topic: str
    payload: bytes  # cut at the limit
    size: int
    reason: str
    received_ms: int


WoodValues = tuple[int, int, int, float, float | None, str]
"""Of a sensor on wood: sensor, instant, arrival, value, the wood's temperature, whose clock."""


@dataclass
class WriteBatch:
    """Messages that belong into one transaction."""

    rows: dict[RowKey, RowValues] = field(default_factory=dict)
    sources: dict[RowKey, tuple[str, bytes]] = field(default_factory=dict)
    wood: dict[WoodValues, tuple[str, bytes]] = field(default_factory=dict)  # with topic and payload
    refused: list[RefusedMessage] = field(default_factory=list)
    unbound: dict[str, list[UnboundMessage]] = field(default_factory=dict)
    presence: dict[int, tuple[str, int]] = field(default_factory=dict)
    battery: dict[int, float] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)
    clockless: list[tuple[int, int]] = field(default_factory=list)  # packet id and checksum, in order
    turned: list[int] = field(default_factory=list)  # kept messages that this batch makes readings of
    crowded_out: list[str] = field(default_factory=list)  # unknown topics that are no longer listed
    messages: int = 0
    size_bytes: int = 0

    def add(self, row: RowValues, topic: str, payload: bytes) -> None:
        """Take a reading; the same one again is counted, and another value for its instant is another."""
        key = (row[0], row[1], row[3], row[4])
        if key in self.rows:
            self.counts["duplicate"] += 1
            return
        self.rows[key] = row
        self.sources[key] = (topic, payload)
