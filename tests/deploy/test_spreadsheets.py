"""Lists of stacks in from a spreadsheet and pieces out to one, from the command line."""

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path

from tests.ran import Ran

PIECES = Path(__file__).parents[2] / "sample_readings" / "pieces"


def test_a_list_is_shown_first_and_kept_when_told_to(tmp_path: Path, paneltide: Callable[..., Ran]) -> None:
    paneltide("place", "add", "Shop", "--kind", "shop")
    file = tmp_path / "lumber.csv"
    file.write_text("name,species,thickness,mc,place\nAsh loft,white ash,8/4,8.4,Shop\n")
    status, out, _ = paneltide("stack", "import", file)
    assert status == 0
    assert "Ash loft" in out
    assert "Nothing is recorded yet: add --keep." in out
    file.write_text(file.read_text() + "Oak,white oak,wide,8.4,Loft\n")
    status, out, error = paneltide("stack", "import", file, "--keep")
    assert status == 2
    assert "line 3, place: must be one that is recorded (Shop), got 'Loft'" in out
    assert error.startswith("paneltide: lumber.csv: line 3, place: must be one that is recorded")
    assert error.count("\n") == 1
    assert json.loads(paneltide("state", "--json")[1])["stacks"] == []
    file.write_text(file.read_text().replace("wide", "4/4").replace("Loft", "Shop"))
    status, out, _ = paneltide("stack", "import", file, "--keep", "--json")
    assert status == 0
    assert json.loads(out)["kept"] is True
    names = [one["name"] for one in json.loads(paneltide("state", "--json")[1])["stacks"]]
    assert names == ["Ash loft", "Oak"]


def test_pieces_go_to_standard_output_as_a_table(paneltide: Callable[..., Ran]) -> None:
    paneltide("place", "add", "Shop", "--kind", "shop")
    paneltide("piece", "add", PIECES / "hall_bench.toml", "--place", "Shop")
    status, out, error = paneltide("export", "pieces", "--out", "-")
    assert (status, error) == (0, "")
    (row,) = csv.DictReader(io.StringIO(out))
    assert (row["piece"], row["place"]) == ("Hall bench", "Shop")
