"""A client's home hands its readings on to the shop, encrypted, and an outage loses none of them.

The files are those that `paneltide secure-broker` makes. 127.0.0.2 stands for the shop's own
address on the internet.
"""

import json
import os
import re
import shutil
import socket
import stat
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from typer.testing import CliRunner

from deploy.cli.commands import app, main
from ingest.broker.embedded import answers, mosquitto_program
from ingest.mqtt.link import probe
from ingest.recognise.accept import accept
from ingest.settings import IngestSettings
from model.records.clock import machine_now
from model.records.schema.tables import Binding, Sensor

pytestmark = [
    pytest.mark.broker,
    pytest.mark.skipif(sys.platform != "linux", reason="needs a second address of this computer, 127.0.0.2"),
]
SHOP = "127.0.0.2"


def free_port(host: str) -> int:
    with socket.socket() as probing:
        probing.bind((host, 0))
        port: int = probing.getsockname()[1]
        return port


class Mosquitto:
    """A mosquitto on a configuration file, which can be killed and started again."""

    def __init__(self, folder: Path, config: str, address: tuple[str, int]) -> None:
        folder.mkdir(exist_ok=True)
        self.address, self.file, self.log = address, folder / "own.conf", folder / "log"
        owner = "user root\n" if os.geteuid() == 0 else ""
        # Global lines first: what follows a bridge or a listener belongs to it.
        self.file.write_text(owner + config)
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, until: Callable[..., Any]) -> None:
        program = mosquitto_program()
        assert program is not None
        with self.log.open("ab") as log:
            self.process = subprocess.Popen([program, "-c", str(self.file)], stderr=log)
        until(lambda: answers(*self.address), what=f"mosquitto ({self.log})")

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(120)
            self.process = None


@pytest.fixture
def made(tmp_path: Path) -> tuple[Path, int]:
    """The folder of the shop's files, with one home, and the port of the encrypted listener."""
    if mosquitto_program() is None or shutil.which("openssl") is None:
        pytest.skip("needs mosquitto and openssl (Debian packages mosquitto, openssl)")
    folder, port = tmp_path / "files", free_port(SHOP)
    words = ["secure-broker", str(folder), "--name", SHOP, "--port", str(port), "--home", "lake-house"]
    ran = CliRunner().invoke(app, words)
    assert ran.exit_code == 0, ran.output
    return folder, port


def url_said(folder: Path, port: int) -> str:
    """The service's own address, from the files: its password is told once, so a new one is made here."""
    lines = [
        x for x in (folder / "paneltide.passwd").read_text().splitlines() if not x.startswith("paneltide:")
    ]
    (folder / "paneltide.passwd").write_text("\n".join(lines) + "\n")
    ran = CliRunner().invoke(app, ["secure-broker", str(folder), "--name", SHOP, "--port", str(port)])
    found = re.search(r"PANELTIDE_MQTT_URL=(\S+)", ran.output)
    assert found is not None
    return found[1]


def shop_broker(folder: Path, tls_port: int, plain_port: int) -> Mosquitto:
    text = (folder / "paneltide.conf").read_text("utf-8")
    for shipped, here in (
        ("/etc/mosquitto/certs/", f"{folder}/"),
        ("/etc/mosquitto/", f"{folder}/"),
        ("/var/lib/mosquitto/", f"{folder}/"),
        ("listener 1883 127.0.0.1", f"listener {plain_port} 127.0.0.1"),
        ("listener 8883", f"listener {tls_port} {SHOP}"),
        ("log_dest syslog", "log_dest stderr"),
    ):
        assert shipped in text
        text = text.replace(shipped, here)
    return Mosquitto(folder / "shop", text, ("127.0.0.1", plain_port))


def home_broker(folder: Path, port: int) -> Mosquitto:
    bridge = (folder / "lake-house" / "bridge.conf").read_text("utf-8")
    bridge = bridge.replace("/etc/mosquitto/certs/", f"{folder / 'lake-house'}/")
    # The shipped pauses are minutes: here the same in seconds.
    bridge = bridge.replace("restart_timeout 5 60", "restart_timeout 1 2")
    assert "restart_timeout 1 2" in bridge
    own = f"persistence true\npersistence_location {folder / 'home'}/\nlistener {port} 127.0.0.1\n"
    own += "allow_anonymous true\nmax_queued_messages 0\n"
    return Mosquitto(folder / "home", own + bridge, ("127.0.0.1", port))


