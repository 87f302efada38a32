"""The shipped broker configuration, tried from outside: names, rights, TLS."""

import os
import shutil
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from ingest.broker.embedded import mosquitto_program

pytestmark = pytest.mark.broker
SHIPPED = Path(__file__).parents[2] / "deploy" / "mosquitto"
USERS = {
    "paneltide": "reads-all",
    "loft-7": "writes-own",
    "attic-2": "writes-own-too",
    "paneltide-out": "tells",
    "hub": "is-told",
}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def make_certificates(folder: Path) -> None:
    def openssl(*words: str) -> None:
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    openssl(
        *("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=shop authority"),
        *("-keyout", "ca.key", "-out", "ca.crt"),
    )
    openssl(
        *("req", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=localhost"),
        *("-keyout", "server.key", "-out", "server.csr"),
    )
    (folder / "names").write_text("subjectAltName=DNS:localhost,IP:127.0.0.1")
    openssl(
        *("x509", "-req", "-in", "server.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial"),
        *("-days", "2", "-extfile", "names", "-out", "server.crt"),
    )


@dataclass
class Broker:
    plain_port: int
    tls_port: int
    ca_file: Path


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """mosquitto with the shipped files; only folders and ports are put in place of the real ones."""
    program = mosquitto_program()
    passwords = shutil.which("mosquitto_passwd")
    if program is None or passwords is None or shutil.which("openssl") is None:
        pytest.skip("needs mosquitto and openssl (Debian packages mosquitto, openssl)")
    folder = tmp_path_factory.mktemp("rights")
    make_certificates(folder)
    found = Broker(free_port(), free_port(), folder / "ca.crt")
    shutil.copy(SHIPPED / "paneltide.acl", folder / "paneltide.acl")
    (folder / "paneltide.passwd").touch(mode=0o600)
    for user, password in USERS.items():
        words = [passwords, "-b", str(folder / "paneltide.passwd"), user, password]
        subprocess.run(words, check=True, capture_output=True)
    text = (SHIPPED / "paneltide.conf").read_text("utf-8")
    for shipped, here in (
        ("/etc/mosquitto/certs/", f"{folder}/"),
        ("/etc/mosquitto/", f"{folder}/"),
        ("/var/lib/mosquitto/", f"{folder}/"),
        ("listener 1883 127.0.0.1", f"listener {found.plain_port} 127.0.0.1"),
        ("listener 8883", f"listener {found.tls_port} 127.0.0.1"),
        ("log_dest syslog", "log_dest stderr"),
    ):
        assert shipped in text
        text = text.replace(shipped, here)
    if os.geteuid() == 0:
        text += "\nuser root\n"
    (folder / "paneltide.conf").write_text(text)
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen([program, "-c", str(folder / "paneltide.conf")], stderr=log)
    try:
        wait_until(lambda: listens(found.plain_port) and listens(found.tls_port), (folder / "log").read_text)
        yield found
    finally:
        process.terminate()
        process.wait(120)


def listens(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), 0.5):
            return True
    except OSError:
        return False


def wait_until(condition: Callable[[], bool], said: Callable[[], str] = str, within_s: float = 120.0) -> None:
    deadline = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < deadline, said()
        threading.Event().wait(0.02)


class Client:
    """One MQTT 5 client, which is told the reason of a refusal."""

    def __init__(
        self, broker: Broker, user: str | None, password: str | None = None, tls: bool = False
    ) -> None:
        self.reason: int | None = None
        self.heard: list[str] = []
        self.granted: list[int] = []
        self.acknowledged: list[int] = []
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self.client.on_connect = self._on_connect
        self.client.on_message = lambda _c, _u, message: self.heard.append(message.topic)
        self.client.on_subscribe = lambda _c, _u, _m, codes, _p: self.granted.extend(
            code.value for code in codes
        )
        self.client.on_publish = lambda _c, _u, _m, code, _p: self.acknowledged.append(code.value)
        if user is not None:
            self.client.username_pw_set(user, USERS.get(user, "") if password is None else password)
        if tls:
            self.client.tls_set(ca_certs=str(broker.ca_file))
        self.client.connect("127.0.0.1", broker.tls_port if tls else broker.plain_port)
        self.client.loop_start()
        wait_until(lambda: self.reason is not None)

    def _on_connect(
        self, _client: object, _data: object, _flags: object, code: object, _props: object
    ) -> None:
        self.reason = code.value  # type: ignore[attr-defined]

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


