"""What the service takes while nothing happens: memory, disk, and how long it takes to start.

    python -m tests.bench.bench_rest [--minutes 62] [--sensors 20] [--pieces 60] [--every 60] [--no-demo]

Starts `paneltide run` on a book of its own, with a broker of its own, and sensors that send once in `--every`
seconds. Memory is proportional (PSS): a page that several processes share counts once. Written is what the
kernel counts for each process (`write_bytes`), beside what the readings themselves take. Counting begins when
it rests: in the minutes after a start every message is stored at once. An hour holds one evaluation, so
`--minutes` of an hour and more give the honest figure. The folder must not be on a tmpfs, which counts no
writing. Python's compiled files are kept, as in an installation.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import insert, text

from deploy.wiring import evaluate_once, free_port
from ingest.mqtt.subscriber import CALM_AFTER_S
from model.records.acts.book import add_piece
from model.records.acts.hangings import hang_sensor
from model.records.acts.invalidation import mark_hours
from model.records.acts.places import add_place
from model.records.schema.tables import Binding, Reading, Sensor
from model.records.store import Store
from model.wood.piece import read_piece
from tests.bench.bench_watch import PIECE
from tests.bench.smoke import parsed

ROOT = Path(__file__).parents[2]
PAYLOAD = {"shape": "json", "temperature": "/t", "rh": "/h"}
READING_BYTES = 33
"""A row of the table of readings, as measured with ten million of them."""
AIMS = {"memory": 300.0, "written": 8.0, "start": 4.0, "--version": 0.4, "air": 0.4, "demo": 600.0}
AIR = ("air", "--temperature", "21C", "--rh", "45")


def build(store: Store, sensors: int, pieces: int, days: int) -> None:
    """Places with a sensor each and pieces of three parts over them, all computed up to now."""
    store.bring_up_to_date()
    now = datetime.now(UTC)
    start = now.replace(minute=0, second=0, microsecond=0) - timedelta(days=days)
    hours = np.arange(int((now - start) / timedelta(hours=1)))
    with store.session() as session:
        places = [add_place(session, f"place {k}", "shop" if k == 0 else "home") for k in range(sensors)]
        for k, place in enumerate(places):
            sensor = Sensor(name=f"sensor {k}", accepted_at=start)
            sensor.bindings.append(Binding(topic=f"rest/{k}", payload=PAYLOAD))
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, place, start)
            rh_pct = 45.0 + 5.0 * np.sin(hours / 24.0 + k)
            session.execute(
                insert(Reading),
                [
                    {
                        "sensor_id": sensor.id,
                        "observed_at": start + timedelta(hours=float(hour) + 0.5),
                        "received_at": start + timedelta(hours=float(hour) + 0.5),
                        "temperature_c": 20.0,
                        "rh_pct": round(float(rh), 1),
                        "clock": "device",
                    }
                    for hour, rh in zip(hours, rh_pct, strict=True)
                ],
            )
            mark_hours(session, [sensor.id], start)
        for k in range(pieces):
            told = PIECE.format(name=f"piece {k}", panel=262 + k % 60, sight=250 + k % 60)
            add_piece(session, read_piece(told), places[k % len(places)], start)
    evaluate_once(store, now)


# ---------------------------------------------------------------- what the kernel tells of processes


def family(pid: int) -> dict[int, str]:
    """A process and all below it, by id, each with its name in the table."""
    parent_of, names = {}, {}
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            stat = (entry / "stat").read_text()
            name = (entry / "comm").read_text().strip()
        except OSError:
            continue
        parent_of[int(entry.name)] = int(stat.rpartition(")")[2].split()[1])
        names[int(entry.name)] = name
    found, added = {pid}, True
    while added:
        more = {one for one, parent in parent_of.items() if parent in found} - found
        found, added = found | more, bool(more)
    return {one: names.get(one, "") for one in sorted(found)}


def pss_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) / 1024.0
    return 0.0


def written_mb(pid: int) -> float:
    told = dict(line.split(": ") for line in Path(f"/proc/{pid}/io").read_text().splitlines())
    return (int(told["write_bytes"]) - int(told["cancelled_write_bytes"])) / 1e6


def processor_s(pid: int) -> float:
    words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")


# ---------------------------------------------------------------- the service


def page(port: int, path: str = "/") -> bytes | None:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=30) as answer:
            found: bytes = answer.read()
            return found
    except urllib.error.HTTPError as error:
        return error.read()
    except OSError:
        return None


def wait_for(condition: Callable[[], object], what: str, within_s: float = 300.0) -> float:
    began = time.perf_counter()
    while not condition():
        if time.perf_counter() - began > within_s:
            raise SystemExit(f"waited {within_s:g} s for {what}")
        time.sleep(0.05)
    return time.perf_counter() - began


@contextmanager
def started(folder: Path, port: int, *words: str, **settings: object) -> Iterator[int]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PANELTIDE_")}
    ours = {f"PANELTIDE_{name.upper()}": str(value) for name, value in settings.items()}
    with (folder / "run.log").open("ab") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "deploy", *words, "--port", str(port)],
            cwd=ROOT, env=kept | ours, stdout=log, stderr=log,
        )  # fmt: skip
    try:
        yield process.pid
    finally:
        process.terminate()
        process.wait(30)


def computed(port: int) -> bool:
    """Whether all parts have been heard of and the coming years are computed: it rests."""
    told = json.loads(page(port, "/healthz") or "{}")
    return bool(told.get("ok")) and {"ingest", "watch", "supervisor"} <= set(told.get("parts", {}))


def send(port: int, sensors: int, every_s: float, stop: threading.Event, sent: list[int]) -> None:
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    client = mqtt.Client(CallbackAPIVersion.VERSION2, "rest-sensors")
    client.connect("127.0.0.1", port)
    client.loop_start()
    while not stop.wait(every_s / sensors):
        body = json.dumps({"t": 20.0 + sent[0] % 7 / 10, "h": 45.0 + sent[0] % 11 / 10})
        client.publish(f"rest/{sent[0] % sensors}", body, qos=1)
        sent[0] += 1
    client.disconnect()
    client.loop_stop()


def at_rest(folder: Path, given: argparse.Namespace) -> None:
    store = Store(f"sqlite:///{folder / 'paneltide.sqlite'}")
    build(store, given.sensors, given.pieces, given.days)
    port, broker_port = free_port(), free_port()
    began = time.perf_counter()
    with started(folder, port, "run", data_dir=folder, broker_port=broker_port) as pid:
        wait_for(lambda: page(port), "the first page")
        start_s = time.perf_counter() - began
        wait_for(lambda: computed(port), "all parts")
        stop, sent = threading.Event(), [0]
        sensors = threading.Thread(target=send, args=(broker_port, given.sensors, given.every, stop, sent))
        sensors.start()
        wait_for(lambda: sent[0] >= given.sensors, "every sensor", 10 * given.every)
        time.sleep(given.settle)
        names, rows_before = family(pid), rows(store)
        before = {one: (written_mb(one), processor_s(one)) for one in names}
        time.sleep(given.minutes * 60)
        hours = given.minutes / 60
        told = []
        for one, name in names.items():
            mb, cpu = written_mb(one) - before[one][0], processor_s(one) - before[one][1]
            told.append((name, pss_mb(one), mb / hours, cpu / hours))
        stop.set()
        sensors.join()
        readings_mb = (rows(store) - rows_before) * READING_BYTES / 1e6 / hours
    print(f"{'process':<58}{'PSS MB':>10}{'MB/h written':>14}{'CPU s/h':>10}")
    for name, pss, mb, cpu in told:
        print(f"{name[-57:]:<58}{pss:10.1f}{mb:14.2f}{cpu:10.1f}")
    say("memory at rest, all processes", sum(row[1] for row in told), "MB", AIMS["memory"])
    beyond = sum(row[2] for row in told) - readings_mb
    say(f"written beyond readings ({readings_mb:.2f} MB/h)", beyond, "MB/h", AIMS["written"])
    say("start to the first page", start_s, "s", AIMS["start"])


def rows(store: Store) -> int:
    with store.engine.connect() as connection:
        return int(connection.scalar(text("SELECT count(*) FROM reading")) or 0)


def commands() -> None:
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    for words in (("--version",), AIR):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        for _ in range(3):
            subprocess.run(
                [sys.executable, "-m", "deploy", *words], cwd=ROOT, env=kept, check=True, capture_output=True
            )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used = (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / 3
        say(f"paneltide {words[0]}, processor", used, "s", AIMS[words[0]])


def demo(folder: Path) -> None:
    port = free_port()
    with started(folder, port, "demo") as pid:
        highest = 0.0
        until = None
        while until is None or time.perf_counter() < until:
            time.sleep(0.5)
            highest = max(highest, sum(map(_pss_or_nothing, family(pid))))
            if until is None and page(port):
                until = time.perf_counter() + 60.0
    say("memory of the demo, at most in its first minute", highest, "MB", AIMS["demo"])


def _pss_or_nothing(pid: int) -> float:
    try:
        return pss_mb(pid)
    except OSError:
        return 0.0


def say(what: str, found: float, unit: str, aim: float) -> None:
    print(f"{what:<58}{found:10.2f} {unit:<6} aim {aim:g} {unit}{'' if found <= aim else '   MISSED'}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=62.0)
    parser.add_argument("--sensors", type=int, default=20)
    parser.add_argument("--pieces", type=int, default=60)
    parser.add_argument("--days", type=int, default=120, help="days of air on record")
    parser.add_argument("--every", type=float, default=60.0, help="seconds between messages of a sensor")
    parser.add_argument(
        "--settle", type=float, default=CALM_AFTER_S + 60.0, help="seconds before it counts as at rest"
    )
    parser.add_argument("--no-demo", action="store_true")
    given = parsed(parser, minutes=0.05, sensors=2, pieces=2, days=3, every=1.0, settle=1.0, no_demo=True)
    commands()
    with tempfile.TemporaryDirectory(prefix="paneltide-rest-") as folder:
        at_rest(Path(folder), given)
    if not given.no_demo:
        with tempfile.TemporaryDirectory(prefix="paneltide-rest-") as folder:
            demo(Path(folder))


if __name__ == "__main__":
    main()
