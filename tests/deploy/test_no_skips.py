"""Where nothing may be skipped, a skipped test fails the run, also when worker processes pass the tests."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
TESTS = "import pytest\ndef test_here():\n    assert True\ndef test_away():\n    pytest.skip('no broker')\n"


@pytest.mark.parametrize(("no_skips", "status"), [("", 0), ("1", 1)])
def test_a_skipped_test_fails_a_run_that_may_skip_none(tmp_path: Path, no_skips: str, status: int) -> None:
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path)
    (tmp_path / "test_two.py").write_text(TESTS)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-n", "1", "-p", "no:cacheprovider", "-q"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PANELTIDE_NO_SKIPS": no_skips},
        capture_output=True,
        text=True,
    )
    assert done.returncode == status, done.stdout + done.stderr
    assert ("1 tests were skipped where none may be" in done.stdout) == bool(status)
    assert done.stdout.rstrip().splitlines()[-1].startswith("1 passed, 1 skipped")
