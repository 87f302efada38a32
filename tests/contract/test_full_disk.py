"""A full disk: ingest and the watch wait for it to be freed, and lose nothing."""

import os
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from ingest.broker.embedded import EmbeddedBroker
from model.records.store import Store

pytestmark = pytest.mark.broker
Start = Callable[..., Any]
ROOT = Path(__file__).parents[2]


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="only Linux can limit a running process")
def test_a_full_disk_loses_nothing_and_is_said_once(
    mosquitto: EmbeddedBroker, store: Store, world: Any, ingest: Start, publisher: Start, until: Start
) -> None:
    world.bind(store)
    process = ingest(store, mosquitto.url)
    pid = process.process.pid
    sender = publisher(mosquitto.port)
    sender.send(world.messages(500))
    until(lambda: world.rows(store) >= 500)
    # A file of this process can't grow any more: the kernel answers each write as it would on a full disk.
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (4096, resource.RLIM_INFINITY))
    sender.send(world.messages(3_000, first=500))
    until(lambda: "the database can't be written" in process.said)
    assert sender.wait()  # the broker keeps them
    assert world.rows(store) == 500
    assert process.process.poll() is None
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    until(lambda: world.rows(store) >= 3_500)
    until(lambda: "the database can be written again" in process.said)
    world.counts_agree(store, 3_500)
    assert world.scalar(store, "PRAGMA integrity_check") == "ok"
    assert process.said.count("the database can't be written") == 1


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="only Linux can limit a running process")
def test_the_watch_waits_for_a_full_disk_to_be_freed(
    store: Store, world: Any, until: Start, tmp_path: Path
) -> None:
    world.bind(store, 1)
    world.hang_all(store)
    command = [sys.executable, "-m", "deploy", "watch"]
    environment = {
        **os.environ,
        "PANELTIDE_DATA_DIR": str(tmp_path),
        "PANELTIDE_DATABASE_URL": store.url.render_as_string(hide_password=False),
        "PANELTIDE_WATCH_INTERVAL_S": "0.1",
    }
    log = tmp_path / "watch.log"
    with log.open("wb") as out:
        watch = subprocess.Popen(command, env=environment, cwd=ROOT, stdout=out, stderr=out)
    try:
        until(lambda: world.scalar(store, "SELECT count(*) FROM pulse WHERE part = 'watch'"))
        resource.prlimit(watch.pid, resource.RLIMIT_FSIZE, (1024, resource.RLIM_INFINITY))
        with store.session() as session:
            session.execute(
                text(
                    "INSERT INTO reading (sensor_id, observed_at, received_at, temperature_c, rh_pct, clock) "
                    "VALUES (1, 1770120600000, 1770120600000, 20.0, 45.0, 'device')"
                )
            )
            session.execute(text("INSERT INTO stale_hour VALUES (1, 1770120000000, 1)"))
        until(lambda: "can't be used" in log.read_text())
        assert world.scalar(store, "SELECT count(*) FROM air_hour") == 0
        resource.prlimit(watch.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
        until(lambda: world.scalar(store, "SELECT count(*) FROM air_hour WHERE n_readings = 1"))
        until(lambda: not world.scalar(store, "SELECT count(*) FROM stale_hour"))
        assert watch.poll() is None
    finally:
        watch.terminate()
        watch.wait(120)
