"""A real browser before a real dashboard: Debian's Chromium, driven by its own driver."""

import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from types import SimpleNamespace

import pytest

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
PATIENCE_S = 20


@pytest.fixture
def open_browser(tmp_path) -> Iterator[Callable]:
    """Makes a browser of a stated size; every one is closed at the end."""
    if not (CHROMIUM and DRIVER):
        pytest.skip("Chromium and its driver are not installed (Debian packages chromium, chromium-driver)")
    from selenium import webdriver

    opened = []

    def make(width: int = 1440, height: int = 1000, dark: bool = False):
        options = webdriver.ChromeOptions()
        options.binary_location = CHROMIUM
        for argument in (
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--disable-dev-shm-usage",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            f"--user-data-dir={tmp_path / f'browser-{len(opened)}'}",
            f"--window-size={width},{height}",
        ):
            options.add_argument(argument)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
        # A headless window can't be made as narrow as a phone; its viewport can.
        driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
        )
        driver.execute_cdp_cmd(
            "Emulation.setEmulatedMedia",
            {"features": [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]},
        )
        opened.append(driver)
        return driver

    yield make
    for driver in opened:
        driver.quit()


@pytest.fixture
def browser(open_browser):
    """A browser as wide as a bench computer's."""
    return open_browser()


@pytest.fixture
def serve_book() -> Iterator[Callable]:
    """Serves a dashboard over a book on a free loopback port, and gives its address."""
    from dashboard.app import build_app, serve

    stops: list[tuple[threading.Event, threading.Thread]] = []

    def start(store, now, **options) -> str:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        stop = threading.Event()
        app = build_app(store, now, **options)
        thread = threading.Thread(target=serve, args=(app, "127.0.0.1", port, stop), daemon=True)
        thread.start()
        stops.append((stop, thread))
        return f"http://127.0.0.1:{port}"

    yield start
    for stop, thread in stops:
        stop.set()
        thread.join(timeout=10)


@pytest.fixture(scope="session")
def sample_book(tmp_path_factory):
    """The sample shop's invented year, read in and brought up to date once for all these tests."""
    from deploy.sample_shop import STORY_START_AT, load_history
    from model.records.store import Store
    from model.watch.loop import bring_up_to_date

    path = tmp_path_factory.mktemp("shop") / "book.sqlite"
    store = Store(f"sqlite:///{path}")
    store.bring_up_to_date()
    load_history(store)
    bring_up_to_date(store, STORY_START_AT)
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    return path, STORY_START_AT


@pytest.fixture
def shop(sample_book, serve_book, tmp_path) -> Iterator[SimpleNamespace]:
    """A dashboard over a copy of the sample shop: its address, its book, the ids of a piece and a place."""
    from sqlalchemy import select

    from model.records.store import Store
    from model.records.tables import Piece, Place

    path, start_at = sample_book
    copy = tmp_path / "shop.sqlite"
    shutil.copyfile(path, copy)
    store = Store(f"sqlite:///{copy}")
    with store.session() as session:
        piece = session.scalars(select(Piece.id).where(Piece.name == "Chest of drawers")).one()
        place = session.scalars(select(Place.id).where(Place.name == "Dry flat")).one()
    address = serve_book(store, lambda: start_at)
    yield SimpleNamespace(address=address, store=store, now=start_at, piece=piece, place=place)
    store.close()


@pytest.fixture
def wait_for() -> Callable:
    """Waits until something is so in a browser, and gives what it came to."""
    from selenium.common.exceptions import NoSuchElementException, StaleElementReferenceException
    from selenium.webdriver.support.ui import WebDriverWait

    def wait(driver, condition, message: str = ""):
        patient = [StaleElementReferenceException, NoSuchElementException]
        waiting = WebDriverWait(driver, PATIENCE_S, poll_frequency=0.1, ignored_exceptions=patient)
        return waiting.until(condition, message)

    return wait
