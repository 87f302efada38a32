"""Starts and stops the broker that paneltide brings when none is named, from files in the data folder."""

import contextlib
import errno
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Literal
from urllib.parse import parse_qs, quote, urlsplit

import tomli_w

from ingest.broker.login import OWN_USER, hashed, own_password, rights, write_private
from ingest.settings import IngestSettings
from model.wood.errors import ServiceMissing

Kind = Literal["mosquitto", "iotcore"]

# Besides PATH: Debian keeps it out of users' paths, Homebrew on the two kinds of Mac, MacPorts.
MOSQUITTO_PLACES = (
    "/usr/sbin/mosquitto",
    "/usr/local/sbin/mosquitto",
    "/opt/homebrew/sbin/mosquitto",
    "/opt/homebrew/opt/mosquitto/sbin/mosquitto",
    "/usr/local/opt/mosquitto/sbin/mosquitto",
    "/opt/local/sbin/mosquitto",
)
KEEPER = Path(__file__).with_name("keeper.py")
LOOPBACK = "127.0.0.1"
SAVE_EVERY = 50
MESSAGE_BYTES = 262_144
READY_WAIT_S = 15.0
END_WAIT_S = 10.0

# The window is wider than two of ingest's batches, so the broker goes on sending while one is being
# committed.
MOSQUITTO_CONFIG = """\
# Written by paneltide at each start; changes here are lost.
listener {port} {listen}
{entrance}persistence true
persistence_location {folder}
persistence_file queue.db
autosave_on_changes true
autosave_interval {save_every}
max_inflight_messages 5000
max_queued_messages 2000000
max_queued_bytes 1073741824
message_size_limit {message_bytes}
max_packet_size {packet_bytes}
max_keepalive 600
set_tcp_nodelay true
persistent_client_expiration 2m
log_dest stderr
log_type error
log_type warning
connection_messages false
"""

# Segments bound what the queue of one subscription may hold in memory: 8 of 16 MiB.
IOTCORE_CONFIG = """\
# Written by paneltide at each start; changes here are lost.
id = 0

[router]
id = 0
max_connections = 10010
max_outgoing_packet_count = 200
max_segment_size = 16777216
max_segment_count = 8

[v4.1]
name = "paneltide"
listen = "{listen}:{port}"
next_connection_delay_ms = 1

[v4.1.connections]
connection_timeout_ms = 60000
max_payload_size = {packet_bytes}
max_inflight_count = 100
dynamic_filters = true

{entrance}"""


class BrokerUnavailable(ServiceMissing):
    """The embedded broker can't run; the message says why and what to do."""


