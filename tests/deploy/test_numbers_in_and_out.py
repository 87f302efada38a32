"""Sizes on the command line: read as a maker writes them, told in one system of units."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.ran import Ran

PIECES = Path(__file__).parents[2] / "sample_readings" / "pieces"
WIDTH = ("width", "--species", "black cherry", "--cut", "flat-sawn", "--from", 8, "--to", 6)
PLAN = ("plan", "door", "--species", "cherry", "--width", "18in", "--thickness", "3/4in", "--rh", "20-50")


@pytest.mark.parametrize(
    ("arguments", "asked"),
    [
        ((*WIDTH, "--width", "18"), "18 in or 18 mm?"),
        ((*WIDTH, "--width", "14 1/2"), "14 1/2 in or 14 1/2 mm?"),
        (("air", "--temperature", "45", "--rh", "40"), "45 F or 45 C?"),
        (("check", PIECES / "hall_bench.toml", "--temperature", "68"), "68 F or 68 C?"),
        (
            (*PLAN, "--length", "26"),
            "26 in or 26 mm?",
        ),
    ],
)
def test_a_number_without_its_unit_is_asked_back_with_both(
    arguments: tuple[object, ...], asked: str, paneltide: Callable[..., Ran]
) -> None:
    status, out, err = paneltide(*arguments)
    assert (status, out) == (2, "")
    assert asked in err


@pytest.mark.parametrize("written", ["14 1/2in", "14-1/2 in", '14 1/2"', "14½ in", "368,3 mm", "36.83 cm"])
def test_a_width_is_read_as_a_maker_writes_it(written: str, paneltide: Callable[..., Ran]) -> None:
    # Wood Handbook eq. 13-2 with the printed C_T 0.00248: 14.5 in x 2 points is 0.072 in, 1.8 mm.
    status, out, _ = paneltide(*WIDTH, "--width", written, "--units", "metric")
    # ± 1 point 0.91 mm, a fifth of the 1.83 mm 0.37, a rule 0.40: in the root of their squares 1.06, said up.
    first, shrink = out.splitlines()
    assert (status, first) == (0, "366.5 ± 1.1 mm at 6 %, 1.8 mm narrower than at 8 %.")
    assert shrink.startswith("Most of that is the metered moisture: ")
    assert shrink.endswith(" becomes ± 0.6 mm.")
    _, out, _ = paneltide(*WIDTH, "--width", written)
    assert out.startswith("14-27/64 ± 3/64 in at 6 %, 5/64 in narrower than at 8 %.\n")


SIZED = [
    (*WIDTH, "--width", "18in"),
    ("air", "--temperature", "70F", "--rh", "45"),
    ("check", PIECES / "hall_bench.toml"),
    ("cut", PIECES / "hall_bench.toml", "--fit", "back_panel", "--mc", 8, "--range", "6-11"),
    (*PLAN, "--length", "26in"),
]


@pytest.mark.parametrize("arguments", SIZED, ids=lambda arguments: arguments[0])
def test_an_answer_speaks_one_system_of_units(
    arguments: tuple[object, ...], paneltide: Callable[..., Ran]
) -> None:
    inch, metric = (paneltide(*arguments, "--units", units)[1].split() for units in ("inch", "metric"))
    assert not {"mm", "°C", "mm.", "kg", "dm³"} & set(inch)
    assert not {"in.", "in,", "°F", "lb", "ft"} & set(metric)
    assert {"in", "in.", "in,", "°F"} & set(inch)
    assert {"mm", "mm.", "mm,", "°C"} & set(metric)


def test_the_settings_choose_the_units(
    paneltide: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PANELTIDE_UNITS", "metric")
    assert " mm " in paneltide(*WIDTH, "--width", "18in")[1]
    assert " in " in paneltide(*WIDTH, "--width", "18in", "--units", "inch")[1]
    assert "is not one of 'inch', 'metric'" in paneltide(*WIDTH, "--width", "18in", "--units", "feet")[2]


REMEMBERED = """
[piece]
name = "Spruce door"
[part.panel]
species = "Sitka spruce"
cut = "flat-sawn"
width = "18in"
mc_pct = 9
thickness = "5/8in"
finish = { face = "hardwax oil", coats = 2 }
[fit.panel]
kind = "panel-in-groove"
part = "panel"
sight_width = "17-3/8in"
groove_depth = "1/2in"
"""


@pytest.mark.parametrize("command", ["width", "check", "cut", "plan", "plan of a piece", "gaps"])
def test_a_remembered_figure_is_marked_where_it_is_read(
    command: str, tmp_path: Path, paneltide: Callable[..., Ran]
) -> None:
    file = tmp_path / "spruce.toml"
    file.write_text(REMEMBERED, "utf-8")
    asked = {
        "width": ("width", "--species", "Sitka spruce", *WIDTH[3:], "--width", "18in"),
        "check": ("check", file),
        "cut": ("cut", file, "--fit", "panel", "--mc", 9, "--rh-range", "25-55"),
        "plan": ("plan", "door", "--species", "Sitka spruce", *PLAN[4:], "--length", "26in"),
        "plan of a piece": ("plan", file, "--rh", "25-55"),
        "gaps": ("gaps", "--species", "Sitka spruce", "--height", "6in", "--range", "6-11"),
    }[command]
    _, out, _ = paneltide(*asked)
    assert "How far Sitka spruce moves is from memory, unverified." in " ".join(out.split())
    known = json.loads(paneltide(*asked, "--json")[1])["provenance"]
    of_a_piece = command in ("check", "cut", "plan of a piece")
    own = known["panel"] if of_a_piece else known
    assert own["movement"] == "memory"
    if of_a_piece:
        assert "nothing is published of it; taken as three coats of tung oil" in " ".join(out.split())
        assert own["face"] == "assumed"


def test_a_name_with_two_woods_is_read_as_the_region_has_it_and_said(
    paneltide: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    ash = ("width", "--species", "ash", *WIDTH[3:], "--width", "10in")
    assert "Here ash is read as white ash; in Europe it is European ash." in paneltide(*ash)[1]
    monkeypatch.setenv("PANELTIDE_REGION", "europe")
    assert "Here ash is read as European ash; in North America it is white ash." in paneltide(*ash)[1]
    monkeypatch.delenv("PANELTIDE_REGION")
    monkeypatch.setenv("PANELTIDE_ZONE", "Europe/Vienna")
    assert "European ash; in North America" in paneltide(*ash)[1]


def test_the_three_widths_of_a_door_from_the_command_line(
    tmp_path: Path, paneltide: Callable[..., Ran]
) -> None:
    """18 in of cherry at 9 ± 1 %, sight 17-3/8, grooves 1/2, 25 to 55 % RH (common practice, no source)."""
    file = tmp_path / "cherry.toml"
    file.write_text(REMEMBERED.replace("Sitka spruce", "black cherry"), "utf-8")
    asked = ("cut", file, "--fit", "panel", "--rh-range", "25-55", "--mc")
    assert paneltide(*asked, 9)[1].startswith(
        "Cut the panel 18-1/32 in wide (17-27/32 to 18-1/4 in will work), wood at 9 ± 1 %."
    )
    assert paneltide(*asked, 13)[1].startswith("Don't build with this stock yet: at 13 ± 1 %")
    document = json.loads(paneltide(*asked, 9, "--json")[1])
    assert document["mc_doubt_pct"] == 1.0
    assert document["width_least_mm"] / 25.4 == pytest.approx(17.84, abs=0.02)
    assert document["width_best_mm"] / 25.4 == pytest.approx(18.03, abs=0.01)
    assert document["width_most_mm"] / 25.4 == pytest.approx(18.27, abs=0.02)
    assert "one of --range and --rh-range" in paneltide("cut", file, "--fit", "panel", "--mc", 9)[2]


def test_the_gaps_of_a_bank_say_how_sure_they_are_and_that_a_meter_helps(
    paneltide: Callable[..., Ran],
) -> None:
    """6 in of cherry, not metered: 2 points are 0.76 mm, a fifth of 2.8 points 0.21, a rule 0.40; in the
    root of their squares 0.88 mm, 2.2 sixty-fourths. Metered, 0.38, 0.21 and 0.40 are 0.59 mm, 1.5."""
    asked = ("gaps", "--species", "black cherry", "--height", "6in", "--range", "5.4-10.1")
    _, out, _ = paneltide(*asked)
    assert next(line for line in out.splitlines() if line.startswith("6 in")).split()[-1] == "3/64"
    assert "Meter the stock, and ± 3/64 in at the highest becomes ± 1/32 in." in out
    (row,) = json.loads(paneltide(*asked, "--json")[1])["rows"]
    assert row["gap_doubt_mm"] == pytest.approx(0.88, abs=0.02)
