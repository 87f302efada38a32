"""Keeps the connection to the broker: paho's client in our own loop, acknowledgements sent together."""

import contextlib
import logging
import random
import select
import socket
import ssl
import struct
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from ingest.payload.quantities import plain
from ingest.settings import IngestSettings

log = logging.getLogger("paneltide.ingest")

FIRST_WAIT_S = 0.2
LONGEST_WAIT_S = 15.0
SETTLED_S = 5.0  # a connection that lived so long was a good one: begin again with short waits
SESSION_EXPIRY_S = 30 * 86_400
WRITE_WAIT_S = 5.0
REMEMBERED_S, MOST_REMEMBERED = 3_600.0, 1_000
ANSWER_WAIT_S = 10.0
READ_AHEAD_BYTES = 65_536
ACK = struct.Struct(">BBH")
PUBACK, ACK_LENGTH = 0x40, 2
PINGREQ = b"\xc0\x00"
REFUSED = "it refuses us"

OnMessage = Callable[[mqtt.MQTTMessage], None]
OnSession = Callable[[bool], None]


class _Client(mqtt.Client):
    """paho's client, reading ahead: three system calls a message become one for hundreds.

    It steps in where paho asks its socket for bytes and where it looks for a message's callback, of which
    there is only one here. Should a later paho do either elsewhere, these are not called, and all that is
    lost is speed.
    """

    _ahead = b""
    _at = 0
    deliver: Callable[[mqtt.MQTTMessage], None]

    @property
    def holds_bytes(self) -> bool:
        """Whether something was read from the socket that paho hasn't asked for yet."""
        return self._at < len(self._ahead)

    def _sock_recv(self, bufsize: int) -> bytes:
        at = self._at
        if at >= len(self._ahead):
            self._ahead, at = super()._sock_recv(READ_AHEAD_BYTES), 0
        self._at = at + bufsize
        return self._ahead[at : self._at]

    def _handle_on_message(self, message: mqtt.MQTTMessage) -> None:
        self.deliver(message)

    def _easy_log(self, level: Any, fmt: str, *args: Any) -> None:
        """Nobody listens to paho's own log, which has several lines for each message."""