class EmbeddedBroker:
    """An MQTT broker of our own, started and stopped with the program.

    Parameters
    ----------
    folder : Path
        Where it keeps its configuration and its queue; made when missing.
    port : int
        TCP port; 0 takes a free one.
    listen : str
        IPv4 address to listen on; 0.0.0.0 is every one of this computer's. Anything but loopback needs a
        password.
    user, password : str
        What sensors log in with. They may send, and with mosquitto read nothing; our own parts log in with a
        password of their own. Without a password anyone on this computer may do anything.
    publishes : str
        Topic prefix of what we publish, which the sensors' user may read; empty for none.
    kind : str, optional
        "mosquitto" or "iotcore"; by default mosquitto when it is installed.
    save_every : int
        mosquitto writes its queue to disk after so many changes, and every minute. Measured with ingest
        listening: 1 carries 550 messages a second, 10 carries 5,000, 50 carries 20,000; an unclean end loses
        at most so many that nobody had taken yet.
    """

    def __init__(
        self,
        folder: Path,
        port: int = 0,
        *,
        listen: str = LOOPBACK,
        user: str = "sensors",
        password: str = "",
        publishes: str = "",
        kind: Kind | None = None,
        save_every: int = SAVE_EVERY,
    ) -> None:
        self.folder, self.listen, self.save_every = Path(folder), listen, save_every
        self.port, self.user, self.password, self.publishes = port, user, password, publishes
        if listen != LOOPBACK and not password:
            raise BrokerUnavailable(f"the broker may listen on {listen} with a password only")
        self._program = mosquitto_program() if kind in (None, "mosquitto") else None
        if self._program:
            self.kind: Kind = "mosquitto"
        elif kind != "mosquitto" and find_spec("iotcore") is not None:
            self.kind = "iotcore"
        else:
            raise BrokerUnavailable(
                "there is no broker to start: install mosquitto, or set mqtt_url to a broker that runs"
            )
        self._process: subprocess.Popen[bytes] | None = None
        self._log: IO[bytes] | None = None

    @property
    def url(self) -> str:
        """Address for clients. What ingest must know of this broker rides in the query."""
        # iotcore sends unacknowledged messages again without the duplicate flag, under new packet ids, and
        # waits for acknowledgements at a hundred: a batch of half of that keeps it sending.
        query = "&redelivery=unmarked&batch=50" if self.kind == "iotcore" else ""
        login = f"{OWN_USER}:{quote(own_password(self.folder), safe='')}@" if self.password else ""
        return f"mqtt://{login}{self._reachable}:{self.port}?started={self.kind}{query}"

    @property
    def promises(self) -> str:
        """What it does with messages that nobody has taken yet, in one sentence."""
        return promises(self.kind, bool(self.password), self.save_every)

    @property
    def running(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        """Start it and return when it answers a CONNECT.

        Raises
        ------
        BrokerUnavailable
            If the port is taken, the folder can't be written, or it doesn't answer; one sentence.
        """
        if self.running:
            return
        self.port = self.require_free_port()
        # By its path and without the working directory (-P): the keeper needs nothing else of ours.
        command = [sys.executable, "-P", str(KEEPER), *self._prepare()]
        self._log = tempfile.TemporaryFile()  # noqa: SIM115  (lives as long as the process)
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=self._log, stderr=self._log, start_new_session=True
        )
        deadline = time.monotonic() + READY_WAIT_S
        own = own_password(self.folder) if self.password else ""
        while not answers(self._reachable, self.port, user=OWN_USER if own else "", password=own):
            if not self.running or time.monotonic() > deadline:
                said = self._last_words()
                self.stop()
                raise BrokerUnavailable(f"the broker {self.kind} didn't start on port {self.port}: {said}")
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(0.02)

    def stop(self) -> None:
        """Stop it, its queue written down. Safe to call twice."""
        process, self._process = self._process, None
        if process is not None:
            assert process.stdin is not None
            with contextlib.suppress(OSError):
                process.stdin.close()
            try:
                process.wait(END_WAIT_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        if self._log is not None:
            self._log.close()
            self._log = None

    def __enter__(self) -> "EmbeddedBroker":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    @property
    def _reachable(self) -> str:
        return reachable(self.listen)

    def require_free_port(self) -> int:
        """The port to use.

        Raises
        ------
        BrokerUnavailable
            If it can't be had: who has it, as far as can be told, and what to do.
        """
        with socket.socket() as probe_socket:
            probe_socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe_socket.bind((self.listen, self.port))
            except OSError as error:
                raise BrokerUnavailable(
                    f"port {self.port} on {self.listen} can't be used for the broker: {self._why_not(error)}"
                ) from None
            port: int = probe_socket.getsockname()[1]
            return port

    def _why_not(self, error: OSError) -> str:
        """Why the port can't be had, and what to do."""
        if error.errno == errno.EADDRNOTAVAIL:
            return "this computer has no such address; set broker_bind to one that it has, or to 0.0.0.0"
        if error.errno != errno.EADDRINUSE:
            return f"{os.strerror(error.errno or 0).lower()}; set broker_port to another"
        if answers(self._reachable, self.port):
            return (
                "another MQTT broker has it, and is not used unless you name it; to use it set "
                f"mqtt_url = mqtt://user:password@{self._reachable}:{self.port}, or stop it, or set "
                "broker_port to another"
            )
        return "another program has it; stop that, or set broker_port to another"

    def _prepare(self) -> list[str]:
        """Write the configuration; the keeper's arguments."""
        config = self.folder / ("mosquitto.conf" if self.kind == "mosquitto" else "iotcore.toml")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            text = (MOSQUITTO_CONFIG if self.kind == "mosquitto" else IOTCORE_CONFIG).format(
                port=self.port,
                listen=self.listen,
                folder=f"{self.folder.resolve()}{os.sep}",
                save_every=self.save_every,
                message_bytes=MESSAGE_BYTES,
                packet_bytes=MESSAGE_BYTES + 1_024,
                entrance=self._entrance(),
            )
            if self.kind == "mosquitto" and os.geteuid() == 0:
                # Started by root it would change to its own user, who can't write in the data folder.
                text += "user root\n"
            write_private(config, text)
        except OSError as error:
            raise BrokerUnavailable(f"the folder {self.folder} can't be written: {error.strerror}") from None
        if self._program:
            return ["mosquitto", self._program, str(config)]
        return ["iotcore", str(config)]

    def _entrance(self) -> str:
        """The lines that say who is let in; passwords and rights are written into files of their own."""
        if not self.password:
            return "allow_anonymous true\n" if self.kind == "mosquitto" else ""
        logins = {OWN_USER: own_password(self.folder, make=True), self.user: self.password}
        if self.kind == "iotcore":
            return tomli_w.dumps({"v4": {"1": {"connections": {"auth": logins}}}})
        folder = self.folder.resolve()
        lines = [f"{user}:{hashed(password)}\n" for user, password in logins.items()]
        write_private(folder / "passwords", "".join(lines))
        write_private(folder / "rights", rights(self.user, self.publishes))
        return f"allow_anonymous false\npassword_file {folder / 'passwords'}\nacl_file {folder / 'rights'}\n"

    def _last_words(self) -> str:
        if self._log is None:
            return "it said nothing"
        self._log.seek(0)
        lines = self._log.read().decode("utf-8", "replace").strip().splitlines()
        return lines[-1] if lines else "it did not answer"


def promises(kind: Kind, has_password: bool, save_every: int = SAVE_EVERY) -> str:
    """Which broker we start, and what becomes of messages that nobody has taken yet."""
    if kind == "mosquitto":
        return (
            "The broker is mosquitto, started by paneltide: messages waiting in it survive a restart; "
            f"a power cut loses at most the last {save_every} that were not stored yet."
        )
    reads = " and who has the sensors' password can read what every sensor sends" if has_password else ""
    return (
        "The broker is the small one that comes with paneltide (MQTT 3.1.1 only): what waits in it "
        f"does not survive its restart{reads}. For real use install mosquitto, or set mqtt_url to a broker "
        "of your own."
    )


def started_kind(url: str) -> Kind | None:
    """Which broker of ours an address belongs to; none where the broker is somebody else's."""
    kind = parse_qs(urlsplit(url).query).get("started", [""])[-1]
    return "mosquitto" if kind == "mosquitto" else "iotcore" if kind == "iotcore" else None


def reachable(listen: str) -> str:
    """The address under which this computer itself reaches a broker that listens there."""
    return LOOPBACK if listen == "0.0.0.0" else listen


def mosquitto_program() -> str | None:
    """The mosquitto program of this machine, if it has one."""
    found = shutil.which("mosquitto")
    if found:
        return found
    return next((place for place in MOSQUITTO_PLACES if os.access(place, os.X_OK)), None)


def answers(host: str, port: int, timeout_s: float = 1.0, *, user: str = "", password: str = "") -> bool:
    """Whether an MQTT broker answers there, if only to refuse us.

    iotcore hangs up on whom it doesn't know, so one that asks for a password is asked with it.
    """
    # The client takes a moment to load, which only those who ask should pay.
    from ingest.mqtt.link import REFUSED, probe

    there = IngestSettings(
        host, port, user or None, password or None, client_id="paneltide", connect_timeout_s=timeout_s
    )
    problem = probe(there, timeout_s)
    return problem is None or problem.startswith(REFUSED)
