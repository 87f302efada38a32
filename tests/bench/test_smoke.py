"""Every measurement still runs: each command in a few seconds, its figures not looked at."""

import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
ON_A_BOOK = {"bench_viewers", "bench_pages", "bench_browser_memory"}
# Parts of other commands.
PARTS = {
    "outlook_backtest",
    "outlook_sheds",
    "publisher",
    "smoke",
    "soak_probes",
    "soak_report",
    "soak_world",
}
PARTS |= {"year_counts", "year_world"}
PARTS |= {"outlook_skill", "bench_outlook"}  # tests/watch/test_outlook_skill.py runs these two
BROKER = {"bench_ingest", "bench_latency"}
BROWSER = {"bench_pages", "bench_browser_memory"}
POSTGRES = {"bench_shared", "bench_watches", "soak"}
COMMANDS = sorted(
    path.stem for path in HERE.glob("*.py") if path.stem not in PARTS and not path.stem.startswith("test_")
)


def marks(name: str) -> list[pytest.MarkDecorator]:
    kinds = (("broker", BROKER | POSTGRES), ("browser", BROWSER), ("postgres", POSTGRES))
    return [getattr(pytest.mark, kind) for kind, names in kinds if name in names]


@pytest.fixture(scope="module")
def small_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("book") / "book.sqlite"
    run("big_book", file)
    return file


def run(name: str, *words: object) -> str:
    command = [sys.executable, "-m", f"tests.bench.{name}", *map(str, words), "--smoke"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.parametrize("name", [pytest.param(name, marks=marks(name)) for name in COMMANDS])
def test_the_command_runs(name: str, small_book: Path, tmp_path: Path) -> None:
    if name == "big_book":
        assert run(name, tmp_path / "book.sqlite") == ""
        assert (tmp_path / "book.sqlite").stat().st_size > 0
    else:
        assert run(name, *([small_book] if name in ON_A_BOOK else []))
