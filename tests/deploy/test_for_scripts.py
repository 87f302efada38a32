"""What a script and a terminal may count on: exit codes, standard output, bars, completion, widths."""

import csv
import io
import json
import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from deploy.cli.commands import COMMANDS, main
from tests.ran import Ran

PIECES = Path(__file__).parents[2] / "sample_readings" / "pieces"
BENCH = PIECES / "hall_bench.toml"
TOPIC = "valley/" + "/".join(f"bay-{number:02}" for number in range(20)) + "/climate"


def test_an_address_that_is_no_database_is_bad_input(paneltide: Callable[..., Ran]) -> None:
    for address in ("foo://bar", "mysql://shop/book", "nothing"):
        status, out, error = paneltide("move", "--to", address)
        assert (status, out) == (2, ""), address
        assert error.startswith("paneltide: database address must")


def test_the_book_is_written_moved_and_copied_by_a_script_that_reads_json(
    tmp_path: Path, paneltide: Callable[..., Ran]
) -> None:
    def done(*arguments: object) -> dict:
        status, out, error = paneltide(*arguments, "--json")
        assert (status, error) == (0, ""), arguments
        found: dict = json.loads(out)
        return found

    assert done("place", "add", "Shop", "--kind", "shop")["kind"] == "place"
    done("place", "add", "Dry flat", "--kind", "home")
    assert done("piece", "add", BENCH, "--place", "Shop")["name"] == "Hall bench"
    assert "Dry flat" in done("piece", "move", "Hall bench", "--place", "Dry flat")["says"]
    wood = ("--species", "ash", "--thickness", "4/4", "--mc", "8,1 8,4", "--place", "Shop")
    assert done("stack", "add", "Ash, 4/4", *wood)["kind"] == "stack"
    done("contact", "The bench by the river")
    done("migrate")
    sheet = tmp_path / "bench.pdf"
    assert done("sheet", "Hall bench", "--out", sheet) == {
        "kind": "file",
        "name": str(sheet),
        "says": f"{sheet} is written.",
    }
    for what in ("book.zip", "pieces.csv", "readings.csv"):
        done("export", what.partition(".")[0], "--out", tmp_path / what)
    archive = tmp_path / "copy.zip"
    assert done("backup", "--out", archive)["proven"] is True
    moved = done("move", "--to", f"sqlite:///{tmp_path / 'moved.sqlite'}")
    assert (moved["rows"]["piece"], moved["changed_meanwhile"]) == (1, [])
    status, out, _ = paneltide("restore", archive, "--json")
    assert (status, out) == (2, "")  # into a book in use


def test_what_is_written_to_standard_output_is_all_there_is(paneltide: Callable[..., Ran]) -> None:
    paneltide("migrate")
    status, out, error = paneltide("export", "readings", "--out", "-")
    assert (status, error) == (0, "")
    assert list(csv.reader(io.StringIO(out))) == [
        ["timestamp_utc", "sensor", "topic", "temperature_c", "rh_pct"]
    ]
    assert paneltide("export", "readings", "--out", "-", "--json")[0] == 2


@pytest.mark.slow
def test_a_terminal_sees_how_far_it_is_and_a_pipe_sees_nothing(
    tmp_path: Path, paneltide: Callable[..., Ran]
) -> None:
    paneltide("place", "add", "Shop", "--kind", "shop")
    command = [sys.executable, "-m", "deploy", "backup", "--out", str(tmp_path / "copy.zip")]
    terminal, end = pty.openpty()
    ran = subprocess.run(command, stdout=subprocess.PIPE, stderr=end, env={**os.environ, "TERM": "xterm"})
    os.close(end)
    shown = os.read(terminal, 65536).decode()
    os.close(terminal)
    assert ran.returncode == 0
    assert "Copying the book" in shown
    assert b"came back" in ran.stdout
    assert paneltide("backup", "--out", tmp_path / "again.zip")[2] == ""


def test_a_topic_can_be_copied_from_a_narrow_screen_without_colours() -> None:
    script = (
        f"from deploy.cli.answer import give_table; give_table(['topic', 'place'], [[{TOPIC!r}, 'Shop']])"
    )
    terminal, end = pty.openpty()
    narrow = {**os.environ, "TERM": "xterm", "COLUMNS": "80", "NO_COLOR": "1"}
    subprocess.run([sys.executable, "-c", script], stdout=end, env=narrow, check=True)
    os.close(end)
    shown = os.read(terminal, 4096).decode()
    os.close(terminal)
    assert TOPIC in shown
    assert "\x1b[3" not in shown


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_completes_commands_and_their_options(
    shell: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def completed(*words: str) -> str:
        line = ["paneltide", *words]
        monkeypatch.setenv("COMP_WORDS", " ".join(line))
        monkeypatch.setenv("COMP_CWORD", str(len(words)))
        monkeypatch.setenv("_TYPER_COMPLETE_ARGS", " ".join(line))
        monkeypatch.setenv("_TYPER_COMPLETE_FISH_ACTION", "get-args")
        monkeypatch.setenv("_PANELTIDE_COMPLETE", f"complete_{shell}")
        with pytest.raises(SystemExit):
            main([])
        return capsys.readouterr().out

    assert "stack" in completed("sta")
    assert "import-readings" in completed("im")
    assert "--place" in completed("stack", "add", "--pl")
    monkeypatch.setenv("_PANELTIDE_COMPLETE", f"source_{shell}")
    with pytest.raises(SystemExit):
        main([])
    assert "_PANELTIDE_COMPLETE" in capsys.readouterr().out


def test_names_of_commands_are_completed_without_loading_any() -> None:
    script = "import sys; from deploy.cli.commands import main; main([])"
    told = {"COMP_WORDS": "paneltide ", "COMP_CWORD": "1", "_PANELTIDE_COMPLETE": "complete_bash"}
    script = f"import atexit, sys; atexit.register(lambda: print('sqlalchemy' in sys.modules)); {script}"
    ran = subprocess.run(
        [sys.executable, "-c", script], env=os.environ | told, capture_output=True, text=True, check=False
    )
    *names, loaded = ran.stdout.split()
    assert names == list(COMMANDS)
    assert loaded == "False"
