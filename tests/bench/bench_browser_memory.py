"""Whether a browser's memory stays flat while somebody goes from page to page for long.

Run as ``python -m tests.bench.bench_browser_memory [FILE] [--navigations N]``: with the file of a book by
`big_book.py`, or without one on the sample shop; 500 navigations unless told otherwise, in one tab, through
the links people press, none of them a reload. Every round ends on the first page; there garbage is collected
and what is left is counted: bytes of the scripts' heap, nodes of the document, listeners. Prints each count,
the change from the end of the first tenth (by then every script and page has been met) to the last, and the
change a navigation. Needs Debian's chromium and chromium-driver.
"""

import argparse
import tempfile
import time
from pathlib import Path

from selenium import webdriver

from dashboard.shell.app import build_app
from model.records.store import Store
from tests.bench.bench_pages import STORY_AT, browser, sample, served
from tests.bench.big_book import NOW
from tests.bench.smoke import parsed

NAVIGATIONS = 500
DEADLINE_S = 60.0
# Where to press, and the path that must then be shown (its first part, where the number is not known).
ROUND = (
    ('.nav a[href="/pieces"]', "/pieces"),
    ('#page a[href^="/piece/"]', "/piece/"),
    ('.nav a[href="/places"]', "/places"),
    ('#page a[href^="/place/"]', "/place/"),
    ('#page a[href*="span=week"]', "/place/"),
    ('.nav a[href="/stock"]', "/stock"),
    ('.nav a[href="/plan"]', "/plan"),
    ('.nav a[href="/sensors"]', "/sensors"),
    (".gear", "/settings"),
    ('.nav a[href="/"]', "/"),
)
COUNTED = ("JSHeapUsedSize", "Nodes", "JSEventListeners")
PRESS = """
const link = document.querySelector(arguments[0]);
if (!link) return false;
link.click();
return true;
"""
SHOWN = """
const page = document.querySelector('#page [data-path]');
const path = page ? page.dataset.path : '';
const [selector, wanted, address] = arguments;
const there = wanted.endsWith('/') && wanted !== '/' ? path.startsWith(wanted) : path === wanted;
const stands = page && page.querySelector('h1') && !document.querySelector('.first-sight');
return !!(there && stands && location.href !== address);
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", nargs="?", help="a book by big_book; without one the sample shop")
    parser.add_argument("--navigations", type=int, default=NAVIGATIONS)
    given = parsed(parser, navigations=len(ROUND))
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{given.file}") if given.file else sample(Path(folder))
        address = served(build_app(store, lambda: NOW if given.file else STORY_AT))
        driver = browser(Path(folder) / "browser")
        try:
            driver.execute_cdp_cmd("Performance.enable", {})
            driver.get(address + "/")
            wait(driver, ROUND[-1], "")
            rounds = max(2, given.navigations // len(ROUND))
            found = [held(driver)]
            print(f"at first: {told(found[0])}")
            for number in range(1, rounds + 1):
                for step in ROUND:
                    press(driver, step)
                found.append(held(driver))
                if number % max(1, rounds // 10) == 0:
                    print(f"after {number * len(ROUND)} navigations: {told(found[-1])}")
            report(found, rounds)
        finally:
            driver.quit()


def press(driver: webdriver.Chrome, step: tuple[str, str]) -> None:
    """Press a link once it is there, and wait until its page stands."""
    before, deadline = driver.current_url, time.monotonic() + DEADLINE_S
    while not driver.execute_script(PRESS, step[0]):
        if time.monotonic() > deadline:
            raise SystemExit(f"{before} has no link {step[0]}")
        time.sleep(0.02)
    wait(driver, step, before)


def wait(driver: webdriver.Chrome, step: tuple[str, str], before: str) -> None:
    deadline = time.monotonic() + DEADLINE_S
    while not driver.execute_script(SHOWN, *step, before):
        if time.monotonic() > deadline:
            raise SystemExit(f"{step[1]} was not shown within {DEADLINE_S:.0f} s")
        time.sleep(0.02)


def held(driver: webdriver.Chrome) -> dict[str, float]:
    """What the page holds on to once garbage has been collected."""
    for _ in range(2):
        driver.execute_cdp_cmd("HeapProfiler.collectGarbage", {})
    metrics = driver.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
    return {metric["name"]: metric["value"] for metric in metrics if metric["name"] in COUNTED}


def told(counts: dict[str, float]) -> str:
    heap, nodes, listeners = (counts[name] for name in COUNTED)
    return f"heap {heap / 1e6:.2f} MB, {nodes:.0f} nodes, {listeners:.0f} listeners"


def report(found: list[dict[str, float]], rounds: int) -> None:
    """The change from the end of the first tenth to the end."""
    first = max(1, rounds // 10)
    before, after, steps = found[first], found[-1], (rounds - first) * len(ROUND)
    for name in COUNTED:
        change = after[name] - before[name]
        print(
            f"{name}: {before[name]:.0f} to {after[name]:.0f} over {steps} navigations, "
            f"{100 * change / before[name]:+.1f} %, {change / steps:+.1f} a navigation"
        )


if __name__ == "__main__":
    main()
