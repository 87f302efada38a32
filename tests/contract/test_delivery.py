"""No good reading is lost and none is stored twice, whatever happens to ingest, the broker or the connection.

MQTT 3.1.1 and 5.0 (OASIS, 2014 and 2019), 4.3.2: at QoS 1 a message comes at least once.
"""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ingest.broker.embedded import BrokerUnavailable, EmbeddedBroker
from model.records.clock import machine_now
from model.records.queries.health import health
from model.records.store import Store

pytestmark = pytest.mark.broker
Start = Callable[..., Any]


def test_ten_thousand_messages_at_full_speed_are_ten_thousand_rows(
    broker: EmbeddedBroker, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    world.bind(store)
    ingest(store, broker.url)
    sender = publisher(broker.port)
    sender.send(world.messages(10_000))
    assert sender.wait()
    until(lambda: world.rows(store) >= 10_000)
    until(lambda: world.tally(store, "received") >= 10_000)
    assert world.rows(store) == 10_000
    assert world.tally(store, "stored") == 10_000
    assert world.tally(store, "duplicate") == 0


@pytest.mark.parametrize(
    ("broker", "timed"),
    [("mosquitto", True), ("iotcore", False)],
    indirect=["broker"],
    ids=["mosquitto-device-time", "iotcore-no-time"],
)
def test_killed_ten_times_nothing_is_lost_or_doubled(
    broker: EmbeddedBroker,
    store: Store,
    world: Any,
    ingest: Start,
    publisher: Start,
    until: Start,
    timed: bool,
) -> None:
    count = 20_000
    world.bind(store, timed=timed)
    messages = world.messages(count, timed=timed)
    process = ingest(store, broker.url)
    sender = publisher(broker.port)

    def publish() -> None:
        for start in range(0, count, 250):
            # The broker must not be far ahead, or the kills would all fall into one stretch of queue.
            until(lambda start=start: start - progress[0] < 6_000)
            sender.send(messages[start : start + 250])

    progress = [0]
    publishing = threading.Thread(target=publish)
    publishing.start()
    for kill in range(1, 11):

        def reached(kill: int = kill) -> bool:
            progress[0] = world.rows(store)
            return progress[0] >= count * kill // 12

        until(reached, what=f"kill {kill}")
        process.kill()
        process = ingest(store, broker.url, wait=False)

    def all_there() -> bool:
        progress[0] = world.rows(store)
        return progress[0] >= count

    until(all_there, what="the last rows")
    publishing.join(120)
    assert sender.wait()
    # A doubled one would come last: after a clean stop everything sent has been taken or refused.
    extra = world.messages(1, first=count, timed=timed)
    sender.send(extra)
    until(lambda: world.rows(store) >= count + 1)
    assert process.stop() == 0
    assert world.rows(store) == count + 1
    if not timed:
        distinct = (
            "SELECT count(*) FROM (SELECT DISTINCT sensor_id, temperature_c, rh_pct FROM reading) AS each_one"
        )
        assert world.scalar(store, distinct) == count + 1


def test_a_broker_with_a_window_of_twenty_still_delivers_all(
    own_mosquitto: Start, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    # mosquitto's own default: max_inflight_messages 20 (mosquitto.conf, man page).
    other = own_mosquitto("listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n")
    world.bind(store)
    ingest(store, f"mqtt://127.0.0.1:{other.port}")
    sender = publisher(other.port)
    sender.send(world.messages(5_000))
    until(lambda: world.rows(store) >= 5_000)
    assert world.rows(store) == 5_000


def test_messages_waiting_in_mosquitto_survive_its_restart(
    mosquitto: EmbeddedBroker, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    world.bind(store)
    assert ingest(store, mosquitto.url).stop() == 0  # the broker knows the session now
    sender = publisher(mosquitto.port)
    sender.send(world.messages(2_000))
    assert sender.wait()
    mosquitto.stop()
    mosquitto.start()
    ingest(store, mosquitto.url)
    until(lambda: world.rows(store) >= 2_000)
    assert world.rows(store) == 2_000


def test_ingest_comes_back_after_a_broker_restart(
    broker: EmbeddedBroker, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    world.bind(store)
    process = ingest(store, broker.url)
    publisher(broker.port).send(world.messages(500))
    until(lambda: world.rows(store) == 500)
    broker.stop()
    until(lambda: "can't be used" in process.said)
    broker.start()
    until(lambda: process.said.count("connected to the broker") == 2)
    again = publisher(broker.port)

    def published() -> bool:
        again.send(world.messages(500, first=500))
        return bool(world.rows(store) >= 1_000)

    until(published)
    assert world.rows(store) == 1_000


def test_an_absent_broker_is_said_once_and_awaited(
    tmp_path: Path, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    kind = "iotcore"
    with EmbeddedBroker(tmp_path / "first", kind=kind) as first:
        port = first.port
    world.bind(store)
    process = ingest(store, f"mqtt://127.0.0.1:{port}", wait=False)
    detail = "SELECT detail FROM pulse WHERE part = 'ingest'"
    until(lambda: "refused" in (world.scalar(store, detail) or ""))
    assert '"broker_connected": false' in world.scalar(store, detail)
    with EmbeddedBroker(tmp_path / "second", port, kind=kind):
        until(lambda: "connected to the broker" in process.said)
        until(lambda: '"broker_connected": true' in world.scalar(store, detail))
    assert process.said.split("connected to the broker")[0].count("can't be used") == 1


@pytest.mark.parametrize("options", [("--protocol", "5"), ("--share-group", "shop")], ids=["mqtt5", "shared"])
def test_version_5_and_shared_subscriptions(
    own_mosquitto: Start,
    store: Store,
    world: Any,
    ingest: Start,
    publisher: Start,
    until: Start,
    options: tuple[str, str],
) -> None:
    other = own_mosquitto(
        "listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\nmax_inflight_messages 1000\n"
    )
    url = f"mqtt://127.0.0.1:{other.port}"
    world.bind(store)
    first = ingest(store, url, *options, "--client-id", "one")
    shared = options[0] == "--share-group"
    second = ingest(store, url, *options, "--client-id", "two") if shared else None
    sender = publisher(other.port)
    sender.send(world.messages(5_000))
    until(lambda: world.rows(store) >= 2_500)
    first.kill()
    sender.send(world.messages(5_000, first=5_000))
    ingest(store, url, *options, "--client-id", "one")
    until(lambda: world.rows(store) >= 10_000)
    assert world.rows(store) == 10_000
    if second is not None:
        # Each gives a sign of life of its own; one that was stopped isn't missed while another listens.
        until(lambda: health(store, machine_now)["parts"].keys() == {"ingest one", "ingest two"})
        assert second.stop() == 0
        until(lambda: health(store, machine_now)["broker_connected"])
        told = health(store, machine_now)
        assert [part["alive"] for _, part in sorted(told["parts"].items())] == [True, False]
        assert told["problems"] == []


def test_a_stop_is_quick_and_leaves_nothing_behind(
    broker: EmbeddedBroker, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    world.bind(store)
    process = ingest(store, broker.url)
    sender = publisher(broker.port)
    sender.send(world.messages(20_000))
    until(lambda: world.rows(store) > 0)
    assert process.stop() == 0
    ingest(store, broker.url)
    until(lambda: world.rows(store) >= 20_000)
    assert world.rows(store) == 20_000


def test_a_taken_port_is_one_sentence(broker: EmbeddedBroker, tmp_path: Path) -> None:
    second = EmbeddedBroker(tmp_path / "second", broker.port, kind=broker.kind)
    with pytest.raises(BrokerUnavailable, match=f"port {broker.port} on 127.0.0.1 can't be used") as caught:
        second.start()
    assert "\n" not in str(caught.value)


def test_the_embedded_broker_listens_on_loopback_only(broker: EmbeddedBroker) -> None:
    # Linux: the kernel's table of listening sockets (proc(5)); 0100007F is 127.0.0.1, state 0A listens.
    table = Path("/proc/net/tcp")
    if not table.exists():
        pytest.skip("no /proc/net/tcp on this system")
    listening = [line.split()[1] for line in table.read_text().splitlines()[1:] if line.split()[3] == "0A"]
    assert [at for at in listening if at.endswith(f":{broker.port:04X}")] == [f"0100007F:{broker.port:04X}"]