class Link:
    """One session with a broker, through as many connections as it takes.

    Parameters
    ----------
    settings : IngestSettings
    on_message : callable
        Gets each message; must not raise.
    on_session : callable
        Called when the broker has let us in, with whether it still knew our session.
    on_lost : callable
        Called when a connection ended: packet ids of before mean nothing any more.
    lasting : bool
        Whether the broker is to keep our queue while we are away.
    """

    def __init__(
        self,
        settings: IngestSettings,
        on_message: OnMessage,
        on_session: OnSession,
        on_lost: Callable[[], None],
        *,
        lasting: bool = True,
    ) -> None:
        self._settings, self._on_message, self._on_session, self._on_lost = (
            settings,
            on_message,
            on_session,
            on_lost,
        )
        self._lasting = lasting
        self._client: _Client | None = None
        self._taken = 0
        self._wait_s = FIRST_WAIT_S
        self._next_try = 0.0
        self._connected_since = 0.0
        self._last_ping = self._answer_by = 0.0
        self._said: str | None = None
        self._cuts_s: deque[float] = deque(maxlen=MOST_REMEMBERED)
        self._let_in = False  # the broker knows us, though perhaps not yet our topics
        self.connected = False
        self.reason = "not tried yet"

    # ------------------------------------------------------------ coming and going

    def keep_up(self) -> None:
        """Connect when there is no connection and the time has come."""
        if self._client is not None or time.monotonic() < self._next_try:
            return
        client = self._new_client()
        try:
            client.connect(
                self._settings.host, self._settings.port, self._settings.keep_alive_s, **self._version()
            )
        except (OSError, ValueError) as error:
            self._lost(broker_words(error))
            return
        self._client, self._answer_by = client, time.monotonic() + ANSWER_WAIT_S

    def close(self) -> None:
        """Say goodbye; the broker keeps our queue."""
        client, self._client = self._client, None
        if client is not None:
            self._let_in = self.connected = False
            client.on_disconnect = None
            client.disconnect()
            with contextlib.suppress(OSError):
                self._drain(client)
            client.loop_misc()
            self._hang_up(client)
        self._on_lost()

    def _version(self) -> dict[str, Any]:
        if not self._settings.uses_version_5:
            return {}
        properties = Properties(PacketTypes.CONNECT)
        properties.SessionExpiryInterval = SESSION_EXPIRY_S if self._lasting else 0
        properties.ReceiveMaximum = min(65_535, self._settings.limits.backlog_messages)
        return {"clean_start": not self._lasting, "properties": properties}

    def _new_client(self) -> _Client:
        settings = self._settings
        five = settings.uses_version_5
        client = _Client(
            CallbackAPIVersion.VERSION2,
            client_id=settings.client_id,
            clean_session=None if five else not self._lasting,
            protocol=mqtt.MQTTv5 if five else mqtt.MQTTv311,
            manual_ack=True,
        )
        client.connect_timeout = settings.connect_timeout_s
        if settings.username is not None:
            client.username_pw_set(settings.username, settings.password)
        if settings.tls:
            client.tls_set_context(tls_context(settings))
        client.on_connect = self._answered
        client.on_subscribe = self._subscribed
        client.on_disconnect = self._dropped
        client.on_message = lambda _client, _data, message: self._arrived(message)
        client.deliver = self._arrived
        return client

    def _answered(self, client: mqtt.Client, _data: Any, flags: Any, code: Any, _properties: Any) -> None:
        if code.is_failure:
            self._lost(f"{REFUSED}: {plain(str(code)).lower()}", hang_up=client)
            return
        self._let_in, self.reason = True, "it hasn't confirmed our topics yet"
        self._connected_since = self._last_ping = time.monotonic()
        self._on_session(bool(flags.session_present))
        options = [(topic, 1) for topic in self._settings.filters]
        client.subscribe(options)
        if flags.session_present:
            # The old session's topics hold; a broker may answer for the new ones only after a backlog.
            self._listening()

    def _subscribed(self, client: mqtt.Client, _data: Any, _mid: int, codes: Any, _properties: Any) -> None:
        """Only now does everything that is published reach a new session."""
        refused = [
            topic for topic, code in zip(self._settings.filters, codes, strict=False) if code.is_failure
        ]
        if refused:
            self._lost(f"{REFUSED} the topics {', '.join(map(plain, refused))}", hang_up=client)
            return
        if not self.connected:
            self._listening()

    def _listening(self) -> None:
        self.connected, self.reason, self._said = True, "", None
        if self._lasting:
            log.info("connected to the broker at %s", self._settings.shown)

    def _dropped(self, client: mqtt.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        if client is self._client:
            self._lost(f"the connection ended ({plain(str(code)).lower()})", hang_up=client)

    def _lost(self, reason: str, hang_up: mqtt.Client | None = None) -> None:
        """Note the end of a connection or of a try, say it once, and wait a while, longer each time."""
        if hang_up is not None:
            self._hang_up(hang_up)
        self._client = None
        if self._let_in:
            self._cuts_s.append(time.monotonic())
        if self._let_in and time.monotonic() - self._connected_since > SETTLED_S:
            self._wait_s = FIRST_WAIT_S
        self._let_in, self.connected, self.reason = False, False, reason
        # Spread out, so that many clients don't come back at the same instant.
        self._next_try = time.monotonic() + self._wait_s * random.uniform(0.5, 1.0)
        self._wait_s = min(self._wait_s * 2, LONGEST_WAIT_S)
        if self._lasting and reason != self._said:
            log.warning(
                "the broker at %s can't be used: %s; trying again until it can, nothing it holds is lost",
                self._settings.shown,
                reason,
            )
            self._said = reason
        self._on_lost()

    def _hang_up(self, client: mqtt.Client) -> None:
        connection = client.socket()
        if connection is not None:
            with contextlib.suppress(OSError):
                connection.close()

    @property
    def cuts(self) -> int:
        """How often in the last hour a connection ended on us after the broker had let us in."""
        since_s = time.monotonic() - REMEMBERED_S
        return sum(at_s > since_s for at_s in self._cuts_s)

    @property
    def trying(self) -> bool:
        """Whether there is a connection, or one is being made."""
        return self._client is not None

    # ------------------------------------------------------------ messages and acknowledgements

    def wait(self, seconds: float, *, reading: bool) -> bool:
        """Wait until something can be read, or can be written that waits; whether it can be read."""
        client = self._client
        connection = client.socket() if client is not None else None
        if client is None or connection is None:
            time.sleep(min(seconds, 0.05))
            return False
        if reading and (
            client.holds_bytes or (isinstance(connection, ssl.SSLSocket) and connection.pending())
        ):
            return True
        try:
            readable, writable, _ = select.select(
                [connection] if reading else [], [connection] if client.want_write() else [], [], seconds
            )
        except (OSError, ValueError) as error:
            self._lost(broker_words(error), hang_up=client)
            return False
        if writable:
            client.loop_write()
        return bool(readable)

    def read(self, most: int) -> None:
        """Hand on what has arrived, at most so many messages."""
        client, self._taken = self._client, 0
        while client is not None and client is self._client and self._taken < most:
            before = self._taken
            if client.loop_read() != MQTTErrorCode.MQTT_ERR_SUCCESS or self._taken == before:
                return

    def acknowledge(self, packet_ids: Iterable[int]) -> None:
        """Tell the broker that these are safe, in one go.

        paho sends each acknowledgement by a system call of its own, which takes a fifth of the rate; so the
        packets (MQTT 3.1.1, 3.4; valid in 5.0 too, where success needs no reason code) are put together here.
        """
        client = self._client
        packets = b"".join([ACK.pack(PUBACK, ACK_LENGTH, packet_id) for packet_id in packet_ids])
        if client is None or not self._let_in or not packets:
            return
        self._send(client, packets)

    def misc(self) -> None:
        """Keep the connection alive, and notice when it is dead."""
        client = self._client
        if client is not None:
            client.loop_misc()
        if client is self._client is not None and not self._let_in and time.monotonic() > self._answer_by:
            self._lost("it doesn't answer", hang_up=client)

    def ping_unheard(self) -> None:
        """Keep the connection alive while nothing is read from it, and so no answer can be waited for."""
        client, now = self._client, time.monotonic()
        if client is not None and self._let_in and now - self._last_ping > self._settings.keep_alive_s / 2:
            self._last_ping = now
            self._send(client, PINGREQ)

    def _send(self, client: mqtt.Client, data: bytes) -> None:
        try:
            self._drain(client)
            connection = client.socket()
            if connection is not None:
                _send_all(connection, data)
        except OSError as error:
            self._lost(broker_words(error), hang_up=client)

    def _drain(self, client: mqtt.Client) -> None:
        """Let paho finish what it has begun to write, so that two packets never mix."""
        deadline = time.monotonic() + WRITE_WAIT_S
        while client.want_write():
            if time.monotonic() > deadline:
                raise TimeoutError("it takes nothing from us")
            if client.loop_write() != MQTTErrorCode.MQTT_ERR_SUCCESS:
                return
            if client.want_write() and (connection := client.socket()) is not None:
                select.select([], [connection], [], 0.05)

    def _arrived(self, message: mqtt.MQTTMessage) -> None:
        self._taken += 1
        self._on_message(message)


def _send_all(connection: Any, data: bytes) -> None:
    """Send the whole, though the socket doesn't block."""
    left = memoryview(data)
    deadline = time.monotonic() + WRITE_WAIT_S
    while left:
        try:
            left = left[connection.send(left) :]
            continue
        except (BlockingIOError, ssl.SSLWantWriteError):
            select.select([], [connection], [], 0.05)
        except ssl.SSLWantReadError:
            select.select([connection], [], [], 0.05)
        if time.monotonic() > deadline:
            raise TimeoutError("it takes nothing from us")


def tls_context(settings: IngestSettings) -> ssl.SSLContext:
    context = ssl.create_default_context(cafile=settings.ca_file)
    if settings.cert_file is not None:
        context.load_cert_chain(settings.cert_file, settings.key_file)
    return context


def broker_words(error: Exception) -> str:
    """An operating system's or TLS's complaint in one line, without numbers."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate can't be trusted: {error.verify_message}"
    if isinstance(error, ssl.SSLError):
        return f"no secure connection: {error.reason or error}"
    if isinstance(error, socket.gaierror):
        return "its name isn't known"
    if isinstance(error, TimeoutError):
        return str(error) if error.args and not error.errno else "it doesn't answer"
    return (getattr(error, "strerror", None) or str(error) or type(error).__name__).lower()


def probe(settings: IngestSettings, timeout_s: float = 5.0) -> str | None:
    """What is wrong with the broker, in words; none when it lets us in and gives us our topics.

    Looks under an id of its own, so that nobody's session is taken over.
    """
    looked = replace(settings, client_id=f"{settings.client_id}-look", share_group=None)
    link = Link(looked, lambda _message: None, lambda _known: None, lambda: None, lasting=False)
    deadline = time.monotonic() + timeout_s
    link.keep_up()
    while link.trying and not link.connected and time.monotonic() < deadline:
        if link.wait(0.1, reading=True):
            link.read(1)
        link.misc()
    problem = None if link.connected else "it doesn't answer" if link.trying else link.reason
    link.close()
    return problem
