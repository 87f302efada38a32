"""How soon a page can be read, beside a blank page of the same framework in the same browser.

Run as ``python -m tests.bench.bench_pages [FILE]``: with the file of a book by `big_book.py`, or without one
on the sample shop.
Readable is the first frame with the page's heading in it; live is when scripts have taken the page over;
drawn is when a chart stands in it.
Everything is asked for in turn, with the browser's cache empty, so that what else the machine does falls on
all alike: the blank page, each page with nothing kept (the document and what its scripts ask for are each
made anew), and as shipped (both are one). Prints medians and their ratio to the blank page, and what of a
page is sent, compressed; needs Debian's chromium and chromium-driver.
"""

import argparse
import socket
import statistics
import tempfile
import threading
from datetime import UTC, datetime
from pathlib import Path

from dash import Dash, html
from selenium import webdriver

from dashboard.shell import page_cache as fresh
from dashboard.shell.app import build_app, serve
from model.records.store import Store
from tests.bench.big_book import NOW
from tests.bench.smoke import parsed

RUNS = 9
STORY_AT = datetime(2026, 2, 3, 12, tzinfo=UTC)  # where the sample shop's story starts
WATCH = """
window.seen = {};
const look = () => {
  for (const [name, selector] of [
    ['read', 'h1'], ['live', '#page h1, #blank'], ['drawn', '.plot-room .trace'],
  ]) {
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
const wait = () => {
  const { read, live, drawn } = window.seen;
  const isDone = read && live && (drawn || !document.querySelector('#page .plot'));
  return isDone ? done([read, live, drawn || live]) : setTimeout(wait, 20);
};
wait();
"""


PATHS = (
    "/",
    "/piece/1",
    "/place/2",
    "/place/2?span=year",
    "/sensor/2",
    "/sensor/2?span=year",
    "/pieces",
    "/pieces?find=walnut",
    "/clients",
    "/coming",
    "/places",
    "/plan",
    "/settings",
    "/stock",
    "/sensors",
    "/warnings",
    "/record",
)
SENT = """
const sent = (entry) => entry.transferSize;
const pages = performance.getEntriesByType('resource').filter((entry) => entry.name.endsWith('_dash-layout'));
return [...performance.getEntriesByType('navigation'), ...pages].map(sent);
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path, nargs="?", help="a book by big_book; without one the sample shop")
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--path", action="append", help="a page to ask for, in place of all; several times")
    given = parsed(parser, runs=1)
    paths = PATHS[:2] if given.smoke else tuple(given.path or PATHS)
    shipped_s = fresh.KEPT_S
    with tempfile.TemporaryDirectory() as folder:
        large = given.file is not None
        store = Store(f"sqlite:///{given.file}") if large else sample(Path(folder))
        address = served(build_app(store, lambda: NOW if large else STORY_AT))
        blank = Dash("blank", update_title="")
        blank.layout = html.Main(html.H1("Blank", id="blank"))
        blank_address = served(blank)
        driver = browser(Path(folder) / "browser")
        driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
        took: dict[tuple[str, bool], list[tuple[float, float, float]]] = {}
        sent: dict[str, list[int]] = {}
        try:
            for _ in range(given.runs):
                # One after the other, so that no page is met again before what was kept of it is old.
                for kept, path in ((False, ""), *((kept, path) for kept in (False, True) for path in paths)):
                    fresh.KEPT_S = shipped_s if kept else -1.0
                    url = address + path if path else blank_address + "/"
                    took.setdefault((path, kept), []).append(seen(driver, url))
                    sent[path] = driver.execute_script(SENT)
        finally:
            driver.quit()
    plain = medians(took["", False])
    print(f"blank page: readable and live {plain[0]:.0f} ms")
    for path in paths:
        print(f"{path}: {' + '.join(f'{size / 1000:.1f}' for size in sent[path])} kB sent")
        for kept in (False, True):
            readable, live, drawn = medians(took[path, kept])
            print(
                f"  {'as shipped' if kept else 'nothing kept'}: readable {readable:.0f} ms"
                f" ({readable / plain[0]:.2f} x blank), live {live:.0f} ms ({live / plain[1]:.2f} x),"
                f" drawn {drawn:.0f} ms"
            )


def sample(folder: Path) -> Store:
    """The sample shop's book."""
    from deploy.sample_shop import load_history
    from model.watch.run.evaluation import bring_up_to_date

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


def seen(driver: webdriver.Chrome, url: str) -> tuple[float, float, float]:
    """When a page could be read, was live and had its chart [ms], the browser's cache cold."""
    driver.execute_cdp_cmd("Network.clearBrowserCache", {})
    driver.get(url)
    readable, live, drawn = driver.execute_async_script(ASK)
    return readable, live, drawn


def medians(runs: list[tuple[float, float, float]]) -> tuple[float, float, float]:
    """Of when the page could be read, was live and had its chart [ms]."""
    readable, live, drawn = (statistics.median(column) for column in zip(*runs, strict=True))
    return readable, live, drawn


if __name__ == "__main__":
    main()
