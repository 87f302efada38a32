"""Twenty seconds without a database or without a broker: rows equal messages, none doubled, none missing.

All four outages run at the same time, so that together they take little more than one of them.
"""

import contextlib
import sqlite3
import tempfile
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from model.records.store import Store

pytestmark = [pytest.mark.broker, pytest.mark.postgres]
OUTAGE_S = 20.0
BEFORE, DURING, AFTER = 1_000, 3_000, 1_000


class Outage(ABC):
    """One ingest with a broker and a book of its own, from which one of the two is taken."""

    def __init__(self, kit: Any, store: Store, broker: Any, log: Path) -> None:
        self.kit, self.store, self.broker = kit, store, broker
        kit.world.bind(store)
        self.process = kit.ingest(store, broker.url, log)
        self.sent = 0
        self.lasted_s = 0.0
        self.rows_meanwhile: set[int] = set()
        self._began = 0.0

    def send(self, count: int) -> None:
        sender = self.kit.publisher(self.broker.port)
        sender.send(self.kit.world.messages(count, first=self.sent))
        assert sender.wait(), "the broker didn't take the messages"
        self.sent += count

    def await_rows(self) -> None:
        self.kit.until(lambda: self.kit.world.rows(self.store) >= self.sent, what=f"rows of {self.sent}")

    def begin(self) -> None:
        self.take_away()
        self._began = time.monotonic()

    def end(self) -> None:
        self.lasted_s = time.monotonic() - self._began
        self.give_back()

    @abstractmethod
    def take_away(self) -> None: ...

    @abstractmethod
    def meanwhile(self) -> None:
        """What happens while it is away, before the rest of the time is waited for."""

    @abstractmethod
    def give_back(self) -> None: ...

    @abstractmethod
    def finish(self) -> None:
        """Waits until all is stored that was sent, and that is sent afterwards."""


class DatabaseAway(Outage):
    """Messages go on; the broker keeps them."""

    says = "the database can't be written"

    def meanwhile(self) -> None:
        self.send(DURING)
        self.kit.until(lambda: self.says in self.process.said, what="ingest to say so")

    def finish(self) -> None:
        self.await_rows()
        self.send(AFTER)
        self.await_rows()


class SqliteLocked(DatabaseAway):
    says = "database is locked"

    def take_away(self) -> None:
        self._blocker = sqlite3.connect(str(self.store.url.database), isolation_level=None)
        self._blocker.execute("BEGIN IMMEDIATE")

    def meanwhile(self) -> None:
        super().meanwhile()
        self.rows_meanwhile.add(self.kit.world.rows(self.store))

    def give_back(self) -> None:
        self.rows_meanwhile.add(self.kit.world.rows(self.store))
        self._blocker.execute("ROLLBACK")
        self._blocker.close()


class PostgresqlDown(DatabaseAway):
    def __init__(self, kit: Any, store: Store, broker: Any, log: Path, server: Any) -> None:
        super().__init__(kit, store, broker, log)
        self._server = server

    def take_away(self) -> None:
        self._server.stop()
        self.store.close()

    def give_back(self) -> None:
        self._server.start()


class BrokerGone(Outage):
    """What was acknowledged is stored; sensors speak again when the broker is back."""

    def take_away(self) -> None:
        self.broker.kill()

    def meanwhile(self) -> None:
        self.kit.until(lambda: "can't be used" in self.process.said, what="ingest to say so")
        self.rows_meanwhile.add(self.kit.world.rows(self.store))

    def give_back(self) -> None:
        self.rows_meanwhile.add(self.kit.world.rows(self.store))
        self.broker.start()

    def finish(self) -> None:
        connected = "connected to the broker"
        self.kit.until(lambda: self.process.said.count(connected) >= 2, what="ingest to come back")
        self.send(AFTER)
        self.await_rows()


@pytest.fixture(scope="module")
def outages(contract_kit: Any) -> Iterator[dict[str, Outage]]:
    """All four, over."""
    kit = contract_kit
    with tempfile.TemporaryDirectory(prefix="paneltide-outages-") as name, contextlib.ExitStack() as after:
        folder = Path(name)

        def broker() -> Any:
            made = kit.broker(folder / f"broker-{len(brokers)}")
            after.callback(made.kill)
            brokers.append(made)
            return made

        def store(url: str) -> Store:
            made = Store(url)
            made.bring_up_to_date()
            after.callback(made.close)
            return made

        def server(part: str) -> Any:
            made = kit.postgres(folder / part)
            after.callback(made.stop)
            made.create("book")
            return made

        brokers: list[Any] = []
        files = [f"sqlite:///{folder / f'{part}.sqlite'}" for part in ("locked", "alone")]
        away, stays = server("away"), server("stays")
        logs = [folder / f"ingest-{number}.log" for number in range(4)]
        found: dict[str, Outage] = {
            "SQLite locked": SqliteLocked(kit, store(files[0]), broker(), logs[0]),
            "broker gone, SQLite": BrokerGone(kit, store(files[1]), broker(), logs[1]),
            "PostgreSQL down": PostgresqlDown(kit, store(away.url("book")), broker(), logs[2], away),
            "broker gone, PostgreSQL": BrokerGone(kit, store(stays.url("book")), broker(), logs[3]),
        }
        for one in found.values():
            after.callback(one.process.kill)
            one.send(BEFORE)
        for one in found.values():
            one.await_rows()
        for one in found.values():
            one.begin()
        last = time.monotonic()
        for one in found.values():
            one.meanwhile()
        assert not threading.Event().wait(max(last + OUTAGE_S - time.monotonic(), 0.0))
        for one in found.values():
            one.end()
        for one in found.values():
            one.finish()
        yield found


LANES = ("SQLite locked", "broker gone, SQLite", "PostgreSQL down", "broker gone, PostgreSQL")


@pytest.fixture(params=LANES)
def outage(request: pytest.FixtureRequest, outages: dict[str, Outage]) -> Outage:
    return outages[request.param]


def test_rows_equal_messages_after_twenty_seconds(outage: Outage, world: Any, until: Callable[..., Any]):
    assert outage.lasted_s >= OUTAGE_S
    until(lambda: world.tally(outage.store, "stored") >= outage.sent)
    world.counts_agree(outage.store, outage.sent)
    values = "SELECT count(*) FROM (SELECT DISTINCT sensor_id, temperature_c, rh_pct FROM reading) AS one"
    assert world.scalar(outage.store, values) == outage.sent


def test_ingest_lived_through_it_and_stored_nothing_meanwhile(outage: Outage):
    assert outage.process.process.poll() is None
    # Nobody can look into a database that is down; elsewhere nothing was added to what had been sent before.
    assert outage.rows_meanwhile <= {BEFORE}
    assert outage.process.said.count("can't be used") + outage.process.said.count("can't be written") <= 2
