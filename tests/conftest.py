"""Shared by all tests: a fresh book, and no silent skipping where nothing may be skipped."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from model.records.store import Store

# The same examples at every run, so that a change is answered by what it changed. To look for new ones:
# python -m pytest --hypothesis-profile=search
# No example has a deadline: a machine under load is slow, and that is no fault of what is tested.
settings.register_profile("search", deadline=None)
settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")


@pytest.fixture(scope="session")
def new_book(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], Store]:
    """Makes an empty book in a file: a copy of one that went through every migration."""
    made = tmp_path_factory.mktemp("empty") / "book.sqlite"
    empty = Store(f"sqlite:///{made}")
    empty.bring_up_to_date()
    empty.close()

    def copied(path: Path) -> Store:
        shutil.copy(made, path)
        return Store(f"sqlite:///{path}")

    return copied


@pytest.fixture
def store(new_book: Callable[[Path], Store], tmp_path: Path) -> Iterator[Store]:
    """An empty book in a file of its own."""
    book = new_book(tmp_path / "book.sqlite")
    yield book
    book.close()


# The program a test needs, by the fixture that starts it.
NEEDS = {
    "serve_book": "browser",
    "postgres": "postgres",
    "mosquitto": "broker",
    "own_mosquitto": "broker",
    "saving_broker": "broker",
}


# Files that take longest, by processor or by waiting, begin first: no worker is left alone with one.
# By measurement of November 2026; a name that is no more does no harm.
LONGEST = (
    "contract/test_delivery.py",
    "bench/test_smoke.py",
    "watch/test_arrival_order.py",
    "contract/test_broker_on_the_network.py",
    "contract/test_situations.py",
    "deploy/test_installing.py",
    "contract/test_failures.py",
    "contract/test_outages.py",
    "contract/test_databases.py",
    "deploy/test_demo.py",
    "contract/test_watch_standby.py",
    "watch/test_around.py",
    "contract/test_mixed.py",
    "watch/test_loop.py",
    "watch/test_fleet.py",
    "watch/test_notices.py",
)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    tests = Path(__file__).parent
    rank = {str(tests / name): number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(str(item.path), len(LONGEST)))
    for item in items:
        for fixture in NEEDS.keys() & set(getattr(item, "fixturenames", ())):
            item.add_marker(NEEDS[fixture])


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """With PANELTIDE_NO_SKIPS set, a run in which a test was skipped has failed."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("PANELTIDE_NO_SKIPS") and reporter is not None:
        skipped = reporter.stats.get("skipped", [])
        if skipped and exitstatus == 0:
            reporter.write_line(f"{len(skipped)} tests were skipped where none may be", red=True)
            session.exitstatus = pytest.ExitCode.TESTS_FAILED
