"""Shared by the tests of the command line."""

from collections.abc import Callable
from pathlib import Path

import pytest

from deploy.cli.commands import main
from tests.ran import Ran


@pytest.fixture
def paneltide(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Ran]:
    """Run one command in an installation of its own, in the folder `data`."""
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "data"))

    def run(*arguments: object) -> Ran:
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        printed = capsys.readouterr()
        return int(str(ended.value.code)), printed.out, printed.err

    return run
