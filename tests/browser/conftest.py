"""A real browser before a real dashboard: Debian's Chromium, driven by its own driver."""

import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
PATIENCE_S = 45.0  # a loaded machine may take its time; a sound one never waits so long
QUIETLY = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def _start(folder: Path):
    """A browser with nothing in it."""
    if not (CHROMIUM and DRIVER):
        pytest.skip("Chromium and its driver are not installed (Debian packages chromium, chromium-driver)")
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in (*QUIETLY, f"--user-data-dir={folder}"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))


def _as(driver, width: int, height: int, dark: bool):
    """The browser as wide as a screen is; a headless window can't be made as narrow as a phone."""
    driver.execute_cdp_cmd("Network.clearBrowserCookies", {})
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
    )
    driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"features": [{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}]},
    )
    return driver


@pytest.fixture(scope="session")
def _one_browser(tmp_path_factory) -> Iterator:
    driver = _start(tmp_path_factory.mktemp("browser"))
    yield driver
    driver.quit()


@pytest.fixture
def browser(_one_browser):
    """A browser as wide as a bench computer's, without memories; one program serves all tests."""
    driver = _as(_one_browser, 1440, 1000, dark=False)
    yield driver
    driver.get("about:blank")
    driver.get_log("browser")


@pytest.fixture
def phone(_one_browser):
    """The same as wide as a phone."""
    driver = _as(_one_browser, 390, 844, dark=False)
    yield driver
    driver.get("about:blank")
    driver.get_log("browser")


@pytest.fixture
def another_browser(tmp_path) -> Iterator:
    """Somebody else's browser."""
    driver = _as(_start(tmp_path / "another"), 1440, 1000, dark=False)
    yield driver
    driver.quit()


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
    address = serve_book(store, lambda: start_at, sensors=door_to(store, lambda: start_at))
    yield SimpleNamespace(address=address, store=store, now=start_at, piece=piece, place=place)
    store.close()


@pytest.fixture
def empty_shop(store, serve_book) -> SimpleNamespace:
    """A dashboard over a book with nothing in it."""
    now = datetime(2026, 2, 3, 12, tzinfo=UTC)
    address = serve_book(store, lambda: now, sensors=door_to(store, lambda: now))
    return SimpleNamespace(address=address, store=store, now=now)


def door_to(store, now):
    """What the wiring hands the Sensors page."""
    from functools import partial

    from dashboard.doors import SensorDoor
    from ingest.accept import accept, known_and_heard

    return SensorDoor(heard=lambda: known_and_heard(store)[1], accept=partial(accept, store, now=now))


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


@pytest.fixture
def follow(wait_for) -> Callable:
    """Follows a link of the live page by its words."""

    def click(driver, words: str) -> None:
        def done(browser) -> bool:
            for link in browser.find_elements("css selector", "#page a, header a"):
                if link.text == words and not browser.find_elements("css selector", ".first-sight"):
                    link.click()
                    return True
            return False

        wait_for(driver, done, f"there is no link {words!r}")

    return click
