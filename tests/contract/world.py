"""Sensors, messages and rows, as the tests speak of them."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import text

from model.records.acts.hangings import hang_sensor
from model.records.acts.places import add_place
from model.records.clock import machine_now
from model.records.schema.tables import Binding, Sensor
from model.records.store import Store

TIMED = {"shape": "json", "temperature": "/temperature", "rh": "/humidity", "time": "/time"}
UNTIMED = {"shape": "json", "temperature": "/temperature", "rh": "/humidity"}
START_AT = datetime.now(UTC).replace(microsecond=0) - timedelta(days=30)


class World:
    """What the tests say about sensors, messages and rows."""

    sensors = 20

    @staticmethod
    def bind(store: Store, count: int = 20, *, timed: bool = True) -> None:
        """Sensors ``s0``… bound to ``air/0``…"""
        with store.session() as session:
            for number in range(count):
                sensor = Sensor(name=f"s{number}", accepted_at=machine_now())
                sensor.bindings.append(Binding(topic=f"air/{number}", payload=TIMED if timed else UNTIMED))
                session.add(sensor)

    @staticmethod
    def hang_all(store: Store) -> None:
        """Hang every sensor in the shop, so that the watch has work."""
        with store.session() as session:
            shop = add_place(session, "shop", "shop")
            for sensor in session.query(Sensor):
                hang_sensor(session, sensor, shop, datetime(2020, 1, 1, tzinfo=UTC))

    @staticmethod
    def messages(count: int, first: int = 0, *, timed: bool = True) -> list[tuple[str, bytes]]:
        """Messages that differ, each a row of its own."""
        made = []
        for number in range(first, first + count):
            document: dict[str, Any] = {
                "temperature": number % 4_000 / 100,
                "humidity": 20 + number // 4_000 % 60,
            }
            if timed:
                document["time"] = (START_AT + timedelta(seconds=number // 20)).isoformat()
            made.append((f"air/{number % 20}", json.dumps(document).encode()))
        return made

    @staticmethod
    def scalar(store: Store, sql: str) -> Any:
        with store.engine.connect() as connection:
            return connection.execute(text(sql)).scalar()

    @classmethod
    def rows(cls, store: Store) -> int:
        count: int = cls.scalar(store, "SELECT count(*) FROM reading")
        return count

    @classmethod
    def tally(cls, store: Store, name: str) -> int:
        return cls.scalar(store, f"SELECT count FROM tally WHERE name = '{name}'") or 0

    @classmethod
    def counts_agree(cls, store: Store, sent: int) -> None:
        """Rows equal messages: none lost, none doubled, none rejected, and the service counted the same."""
        assert cls.rows(store) == sent
        assert cls.tally(store, "stored") == sent
        assert cls.tally(store, "received") == sent + cls.tally(store, "duplicate")
        assert cls.scalar(store, "SELECT count(*) FROM rejected_message") == 0
