"""Commands that start and look after the running parts: demo, run, ingest, watch, dashboard, migrate."""

import os
import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated

import typer

from deploy import wiring
from deploy.caretaker import Caretaker, send_to_all, troubles_of
from deploy.cli.answer import AsJson, give_done, give_json, say
from deploy.cli.broker_command import offer_to_open
from deploy.cli.progress import progress
from deploy.reach import address_words, broker_address
from deploy.settings import Settings, load_settings
from deploy.sources import PREFIX
from deploy.supervisor import PROCESSES, Supervisor, begin_process, import_parts, stop_on_signals
from model.records.clock import SampleClock, machine_now
from model.records.store import Store
from model.wood.errors import ServiceMissing

PARTS = {"ingest": ["ingest"], "watch": ["watch"], "dashboard": ["dashboard"]}
PortOption = Annotated[int | None, typer.Option("--port", help="Port of the dashboard.")]
BindOption = Annotated[str | None, typer.Option("--bind", help="Address the dashboard listens on.")]


def run(bind: BindOption = None, port: PortOption = None) -> None:
    """Run everything for real use, from settings, until Ctrl-C."""
    settings = load_settings(bind=bind, port=port)
    wiring.prepare_logging(log_format=settings.log_format)
    wiring.require_free_port(settings.bind, settings.port)
    settings = offer_to_open(settings)
    store = wiring.open_store(settings, create=True)
    store.close()
    stop = stop_on_signals()
    with wiring.broker_for(settings, settings.data_dir / "broker") as (broker_url, keep_broker):
        shown = f"[{settings.bind}]" if ":" in settings.bind else settings.bind
        address = f"http://{shown}:{settings.port}/"
        announce = _once_answering(
            address,
            lambda: say(f"The dashboard is at {address}\n{address_words(broker_address(settings))}"),
        )
        _supervise(settings, {"MQTT_URL": broker_url}, stop, lambda: (keep_broker(), announce()))


def demo(
    port: PortOption = None,
    rate: Annotated[
        float, typer.Option("--rate", min=1.0, max=7200.0, help="Sample seconds that pass each second.")
    ] = 3600.0,
    folder: Annotated[
        Path | None, typer.Option("--folder", help="Keep the sample book here; otherwise it is forgotten.")
    ] = None,
) -> None:
    """Start everything with the invented sample shop on loopback, until Ctrl-C."""
    import tempfile

    from deploy import sample_shop

    settings = load_settings(port=port)
    wiring.prepare_logging("WARNING", settings.log_format)
    wiring.require_free_port("127.0.0.1", settings.port)
    chosen_port = settings.port or wiring.free_port()
    stop = stop_on_signals()
    with tempfile.TemporaryDirectory(prefix="paneltide-demo-") as scratch:
        data_dir = (folder or Path(scratch)).absolute()
        wiring.open_folder(data_dir)
        fresh = Settings(
            data_dir=data_dir,
            database_url="",
            mqtt_url="embedded",
            broker_bind="127.0.0.1",
            broker_password="",
            bind="127.0.0.1",
            port=chosen_port,
        )
        if Path(fresh.database.removeprefix("sqlite:///")).exists():
            raise ServiceMissing(f"{data_dir} already holds a book: give --folder an empty one")
        say("Loading the sample shop's past year (all of it invented) …")
        # In a process of its own, which gives back what memory it took.
        loading = PROCESSES.Process(target=_load_sample, args=(fresh,))
        loading.start()
        loading.join()
        if loading.exitcode:
            raise ServiceMissing("the sample shop could not be loaded")
        with wiring.broker_for(fresh, data_dir / "broker", port=0) as (broker_url, keep_broker):
            start_at = sample_shop.STORY_START_AT
            brisk_s = sample_shop.BRISK_DAYS * 86400.0 / rate
            clock = SampleClock(machine_now(), start_at, rate, brisk_s)
            extra = {
                "MQTT_URL": broker_url,
                "SAMPLE_CLOCK": wiring.clock_words(clock),
                "WATCH_INTERVAL_S": "0.25",
            }
            replay = PROCESSES.Process(target=_replay_sample, args=(fresh, broker_url, clock), daemon=True)
            replay.start()
            address = f"http://127.0.0.1:{chosen_port}/"
            announce = _once_answering(
                address,
                lambda: say(
                    f"\nThe sample shop is open at {address}\n"
                    f"Its clock starts on {start_at:%d %B %Y} "
                    f"and runs {rate:g} times as fast; Ctrl-C ends it."
                ),
            )
            _supervise(fresh, extra, stop, lambda: (keep_broker(), announce()))
            replay.terminate()
            replay.join(timeout=2.0)


