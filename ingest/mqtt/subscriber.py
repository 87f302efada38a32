"""Listens to the broker: commits messages in batches and acknowledges them only then; one thread.

    broker ─► Link ─► Intake ─► Batch ─► Writer ─► database
                 ▲                          │
                 └──── acknowledgements ◄───┘  after the commit

While the database is away the batch is kept and nothing is acknowledged; past a bound nothing is read either,
so that memory stays bounded and the broker does the queueing.
"""

import gc
import logging
import math
import random
import threading
import time
from contextlib import suppress

import paho.mqtt.client as mqtt
from sqlalchemy.exc import DBAPIError

from ingest.mqtt.batch import WriteBatch
from ingest.mqtt.intake import Intake, unbound_batch
from ingest.mqtt.link import Link, probe
from ingest.mqtt.redelivery import Remembered
from ingest.mqtt.registry import Registry
from ingest.settings import IngestSettings, Limits
from ingest.storage.writer import PulseToWrite, Writer
from model.records.clock import Now, machine_now
from model.records.queries.health import PULSE_EVERY_S
from model.records.schema.types import to_epoch_ms
from model.records.store import Store, cause_of

__all__ = ["IngestSettings", "Limits", "Subscriber", "probe", "run"]

log = logging.getLogger("paneltide.ingest")

IDLE_WAIT_S = 0.25
ARRIVAL_STEP_S = 0.001  # the clock is asked once a millisecond: that is as fine as instants are kept
QUIET_S = 0.002  # a broker silent for so long waits for acknowledgements, or has nothing more
BATCH_BYTES = 4_194_304
LOOK_S = 1.0  # between looks at the registry
CALM_AFTER_S = 300.0
"""After the start, or a change of what is listened to, somebody looks on: every message is stored at once."""
CALM_TICK_S, CALM_LOST_TICK_S = 120.0, 10.0
"""Later, few messages are gathered for so long: a commit writes a page of each sensor's, whatever it stores.
Those that the broker doesn't keep until they are acknowledged (QoS 0) would be lost with us: not so long."""
CALM_MESSAGES, CALM_PER_S = 8, 0.5
"""Few are so many at once, and so many more each second."""
HELD_BACK_S, HELD_BACK_TIMES = 0.25, 5
"""A broker that sends on so soon after an acknowledgement, again and again, has been waiting for it."""
FIRST_RETRY_S = 0.05
LONGEST_RETRY_S = 1.0
FAREWELL_S = 1.5