def test_nothing_is_lost_between_a_home_and_the_shop_through_an_outage(
    made: tuple[Path, int], store: Any, world: Any, ingest: Any, publisher: Any, until: Any
) -> None:
    folder, tls_port = made
    plain, home_port = free_port("127.0.0.1"), free_port("127.0.0.1")
    url = url_said(folder, tls_port).replace(":1883", f":{plain}")
    shop, home = shop_broker(folder, tls_port, plain), home_broker(folder, home_port)
    with store.session() as session:
        sensor = Sensor(name="hall", accepted_at=machine_now())
        paths = {"shape": "json", "temperature": "/temperature", "rh": "/humidity", "time": "/time"}
        sensor.bindings.append(Binding(topic="sensors/lake-house/hall", payload=paths))
        session.add(sensor)
    said = [payload for _, payload in world.messages(6_000)][::20]
    try:
        shop.start(until)
        ingest(store, url)
        home.start(until)
        sender = publisher(home_port)
        sender.send([("home/hall", payload) for payload in said[:100]])
        until(lambda: world.rows(store) == 100, what="the first hundred")
        shop.stop()
        sender.send([("home/hall", payload) for payload in said[100:]])
        shop.start(until)
        until(lambda: world.rows(store) == len(said), what="what was said through the outage")
        assert world.tally(store, "stored") == len(said)
        assert world.scalar(store, "SELECT count(*) FROM rejected_message") == 0
    finally:
        home.stop()
        shop.stop()


def test_a_network_server_hands_on_what_its_radio_sensors_said(
    made: tuple[Path, int], store: Any, world: Any, ingest: Any, until: Any
) -> None:
    """Its uplinks are nested JSON; its client keeps what it could not send (MQTT 3.1.1, QoS 1)."""
    folder, tls_port = made
    plain = free_port("127.0.0.1")
    url = url_said(folder, tls_port).replace(":1883", f":{plain}")
    shop = shop_broker(folder, tls_port, plain)
    bridge = (folder / "lake-house" / "bridge.conf").read_text("utf-8")
    password = re.search(r"remote_password (\S+)", bridge)
    assert password is not None
    server = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, "uplinks", clean_session=False)
    server.max_queued_messages_set(0)
    server.username_pw_set("lake-house", password[1])
    server.tls_set(ca_certs=str(folder / "lake-house" / "ca.crt"))
    server.reconnect_delay_set(1, 2)
    first_at = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=30)

    def say(number: int) -> None:
        at = (first_at + timedelta(minutes=5 * number)).isoformat()
        uplink = {"object": {"temperature": 20.5, "humidity": 40 + number / 100}, "time": at, "fCnt": number}
        server.publish("sensors/lake-house/device/a1/up", json.dumps(uplink), qos=1)

    try:
        shop.start(until)
        process = ingest(store, url)
        server.connect(SHOP, tls_port)
        server.loop_start()
        for number in range(20):
            say(number)
        heard = "SELECT count(*) FROM heard_message"
        until(lambda: world.scalar(store, heard) == 20, what="twenty uplinks")
        done = accept(
            store, "sensors/lake-house/device/a1/up", now=machine_now, place="Lake house", place_kind="home"
        )
        assert done.readings == 20
        shop.stop()
        for number in range(20, 200):
            say(number)
        shop.start(until)
        until(lambda: world.rows(store) == 200, what="what was said through the outage")
        assert world.scalar(store, "SELECT count(*) FROM rejected_message") == 0
        assert process.process.poll() is None
    finally:
        server.disconnect()
        server.loop_stop()
        shop.stop()


def test_a_home_gets_in_with_its_own_password_and_encrypted_only(
    made: tuple[Path, int], until: Any, tmp_path: Path
) -> None:
    folder, port = made
    bridge = (folder / "lake-house" / "bridge.conf").read_text("utf-8")
    password = re.search(r"remote_password (\S+)", bridge)
    assert password is not None
    shop = shop_broker(folder, port, free_port("127.0.0.1"))

    def home(ca_file: Path | None, said: str) -> str | None:
        tls = IngestSettings(
            host=SHOP, port=port, username="lake-house", password=said, tls=True, ca_file=ca_file
        )
        return probe(tls, timeout_s=30.0)

    try:
        shop.start(until)
        assert home(folder / "lake-house" / "ca.crt", password[1]) is None
        assert home(folder / "lake-house" / "ca.crt", "guessed") is not None
        assert home(None, password[1]) is not None  # no authority that we know signed it
    finally:
        shop.stop()


def test_run_again_it_adds_a_home_and_keeps_what_was_made(made: tuple[Path, int]) -> None:
    folder, port = made
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    words = ["secure-broker", str(folder), "--name", SHOP, "--port", str(port)]
    again = CliRunner().invoke(app, [*words, "--home", "lake-house", "--home", "dry-flat"])
    assert "lake-house has a password already" in again.output
    for path, content in before.items():
        if path.name != "paneltide.passwd":
            assert path.read_bytes() == content, path
    users = [line.split(":")[0] for line in (folder / "paneltide.passwd").read_text().splitlines()]
    assert users == ["paneltide", "lake-house", "dry-flat"]
    secrets = [folder / "ca.key", folder / "server.key", folder / "dry-flat" / "bridge.conf"]
    assert {stat.S_IMODE(path.stat().st_mode) for path in secrets} == {0o600}
    assert "remote_username dry-flat" in secrets[2].read_text()


@pytest.mark.parametrize("home", ["Lake House", "a/b", "+", "paneltide", ""])
def test_a_home_whose_name_would_be_a_topic_of_its_own_is_refused(
    tmp_path: Path, home: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["secure-broker", str(tmp_path / "x"), "--name", "shop", "--home", home])
    assert ended.value.code == 2
    assert "small letters, digits and hyphens" in capsys.readouterr().err
    assert not (tmp_path / "x").exists()
