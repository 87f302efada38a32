"""Publishes how places, stacks and pieces stand as retained JSON: on change, and all of it once an hour.

Which topics hold something is written in the book before they are published to, so that one whose thing is
archived or deleted, or whose prefix was changed, is cleared even if the program was not running then.
"""

import contextlib
import logging
import time
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from ingest.mqtt.link import broker_words, tls_context
from ingest.out.topics import AVAILABILITY, KEPT_AS, KINDS, held_topics, topic_of
from ingest.settings import IngestSettings
from model.answers.records import OnlineRecord
from model.records.schema.tables import Preference
from model.records.schema.types import to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS
from model.watch.questions.standings import Standings
from model.watch.run import watch_sql
from model.words.display import Display

log = logging.getLogger("paneltide.publish")

LOOK_AGAIN_S = 60.0  # the coming year is stored without a mark of its own
SHARE = 20.0  # composing takes a twentieth of the time at most
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 60.0
FAREWELL_S = 1.0


class Publisher:
    """Keeps the topics of one book up to date. A broker that is away is tried again; nothing waits for it.

    Parameters
    ----------
    store : Store
    settings : IngestSettings
        How the broker is reached; `publishes` is the prefix, empty where all that was published is cleared.
    display : Display
        The units in which reasons are said.
    """

    def __init__(self, store: Store, settings: IngestSettings, display: Display) -> None:
        self._store, self._settings, self._display = store, settings, display
        self._prefix = settings.publishes
        self._client: mqtt.Client | None = None
        self._let_in = False
        self._next_try_s, self._wait_s = 0.0, FIRST_WAIT_S
        self._said: str | None = None
        self._forget()

    def _forget(self) -> None:
        self._sent: dict[str, bytes] = {}
        self._clearing: dict[str, mqtt.MQTTMessageInfo] = {}
        self._seen: tuple[Any, ...] | None = None
        self._hour = -1
        self._compose_at_s = self._look_at_s = 0.0

    def refresh(self, now: datetime) -> int:
        """Publish what has changed, and in a new hour everything; returns how many messages that took.

        Costs one small read when nothing happened since.
        """
        if not self._is_connected():
            return 0
        hour, now_s = to_epoch_ms(now) // HOUR_MS, time.monotonic()
        if now_s < self._compose_at_s:
            return 0
        with watch_sql.reading(self._store) as bulk:
            seen = (watch_sql.read_counts(bulk), hour)
        if seen == self._seen and now_s < self._look_at_s and not self._clearing:
            return 0
        began_s = time.thread_time()
        count = self._publish(self._documents(now), everything=hour != self._hour)
        self._seen, self._hour = seen, hour
        self._compose_at_s = now_s + min(SHARE * (time.thread_time() - began_s), LOOK_AGAIN_S)
        self._look_at_s = now_s + LOOK_AGAIN_S
        return count

    def close(self) -> None:
        """Say that nothing is kept up to date any more, and leave."""
        client, self._client = self._client, None
        if client is None:
            return
        if self._let_in:
            with contextlib.suppress(ValueError, RuntimeError):
                self._say(client, self._availability, _online(False)).wait_for_publish(FAREWELL_S)
        client.disconnect()
        client.loop_stop()

    # ------------------------------------------------------------ what is published

    def _documents(self, now: datetime) -> dict[str, bytes]:
        if not self._prefix:
            return {}
        with self._store.session() as session:
            state = Standings(session, now, self._display).state()
        return {
            topic_of(self._prefix, kind, one.id): one.model_dump_json().encode()
            for kind in KINDS
            for one in getattr(state, kind)
        }

    def _publish(self, wanted: Mapping[str, bytes], *, everything: bool) -> int:
        client = self._client
        assert client is not None
        names = {*wanted, self._availability} if self._prefix else set()
        held = before = held_topics(self._store)
        if all(one.is_published() for one in self._clearing.values()):
            held, self._clearing = held - self._clearing.keys(), {}
        held = held | names
        if held != before:
            with self._store.session() as session:
                session.merge(Preference(name=KEPT_AS, value={"topics": sorted(held)}))
        changed = [topic for topic in wanted if everything or self._sent.get(topic) != wanted[topic]]
        for topic in changed:
            self._say(client, topic, wanted[topic])
        self._sent = dict(wanted)
        if not self._clearing:
            self._clearing = {topic: self._say(client, topic, b"") for topic in sorted(held - names)}
        return len(changed) + len(self._clearing)

    def _say(self, client: mqtt.Client, topic: str, payload: bytes) -> mqtt.MQTTMessageInfo:
        return client.publish(topic, payload, qos=1, retain=True)

    @property
    def _availability(self) -> str:
        return f"{self._prefix}/{AVAILABILITY}"

    # ------------------------------------------------------------ coming and going

    def _is_connected(self) -> bool:
        """Whether the broker has let us in; connects when there is no connection and the time has come."""
        client = self._client
        if client is not None and client.is_connected() and self._let_in:
            return True
        now_s = time.monotonic()
        if now_s < self._next_try_s:
            return False
        if client is not None:
            client.disconnect()
            client.loop_stop()
        self._let_in, self._next_try_s = False, now_s + self._wait_s
        self._wait_s = min(2.0 * self._wait_s, LONGEST_WAIT_S)
        self._forget()
        self._client = self._new_client()
        try:
            self._client.connect(self._settings.host, self._settings.port, self._settings.keep_alive_s)
        except (OSError, ValueError) as error:
            self._cannot(broker_words(error))
            self._client = None
        else:
            self._client.loop_start()
        return False

    def _new_client(self) -> mqtt.Client:
        settings = self._settings
        # Another watch that takes over has the same name; who is sent away then must not come back by itself.
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=f"{settings.client_id}-out", reconnect_on_failure=False
        )
        client.connect_timeout = settings.connect_timeout_s
        if settings.username is not None:
            client.username_pw_set(settings.username, settings.password)
        if settings.tls:
            client.tls_set_context(tls_context(settings))
        if self._prefix:
            client.will_set(self._availability, _online(False), qos=1, retain=True)
        client.on_connect = self._answered
        return client

    def _answered(self, client: mqtt.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        if code.is_failure:
            self._cannot(f"it refuses us: {str(code).lower()}")
            return
        self._said, self._wait_s = None, FIRST_WAIT_S
        if self._prefix:
            self._say(client, self._availability, _online(True))
        self._let_in = True

    def _cannot(self, reason: str) -> None:
        if reason != self._said:
            log.warning("nothing is published at %s: %s; trying again", self._settings.shown, reason)
            self._said = reason


def _online(is_online: bool) -> bytes:
    return OnlineRecord(is_online=is_online).model_dump_json().encode()
