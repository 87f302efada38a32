"""What README tells a maker to type is what the program takes."""

import re
import shlex
from pathlib import Path

import pytest

from deploy.cli.commands import main

CHECKOUT = Path(__file__).parents[2]
README = (CHECKOUT / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
LINES = [line for block in BLOCKS for line in block.splitlines() if line.startswith("paneltide ")]


def test_there_are_commands_to_try() -> None:
    assert len(LINES) > 8


@pytest.mark.parametrize("line", LINES)
def test_command_is_taken(
    line: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "data"))
    words = [str(CHECKOUT / word) if "sample_readings/" in word else word for word in shlex.split(line)[1:]]
    with pytest.raises(SystemExit):
        main(["migrate"])
    with pytest.raises(SystemExit) as ended:
        main(words)
    said = capsys.readouterr().err
    # Without the sample shop's book its names are unknown, which is an answer; the words must be right.
    assert ended.value.code == 0 or "must be one" in said, said
    assert "No such" not in said


def test_every_script_named_is_there() -> None:
    for script in re.findall(r"sh (deploy/\w+\.sh)", README):
        assert (CHECKOUT / script).is_file()


def test_first_paragraph_is_the_job() -> None:
    paragraph = README.split("\n\n")[1]
    for word in ("furniture maker", "humidity", "moisture", "glue-up", "acclimated", "seasonal gap"):
        assert word in paragraph


def test_two_commands_do_the_set_up() -> None:
    first = [block.strip() for block in BLOCKS[:2]]
    assert first == ["sh deploy/start.sh", "sh deploy/test.sh"]
