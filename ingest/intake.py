"""From one message to the batch: whose it is, what it says, and the bounds on what strangers may send."""

import logging
from datetime import datetime

from ingest.batch import Heard, RefusedMessage, WriteBatch
from ingest.books import Book
from ingest.payload import AnotherDevice, BadPayload, Observed, read_presence
from ingest.quantities import plain
from ingest.recognise import propose
from ingest.redelivery import Remembered, checksum
from ingest.registry import Registry, Stream
from ingest.settings import Limits
from model.records.clock import Now
from model.records.types import from_epoch_ms, to_epoch_ms

log = logging.getLogger("paneltide.ingest")

ROW_BYTES = 250  # what a row costs in memory, roughly
MESSAGE_COST_BYTES = 300
CLOCK_HOUR_MS = 3_600_000
EMPTY, BLANKS, LONGEST_EMPTY = (b"", b"{}", b"[]"), b" \t\r\n\0", 12
"""What says nothing, and is no fault: a retained topic that was cleared, a device with nothing to tell."""
HEARD_STALE_MS = 86_400_000  # an unknown topic silent for a day makes room for any other
NOISE_LOOKS = 3


class Intake:
    """Takes messages, one after another, into the batch that is being gathered. `take` never raises."""

    def __init__(
        self, registry: Registry, limits: Limits, now: Now, remembered: Remembered | None = None
    ) -> None:
        self.batch = WriteBatch()
        self._registry, self._limits, self._now, self._remembered = registry, limits, now, remembered
        self._last_arrival_ms: dict[int, int] = {}
        self._arrival: tuple[datetime | None, int] = (None, 0)  # the last arrival, and in milliseconds
        self._heard_ms: dict[str, int] = {}  # the unknown topics that are listed, and when each spoke last
        self._air: set[str] = set()  # those in which something is recognised
        self._noise: dict[str, int] = {}  # those in which nothing is, and how often it was tried
        self._battery_pct: dict[int, float] = {}  # as last written, so that it is written when it changes
        self._pace = Pace(limits.topic_rate_per_s, limits.topic_burst)

    def load(self, book: Book) -> None:
        """Take up what other processes left: the last arrivals used as times, and the unknown topics."""
        since = book.at(to_epoch_ms(self._now()) - CLOCK_HOUR_MS)
        for sensor_id in self._registry.sensor_ids:
            last = book.execute(
                "SELECT max(observed_at) FROM reading "
                "WHERE sensor_id = ? AND observed_at > ? AND clock = 'arrival'",
                (sensor_id, since),
            ).fetchone()[0]
            if last is not None:
                last_ms = last if isinstance(last, int) else to_epoch_ms(last)
                self._last_arrival_ms[sensor_id] = max(last_ms, self._last_arrival_ms.get(sensor_id, 0))
        for topic, last in book.execute(
            "SELECT topic, max(received_at) FROM heard_message GROUP BY topic"
        ).fetchall():
            self._heard_ms[topic] = last if isinstance(last, int) else to_epoch_ms(last)
        for topic in self._registry.dismissed:
            self._let_go(topic)

    def new_batch(self) -> WriteBatch:
        """The batch gathered so far; a fresh one takes its place."""
        batch, self.batch = self.batch, WriteBatch()
        return batch

    def every_second(self, elapsed_s: float) -> None:
        """Let each topic's allowance grow again."""
        self._pace.refill(elapsed_s)

    def hear_again(self) -> None:
        """Take the waiting messages of unknown topics once more: some of the topics are bound by now."""
        for topic in self._registry.bound(self.heard_topics):
            self._let_go(topic)
            for heard in self.batch.heard.pop(topic, ()):
                self.batch.counts["heard"] -= 1
                self.batch.messages -= 1
                self.take(
                    topic,
                    heard.payload,
                    retained=heard.retained,
                    received_at=from_epoch_ms(heard.received_ms),
                )

    def _let_go(self, topic: str) -> None:
        """List an unknown topic no longer."""
        self._heard_ms.pop(topic, None)
        self._noise.pop(topic, None)
        self._air.discard(topic)

    @property
    def heard_topics(self) -> list[str]:
        return list(self._heard_ms)

    def take(
        self,
        topic: str,
        payload: bytes,
        *,
        retained: bool = False,
        packet_id: int = 0,
        flagged: bool = False,
        received_at: datetime | None = None,
    ) -> None:
        """Take one message as it arrived; `packet_id` is 0 when the broker won't send it again."""
        batch = self.batch
        batch.messages += 1
        batch.size_bytes += len(payload) + MESSAGE_COST_BYTES
        if received_at is None:
            received_at = self._now()
        try:
            self._take(batch, topic, payload, received_at, retained, packet_id, flagged)
        except Exception as error:
            # Whatever a message does to us, the next one must be heard: this is the one place that catches
            # all.
            log.exception("unexpected trouble with a message on %s", plain(topic))
            self._refuse(topic, payload, f"unexpected {type(error).__name__}", received_at)

    def _take(
        self,
        batch: WriteBatch,
        topic: str,
        payload: bytes,
        received_at: datetime,
        retained: bool,
        packet_id: int,
        flagged: bool,
    ) -> None:
        limits = self._limits
        if len(payload) > limits.message_bytes:
            return self._refuse(
                topic, payload, f"message must have at most {limits.message_bytes} bytes", received_at
            )
        if len(topic) > limits.topic_chars:
            return self._refuse(
                topic, payload, f"topic must have at most {limits.topic_chars} characters", received_at
            )
        if not self._pace.allows(topic):
            return self._refuse_pace(batch, topic, payload, received_at)
        if len(payload) <= LONGEST_EMPTY and payload.translate(None, BLANKS) in EMPTY:
            batch.counts["ignored"] += 1
            return None
        streams = self._registry.route(topic)
        if not streams:
            return self._hear(batch, topic, payload, retained, received_at)
        known: bool | None = None
        if received_at is not self._arrival[0]:
            self._arrival = (received_at, to_epoch_ms(received_at))
        received_ms = self._arrival[1]
        strangers: list[str] | None = None
        for stream in streams:
            if stream.read is None:
                self._presence(batch, stream, topic, payload, received_at)
                continue
            try:
                found: list[Observed] | tuple[Observed, ...] = stream.read(
                    topic, payload, received_at, retained, stream.sensors
                )
            except AnotherDevice as other:
                strangers = [*(strangers or ()), other.part]
                continue
            except BadPayload as bad:
                self._refuse(topic, payload, str(bad), received_at)
                found = bad.readings
            for observed in found:
                sensor_id = stream.sensors.get(observed.part)
                if sensor_id is None:
                    strangers = [*(strangers or ()), observed.part]
                    continue
                battery_pct = observed.battery_pct
                if battery_pct is not None and battery_pct != self._battery_pct.get(sensor_id):
                    batch.battery[sensor_id] = self._battery_pct[sensor_id] = battery_pct
                if observed.temperature_c is None and observed.rh_pct is None:
                    continue
                if observed.clock == "device":
                    observed_ms = to_epoch_ms(observed.observed_at)
                else:
                    if known is None:
                        known = self._known_again(batch, topic, payload, packet_id, flagged)
                    if known:
                        continue
                    if observed.observed_at is not received_at:  # told as a distance from the message
                        observed_ms = to_epoch_ms(observed.observed_at)
                    else:
                        # Two arrivals within a millisecond are two readings, not one told twice.
                        observed_ms = max(received_ms, self._last_arrival_ms.get(sensor_id, 0) + 1)
                        self._last_arrival_ms[sensor_id] = observed_ms
                batch.size_bytes += ROW_BYTES
                batch.add(
                    (
                        sensor_id,
                        observed_ms,
                        received_ms,
                        observed.temperature_c,
                        observed.rh_pct,
                        observed.clock,
                    ),
                    topic,
                    payload,
                )
        if strangers is not None:
            unknown = set(strangers).difference(*(stream.sensors for stream in streams))
            unknown.difference_update(*(stream.retired for stream in streams))
            if unknown:
                # A device nobody accepted yet, behind a topic that is in use: listed as unknown topics are.
                batch.counts["part_not_bound"] += len(unknown)
                self._hear(batch, topic, payload, retained, received_at)
        return None

    def _known_again(
        self, batch: WriteBatch, topic: str, payload: bytes, packet_id: int, flagged: bool
    ) -> bool:
        if packet_id == 0 or self._remembered is None:
            return False
        crc = checksum(topic, payload)
        if self._remembered.is_known(packet_id, flagged, crc):
            batch.counts["duplicate"] += 1
            return True
        batch.clockless.append((packet_id, crc))
        return False

    def _presence(
        self, batch: WriteBatch, stream: Stream, topic: str, payload: bytes, received_at: datetime
    ) -> None:
        try:
            said = read_presence(topic, payload, stream.reading)
        except BadPayload as bad:
            return self._refuse(topic, payload, str(bad), received_at)
        for sensor_id in stream.sensors.values():
            batch.presence[sensor_id] = (said.presence, to_epoch_ms(received_at))
        return None

    def _hear(
        self, batch: WriteBatch, topic: str, payload: bytes, retained: bool, received_at: datetime
    ) -> None:
        if received_at is not self._arrival[0]:
            self._arrival = (received_at, to_epoch_ms(received_at))
        received_ms = self._arrival[1]
        if topic in self._registry.dismissed:
            batch.counts["heard_dismissed"] += 1
            return
        if not payload or len(payload) > self._limits.heard_bytes or not self._room_for(topic, payload):
            batch.counts["heard_not_kept"] += 1
            return
        self._heard_ms[topic] = received_ms
        batch.counts["heard"] += 1
        batch.size_bytes += len(payload)
        batch.hear(topic, Heard(payload, retained, received_ms))

    def _room_for(self, topic: str, payload: bytes) -> bool:
        """Whether a topic is listed; from a full list the longest silent goes, noise before a sensor."""
        is_noise = self._is_noise(topic, payload)
        if topic in self._heard_ms or len(self._heard_ms) < self._limits.heard_topics:
            return True
        going = [known for known in self._noise if known in self._heard_ms] or list(self._heard_ms)
        longest = min(going, key=self._heard_ms.__getitem__)
        silent_ms = self._arrival[1] - self._heard_ms[longest]
        if is_noise and longest not in self._noise and silent_ms <= HEARD_STALE_MS:
            # Every topic listed may be a sensor: noise takes the place of none that still speaks.
            del self._noise[topic]
            return False
        self._let_go(longest)
        self.batch.heard.pop(longest, None)
        self.batch.crowded_out.append(longest)
        return True

    def _is_noise(self, topic: str, payload: bytes) -> bool:
        """Whether nothing was recognised in the first messages of an unknown topic; a few are looked at."""
        looks = self._noise.get(topic, 0)
        if topic not in self._air and looks < NOISE_LOOKS:
            if propose(topic, [payload]) is None:
                self._noise[topic] = looks + 1
            else:
                self._noise.pop(topic, None)
                self._air.add(topic)
        return topic in self._noise

    def _refuse_pace(self, batch: WriteBatch, topic: str, payload: bytes, received_at: datetime) -> None:
        batch.counts["too_many"] += 1
        if self._pace.first_refusal(topic):
            rate = self._limits.topic_rate_per_s
            self._refuse(
                topic, payload, f"topic sends more than {rate:g} messages a second; dropped", received_at
            )

    def _refuse(self, topic: str, payload: bytes, reason: str, received_at: datetime) -> None:
        limits = self._limits
        kept = payload[: limits.rejected_row_bytes]
        self.batch.size_bytes += len(kept)
        self.batch.refused.append(
            RefusedMessage(
                topic[: limits.topic_chars], kept, len(payload), reason[:1_000], to_epoch_ms(received_at)
            )
        )


class Pace:
    """How many messages each topic may still send: a burst, refilled at a rate."""

    def __init__(self, rate_per_s: float, burst: int) -> None:
        self._rate_per_s, self._burst = rate_per_s, burst
        self._left: dict[str, float] = {}
        self._told: set[str] = set()

    def allows(self, topic: str) -> bool:
        """Count one message of a topic; whether it is within bounds."""
        left = self._left.get(topic, self._burst) - 1
        self._left[topic] = left
        return left >= 0

    def first_refusal(self, topic: str) -> bool:
        """Whether this is the first refusal since the topic last behaved."""
        if topic in self._told:
            return False
        self._told.add(topic)
        return True

    def refill(self, elapsed_s: float) -> None:
        """Let the allowances grow; a full one is forgotten, so memory follows what is active."""
        more = self._rate_per_s * elapsed_s
        full = []
        for topic, left in self._left.items():
            grown = max(left, 0.0) + more
            if grown >= self._burst:
                full.append(topic)
            else:
                self._left[topic] = grown
        for topic in full:
            del self._left[topic]
            self._told.discard(topic)
