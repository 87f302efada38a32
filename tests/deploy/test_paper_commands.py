"""The commands for paper and planning: what they write and answer, and their one way of failing."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.ran import Ran

PIECES = Path(__file__).parents[2] / "sample_readings" / "pieces"


@pytest.fixture
def recorded(paneltide: Callable[..., Ran]) -> Callable[..., Ran]:
    """The same, with the hall bench standing at a home of which nothing is recorded."""
    assert paneltide("place", "add", "Lake house", "--kind", "home")[0] == 0
    added = paneltide(
        "piece", "add", PIECES / "hall_bench.toml", "--place", "Lake house", "--since", "2025-11-21"
    )
    assert added[0] == 0, added[2]
    return paneltide


@pytest.mark.slow
def test_a_recorded_piece_gets_its_sheet_and_its_job_sheet(
    recorded: Callable[..., Ran], tmp_path: Path
) -> None:
    for more in ([], ["--paper", "a4", "--units", "metric"], ["--job"], ["--rh", "20-50"]):
        out = tmp_path / "sheet.pdf"
        status, said, wrong = recorded("sheet", "Hall bench", "--out", out, *more)
        assert (status, wrong) == (0, "")
        assert "is written" in said
        assert out.read_bytes().startswith(b"%PDF-")
        out.unlink()


@pytest.mark.slow
def test_a_piece_file_gets_a_sheet_and_a_card(paneltide: Callable[..., Ran], tmp_path: Path) -> None:
    bench = PIECES / "hall_bench.toml"
    assert paneltide("sheet", bench, "--out", tmp_path / "sheet.pdf")[0] == 0
    card = (
        "cut-card",
        bench,
        "--fit",
        "back_panel",
        "--mc",
        8.1,
        "--range",
        "4-9",
        "--out",
        tmp_path / "card.pdf",
    )
    assert paneltide(*card)[0] == 0
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("arguments", "rule"),
    [
        (("sheet", "Nobody", "--out", "x.pdf"), "must be one that is recorded (Hall bench)"),
        (("sheet", "Hall bench", "--out", "x.doc"), "must name a .pdf file"),
        (("sheet", "Hall bench", "--out", "x.pdf", "--paper", "a3"), "'a3' is not one of 'a4', 'letter'"),
        (
            ("sheet", "Hall bench", "--out", "x.pdf", "--units", "cubits"),
            "'cubits' is not one of 'inch', 'metric'",
        ),
        (("sheet", "Hall bench", "--out", "x.pdf", "--rh", "dry"), "must be two humidities"),
        (("export", "record", "Hall bench", "--out", "x.doc"), "must name a .json or a .txt file"),
        (("deliver", "Hall bench", "--to", "Moon"), "must be one that is recorded (Lake house)"),
    ],
)
def test_bad_input_is_one_line(recorded: Callable[..., Ran], arguments: tuple[str, ...], rule: str) -> None:
    status, _, wrong = recorded(*arguments)
    assert status == 2
    assert rule in wrong
    assert wrong.count("\n") == 1


def test_plan_gives_three_choices_that_can_be_recorded(paneltide: Callable[..., Ran], tmp_path: Path) -> None:
    asked = (
        "plan", "door", "--species", "black walnut", "--width", "16in", "--length", "24in", "--thickness",
        "13/16in", "--mc", 8.1, "--rh", "18-50",
    )  # fmt: skip
    status, out, _ = paneltide(*asked, "--json")
    assert status == 0
    answer: dict[str, Any] = json.loads(out)
    assert answer["advised"] == "framed"
    assert [choice["kind"] for choice in answer["choices"]] == ["slab", "framed", "sheet"]
    framed = answer["choices"][1]["document"]
    assert set(framed["fit"]) == {"panel_in_grooves", "opening"}
    status, said, _ = paneltide(*asked)
    assert status == 0
    assert said.startswith("Build it as a frame and panel")
    assert paneltide("plan", "leg", *asked[2:])[0] == 2


def test_plan_takes_a_recorded_place_for_its_home(recorded: Callable[..., Ran]) -> None:
    asked = (
        "plan", "door", "--species", "black walnut", "--width", "16in", "--length", "24in", "--thickness",
        "13/16in", "--mc", 8.1,
    )  # fmt: skip
    status, out, wrong = recorded(*asked, "--home", "Lake house", "--json")
    assert (status, wrong) == (0, "")
    answer = json.loads(out)
    # Nothing was recorded there yet: what is usual in homes, 6 to 11 % (common practice, no source).
    assert answer["home"] == "Lake house"
    assert answer["mc_range_pct"] == [6.0, 11.0]
    assert "nothing is recorded there" in answer["known_from"]
    assert "Of Lake house: nothing is recorded there" in recorded(*asked, "--home", "Lake house")[1]
    for more in ((), ("--home", "Lake house", "--rh", "20-50")):
        status, _, wrong = recorded(*asked, *more)
        assert status == 2
        assert "must be one of --home and --rh" in wrong
    status, _, wrong = recorded(*asked, "--home", "Moon")
    assert status == 2
    assert "must be one that is recorded (Lake house)" in wrong


def test_delivery_to_an_unknown_home_is_answered_no(recorded: Callable[..., Ran]) -> None:
    status, out, _ = recorded("deliver", "Hall bench", "--to", "Lake house", "--json")
    assert status == 1
    assert json.loads(out)["answer"] == "unknown"


@pytest.mark.slow
def test_the_record_of_fact_is_written_both_ways(recorded: Callable[..., Ran], tmp_path: Path) -> None:
    assert recorded("export", "record", "Hall bench", "--out", tmp_path / "r.json")[0] == 0
    record = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert record["piece"] == "Hall bench"
    assert record["stands"][0]["place"] == "Lake house"
    assert recorded("export", "record", "Hall bench", "--out", tmp_path / "r.txt")[0] == 0
    assert "Record of fact: Hall bench" in (tmp_path / "r.txt").read_text("utf-8")


def test_nothing_measured_is_said(recorded: Callable[..., Ran]) -> None:
    status, said, _ = recorded("foretold")
    assert (status, said.strip()) == (0, "Nothing has been measured since it was built.")
    status, out, _ = recorded("foretold", "Hall bench", "--json")
    nothing = {"count": 0, "within": 0, "letters": 0, "letters_within": 0}
    by_nobody = {"compared": [], "by_piece": {}, "overall": [], "coverage_by_piece": {}}
    assert json.loads(out) == {**by_nobody, "coverage": nothing}


def test_a_drawn_case_is_planned_and_cut_from_its_file(paneltide: Callable[..., Ran], tmp_path: Path) -> None:
    """A runner glued across a slab side is past its limit in the plan; no width is told that won't do."""
    file = tmp_path / "chest.toml"
    asked = 'sides = "slab"\ninside = "runners"\nglued = ["runner"]'
    wood = 'species = "black walnut"\ncut = "flat-sawn"\nmc_pct = 8.0'
    head = '[piece]\nname = "Valley chest"\n[case]\npattern = "chest of drawers"'
    file.write_text(f"{head}\n{wood}\n{asked}\n", "utf-8")
    status, said, wrong = paneltide("plan", file, "--json")
    assert (status, wrong) == (0, "")
    plan = json.loads(said)
    assert plan["mc_range_pct"] == [6.0, 11.0]
    assert plan["fits"]["runner"]["verdict"] == "past"
    assert plan["fits"]["back panel"]["verdict"] == "clear"
    for row in plan["cuts"]:
        if row["width_least_mm"] is not None:
            assert row["width_least_mm"] <= row["width_best_mm"] <= row["width_most_mm"]
    assert "drawer bottom × 4" in paneltide("plan", file, "--rh", "20-50")[1]
    assert paneltide("cut", file, "--fit", "side panel", "--mc", "8")[0] == 2  # it has slab sides
    assert paneltide("cut", file, "--fit", "back panel", "--mc", "8", "--range", "6-11")[0] == 0
    status, _, wrong = paneltide("plan", "door", "--rh", "20-50")
    assert status == 2
    assert "--species must be given" in wrong
