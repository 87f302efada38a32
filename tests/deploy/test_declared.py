"""The packages that are declared are those that are imported, and each is pinned."""

import ast
import re
import sys
import tomllib
from collections.abc import Iterable
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
OURS = {"model", "ingest", "dashboard", "deploy", "sample_readings", "tests"}
# Programs that the checks call, and what pandas (time zones), mypy (types), SQLAlchemy (PostgreSQL) ask for.
CALLED = {"import-linter", "mypy", "ruff", "setuptools", "wheel", "pytest-timeout", "pytest-xdist"} | {
    "pandas-stubs",
    "psycopg",
    "tzdata",
}


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def names(requirements: Iterable[str]) -> set[str]:
    return {plain(Requirement(one).name) for one in requirements}


def imported(*folders: str) -> set[str]:
    """Distributions whose modules the files of these folders import."""
    modules = set()
    for folder in folders:
        for path in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                if isinstance(node, ast.Import):
                    modules |= {alias.name.split(".")[0] for alias in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                    modules.add(node.module.split(".")[0])
    owners = packages_distributions()
    foreign = modules - OURS - sys.stdlib_module_names
    return {plain(name) for module in foreign for name in owners.get(module, [])}


@pytest.mark.slow
def test_the_product_declares_what_it_imports_and_nothing_else() -> None:
    extras = PROJECT["optional-dependencies"]
    declared = names([*PROJECT["dependencies"], *extras["postgres"], *extras["fleet"]])
    used = imported("model", "ingest", "dashboard", "deploy", "sample_readings")
    told = {"dask" if name == "distributed" else name for name in used}
    assert declared - CALLED == told


@pytest.mark.slow
def test_the_tests_declare_what_they_import_and_nothing_else() -> None:
    every = names(
        one for part in (PROJECT["dependencies"], *PROJECT["optional-dependencies"].values()) for one in part
    )
    used = imported("tests")
    assert used - every - {"distributed"} == set()
    alone = names(PROJECT["optional-dependencies"]["dev"]) - {"paneltide"} - CALLED
    assert alone - used == set()


def test_everything_declared_is_pinned() -> None:
    lines = (ROOT / "deploy" / "constraints.txt").read_text().splitlines()
    pinned = {plain(line.split("==")[0]) for line in lines}
    assert all(re.fullmatch(r"[\w.-]+==[\w.]+", line) for line in lines), "a name and a version a line"
    every = {
        one for part in (PROJECT["dependencies"], *PROJECT["optional-dependencies"].values()) for one in part
    }
    assert names(every) - {"paneltide"} - pinned == set()
