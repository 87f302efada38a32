"""A clock that steps by a day: every message is kept, and the watch comes to the same."""

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from ingest.broker.embedded import EmbeddedBroker
from ingest.mqtt.subscriber import Subscriber
from ingest.settings import IngestSettings
from model.records.schema.tables import Sensor
from model.records.store import Store
from model.watch.run.evaluation import Watch

pytestmark = pytest.mark.broker
Start = Callable[..., Any]
COMPUTED = ("air_hour", "checkpoint", "margin", "verdict", "warning")


def computed(store: Store) -> dict[str, list[str]]:
    with store.engine.connect() as connection:
        return {
            name: sorted(
                str(tuple(row))
                for row in connection.execute(
                    text(f"SELECT * FROM {name}")
                    if name != "verdict"
                    else text("SELECT subject_kind, subject_id, verdict FROM verdict")
                )
            )
            for name in COMPUTED
        }


def test_ingest_keeps_every_message_through_a_clock_that_steps_by_a_day(
    mosquitto: EmbeddedBroker, store: Store, world: Any, publisher: Start, until: Start
) -> None:
    world.bind(store, timed=False)
    step = timedelta()
    subscriber = Subscriber(store, IngestSettings(port=mosquitto.port), lambda: datetime.now(UTC) + step)
    stop = threading.Event()
    thread = threading.Thread(target=subscriber.run, args=(stop,), daemon=True)
    thread.start()
    until(lambda: '"broker_connected": true' in (world.scalar(store, "SELECT detail FROM pulse") or ""))
    sender = publisher(mosquitto.port)
    sent = 0
    for step in (timedelta(), timedelta(days=1), timedelta(), timedelta(days=-1), timedelta()):  # noqa: B007
        sender.send(world.messages(400, first=sent, timed=False))
        sent += 400
        until(lambda sent=sent: world.rows(store) >= sent)
    stop.set()
    thread.join(120)
    world.counts_agree(store, sent)
    values = "SELECT count(*) FROM (SELECT DISTINCT sensor_id, temperature_c, rh_pct FROM reading) AS one"
    assert world.scalar(store, values) == sent


def test_the_watch_comes_to_the_same_through_a_clock_that_steps_by_a_day(tmp_path: Path, world: Any) -> None:
    start = datetime(2026, 1, 5, tzinfo=UTC)

    def book(name: str) -> Store:
        made = Store(f"sqlite:///{tmp_path / name}")
        made.bring_up_to_date()
        with made.session() as session:
            session.add(Sensor(name="bench", accepted_at=start))
            session.flush()
        world.hang_all(made)
        return made

    def send(store: Store, first: int, hours: int) -> None:
        with store.session() as session:
            for hour in range(first, first + hours):
                at = round((start + (hour + 0.5) * timedelta(hours=1)).timestamp() * 1_000)
                session.execute(
                    text(
                        "INSERT INTO reading (sensor_id, observed_at, received_at, temperature_c, rh_pct,"
                        " clock) VALUES (1, :at, :at, :t, :rh, 'device')"
                    ),
                    {"at": at, "t": 20 + hour % 5 / 10, "rh": 45 + hour % 7 / 10},
                )
                session.execute(text("INSERT INTO stale_hour VALUES (1, :h, 1)"), {"h": at - 1_800_000})

    def at(hours: float) -> datetime:
        return start + hours * timedelta(hours=1)

    stepped, steady = book("stepped.sqlite"), book("steady.sqlite")
    watch = Watch(stepped)
    send(stepped, 0, 30)
    for now in (at(30), at(54), at(30.1), at(6)):  # right, a day ahead, right, a day behind
        watch.bring_up_to_date(now)
    send(stepped, 30, 50)
    watch.bring_up_to_date(at(80))
    send(steady, 0, 80)
    Watch(steady).bring_up_to_date(at(80))
    assert computed(stepped) == computed(steady)
    assert len(computed(steady)["air_hour"]) == 80
    for store in (stepped, steady):
        store.close()
