"""The whole service: database gone, broker gone, power cut; afterwards all is well and counts agree."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from model.records.schema.tables import Record
from model.records.store import Store
from model.watch.run.evaluation import Watch

pytestmark = pytest.mark.broker
Start = Callable[..., Any]


@pytest.mark.postgres
def test_database_and_then_broker_gone_and_back(
    saving_broker: Any,
    postgres: Any,
    postgres_store: Store,
    world: Any,
    service: Start,
    publisher: Start,
    until: Start,
) -> None:
    world.bind(postgres_store)
    world.hang_all(postgres_store)
    running = service(saving_broker.url, postgres_store.url.render_as_string(hide_password=False))
    until(running.well, what="the service")
    sender = publisher(saving_broker.port)
    sender.send(world.messages(1_000))
    until(lambda: world.rows(postgres_store) >= 1_000)

    postgres.stop()
    postgres_store.close()
    sender.send(world.messages(1_000, first=1_000))
    assert sender.wait()

    def told() -> bool:
        found = running.health()
        return not found.get("ok", True) and "database can't be used" in " ".join(found["problems"])

    until(told, what="the page to say that the database is gone")
    postgres.start()
    until(lambda: world.rows(postgres_store) >= 2_000)
    until(running.well, what="the service after the database came back")

    saving_broker.kill()
    until(lambda: "the broker is not connected" in running.health()["problems"])
    saving_broker.start()
    until(running.well, what="the service after the broker came back")
    again = publisher(saving_broker.port)
    again.send(world.messages(1_000, first=2_000))
    until(lambda: world.rows(postgres_store) >= 3_000)
    until(lambda: world.tally(postgres_store, "stored") >= 3_000)
    world.counts_agree(postgres_store, 3_000)
    until(lambda: not world.scalar(postgres_store, "SELECT count(*) FROM stale_hour"))
    found = running.doctor()
    assert {what for what, (state, _) in found.items() if state != "well"} == {"backup"}, found


def test_a_power_cut_leaves_a_whole_book_and_counts_that_agree(
    saving_broker: Any, world: Any, service: Start, publisher: Start, until: Start, tmp_path: Path
) -> None:
    (tmp_path / "data").mkdir()
    store = Store(f"sqlite:///{tmp_path / 'data' / 'paneltide.sqlite'}")
    store.bring_up_to_date()
    world.bind(store)
    world.hang_all(store)
    running = service(saving_broker.url)
    until(running.well, what="the service")
    sender = publisher(saving_broker.port)
    for first in range(0, 2_000, 250):
        sender.send(world.messages(250, first=first))
    until(lambda: world.rows(store) >= 1_000)
    running.cut_off()
    saving_broker.kill()
    kept = world.rows(store)
    assert kept >= 1_000
    assert world.scalar(store, "PRAGMA integrity_check") == "ok"
    assert world.tally(store, "stored") == kept

    saving_broker.start()
    running.start()
    until(running.well, what="the service after the power came back")
    # What the broker held unsaved is gone with it; sensors that keep a log hand it in again.
    again = publisher(saving_broker.port)
    again.send(world.messages(2_000))
    assert again.wait()
    until(lambda: world.rows(store) >= 2_000)
    last = world.messages(1, first=2_000)
    again.send(last)
    until(lambda: world.tally(store, "stored") >= 2_001)
    world.counts_agree(store, 2_001)
    until(lambda: not world.scalar(store, "SELECT count(*) FROM stale_hour"))
    found = running.doctor()
    assert {what for what, (state, _) in found.items() if state != "well"} == {"backup"}, found
    running.stop()
    fresh = Store(f"sqlite:///{tmp_path / 'fresh.sqlite'}")
    fresh.bring_up_to_date()
    # The air that the watch made through the cut is the air made at once from the same readings.
    with store.engine.connect() as old, fresh.engine.begin() as new:
        for table in Record.metadata.sorted_tables:
            if table.name in ("place", "sensor", "hanging", "reading"):
                rows = [dict(row._mapping) for row in old.execute(table.select())]
                new.execute(table.insert(), rows)
        new.execute(
            text(
                "INSERT INTO stale_hour SELECT DISTINCT sensor_id, observed_at / 3600000 * 3600000, 1 "
                "FROM reading"
            )
        )
    Watch(fresh).bring_up_to_date(datetime.now(UTC))
    measured = (
        "SELECT place_id, hour_at, temperature_c, rh_pct, n_readings FROM air_hour WHERE n_readings > 0"
    )
    with store.engine.connect() as old, fresh.engine.connect() as new:
        assert sorted(map(tuple, old.execute(text(measured)))) == sorted(
            map(tuple, new.execute(text(measured)))
        )
    store.close()
    fresh.close()