class Subscriber:
    """Stores what the broker sends, until told to stop.

    Parameters
    ----------
    store : Store
        A book at the current schema.
    settings : IngestSettings
    now : Now
        The book's clock, which stamps arrivals.
    """

    def __init__(self, store: Store, settings: IngestSettings, now: Now) -> None:
        self._settings, self._now = settings, now
        self._remembered = Remembered(settings.client_id, settings.marks_redelivery)
        self._registry = Registry()
        self._intake = Intake(self._registry, settings.limits, now, self._remembered, settings.publishes)
        self._writer = Writer(store, settings.limits, self._remembered)
        self._link = Link(settings, self._on_message, self._on_session, self._on_lost)
        self._to_acknowledge: list[int] = []
        self._arrived_at, self._arrived_s = now(), time.monotonic()
        self._batch_since = 0.0
        self._commit_s = QUIET_S
        self._window = self._last_quiet = 0  # messages at which the broker seems to wait for us
        self._retry_s = FIRST_RETRY_S
        self._retry_at = 0.0
        self._away: str | None = None  # why the database can't be written
        self._ready = False  # whether registry and memory of the last run are loaded
        self._next_look = self._next_pulse = 0.0
        self._pulse_of: object = None  # what the last sign of life told of the broker
        self._calm_from = time.monotonic() + CALM_AFTER_S
        self._tick_s = CALM_TICK_S
        self._acknowledged_s, self._held_back = -math.inf, 0
        self._last_second = time.monotonic()
        self._totals = {"received": 0, "stored": 0, "rejected": 0}
        self._since = machine_now()

    def run(self, stop: threading.Event) -> None:
        """Work until `stop` is set; then commit and acknowledge what is at hand, within two seconds."""
        while not stop.is_set():
            self._step()
        self._farewell()

    @property
    def backlog(self) -> int:
        """Messages taken that are not committed yet."""
        return self._intake.batch.messages

    # ------------------------------------------------------------ the loop

    def _step(self) -> None:
        if not self._ready and not self._load():
            # Without the registry every message would look unknown: let the broker hold them.
            self._link.wait(0.05, reading=False)
            return
        self._link.keep_up()
        batch, limits = self._intake.batch, self._settings.limits
        reading = batch.messages < limits.backlog_messages and batch.size_bytes < limits.backlog_bytes
        readable = self._link.wait(self._patience(batch), reading=reading)
        if readable:
            # While the database is away the batch may grow to the bound of the backlog.
            bound = limits.backlog_messages
            if not self._away:
                bound = min(bound, max(self._settings.batch_messages, batch.messages + 1))
            self._link.read(bound - batch.messages)
        if reading:
            self._link.misc()
        else:
            self._link.ping_unheard()
        quiet = not readable
        if self._is_due(self._intake.batch, quiet=quiet):
            if quiet:
                # Silent twice at the same number: next time look, but don't wait, before taking it for the
                # end.
                count = self._intake.batch.messages
                self._window, self._last_quiet = count if count == self._last_quiet else 0, count
            self._commit()
        if time.monotonic() >= self._next_look:
            self._every_second()

    def _patience(self, batch: WriteBatch) -> float:
        """How long to wait for more before looking round [s]."""
        if self._away:
            return max(0.0, min(self._retry_at - time.monotonic(), IDLE_WAIT_S))
        if batch.messages == 0:
            return max(0.0, min(self._next_look - time.monotonic(), IDLE_WAIT_S))
        if self._is_calm(batch):
            return IDLE_WAIT_S
        if batch.messages == self._window:
            return 0.0
        # The slower the disk, the longer it pays to gather: at most half the time goes into commits.
        quiet_s = min(max(QUIET_S, self._commit_s), self._settings.tick_s)
        left_s = self._batch_since + self._settings.tick_s - time.monotonic()
        return max(0.0, min(quiet_s, left_s))

    def _is_due(self, batch: WriteBatch, *, quiet: bool) -> bool:
        if batch.messages == 0:
            return False
        now_s = time.monotonic()
        if self._away:
            return now_s >= self._retry_at
        if self._is_calm(batch):
            return now_s >= self._batch_since + self._tick_s
        return (
            quiet
            or batch.messages >= self._settings.batch_messages
            or batch.size_bytes >= BATCH_BYTES
            or now_s >= self._batch_since + self._settings.tick_s
        )

    def _is_calm(self, batch: WriteBatch) -> bool:
        now_s = time.monotonic()
        few = batch.messages < CALM_MESSAGES + CALM_PER_S * (now_s - self._batch_since)
        return few and not batch.unbound and now_s >= self._calm_from

    def _commit(self) -> bool:
        """Write the batch and acknowledge it; whether that could be done."""
        batch, begun = self._intake.batch, time.monotonic()
        calm = self._is_calm(batch)
        try:
            if batch.unbound:
                # Accepted since the last look? Then these are readings, not messages of an unknown topic.
                self._look_at_registry(thorough=False)
            changed = self._writer.write(batch, self._pulse(begun, 0))
        except DBAPIError as error:
            self._note_away(cause_of(error))
            return False
        self._note_back()
        self._intake.new_batch()
        self._commit_s = time.monotonic() - begun
        self._totals["received"] += batch.messages
        self._totals["stored"] += changed + batch.counts["stored"]
        self._totals["rejected"] += len(batch.refused)
        packet_ids, self._to_acknowledge = self._to_acknowledge, []
        self._link.acknowledge(packet_ids)
        self._acknowledged_s = time.monotonic() if calm else -math.inf
        return True

    def _every_second(self) -> None:
        now_s = time.monotonic()
        self._intake.every_second(now_s - self._last_second)
        self._last_second = now_s
        self._next_look = now_s + LOOK_S
        if self._away:
            return
        try:
            self._look_at_registry()
            pulse = self._pulse(now_s, self._intake.batch.messages)
            if pulse is not None:
                self._writer.write(WriteBatch(), pulse)
        except DBAPIError as error:
            self._note_away(cause_of(error))

    def _look_at_registry(self, *, thorough: bool = True) -> None:
        """Take over bindings that changed, with the messages that came before they were known."""
        if not self._registry.refresh(self._writer.bulk, thorough=thorough):
            return
        self._calm_from = time.monotonic() + CALM_AFTER_S
        bulk = self._writer.bulk
        topics = self._registry.bound(self._intake.unbound_topics)
        if topics:
            self._writer.write(unbound_batch(bulk, self._registry, self._settings.limits, self._now, topics))
        # Arrivals that were turned into readings, here or by whoever accepted them, took instants of their
        # own; what waits in the batch comes after them.
        self._intake.load(bulk)
        self._intake.take_again()

    # ------------------------------------------------------------ what the broker tells

    def _on_message(self, message: mqtt.MQTTMessage) -> None:
        now_s = time.monotonic()
        if self._intake.batch.messages == 0:
            self._begin_batch(now_s)
        if message.qos == 0:
            self._tick_s = min(self._tick_s, CALM_LOST_TICK_S)
        if now_s - self._arrived_s > ARRIVAL_STEP_S:
            self._arrived_at, self._arrived_s = self._now(), now_s
        try:
            topic = message.topic
        except UnicodeDecodeError as error:
            topic = error.object.decode("utf-8", "backslashreplace")
        packet_id = message.mid if message.qos else 0
        self._intake.take(
            topic,
            bytes(message.payload),
            retained=message.retain,
            packet_id=packet_id,
            flagged=message.dup,
            received_at=self._arrived_at,
        )
        if packet_id:
            self._to_acknowledge.append(packet_id)

    def _begin_batch(self, now_s: float) -> None:
        self._batch_since = now_s
        # Spread out, so that it doesn't fall together with a sensor's own minute.
        self._tick_s = CALM_TICK_S * random.uniform(0.75, 1.0)
        at_once = now_s - self._acknowledged_s < HELD_BACK_S
        self._held_back = self._held_back + 1 if at_once else 0
        if self._held_back >= HELD_BACK_TIMES:
            self._calm_from = now_s + CALM_AFTER_S

    def _on_session(self, session_present: bool) -> None:
        self._since = machine_now()
        self._remembered.resumed(self._intake.batch.clockless, session_present)

    def _on_lost(self) -> None:
        self._to_acknowledge.clear()
        self._since = machine_now()

    # ------------------------------------------------------------ the database's moods

    def _load(self) -> bool:
        if time.monotonic() < self._retry_at:
            return False
        try:
            bulk = self._writer.bulk
            self._registry.refresh(bulk)
            self._remembered.load(bulk)
            self._intake.load(bulk)
        except DBAPIError as error:
            self._writer.drop()
            self._note_away(cause_of(error))
            return False
        self._note_back()
        self._ready = True
        return True

    def _note_away(self, reason: str) -> None:
        if self._away is None:
            log.warning("the database can't be written: %s; nothing is acknowledged until it can", reason)
        self._away = reason
        self._retry_at = time.monotonic() + self._retry_s
        self._retry_s = min(self._retry_s * 2, LONGEST_RETRY_S)

    def _note_back(self) -> None:
        if self._away is not None:
            log.info("the database can be written again")
        self._away, self._retry_s = None, FIRST_RETRY_S

    def _pulse(self, now_s: float, backlog: int) -> PulseToWrite | None:
        """The sign of life, when one is due or the broker came or went; it counts what was committed."""
        told = self._link.connected, self._link.reason, self._link.cuts
        if now_s < self._next_pulse and told == self._pulse_of:
            return None
        self._next_pulse, self._pulse_of = now_s + PULSE_EVERY_S, told
        return self._sign(backlog)

    def _sign(self, backlog: int, *, stopped: bool = False) -> PulseToWrite:
        link = self._link
        return PulseToWrite(
            to_epoch_ms(machine_now()),
            {
                "broker_connected": link.connected,
                "broker": {
                    "address": self._settings.shown,
                    "connected": link.connected,
                    "since": self._since.isoformat(),
                    "reason": link.reason,
                    "cuts": link.cuts,
                },
                "received": self._totals["received"],
                "stored": self._totals["stored"],
                "rejected": self._totals["rejected"],
                "backlog": backlog,
                **({"stopped": True} if stopped else {}),
            },
            self._settings.part,
        )

    def _farewell(self) -> None:
        deadline = time.monotonic() + FAREWELL_S
        while self._intake.batch.messages and not self._commit() and time.monotonic() < deadline:
            time.sleep(FIRST_RETRY_S)
        if self._intake.batch.messages:
            log.warning("left %d messages with the broker: they come again", self._intake.batch.messages)
        with suppress(DBAPIError):
            self._writer.write(WriteBatch(), self._sign(self._intake.batch.messages, stopped=True))
        self._link.close()
        self._writer.drop()


def run(store: Store, settings: IngestSettings, now: Now, stop: threading.Event) -> None:
    """Listen to the broker and store readings until `stop` is set.

    Parameters
    ----------
    store : Store
        A book at the current schema.
    settings : IngestSettings
    now : Now
        The book's clock.
    stop : threading.Event
        Set it to end; what is at hand is committed and acknowledged first, within two seconds.
    """
    # A batch is thousands of small objects that go together: looking through them for cycles again and again
    # takes a fifteenth of the time. What is loaded by now stays, so it needn't be looked through at all.
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 50, 100)
    Subscriber(store, settings, now).run(stop)
