"""Log lines: text for people, one JSON object a line for a collector; the version from one place."""

import json
import logging
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from deploy.logs import formatter

ROOT = Path(__file__).parents[2]


def record(message: str, *arguments: object, **extra: object) -> logging.LogRecord:
    made = logging.LogRecord("paneltide.ingest", logging.WARNING, "x.py", 1, message, arguments, None)
    made.created = 1_770_120_000.25
    vars(made).update(extra)
    return made


def test_json_is_one_object_a_line_with_an_instant_in_utc() -> None:
    line = formatter("json").format(record("%s: %d refused", "shop/bench", 3))
    # 1,770,120,000 s after 1970-01-01 is 2026-02-03 12:00 UTC (date -u -d @1770120000).
    assert json.loads(line) == {
        "at": "2026-02-03T12:00:00.250Z",
        "level": "warning",
        "logger": "paneltide.ingest",
        "message": "shop/bench: 3 refused",
        "pid": record("").process,
    }


@pytest.mark.parametrize("evil", ["two\nlines", "\u202ereversed", 'a"quote', "\x1b[31mred", "\u2028"])
def test_hostile_text_stays_within_its_line(evil: str) -> None:
    line = formatter("json").format(record("%s", evil))
    assert len(line.splitlines()) == 1
    assert line.isascii()
    assert json.loads(line)["message"] == evil


def test_extras_and_exceptions_come_along() -> None:
    try:
        raise ValueError("the glue is cold")
    except ValueError:
        made = record("went wrong", sensor="bench")
        made.exc_info = sys.exc_info()
    document = json.loads(formatter("json").format(made))
    assert document["sensor"] == "bench"
    assert "the glue is cold" in document["exception"]


def test_text_stays_what_it_was() -> None:
    line = formatter("text").format(record("%s", "all well"))
    assert line.endswith("WARNING paneltide.ingest: all well")


@pytest.mark.slow
def test_the_setting_reaches_the_process(tmp_path: Path) -> None:
    environment = {
        "PATH": "/usr/bin:/bin",
        "PANELTIDE_DATA_DIR": str(tmp_path),
        "PANELTIDE_LOG_FORMAT": "json",
        "PYTHONPATH": str(ROOT),
    }
    script = (
        "import logging; from deploy import wiring; from deploy.settings import load_settings;"
        "wiring.prepare_logging(log_format=load_settings().log_format);"
        "logging.getLogger('paneltide').info('up')"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True
    )
    assert json.loads(done.stderr)["message"] == "up"


@pytest.mark.slow
def test_the_version_is_the_one_of_pyproject() -> None:
    named = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    done = subprocess.run(
        [sys.executable, "-m", "deploy", "--version"], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stdout == f"paneltide {named}\n"