def _load_sample(settings: Settings) -> None:
    from deploy import sample_shop

    store = wiring.open_store(settings, create=True)
    with progress("Reading a year of air") as advance:
        sample_shop.load_history(store, advance)
    with progress("Working out the wood"):
        wiring.evaluate_once(store, sample_shop.STORY_START_AT)
    store.close()


def _replay_sample(settings: Settings, broker_url: str, clock: SampleClock) -> None:
    from deploy import sample_shop

    begin_process("sample-sensors")
    store = wiring.open_store(settings)
    sample_shop.replay(broker_url, clock, stop_on_signals(), lambda: sample_shop.ingest_listens(store))


def _supervise(
    settings: Settings, extra: Mapping[str, str], stop: threading.Event, idle: Callable[[], object]
) -> None:
    fixed = {
        "DATA_DIR": str(settings.data_dir),
        "DATABASE_URL": settings.database,
        "BIND": settings.bind,
        "PORT": str(settings.port),
        "BROKER_BIND": settings.broker_bind,
        "BROKER_PASSWORD": settings.broker_password,
        **extra,
    }
    environment = {**os.environ, **{f"{PREFIX}{name}": value for name, value in fixed.items()}}
    store, now = wiring.open_store(settings), wiring.clock_of(settings)
    troubles_of(store, now)  # what its questions load and compile, the parts share
    import_parts()

    def tell(title: str, body: str) -> None:
        store.close()  # SQLite's connections must not be carried into another process
        told = Store(settings.database), settings.notice_addresses, title, body
        PROCESSES.Process(target=send_to_all, args=told, daemon=True).start()

    look_after = Caretaker(lambda: troubles_of(store, now), tell)

    def beside() -> None:
        idle()
        if "SAMPLE_CLOCK" not in extra:  # the sample shop's troubles are nobody's
            look_after()

    Supervisor(PARTS, environment, store).run(stop, beside)


def _once_answering(address: str, announce: Callable[[], None]) -> Callable[[], None]:
    """A check that announces the address once the page there answers."""
    done = False

    def check() -> None:
        nonlocal done
        if done:
            return
        try:
            with urllib.request.urlopen(f"{address}healthz", timeout=0.5):
                pass
        except urllib.error.HTTPError:
            pass  # it answers, if only to say that not all is well yet
        except OSError:
            return
        done = True
        announce()

    return check


def ingest() -> None:
    """Listen to the broker and store readings, until stopped."""
    settings = load_settings()
    wiring.prepare_logging(log_format=settings.log_format)
    if settings.mqtt_url == "embedded":
        raise ServiceMissing(
            "ingest alone needs a broker that is already there: "
            "set PANELTIDE_MQTT_URL (`paneltide run` starts one)"
        )
    wiring.run_ingest(settings, stop_on_signals())


def watch(
    once: Annotated[bool, typer.Option("--once", help="Bring everything up to date and exit.")] = False,
    as_json: AsJson = False,
) -> None:
    """Keep moisture, margins, verdicts and warnings up to date with the readings."""
    settings = load_settings()
    wiring.prepare_logging("WARNING" if once else "INFO", settings.log_format)
    if not once:
        wiring.run_watch(settings, stop_on_signals())
        return
    evaluation = wiring.evaluate_once(wiring.open_store(settings), wiring.clock_of(settings)())
    document = {
        "as_of": evaluation.as_of,
        "counts": dict(evaluation.counts),
        "durations_s": {name: round(value, 3) for name, value in evaluation.durations_s.items()},
    }
    if as_json:
        give_json(document)
        return
    counts = ", ".join(
        f"{count} {name.replace('_', ' ')}" for name, count in evaluation.counts.items() if count
    )
    say(f"Up to date as of {evaluation.as_of:%Y-%m-%d %H:%M} UTC: {counts or 'nothing had changed'}.")


def dashboard(bind: BindOption = None, port: PortOption = None) -> None:
    """Serve the pages, until stopped."""
    settings = load_settings(bind=bind, port=port)
    wiring.prepare_logging(log_format=settings.log_format)
    wiring.require_free_port(settings.bind, settings.port)
    wiring.run_dashboard(settings, stop_on_signals())


def migrate(as_json: AsJson = False) -> None:
    """Create the book's database, or bring it to the schema this program needs."""
    settings = load_settings()
    store = wiring.open_store(settings, create=True)
    give_done(as_json, "book", store.shown, f"{store.shown} is at schema {store.schema_revision()}.")
