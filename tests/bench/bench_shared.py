"""Two ingesters through a shared subscription beside one, on PostgreSQL.

    python -m tests.bench.bench_shared [--messages 40000] [--rounds 3]

The messages wait in mosquitto before anybody takes them, so that no publisher competes for the cores; then
one ingester, or two, drain them into an empty book. Rates, processor time of each program and the cores they
used together are over the middle of the run; rounds alternate.

So that a run shows where its limit is, the ratio that this machine allows follows from what a message costs:
an ingester and the broker are a thread each, the database is a process for each ingester, and all of them
share the cores. What the same comes to where the publisher has to be on these cores too stands beside it.
"""

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from sqlalchemy import text

from ingest.broker.embedded import answers
from model.records.clock import machine_now
from model.records.schema.partitions import keep_months
from model.records.schema.tables import Binding, Sensor
from model.records.store import Store
from tests.bench.publisher import Publisher, message
from tests.bench.smoke import parsed
from tests.bench.soak_world import World, wait_for

ROOT = Path(__file__).resolve().parents[2]

SENSORS = 50
FROM, TO = 0.1, 0.9
PAYLOAD = {"shape": "json", "temperature": "/temperature", "rh": "/humidity", "time": "/time"}
TICKS_S = os.sysconf("SC_CLK_TCK")


