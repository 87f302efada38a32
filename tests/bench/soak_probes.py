"""What the soak sends, and how it measures the way from a message to the page that shows it."""

import contextlib
import json
import threading
import time
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import select, text
from sqlalchemy.exc import SQLAlchemyError

from model.records.acts.book import add_piece
from model.records.acts.hangings import hang_sensor
from model.records.acts.invalidation import HOUR
from model.records.acts.places import add_place
from model.records.schema.tables import Binding, Place, Sensor
from model.records.store import Store
from model.wood.piece import read_piece
from tests.bench.soak_world import World, wait_for

PLACES = 20
PROBE_EVERY_S = 2.0
STARTS_WITHIN_S = 10.0
PAYLOAD = {"shape": "json", "temperature": "/t", "rh": "/h", "time": "/at"}
PIECE = """
[piece]
name = "{name}"
[part.panel]
species = "black walnut"
cut = "flat-sawn"
width = "300mm"
mc_pct = 8.0
thickness = "16mm"
finish = {{ face = "oil-modified urethane varnish", coats = 2 }}
[fit.panel]
kind = "panel-in-groove"
part = "panel"
held = "centre"
sight_width = "288mm"
groove_depth = "10mm"
"""


# ---------------------------------------------------------------- sensors


class Sensors:
    """Publishes for every sensor, as sensors with a log do: what is not acknowledged is sent again."""

    def __init__(self, port: int, sensors: int, rate: float, begin: datetime) -> None:
        import paho.mqtt.client as mqtt
        from paho.mqtt.enums import CallbackAPIVersion

        self.sensors, self.rate, self.begin = sensors, rate, begin
        self.acknowledged = 0
        self.sent: dict[int, int] = {}  # packet id to message number, unacknowledged
        self.last_of: list[int] = [0] * sensors
        self._lock = threading.Lock()
        self._mqtt = mqtt
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, "soak-sensors", clean_session=False, protocol=mqtt.MQTTv311
        )
        self._client.max_inflight_messages_set(2_000)
        self._client.max_queued_messages_set(0)
        self._client.on_publish = self._on_publish
        self._client.reconnect_delay_set(1, 2)
        self._client.connect_async("127.0.0.1", port)
        self._client.loop_start()

    def _on_publish(self, *_: Any) -> None:
        with self._lock:
            self.acknowledged += 1

    def run(self, stop: threading.Event) -> None:
        """Each sensor once in 1/rate seconds, spread evenly."""
        begun, number = time.monotonic(), 0
        while not stop.is_set():
            due = int((time.monotonic() - begun) * self.rate * self.sensors)
            for each in range(number, due):
                self.publish(each)
            number = max(number, due)
            stop.wait(0.02)
        self.count = number

    def publish(self, number: int) -> None:
        sensor, step = number % self.sensors, number // self.sensors
        self.send(
            sensor, 20.0 + step % 40 / 10, 42.0 + number % 61 / 10, self.begin + timedelta(seconds=step)
        )

    def send(self, sensor: int | str, temperature_c: float, rh_pct: float, at: datetime) -> None:
        body = {"t": temperature_c, "h": rh_pct, "at": at.isoformat(timespec="milliseconds")}
        self._client.publish(f"soak/{sensor}", json.dumps(body), qos=1)

    def finish(self, expected: int) -> None:
        wait_for(lambda: self.acknowledged >= expected, 120, "the broker's acknowledgements")
        self._client.disconnect()
        self._client.loop_stop()


def fill(store: Store, sensors: int, probes: int) -> None:
    """Places with pieces, sensors spread over them, and for each probe a place and a sensor of its own."""
    long_ago = datetime.now(UTC) - timedelta(days=3)
    with store.session() as session:
        places = [add_place(session, f"home {number}", "home") for number in range(PLACES)]
        places += [add_place(session, f"probe {number}", "storage") for number in range(probes)]
        for number in range(PLACES):
            add_piece(session, read_piece(PIECE.format(name=f"cabinet {number}")), places[number], long_ago)
        own = [(f"s{number}", str(number), places[number % PLACES]) for number in range(sensors)]
        own += [(f"p{number}", f"probe-{number}", places[PLACES + number]) for number in range(probes)]
        for name, topic, place in own:
            sensor = Sensor(name=name, accepted_at=long_ago)
            sensor.bindings.append(Binding(topic=f"soak/{topic}", payload=PAYLOAD))
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, place, long_ago)


# ---------------------------------------------------------------- from message to page


class Probe:
    """One message at a time, each the first of its own place, whose verdict it turns from unknown to known.

    Counts until the place's page shows so: broker, ingest, database, watch and dashboard are on the way.
    """

    def __init__(self, world: World, sensors: Sensors, store: Store) -> None:
        self.world, self.sensors, self.store = world, sensors, store
        with store.session() as session:
            found = session.execute(
                select(Place.id, Place.name).where(Place.name.like("probe%")).order_by(Place.id)
            )
            self.places = [(place, name.split()[1]) for place, name in found]
        self.took_s: list[tuple[float, list[str]]] = []  # and what was restarted meanwhile
        self.verdict_s: list[float] = []
        self.sent = 0
        self.restarted: list[tuple[float, str]] = []  # when each part ended, and when it was started

    def run(self, stop: threading.Event) -> None:
        for place, number in self.places:
            if stop.is_set():
                return
            begun = time.monotonic()
            # Of the hour before last: that hour is over, so that its verdict waits for nothing but the parts.
            self.sent += 1
            self.sensors.send(f"probe-{number}", 20.0, 45.0, datetime.now(UTC) - 2 * HOUR)
            while not self._known(place) and not stop.is_set():
                time.sleep(0.05)
            verdict_s = time.monotonic() - begun
            while not self._shown(place) and not stop.is_set():
                time.sleep(0.05)
            if not stop.is_set():
                self.verdict_s.append(verdict_s)
                self.took_s.append((time.monotonic() - begun, self._disturbed(begun)))
            stop.wait(PROBE_EVERY_S)

    def _disturbed(self, begun_s: float) -> list[str]:
        """Parts that were away since then, or had been started a moment before."""
        return sorted({name for at_s, name in self.restarted if at_s > begun_s - STARTS_WITHIN_S})

    def _known(self, place: int) -> bool:
        found = "SELECT verdict FROM verdict WHERE subject_kind = 'place' AND subject_id = :place"
        with contextlib.suppress(SQLAlchemyError), self.store.engine.connect() as connection:
            return connection.scalar(text(found), {"place": place}) not in (None, "unknown")
        return False

    def _shown(self, place: int) -> bool:
        page = self.world.page(f"/place/{place}")
        return page is not None and "mark mark-" in page and "mark mark-unknown" not in page
