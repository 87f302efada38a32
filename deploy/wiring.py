"""The one composition root: from settings to running parts."""

import logging
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from deploy.logs import formatter
from deploy.settings import Settings, load_settings
from model.records.clock import Now, SampleClock, machine_now
from model.records.private import keep_folder_private
from model.records.store import BUSY_TIMEOUT_S, Store
from model.wood.errors import BadInput, ServiceMissing

if TYPE_CHECKING:
    from dashboard.shell.ports import SensorDoor
    from ingest.files.imported import ImportReport
    from ingest.settings import IngestSettings
    from model.watch.run.evaluation import Evaluation

GUIDE = Path(__file__).parent / "guide"
PRESS_WAITS_S = 3.0
"""What a try of a press waits for a busy book; `dashboard.shell.patience` tries again."""
OUTLOOKS_AT_ONCE = 20
"""Pieces whose coming year is computed before the watch looks for new readings again: some seconds."""


def prepare_logging(level: str = "INFO", log_format: str = "text") -> None:
    """Log to standard error, where a service manager's journal picks it up."""
    handler = logging.StreamHandler()
    handler.setFormatter(formatter(log_format))
    logging.basicConfig(level=level, handlers=[handler])
    for noisy in ("alembic", "waitress.queue", "numba"):
        logging.getLogger(noisy).setLevel(logging.WARNING)


def clock_of(settings: Settings) -> Now:
    """The machine's clock, or the sample shop's when settings name one."""
    if not settings.sample_clock:
        return machine_now
    parts = settings.sample_clock.split()
    try:
        zero, start = (datetime.fromisoformat(part) for part in parts[:2])
        rate, brisk_s = (float(part) for part in parts[2:])
    except ValueError as error:
        rule = "must be two instants, a rate and a number of seconds"
        raise BadInput("settings", "sample_clock", rule, settings.sample_clock) from error
    return SampleClock(zero, start, rate, brisk_s)


def clock_words(clock: SampleClock) -> str:
    """A sample clock as the setting that brings it back."""
    return f"{clock.zero_at.isoformat()} {clock.start_at.isoformat()} {clock.rate!r} {clock.brisk_s!r}"


def open_folder(folder: Path) -> None:
    """Make the data folder and prove that it can be written.

    Raises
    ------
    ServiceMissing
        If it can't.
    """
    probe = folder / ".writable"
    try:
        keep_folder_private(folder)
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        raise ServiceMissing(
            f"the data folder {folder} can't be written: {error.strerror}; "
            "set PANELTIDE_DATA_DIR to one that can"
        ) from error


def open_store(
    settings: Settings, migrate: bool = True, create: bool = False, busy_timeout_s: float = BUSY_TIMEOUT_S
) -> Store:
    """The book, at the schema this program needs.

    Parameters
    ----------
    migrate : bool
        Migrate an older schema; otherwise refuse one that isn't current.
    create : bool
        Begin a book where there is none.
    busy_timeout_s : float
        How long a statement waits while another program writes a SQLite book.

    Raises
    ------
    ServiceMissing
        If there is no book and none is to be begun.
    """
    if create and not settings.database_url:
        open_folder(settings.data_dir)
    store = Store(settings.database, busy_timeout_s)
    if not create and not store.exists():
        raise ServiceMissing(
            f"there is no book at {store.place} yet: `paneltide run` begins one; if yours is elsewhere, "
            "say where with PANELTIDE_DATA_DIR or PANELTIDE_DATABASE_URL"
        )
    if migrate:
        store.bring_up_to_date()
    else:
        store.require_current()
    return store


def open_book(create: bool = False) -> tuple[Store, datetime]:
    """The book in use and its clock's time; where there is none, one is begun only if asked for."""
    settings = load_settings()
    return open_store(settings, create=create), clock_of(settings)()


def require_free_port(bind: str, port: int) -> None:
    """Refuse a port that another program holds.

    Raises
    ------
    ServiceMissing
        If it is taken, or the address isn't this machine's.
    """
    if port == 0:
        return
    family = socket.AF_INET6 if ":" in bind else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((bind, port))
        except OSError as error:
            raise ServiceMissing(
                f"{bind} port {port} can't be used for the dashboard: {error.strerror}; "
                "stop the other program or set PANELTIDE_PORT"
            ) from error