def processor_s(pid: int) -> float:
    """Processor time of a process and its children that live, user and system [s]."""
    total = 0.0
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            fields = (entry / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(entry.name) == pid or int(fields[1]) == pid:
            total += (int(fields[11]) + int(fields[12])) / TICKS_S
    return total


def ingester(world: World, url: str, name: str, log: Path) -> "subprocess.Popen[bytes]":
    with log.open("ab") as out:
        return subprocess.Popen(
            [sys.executable, "-m", "tests.ingest_process", "--mqtt-url", f"mqtt://127.0.0.1:{world.mqtt_port}",
             "--database-url", url, "--share-group", "bench", "--client-id", name, "--topics", "bench/#"],
            cwd=ROOT, stdout=out, stderr=out,
        )  # fmt: skip


def stop(processes: "list[subprocess.Popen[bytes]]") -> None:
    for process in processes:
        process.send_signal(signal.SIGTERM)
    for process in processes:
        process.wait(20)


def one_round(world: World, number: int, names: list[str], count: int) -> dict[str, float]:
    """Drain so many messages through these ingesters: messages a second, cores in use, and processor time a
    message of each program [us]; that of the publisher from before."""
    import psycopg

    # A broker that remembers the last round's sessions would go on sharing with them.
    world.parts["broker"].end(signal.SIGKILL)
    (world.folder / "mosquitto" / "mosquitto.db").unlink(missing_ok=True)
    world.parts["broker"].start()
    wait_for(lambda: answers("127.0.0.1", world.mqtt_port), 20, "the broker")

    admin = f"host=127.0.0.1 port={world.sql_port} user=paneltide dbname=postgres"
    with psycopg.connect(admin, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE round{number}")
    url = world.url.replace("/book", f"/round{number}")
    store = Store(url)
    store.bring_up_to_date()
    keep_months(store, machine_now())
    with store.session() as session:
        for each in range(SENSORS):
            sensor = Sensor(name=f"s{each}", accepted_at=machine_now())
            sensor.bindings.append(Binding(topic=f"bench/{each}/air", payload=PAYLOAD))
            session.add(sensor)

    def stored() -> int:
        with store.engine.connect() as connection:
            return int(
                connection.scalar(text("SELECT coalesce(sum(count), 0) FROM tally WHERE name = 'stored'"))
            )

    log = world.folder / f"round{number}.log"
    clients = [f"{name}-{number}" for name in names]
    first = [ingester(world, url, client, log) for client in clients]
    wait_for(lambda: log.read_text().count("connected to the broker") >= len(names), 30, "ingest")
    stop(first)  # the broker knows their sessions now, and holds what comes for them
    publisher = Publisher(world.mqtt_port)
    start_ms = int(time.time() * 1_000) - 86_400_000
    made = [message(each, start_ms, SENSORS) for each in range(count)]
    published_s = -time.process_time()
    for begin in range(0, count, 500):
        publisher.send(made[begin : begin + 500])
    assert publisher.wait(300)
    publisher.close()
    published_s += time.process_time()
    running = [ingester(world, url, client, log) for client in clients]
    wait_for(lambda: stored() >= FROM * count, 120, "the first rows")
    pids = {name: [world.parts[name].process.pid] for name in ("broker", "database")}  # type: ignore[union-attr]
    pids["ingest"] = [process.pid for process in running]

    def spent_s() -> dict[str, float]:
        return {name: sum(processor_s(pid) for pid in own) for name, own in pids.items()}

    low, low_s, before = stored(), time.monotonic(), spent_s()
    wait_for(lambda: stored() >= TO * count, 300, "most rows")
    high, high_s, after = stored(), time.monotonic(), spent_s()
    wait_for(lambda: stored() >= count, 120, "the last rows")
    spent = {name: after[name] - before[name] for name in pids}
    stop(running)
    with store.engine.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM reading")) == count
    store.close()
    took_s, messages = high_s - low_s, high - low
    return {
        "rate": messages / took_s,
        "cores": sum(spent.values()) / took_s,
        **{name: 1e6 * seconds / messages for name, seconds in spent.items()},
        "publisher": 1e6 * published_s / count,
    }


PROGRAMS = ("ingest", "database", "broker")


def most(
    costs_us: dict[str, float], ingesters: int, cores: int, publisher_us: float = 0.0
) -> tuple[float, str]:
    """The most messages a second that costs a message allow, and what sets that limit."""
    limits = {
        "the thread of each ingester": ingesters * 1e6 / costs_us["ingest"],
        "the database's process for each ingester": ingesters * 1e6 / costs_us["database"],
        "the broker's one thread": 1e6 / costs_us["broker"],
        f"the {cores} cores": cores * 1e6 / (sum(costs_us.values()) + publisher_us),
    }
    return min((rate, name) for name, rate in limits.items())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0] if __doc__ else None)
    parser.add_argument("--messages", type=int, default=40_000)
    parser.add_argument("--rounds", type=int, default=3)
    given = parsed(parser, messages=15_000, rounds=1)
    found: dict[int, list[dict[str, float]]] = {1: [], 2: []}
    with tempfile.TemporaryDirectory(prefix="paneltide-shared-") as folder:
        # mosquitto writes its whole queue at each save: with tens of thousands waiting, not once here.
        world = World(Path(folder), save_every=1_000_000)
        world.parts["broker"].start()
        world.parts["database"].start()
        try:
            wait_for(world.database_answers, 60, "PostgreSQL")
            number = 0
            for _ in range(given.rounds):
                for names in (["one"], ["one", "two"]):
                    found[len(names)].append(one_round(world, number, names, given.messages))
                    number += 1
        finally:
            world.stop()
    load = f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    print(f"{given.messages} messages, {given.rounds} rounds; {load}")
    middle = {n: {name: median(r[name] for r in rounds) for name in rounds[0]} for n, rounds in found.items()}
    for ingesters, one in middle.items():
        words = ", ".join(f"{name} {one[name]:.0f}" for name in PROGRAMS)
        print(
            f"{ingesters} ingester(s): {one['rate']:8.0f} messages/s on {one['cores']:.2f} cores   processor "
            f"time a message [us]: {words}, in all {sum(one[name] for name in PROGRAMS):.0f}; publisher "
            f"before {one['publisher']:.0f}"
        )
    ratios = [two["rate"] / one["rate"] for one, two in zip(found[1], found[2], strict=True)]
    print(f"ratio two to one: {median(ratios):.2f} (of {', '.join(f'{ratio:.2f}' for ratio in ratios)})")
    cores = os.cpu_count() or 1
    for with_publisher in (False, True):
        allowed = {
            n: most(
                {name: one[name] for name in PROGRAMS}, n, cores, one["publisher"] if with_publisher else 0.0
            )
            for n, one in middle.items()
        }
        where = "with the publisher on the same cores" if with_publisher else "as measured, publisher away"
        words = "; ".join(f"{n}: {rate:.0f}/s, limit {name}" for n, (rate, name) in allowed.items())
        print(f"{where}, {cores} cores allow {allowed[2][0] / allowed[1][0]:.2f} ({words})")
    taken = ", ".join(f"{cores - one['cores']:.2f} beside {n}" for n, one in middle.items())
    print(f"cores idle or taken by other work meanwhile: {taken}")


if __name__ == "__main__":
    main()
