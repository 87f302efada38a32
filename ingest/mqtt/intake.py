"""Turns messages into rows of a batch, and bounds what strangers may send."""

import logging
from collections.abc import Sequence
from datetime import datetime

import msgspec

from ingest.mqtt.batch import RefusedMessage, UnboundMessage, WriteBatch
from ingest.mqtt.redelivery import Remembered, checksum
from ingest.mqtt.registry import Registry, Stream
from ingest.out.topics import published_under
from ingest.payload.presence import read_presence
from ingest.payload.quantities import BadPayload, plain
from ingest.payload.shapes import AnotherDevice, Observed
from ingest.recognise.proposal import propose
from ingest.settings import Limits
from model.records.bulk import Bulk
from model.records.clock import Now
from model.records.schema.types import from_epoch_ms, to_epoch_ms

log = logging.getLogger("paneltide.ingest")

ROW_BYTES = 250  # what a row costs in memory, roughly
MESSAGE_COST_BYTES = 300
CLOCK_HOUR_MS = 3_600_000
EMPTY, BLANKS, LONGEST_EMPTY = (b"", b"{}", b"[]"), b" \t\r\n\0", 12
"""What says nothing, and is no fault: a retained topic that was cleared, a device with nothing to tell."""
UNBOUND_STALE_MS = 86_400_000  # an unbound topic silent for a day makes room for any other
NOISE_LOOKS = 3


class Message(msgspec.Struct, frozen=True, gc=False):
    """A message as it arrived."""

    topic: str
    payload: bytes
    received_at: datetime
    received_ms: int
    retained: bool
    packet_id: int  # 0 when the broker won't send it again
    flagged: bool  # as sent again