def free_port() -> int:
    """A port nobody holds at this moment."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def broker_for(
    settings: Settings, folder: Path, port: int | None = None
) -> Iterator[tuple[str, Callable[[], None]]]:
    """The broker in use: its address, and a check that starts an embedded one again if it has ended.

    Parameters
    ----------
    folder : Path
        Where an embedded broker keeps its queue.
    port : int, optional
        Port of an embedded broker in place of the one set; 0 chooses a free one.
    """
    if settings.mqtt_url != "embedded":
        yield settings.mqtt_url, lambda: None
        return
    from ingest.broker.embedded import EmbeddedBroker

    log = logging.getLogger("paneltide.broker")

    def keep() -> None:
        if not broker.running:
            log.warning("the embedded broker ended; starting it again")
            try:
                broker.start()
            except ServiceMissing as error:
                log.warning("%s", error)

    broker = EmbeddedBroker(
        folder,
        port=settings.broker_port if port is None else port,
        listen=settings.broker_bind,
        user=settings.broker_user,
        password=settings.broker_password,
        publishes=settings.mqtt_publish,
    )
    broker.start()
    try:
        log.info("%s", broker.promises)
        yield broker.url, keep
    finally:
        broker.stop()


def run_watch(settings: Settings, stop: threading.Event) -> None:
    """Keep everything computed up to date, and send notices, until told to stop."""
    from model.records.acts.retention import Housekeeper
    from model.watch.questions.clamps import watch_clamps
    from model.watch.questions.glue_board import GlueBoard
    from model.watch.questions.measure_next import MeasureNext
    from model.watch.run.loop import run
    from model.watch.state.outlook_store import Outlooks
    from model.watch.tell import notices

    store, now = open_store(settings, create=True), clock_of(settings)
    from model.words.display import Display

    sender = threading.Thread(
        target=notices.run,
        args=(store, now, stop, settings.notice_addresses),
        kwargs={"display": Display(settings.units)},
        name="notices",
        daemon=True,
    )
    sender.start()
    outlooks = Outlooks(store, at_once=OUTLOOKS_AT_ONCE, scheduler=settings.scheduler)
    with closing(outlooks), publishing(settings, store) as publishes:
        run(
            store,
            now,
            stop,
            interval_s=settings.watch_interval_s,
            after=[
                partial(watch_clamps, store),
                GlueBoard(store).refresh,
                outlooks.refresh,
                MeasureNext(store, outlooks, at_once=OUTLOOKS_AT_ONCE).refresh,
                Housekeeper(store, settings.retention_days),
                *publishes,
            ],
        )
    sender.join(timeout=2.0)


def evaluate_once(store: Store, at: datetime) -> "Evaluation":
    """Bring everything computed up to date as of an instant, outlooks and all."""
    from model.watch.questions.glue_board import GlueBoard
    from model.watch.questions.measure_next import MeasureNext
    from model.watch.run.evaluation import bring_up_to_date
    from model.watch.state.outlook_store import Outlooks

    evaluation = bring_up_to_date(store, at)
    GlueBoard(store).refresh(at)
    outlooks = Outlooks(store)
    outlooks.refresh(at)
    MeasureNext(store, outlooks).refresh(at)
    return evaluation


def run_ingest(settings: Settings, stop: threading.Event) -> None:
    """Listen to the broker and store readings until told to stop."""
    from ingest.mqtt import subscriber

    subscriber.run(open_store(settings, create=True), ingest_settings(settings), clock_of(settings), stop)


def ingest_settings(settings: Settings, url: str = "") -> "IngestSettings":
    """What the subscriber needs to know, from settings; `url` stands in for the broker's address."""
    from ingest.settings import IngestSettings

    def file(name: str) -> Path | None:
        return Path(name).expanduser() if name else None

    topics = tuple(topic.strip() for topic in settings.mqtt_topics.split(",") if topic.strip())
    return IngestSettings.from_url(
        url or settings.mqtt_url,
        topics=topics,
        client_id=settings.mqtt_client_id,
        protocol=settings.mqtt_protocol,
        share_group=settings.mqtt_share_group or None,
        ca_file=file(settings.mqtt_ca_file),
        cert_file=file(settings.mqtt_cert_file),
        key_file=file(settings.mqtt_key_file),
        publishes=settings.mqtt_publish,
    )


@contextmanager
def publishing(settings: Settings, store: Store) -> Iterator[list[Callable[[datetime], object]]]:
    """What keeps the published topics up to date; nothing where none are, and none were."""
    from ingest.out.topics import held_topics

    if not settings.mqtt_publish and not held_topics(store):
        yield []
        return
    if settings.mqtt_url == "embedded":
        if not settings.mqtt_publish:
            yield []
            return
        raise ServiceMissing(
            "publishing needs a broker that is already there: "
            "set PANELTIDE_MQTT_URL (`paneltide run` starts one)"
        )
    from ingest.out.publisher import Publisher
    from model.words.display import Display

    found = ingest_settings(settings)
    if settings.mqtt_publish_user:
        found = replace(
            found, username=settings.mqtt_publish_user, password=settings.mqtt_publish_password or None
        )
    publisher = Publisher(store, found, Display(settings.units))
    try:
        yield [publisher.refresh]
    finally:
        publisher.close()


def sensor_door(settings: Settings, store: Store, now: Now) -> "SensorDoor":
    """What the Sensors page asks of ingest."""
    from dashboard.shell.ports import SensorDoor
    from deploy.reach import broker_address
    from ingest.recognise.accept import accept
    from ingest.recognise.listing import read_by_hand, unbound_topics
    from ingest.settings import Limits

    def read_file(
        path: Path,
        keep: bool,
        sensor: str | None = None,
        place: str | None = None,
        zone: str = "UTC",
        temperature_unit: str | None = None,
        day_first: bool | None = None,
    ) -> "ImportReport":
        from ingest.files.columns import guess_columns  # here: they bring pandas, 75 MB of it
        from ingest.files.import_file import import_readings

        columns = guess_columns(path, day_first=day_first, temperature_unit=temperature_unit)
        return import_readings(
            store, path, now, sensor=sensor, create=place, zone=zone, columns=columns, keep=keep
        )

    return SensorDoor(
        heard=partial(unbound_topics, store),
        accept=partial(accept, store, now=now),
        by_hand=partial(read_by_hand, store),
        read_file=read_file,
        room=Limits().heard_topics,
        broker=partial(broker_address, settings, store),
    )


def run_dashboard(settings: Settings, stop: threading.Event) -> None:
    """Serve the pages until told to stop."""
    from dashboard.shell.app import build_app, serve
    from deploy.notice_door import notice_door

    store = open_store(settings, create=True, busy_timeout_s=PRESS_WAITS_S)
    now = clock_of(settings)
    app = build_app(
        store,
        now,
        units=settings.units,
        region=settings.wood_region,
        password=settings.password,
        zone=settings.zone,
        sensors=sensor_door(settings, store, now),
        notices=notice_door(store, settings.notice_addresses),
        public_url=settings.public_url,
        trusted_proxy=settings.trusted_proxy,
        guide=GUIDE,
    )
    serve(app, settings.bind, settings.port, stop)
