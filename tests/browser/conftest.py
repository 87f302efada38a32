"""A real browser before a real dashboard: Debian's Chromium, driven by its own driver."""

import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest
from selenium import webdriver
from selenium.common.exceptions import (
    ElementClickInterceptedException,
    ElementNotInteractableException,
    NoSuchElementException,
    StaleElementReferenceException,
)
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
PATIENCE_S = 120.0  # a loaded machine may take its time; a sound one never waits so long
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
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in (*QUIETLY, f"--user-data-dir={folder}"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    driver.set_script_timeout(PATIENCE_S)
    return driver


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
    from dashboard.shell.app import build_app, serve

    stops: list[tuple[threading.Event, threading.Thread]] = []

    def start(store, now, **options) -> str:
        stop = threading.Event()
        app = build_app(store, now, **options)
        with socket.socket() as probe:  # last, so that nobody else is given the port meanwhile
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        thread = threading.Thread(target=serve, args=(app, "127.0.0.1", port, stop), daemon=True)
        thread.start()
        stops.append((stop, thread))
        return f"http://127.0.0.1:{port}"

    yield start
    for stop, thread in stops:
        stop.set()
        thread.join(timeout=120)


@pytest.fixture(scope="session")
def sample_book(tmp_path_factory):
    """The sample shop's invented year, read in and brought up to date once for all these tests."""
    from deploy.sample_shop import STORY_START_AT, load_history
    from model.records.store import Store
    from model.watch.run.evaluation import bring_up_to_date

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
    """A dashboard over a copy of the sample shop: address, book, and ids of a piece, a place and a stack."""
    from sqlalchemy import select

    from deploy.settings import Settings
    from deploy.wiring import GUIDE, sensor_door
    from model.records.schema.tables import PieceRow, Place, Stack
    from model.records.store import Store

    path, start_at = sample_book
    copy = tmp_path / "shop.sqlite"
    shutil.copyfile(path, copy)
    store = Store(f"sqlite:///{copy}")
    with store.session() as session:
        piece = session.scalars(select(PieceRow.id).where(PieceRow.name == "Chest of drawers")).one()
        place = session.scalars(select(Place.id).where(Place.name == "Dry flat")).one()
        stack = session.scalars(select(Stack.id).where(Stack.name == "Ash, 4/4")).one()
    door = sensor_door(Settings(), store, lambda: start_at)
    address = serve_book(store, lambda: start_at, sensors=door, guide=GUIDE)
    yield SimpleNamespace(address=address, store=store, now=start_at, piece=piece, place=place, stack=stack)
    store.close()


@pytest.fixture
def empty_shop(store, serve_book) -> SimpleNamespace:
    """A dashboard over a book with nothing in it."""
    from deploy.settings import Settings
    from deploy.wiring import sensor_door

    now = datetime(2026, 2, 3, 12, tzinfo=UTC)
    address = serve_book(store, lambda: now, sensors=sensor_door(Settings(), store, lambda: now))
    return SimpleNamespace(address=address, store=store, now=now)


@pytest.fixture
def wait_for() -> Callable:
    """Waits until something is so in a browser, and gives what it came to."""

    def wait(driver, condition, message: str = ""):
        patient = [
            StaleElementReferenceException,
            NoSuchElementException,
            ElementClickInterceptedException,
            ElementNotInteractableException,
        ]
        waiting = WebDriverWait(driver, PATIENCE_S, poll_frequency=0.1, ignored_exceptions=patient)
        return waiting.until(condition, message)

    return wait


class Hands:
    """What a maker's hands and eyes do with a page.

    What is read is read in one step inside the browser, and what is pressed is found again when the page was
    drawn anew in between: a live page may be drawn at any moment.
    """

    def __init__(self, browser, wait_for) -> None:
        self.browser, self._wait_for = browser, wait_for

    # ------------------------------------------------------------ eyes

    def until(self, so: Callable, message: str = ""):
        """Waits until something is so, and gives what it came to."""
        return self._wait_for(self.browser, lambda _: so(), message)

    @property
    def live(self) -> bool:
        """Whether the page answers; what is written out before the scripts run looks the same."""
        return bool(
            self.browser.execute_script(
                "return document.querySelector('#page h1') && !document.querySelector('.first-sight')"
            )
        )

    def all(self, selector: str) -> list[str]:
        """What everything found reads as."""
        words = self.browser.execute_script(
            "return [...document.querySelectorAll(arguments[0])].map((e) => e.innerText ?? e.textContent)",
            selector,
        )
        return [found.replace("\u00a0", " ").strip() for found in words]

    def read(self, selector: str) -> str:
        """What the first one found reads as."""
        found = self.all(selector)
        if not found:
            raise NoSuchElementException(f"there is no {selector!r}")
        return found[0]

    @property
    def heading(self) -> str:
        return self.read("#page h1")

    @property
    def text(self) -> str:
        return self.read("#page")

    @property
    def said(self) -> str:
        return self.read("#said")

    def line(self, beginning: str) -> list[str]:
        """The cells of the first line of a table that reads so at its beginning."""
        lines = self.browser.execute_script(
            "return [...document.querySelectorAll('#page tbody tr')]"
            ".map((line) => [...line.querySelectorAll('th, td')].map((cell) => cell.innerText.trim()))"
        )
        return next((cells for cells in lines if " ".join(cells).casefold().startswith(beginning)), [])

    # ------------------------------------------------------------ hands

    def open(self, address: str) -> None:
        """A page, until the live one stands in place of the one that came written out."""
        self.browser.get(address)
        self.until(lambda: self.live, f"{address} doesn't come alive")

    def reload(self) -> None:
        self.browser.refresh()
        self.until(lambda: self.live, "the page doesn't come alive again")

    def _click(self, find: Callable, message: str) -> None:
        def click() -> bool:
            target = find() if self.live else None
            if target is None:
                return False
            self.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", target)
            target.click()
            return True

        self.until(click, message)

    def click(self, selector: str) -> None:
        """Press the first one found."""
        self._click(lambda: self._first(selector), f"there is no {selector!r}")

    def follow(self, words: str) -> None:
        """Follow a link by its words."""
        self._click(lambda: self._first("#page a, header a", words), f"there is no link {words!r}")

    def press(self, words: str) -> None:
        """Press a button by its words."""
        self._click(lambda: self._first("button", words), f"there is no button {words!r}")

    def _first(self, selector: str, words: str | None = None):
        return self.browser.execute_script(
            "return [...document.querySelectorAll(arguments[0])].find((e) => arguments[1] === null"
            " || (e.innerText.replaceAll('\u00a0', ' ').trim() === arguments[1] && e.checkVisibility()))",
            selector,
            words,
        )

    def field(self, label: str, number: int = 0):
        """The field under a label, as the label says."""
        found = self.browser.execute_script(
            "const under = [...document.querySelectorAll('#page label')]"
            ".filter((e) => e.innerText.trim() === arguments[0])[arguments[1]];"
            "return under && document.getElementById(under.htmlFor)",
            label,
            number,
        )
        if found is None:
            raise NoSuchElementException(f"there is no field {label!r}")
        return found

    def fault(self, label: str) -> str:
        """What is said to be wrong beside a field."""
        return str(
            self.browser.execute_script(
                "return arguments[0].closest('.field').querySelector('.fault').innerText", self.field(label)
            )
        ).replace("\u00a0", " ")

    def value(self, label: str, number: int = 0) -> str:
        return self.field(label, number).get_attribute("value")

    def write(self, label: str, typed: str) -> None:
        """Write into a field in place of what stands there, and go on to the next."""

        def write() -> bool:
            target = self.field(label)
            target.send_keys(Keys.CONTROL, "a")
            target.send_keys(typed, Keys.TAB)
            return True

        self.until(write, f"there is no field {label!r}")

    def choose(self, label: str, words: str, number: int = 0) -> None:
        """Choose from a list by its words."""

        def choose() -> bool:
            self.field(label, number).send_keys(words)
            return True

        self.until(choose, f"there is no list {label!r}")


@pytest.fixture
def hands(browser, wait_for) -> Hands:
    """Hands on the browser of the bench computer."""
    return Hands(browser, wait_for)


@pytest.fixture(params=["desk", "thumb"])
def walking(request, wait_for) -> Iterator[Hands]:
    """Hands at a desk, then on a phone that is touched: what is walked is walked on both."""
    by_thumb = request.param == "thumb"
    driver = request.getfixturevalue("phone" if by_thumb else "browser")
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": by_thumb})
    yield Hands(driver, wait_for)
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


@pytest.fixture
def hands_on(wait_for) -> Callable[..., Hands]:
    """Hands on another browser."""
    return lambda driver: Hands(driver, wait_for)


@pytest.fixture
def first_day(store, serve_book, tmp_path):
    """An empty book, a broker, what listens to it, the pages, and what sends."""
    import json
    import threading

    import paho.mqtt.client as mqtt

    from deploy.settings import Settings
    from deploy.wiring import sensor_door
    from ingest.broker.embedded import EmbeddedBroker, mosquitto_program
    from ingest.mqtt import subscriber
    from ingest.settings import IngestSettings
    from model.records.clock import machine_now

    if mosquitto_program() is None:
        pytest.skip("the program mosquitto is missing (Debian package mosquitto)")
    stop = threading.Event()
    with EmbeddedBroker(tmp_path / "broker", kind="mosquitto") as broker:
        settings = IngestSettings.from_url(broker.url)
        listening = threading.Thread(target=subscriber.run, args=(store, settings, machine_now, stop))
        listening.start()
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", broker.port)
        client.loop_start()

        def send(topic: str, document: dict) -> None:
            client.publish(topic, json.dumps(document), qos=1).wait_for_publish(120)

        address = serve_book(store, machine_now, sensors=sensor_door(Settings(), store, machine_now))
        yield SimpleNamespace(address=address, send=send, store=store)
        client.loop_stop()
        client.disconnect()
        stop.set()
        listening.join(120)