class Intake:
    """Takes messages, one after another, into the batch that is being gathered. `take` never raises.

    What we publish ourselves under the prefix `publishes` is left alone.
    """

    def __init__(
        self,
        registry: Registry,
        limits: Limits,
        now: Now,
        remembered: Remembered | None = None,
        publishes: str = "",
    ) -> None:
        self._is_ours = published_under(publishes)
        self.batch = WriteBatch()
        self._registry, self._limits, self._now, self._remembered = registry, limits, now, remembered
        self._last_arrival_ms: dict[int, int] = {}
        self._arrival: tuple[datetime | None, int] = (None, 0)  # the last arrival, and in milliseconds
        self._unbound_ms: dict[str, int] = {}  # the unbound topics that are listed, and when each spoke last
        self._air: set[str] = set()  # those in which something is recognised
        self._noise: dict[str, int] = {}  # those in which nothing is, and how often it was tried
        self._battery_pct: dict[int, float] = {}  # as last written, so that it is written when it changes
        self._checked: tuple[Message | None, bool] = (None, False)  # the last one asked of the memory
        self._pace = Pace(limits.topic_rate_per_s, limits.topic_burst)

    def load(self, bulk: Bulk) -> None:
        """Take up what other processes left: the last arrivals used as times, and the unbound topics."""
        since = bulk.instant(to_epoch_ms(self._now()) - CLOCK_HOUR_MS)
        for sensor_id in self._registry.sensor_ids:
            [(last_ms,)] = bulk.rows(
                f"SELECT {bulk.instant_of('max(observed_at)')} FROM reading "
                "WHERE sensor_id = ? AND observed_at > ? AND clock = 'arrival'",
                (sensor_id, since),
            )
            if last_ms is not None:
                self._last_arrival_ms[sensor_id] = max(last_ms, self._last_arrival_ms.get(sensor_id, 0))
        last_ms = bulk.instant_of("max(received_at)")
        self._unbound_ms |= dict(bulk.rows(f"SELECT topic, {last_ms} FROM heard_message GROUP BY topic"))
        for topic in self._registry.dismissed:
            self._let_go(topic)

    def new_batch(self) -> WriteBatch:
        """The batch gathered so far; a fresh one takes its place."""
        batch, self.batch = self.batch, WriteBatch()
        return batch

    def every_second(self, elapsed_s: float) -> None:
        """Let each topic's allowance grow again."""
        self._pace.refill(elapsed_s)

    def take_again(self) -> None:
        """Take the waiting messages of unbound topics once more: some of the topics are bound by now."""
        for topic in self._registry.bound(self.unbound_topics):
            self._let_go(topic)
            for message in self.batch.unbound.pop(topic, ()):
                self.batch.counts["heard"] -= 1
                self.batch.messages -= 1
                received_at = from_epoch_ms(message.received_ms)
                self.take(topic, message.payload, retained=message.retained, received_at=received_at)

    @property
    def unbound_topics(self) -> list[str]:
        """The topics that are listed because no sensor is bound to them."""
        return list(self._unbound_ms)

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
        if received_at is not self._arrival[0]:
            self._arrival = (received_at, to_epoch_ms(received_at))
        message = Message(topic, payload, received_at, self._arrival[1], retained, packet_id, flagged)
        try:
            self._take(message)
        except Exception as error:
            # Whatever a message does to us, the next one must be heard: this is the one place that catches
            # all.
            log.exception("unexpected trouble with a message on %s", plain(topic))
            self._refuse(message, f"unexpected {type(error).__name__}")

    def _take(self, message: Message) -> None:
        limits, topic, payload = self._limits, message.topic, message.payload
        if len(payload) > limits.message_bytes:
            self._refuse(message, f"message must have at most {limits.message_bytes} bytes")
        elif len(topic) > limits.topic_chars:
            self._refuse(message, f"topic must have at most {limits.topic_chars} characters")
        elif not self._pace.allows(topic):
            self.batch.counts["too_many"] += 1
            if self._pace.first_refusal(topic):
                rate = limits.topic_rate_per_s
                self._refuse(message, f"topic sends more than {rate:g} messages a second; dropped")
        elif self._is_ours(topic) or (
            len(payload) <= LONGEST_EMPTY and payload.translate(None, BLANKS) in EMPTY
        ):
            self.batch.counts["ignored"] += 1
        elif streams := self._registry.route(topic):
            strangers: set[str] = set()
            for stream in streams:
                if stream.read is None:
                    self._presence(message, stream)
                    continue
                for observed in self._read(message, stream, strangers):
                    sensor_id = stream.sensors.get(observed.part)
                    if sensor_id is None:
                        strangers.add(observed.part)
                    else:
                        self._add(message, sensor_id, observed)
            if strangers:
                strangers.difference_update(*(stream.sensors.keys() | stream.retired for stream in streams))
            if strangers:
                # A device nobody accepted yet, behind a topic that is in use: listed as unbound topics are.
                self.batch.counts["part_not_bound"] += len(strangers)
                self._keep_unbound(message)
        else:
            self._keep_unbound(message)

    def _read(self, message: Message, stream: Stream, strangers: set[str]) -> Sequence[Observed]:
        """What a message says; a device that is none of the stream's is added to the strangers."""
        assert stream.read is not None
        try:
            return stream.read(
                message.topic, message.payload, message.received_at, message.retained, stream.sensors
            )
        except AnotherDevice as other:
            strangers.add(other.part)
            return ()
        except BadPayload as bad:
            self._refuse(message, str(bad))
            return bad.readings

    def _add(self, message: Message, sensor_id: int, observed: Observed) -> None:
        """Add an observation to the batch, unless it is told by arrival and its message is known."""
        batch, battery_pct = self.batch, observed.battery_pct
        if battery_pct is not None and battery_pct != self._battery_pct.get(sensor_id):
            batch.battery[sensor_id] = self._battery_pct[sensor_id] = battery_pct
        temperature_c, rh_pct, clock = observed.temperature_c, observed.rh_pct, observed.clock
        if temperature_c is None and rh_pct is None and observed.wood is None:
            return
        if clock == "arrival" and self._is_redelivered(message):
            return
        if clock == "arrival" and observed.observed_at == message.received_at:
            # Two arrivals within a millisecond are two readings, not one told twice.
            observed_ms = max(message.received_ms, self._last_arrival_ms.get(sensor_id, 0) + 1)
            self._last_arrival_ms[sensor_id] = observed_ms
        else:  # also where it is told as a distance from the message
            observed_ms = to_epoch_ms(observed.observed_at)
        batch.size_bytes += ROW_BYTES
        if observed.wood is not None:
            on_wood = (sensor_id, observed_ms, message.received_ms, observed.wood, temperature_c, str(clock))
            batch.wood[on_wood] = message.topic, message.payload
            return
        row = (sensor_id, observed_ms, message.received_ms, temperature_c, rh_pct, clock)
        batch.add(row, message.topic, message.payload)

    def _is_redelivered(self, message: Message) -> bool:
        """Whether the broker sent this message before and it is stored; asked once a message."""
        if message.packet_id == 0 or self._remembered is None:
            return False
        if self._checked[0] is not message:
            crc = checksum(message.topic, message.payload)
            known = self._remembered.is_known(message.packet_id, message.flagged, crc)
            self._checked = (message, known)
            if known:
                self.batch.counts["duplicate"] += 1
            # Also one that is known: its second acknowledgement may be lost as well.
            self.batch.clockless.append((message.packet_id, crc))
        return self._checked[1]

    def _presence(self, message: Message, stream: Stream) -> None:
        try:
            told = read_presence(message.topic, message.payload, stream.reading)
        except BadPayload as bad:
            self._refuse(message, str(bad))
            return
        for sensor_id in stream.sensors.values():
            self.batch.presence[sensor_id] = (told.presence, message.received_ms)

    def _refuse(self, message: Message, reason: str) -> None:
        kept = message.payload[: self._limits.rejected_row_bytes]
        topic = message.topic[: self._limits.topic_chars]
        self.batch.size_bytes += len(kept)
        refused = RefusedMessage(topic, kept, len(message.payload), reason[:1_000], message.received_ms)
        self.batch.refused.append(refused)

    # ------------------------------------------------------------ topics that no sensor is bound to

    def _keep_unbound(self, message: Message) -> None:
        batch, topic, payload = self.batch, message.topic, message.payload
        if topic in self._registry.dismissed:
            batch.counts["heard_dismissed"] += 1
            return
        if not payload or len(payload) > self._limits.heard_bytes or not self._has_room(message):
            batch.counts["heard_not_kept"] += 1
            return
        self._unbound_ms[topic] = message.received_ms
        batch.counts["heard"] += 1
        batch.size_bytes += len(payload)
        kept = UnboundMessage(payload, message.retained, message.received_ms)
        batch.unbound.setdefault(topic, []).append(kept)

    def _has_room(self, message: Message) -> bool:
        """Whether a topic is listed; from a full list the longest silent goes, noise before a sensor."""
        topic, listed = message.topic, self._unbound_ms
        is_noise = self._is_noise(topic, message.payload)
        if topic in listed or len(listed) < self._limits.heard_topics:
            return True
        going = [known for known in self._noise if known in listed] or list(listed)
        longest = min(going, key=listed.__getitem__)
        silent_ms = message.received_ms - listed[longest]
        if is_noise and longest not in self._noise and silent_ms <= UNBOUND_STALE_MS:
            # Every topic listed may be a sensor: noise takes the place of none that still speaks.
            del self._noise[topic]
            return False
        self._let_go(longest)
        self.batch.unbound.pop(longest, None)
        self.batch.crowded_out.append(longest)
        return True

    def _is_noise(self, topic: str, payload: bytes) -> bool:
        """Whether nothing was recognised in the first messages of an unbound topic; a few are looked at."""
        looks = self._noise.get(topic, 0)
        if topic not in self._air and looks < NOISE_LOOKS:
            if propose(topic, [payload]) is None:
                self._noise[topic] = looks + 1
            else:
                self._noise.pop(topic, None)
                self._air.add(topic)
        return topic in self._noise

    def _let_go(self, topic: str) -> None:
        """List an unbound topic no longer."""
        self._unbound_ms.pop(topic, None)
        self._noise.pop(topic, None)
        self._air.discard(topic)


def unbound_batch(bulk: Bulk, registry: Registry, limits: Limits, now: Now, topics: list[str]) -> WriteBatch:
    """The readings in the kept messages of topics that are bound by now, with the messages' removal.

    An intake of its own reads them: their times depend on nothing but themselves, so that two processes that
    turn the same messages make the same rows.
    """
    intake = Intake(registry, limits, now)
    for topic in topics:
        found = bulk.rows(
            f"SELECT id, payload, retained, {bulk.instant_of('received_at')} FROM heard_message "
            "WHERE topic = ? ORDER BY id",
            (topic,),
        )
        for number, payload, retained, received_ms in found:
            at = from_epoch_ms(received_ms)
            intake.take(topic, bytes(payload), retained=bool(retained), received_at=at)
            intake.batch.turned.append(number)
    return intake.new_batch()


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
