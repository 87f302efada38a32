"""How soon a page can be read, beside a blank page of the same framework in the same browser.

Run as ``python tests/bench/bench_pages.py [FILE]``: with the file of a book by `big_book.py`, or without one
on the sample shop.
Readable is the first frame with the page's heading in it; live is when scripts have taken the page over.
Prints medians and their ratio to the blank page; needs Debian's chromium and chromium-driver.
"""

import socket
import statistics
import sys
import tempfile
import threading
from datetime import UTC, datetime
from pathlib import Path

from big_book import NOW
from dash import Dash, html
from selenium import webdriver

from dashboard import fresh
from dashboard.app import build_app, serve
from model.records.store import Store

RUNS = 9
STORY_AT = datetime(2026, 2, 3, 12, tzinfo=UTC)  # where the sample shop's story starts
WATCH = """
window.seen = {};
const look = () => {
  for (const [name, selector] of [['read', 'h1'], ['live', '#page h1, #blank']]) {
    const there = document.querySelector(selector);
    if (there && !(name in window.seen)) {
      window.seen[name] = 0;
      requestAnimationFrame(() => setTimeout(() => { window.seen[name] = performance.now(); }, 0));
    }
  }
};
new MutationObserver(look).observe(document, {childList: true, subtree: true});
"""
ASK = """
const done = arguments[arguments.length - 1];
const wait = () => window.seen.read && window.seen.live
  ? done([window.seen.read, window.seen.live]) : setTimeout(wait, 20);
wait();
"""


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        fresh.KEPT_S = -1.0  # every page is made for the one who asks
        large = len(sys.argv) > 1
        store = Store(f"sqlite:///{sys.argv[1]}") if large else sample(Path(folder))
        address = served(build_app(store, lambda: NOW if large else STORY_AT))
        blank = Dash("blank", update_title="")
        blank.layout = html.Main(html.H1("Blank", id="blank"))
        blank_address = served(blank)
        driver = browser(Path(folder) / "browser")
        driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
        try:
            plain = median(driver, blank_address + "/")
            print(f"blank page: readable {plain[0]:.0f} ms")
            for path in ("/", "/piece/1", "/place/2?span=year", "/stock", "/sensors", "/warnings", "/record"):
                readable, live = median(driver, address + path)
                ratio = readable / plain[0]
                print(
                    f"{path}: readable {readable:.0f} ms ({ratio:.2f} x blank), live {live / plain[1]:.2f} x"
                )
        finally:
            driver.quit()


def sample(folder: Path) -> Store:
    """The sample shop's book."""
    from deploy.sample_shop import load_history
    from model.watch.loop import bring_up_to_date

    store = Store(f"sqlite:///{folder / 'book.sqlite'}")
    store.bring_up_to_date()
    load_history(store)
    bring_up_to_date(store, STORY_AT)
    return store


def served(app: Dash) -> str:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    arguments = (app, "127.0.0.1", port, threading.Event())
    threading.Thread(target=serve, args=arguments, daemon=True).start()
    return f"http://127.0.0.1:{port}"


def browser(folder: Path) -> webdriver.Chrome:
    options = webdriver.ChromeOptions()
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
        f"--user-data-dir={folder}",
    ):
        options.add_argument(argument)
    return webdriver.Chrome(options=options, service=webdriver.ChromeService("/usr/bin/chromedriver"))


def median(driver: webdriver.Chrome, url: str) -> tuple[float, float]:
    """Medians over runs of when the page could be read and when it was live [ms], caches cold each time."""
    found = []
    for _ in range(RUNS):
        driver.execute_cdp_cmd("Network.clearBrowserCache", {})
        driver.get(url)
        found.append(driver.execute_async_script(ASK))
    return statistics.median(run[0] for run in found), statistics.median(run[1] for run in found)


if __name__ == "__main__":
    main()
