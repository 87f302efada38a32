"""Shared by all tests: a fresh book, and no silent skipping where nothing may be skipped."""

import os
from collections.abc import Iterator
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


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty book in a file of its own."""
    book = Store(f"sqlite:///{tmp_path / 'book.sqlite'}")
    book.bring_up_to_date()
    yield book
    book.close()


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """With PANELTIDE_NO_SKIPS set, a run in which a test was skipped has failed."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("PANELTIDE_NO_SKIPS") and reporter is not None:
        skipped = reporter.stats.get("skipped", [])
        if skipped and exitstatus == 0:
            reporter.write_line(f"{len(skipped)} tests were skipped where none may be", red=True)
            session.exitstatus = pytest.ExitCode.TESTS_FAILED