REFUSED = 135  # MQTT 5.0, 2.4: 0x87 not authorized


@pytest.fixture
def join(broker: Broker) -> Iterator[Callable[..., Client]]:
    joined: list[Client] = []

    def one(user: str | None, password: str | None = None, tls: bool = False) -> Client:
        client = Client(broker, user, password, tls)
        joined.append(client)
        return client

    yield one
    for client in joined:
        client.close()


@pytest.mark.parametrize(("user", "password"), [(None, None), ("loft-7", "wrong"), ("stranger", "x")])
def test_nobody_gets_in_without_a_name_and_its_password(
    user: str | None, password: str | None, join: Callable[..., Client]
) -> None:
    assert join(user, password).reason == REFUSED


def test_sensor_writes_under_its_own_name_only(join: Callable[..., Client]) -> None:
    service, sensor = join("paneltide"), join("loft-7")
    service.client.subscribe("sensors/#", 1)
    wait_until(lambda: bool(service.granted))
    assert service.granted[0] < 128
    for topic in ("sensors/attic-2/air", "elsewhere", "sensors/loft-7/air"):
        sensor.client.publish(topic, b"{}", qos=1)
    wait_until(lambda: len(sensor.acknowledged) == 3)
    wait_until(lambda: bool(service.heard))
    assert service.heard == ["sensors/loft-7/air"]
    assert sorted(sensor.acknowledged) == [0, REFUSED, REFUSED]


def test_sensor_reads_nothing_of_another(join: Callable[..., Client]) -> None:
    sensor, other, service = join("loft-7"), join("attic-2"), join("paneltide")
    service.client.subscribe("sensors/#", 1)
    sensor.client.subscribe([("sensors/attic-2/#", 1), ("#", 1)])
    wait_until(lambda: len(sensor.granted) == 2 and bool(service.granted))
    other.client.publish("sensors/attic-2/air", b"{}", qos=1)
    wait_until(lambda: bool(service.heard))
    assert sensor.heard == []


def test_service_can_not_write(join: Callable[..., Client]) -> None:
    service = join("paneltide")
    service.client.publish("sensors/loft-7/air", b"{}", qos=1)
    wait_until(lambda: bool(service.acknowledged))
    assert service.acknowledged == [REFUSED]


def test_off_loopback_there_is_tls_only(broker: Broker, join: Callable[..., Client]) -> None:
    assert join("loft-7", tls=True).reason == 0
    # A plain CONNECT on the TLS port gets no MQTT answer.
    with socket.create_connection(("127.0.0.1", broker.tls_port), 2) as plain:
        plain.settimeout(2)
        plain.sendall(b"\x10\x0e\x00\x04MQTT\x04\x02\x00\x3c\x00\x02ab")
        try:
            answer = plain.recv(4)
        except (TimeoutError, ConnectionError):
            answer = b""
    assert answer[:1] != b"\x20"
    stranger = ssl.create_default_context()
    with (
        socket.create_connection(("127.0.0.1", broker.tls_port), 60) as raw,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        stranger.wrap_socket(raw, server_hostname="localhost")


def test_the_listener_without_tls_is_bound_to_loopback() -> None:
    lines = (SHIPPED / "paneltide.conf").read_text("utf-8").splitlines()
    listeners = [line.split() for line in lines if line.startswith("listener")]
    assert listeners == [["listener", "1883", "127.0.0.1"], ["listener", "8883"]]
    assert "allow_anonymous false" in lines
    after = lines[lines.index("listener 8883") :]
    assert any(line.startswith("certfile") for line in after)


def test_what_is_published_is_read_by_a_hub_and_written_by_nobody_else(join: Callable[..., Client]) -> None:
    ours, hub, sensor = join("paneltide-out"), join("hub"), join("loft-7")
    hub.client.subscribe("paneltide/#", 1)
    wait_until(lambda: bool(hub.granted))
    for client in (sensor, hub, ours):
        client.client.publish("paneltide/pieces/1", b"{}", qos=1)
        wait_until(lambda client=client: bool(client.acknowledged))
    ours.client.publish("sensors/loft-7/air", b"{}", qos=1)
    wait_until(lambda: len(ours.acknowledged) == 2 and bool(hub.heard))
    assert (sensor.acknowledged, hub.acknowledged, ours.acknowledged) == ([REFUSED], [REFUSED], [0, REFUSED])
    assert hub.heard == ["paneltide/pieces/1"]
