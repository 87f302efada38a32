"""The service tells a hub, a lamp and a program what it knows; they know nothing but the documents."""

import contextlib
import json
import re
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from jsonschema import Draft202012Validator
from paho.mqtt.enums import CallbackAPIVersion
from sqlalchemy import select

from ingest.broker.embedded import EmbeddedBroker
from ingest.out.publisher import Publisher
from ingest.settings import IngestSettings
from model.records.acts import book
from model.records.acts.invalidation import note_change
from model.records.schema.tables import PieceRow
from model.records.store import Store
from model.words.display import Display

pytestmark = pytest.mark.broker
ROOT = Path(__file__).parents[2]
BENCH = ROOT / "sample_readings" / "pieces" / "hall_bench.toml"
GUIDE = ROOT / "deploy" / "guide" / "speaks.md"
RECORDS = {"places": "PlaceRecord", "stacks": "StackRecord", "pieces": "PieceRecord"}
PASSWORD = "four words in a row"


class Listener:
    """A hub: every topic that holds something now, under a filter."""

    def __init__(self, port: int, topics: str, password: str = "") -> None:
        self.holds: dict[str, Any] = {}
        self.listens = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self.client.on_connect = lambda client, *_: client.subscribe(topics, 1)
        self.client.on_subscribe = lambda *_: self.listens.set()
        self.client.on_message = self._told
        if password:
            self.client.username_pw_set("sensors", password)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def _told(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        self.holds.pop(message.topic, None)
        if message.payload:
            self.holds[message.topic] = (
                json.loads(message.payload) if message.payload[:1] == b"{" else message.payload.decode()
            )


@pytest.fixture
def listen() -> Iterator[Callable[..., Listener]]:
    made: list[Listener] = []

    def start(port: int, topics: str, password: str = "") -> Listener:
        made.append(Listener(port, topics, password))
        assert made[-1].listens.wait(60)
        return made[-1]

    yield start
    for one in made:
        one.client.disconnect()
        one.client.loop_stop()


def ask(address: str, token: str = "") -> tuple[int, str, str]:
    """Status, media type and text of an answer."""
    request = urllib.request.Request(address, headers={"Authorization": f"Bearer {token}"} if token else {})
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:
            return answer.status, answer.headers.get_content_type(), answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.headers.get_content_type(), error.read().decode()
    except OSError:
        return 0, "", ""


def checked(document: dict[str, Any], record: str, answer: Any) -> Any:
    """The answer, once it is what the OpenAPI document says that the record is."""
    wanted = {"$ref": f"#/components/schemas/{record}", "components": document["components"]}
    Draft202012Validator(wanted, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(answer)
    return answer


def air(path: Path) -> Path:
    """Three weeks of dry air up to this hour, invented."""
    until = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    hours = [until - timedelta(hours=back) for back in range(24 * 21, -1, -1)]
    lines = [f"{at:%Y-%m-%dT%H:%M:%SZ},20,{14 if at < until else 15}" for at in hours]
    path.write_text("timestamp_utc,temperature_c,rh_pct\n" + "\n".join(lines))
    return path


def test_a_lamp_a_hub_and_a_program_are_told_how_the_shop_stands(
    mosquitto: EmbeddedBroker, service: Any, listen: Any, until: Any, tmp_path: Path
) -> None:
    ours = service(
        mosquitto.url, mqtt_publish="paneltide", password=PASSWORD, broker_password="", units="metric"
    )
    root = f"http://127.0.0.1:{ours.port}"
    until(lambda: ask(f"{root}/healthz")[0], what="the page")
    began = (datetime.now(UTC) - timedelta(days=20)).date().isoformat()
    for words in (
        ("place", "add", "Shop", "--kind", "shop"),
        ("import-readings", str(air(tmp_path / "air.csv")), "--sensor", "bench", "--place", "Shop"),
        ("piece", "add", str(BENCH), "--since", began, "--place", "Shop"),
        ("stack", "add", "Ash", *["--species", "ash", "--thickness", "4/4", "--mc", "9", "--place", "Shop"]),
    ):
        done = ours.ask(*words)
        assert done.returncode == 0, done.stderr
    lamp, hub = listen(mosquitto.port, "tower/#"), listen(mosquitto.port, "paneltide/#")

    [example] = re.findall(r"```python\n(.*?)```", GUIDE.read_text("utf-8"), re.DOTALL)
    assert len(example.strip().splitlines()) < 30
    tower = subprocess.Popen([sys.executable, "-c", example.replace("1883", str(mosquitto.port))])
    try:
        until(lambda: any("/stacks/" in topic for topic in list(hub.holds)), what="the stack")
        piece = until(lambda: _known(hub.holds.get("paneltide/pieces/1")), what="how the piece stands")
        color = {"clear": "green", "near": "amber", "past": "red"}[piece["now"]]
        place_and_piece = [hub.holds[f"paneltide/{one}/1"]["now"] for one in ("places", "pieces")]
        assert "unknown" not in place_and_piece
        until(lambda: lamp.holds.get(f"tower/{color}") == "ON", what=f"the {color} lamp")
        assert [lamp.holds[f"tower/{one}"] for one in ("red", "amber", "green")].count("ON") == 1

        # The program has a token, and nothing but the document.
        status, kind, text = ask(f"{root}/api/openapi.json")
        assert (status, kind) == (401, "application/problem+json")
        token = json.loads(ours.ask("token", "give", "hub", "--json").stdout)["token"]
        document = json.loads(ask(f"{root}/api/openapi.json", token)[2])
        checked(document, "ProblemRecord", json.loads(text))
        held = {topic: said for topic, said in hub.holds.items() if "availability" not in topic}
        ids = dict(topic.split("/")[1:] for topic in held)
        assert set(ids) == set(RECORDS)
        for path, operations in document["paths"].items():
            status, kind, text = ask(root + path.replace("{id}", ids.get(path.split("/")[2], "")), token)
            assert status == 200, path
            schema = operations["get"]["responses"]["200"]["content"][kind]["schema"]
            answers = list(map(json.loads, text.splitlines() if kind.endswith("ndjson") else [text]))
            assert answers
            for answer in answers:
                if "$ref" in schema:
                    checked(document, schema["$ref"].rpartition("/")[2], answer)
        for topic, said in held.items():
            checked(document, RECORDS[topic.split("/")[1]], said)
        assert checked(document, "OnlineRecord", hub.holds["paneltide/availability"])["is_online"]
        assert checked(document, "StateRecord", json.loads(ours.ask("state", "--json").stdout))["pieces"]
        ours.ask("token", "take-back", "hub")
        assert ask(f"{root}/api/state", token)[0] == 401

        # Nothing of what it says is taken for a sensor.
        unknown = json.loads(ours.ask("sensors", "--json").stdout)["unknown_topics"]
        assert [one["topic"] for one in unknown if one["topic"].startswith("paneltide/")] == []
        # What isn't kept up to date is no all-clear, however it ended.
        ours.stop()
        until(lambda: not hub.holds["paneltide/availability"]["is_online"], what="that it ended")
    finally:
        tower.terminate()
        tower.wait(60)


def _known(said: dict[str, Any] | None) -> dict[str, Any] | None:
    return said if said is not None and said["now"] != "unknown" and said["next"] is not None else None


def test_what_has_changed_is_told_anew_and_what_is_archived_cleared_even_if_nothing_ran_then(
    mosquitto: EmbeddedBroker, store: Store, listen: Any, until: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.out.publisher.SHARE", 0.0)
    now = datetime(2026, 3, 2, 12, tzinfo=UTC)
    with store.session() as session:
        session.add_all(
            PieceRow(name=name, document={"name": name}, recorded_at=now) for name in ("a", "b", "c")
        )
    hub = listen(mosquitto.port, "#")

    def publisher(prefix: str) -> Publisher:
        settings = IngestSettings.from_url(mosquitto.url, publishes=prefix)
        return Publisher(store, settings, Display("metric"))

    def holds(one: Publisher, *names: str) -> None:
        def told() -> bool:
            one.refresh(now)
            return set(hub.holds) == set(names)

        until(told, what=f"{names} at the broker")

    def archive(name: str) -> None:
        with store.session() as session:
            row = session.scalars(select(PieceRow).where(PieceRow.name == name)).one()
            book.retire(session, row, now)

    with contextlib.closing(publisher("shop/out")) as first:
        holds(first, "shop/out/availability", *(f"shop/out/pieces/{number}" for number in (1, 2, 3)))
        assert hub.holds["shop/out/availability"] == {"version": 1, "is_online": True}
        until(lambda: first.refresh(now) == 0, what="rest")
        with store.session() as session:
            session.scalars(select(PieceRow).where(PieceRow.name == "c")).one().name = "chest"
            note_change(session)
        assert first.refresh(now) == 1
        until(lambda: hub.holds["shop/out/pieces/3"]["name"] == "chest", what="its new name")
        assert first.refresh(now) == 0
        assert first.refresh(now + timedelta(hours=1)) == 3
        archive("a")
        holds(first, "shop/out/availability", *(f"shop/out/pieces/{number}" for number in (2, 3)))
    archive("b")
    with contextlib.closing(publisher("shop/out")) as second:
        holds(second, "shop/out/availability", "shop/out/pieces/3")
    with contextlib.closing(publisher("elsewhere")) as third:
        holds(third, "elsewhere/availability", "elsewhere/pieces/3")
    with contextlib.closing(publisher("")) as off:
        holds(off)


def test_who_has_the_sensors_password_reads_what_is_published_and_nothing_else(
    store: Store, listen: Any, until: Any, tmp_path: Path
) -> None:
    with EmbeddedBroker(tmp_path / "broker", password=PASSWORD, publishes="shop", kind="mosquitto") as broker:
        hub = listen(broker.port, "#", PASSWORD)
        hub.client.publish("sensors/bench", b"{}", qos=1, retain=True).wait_for_publish(60)
        ours = Publisher(store, IngestSettings.from_url(broker.url, publishes="shop"), Display("inch"))
        with contextlib.closing(ours):
            until(lambda: ours.refresh(datetime.now(UTC)) or hub.holds, what="that it is online")
        assert set(hub.holds) == {"shop/availability"}
