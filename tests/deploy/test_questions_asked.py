"""The three questions from the command line, asked of the sample shop at its story's start."""

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from deploy import sample_shop, wiring
from deploy.cli.commands import main
from deploy.settings import load_settings
from model.records.clock import SampleClock, machine_now
from tests.deploy.conftest import keeps_to_its_schema

pytestmark = pytest.mark.slow

Ask = Callable[..., tuple[int, Any]]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PANELTIDE_DATA_DIR", str(folder))
        store = wiring.open_store(load_settings(), create=True)
        sample_shop.load_history(store)
        wiring.evaluate_once(store, sample_shop.STORY_START_AT)
        store.close()
    return folder


@pytest.fixture
def ask(shop: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Ask:
    clock = SampleClock(machine_now(), sample_shop.STORY_START_AT, 1.0, 1.0)
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(shop))
    monkeypatch.setenv("PANELTIDE_SAMPLE_CLOCK", wiring.clock_words(clock))

    def run(*arguments: str) -> tuple[int, Any]:
        with pytest.raises(SystemExit) as ended:
            main([*arguments, "--json"])
        printed = capsys.readouterr().out
        keeps_to_its_schema(list(arguments), printed)
        return int(str(ended.value.code)), json.loads(printed)

    return run


def test_glue_up_is_answered_with_its_reasons(ask: Ask) -> None:
    status, document = ask("glue-up", "Shop")
    assert document["verdict"] in ("go", "wait", "not today")
    assert status == (0 if document["verdict"] == "go" else 1)
    assert document["reasons"]
    if document["verdict"] != "go":
        assert any(reason["against"] for reason in document["reasons"])


def test_warm_wood_in_settled_air_may_be_glued_and_cold_wood_not(ask: Ask) -> None:
    """A yellow glue's usual minimum is about 10 °C (common practice, no source: the label counts)."""
    status, cold = ask("glue-up", "Shop", "--wood", "2C")
    assert (status, cold["verdict"]) == (1, "not today")


def test_stack_that_has_not_settled_is_not_ready(ask: Ask) -> None:
    status, document = ask("ready", "Hard maple, 8/4")
    assert status == 1
    assert (document["place"], document["for"]) == ("Shop", "Orchard house")
    ready = document["ready"]
    assert ready.keys() == {
        "is_ready", "never_here", "reason", "reason_key", "from_at", "until_at", "target_mc_pct",
    }  # fmt: skip
    assert not ready["is_ready"]
    assert "too wet for Orchard house" in ready["reason"]
    assert ready["never_here"] is (ready["from_at"] is None)


def test_outlook_is_a_year_of_spreads(ask: Ask) -> None:
    status, document = ask("outlook", "Chest of drawers")
    assert status == 0
    assert len(document["months"]) in (12, 13)
    for month in document["months"]:
        for limits in month["fits"].values():
            for limit in limits.values():
                margin = limit["margin_mm"]
                assert margin["p10"] <= margin["p50"] <= margin["p90"]
    chances = [limit["chance"] for limit in document["limits"]]
    assert all(0.0 <= chance <= 1.0 for chance in chances)


def test_outlook_says_its_limits_as_the_maker_would_see_them(
    ask: Ask, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main(["outlook", "Chest of drawers"])
    told = capsys.readouterr().out
    assert "the front of the top drawer sticks in its opening" in told
    assert "not known" not in told
    assert "drying wood stops damper than wood that takes up moisture" in told
    assert "leaves-groove" not in told


def test_outlook_of_a_house_that_is_not_heard_of_is_not_known(
    ask: Ask, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["outlook", "Hall bench"])
    assert ended.value.code == 2
    assert "must stand at a place that has been heard of lately" in " ".join(capsys.readouterr().err.split())


def test_contact_stands_on_the_client_sheet(ask: Ask, tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("needs pdftotext (Debian package poppler-utils)")
    out = tmp_path / "sheet.pdf"
    for words in (
        ["contact", "The bench by the river", "--line", "555 0100"],
        ["sheet", "Hall bench", "--out", str(out)],
    ):
        with pytest.raises(SystemExit) as ended:
            main(words)
        assert ended.value.code == 0
    said = subprocess.run(["pdftotext", str(out), "-"], capture_output=True, text=True, check=True).stdout
    assert "The bench by the river" in said
    assert "555 0100" in said


def test_client_sheet_is_a_pdf(ask: Ask, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    with pytest.raises(SystemExit) as ended:
        main(["sheet", "Hall bench", "--out", str(out)])
    assert ended.value.code == 0
    assert out.read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("units", "mine", "other"), [("inch", r"\d in\b", r"\bmm\b"), ("metric", r"\bmm\b", r"\d in\b")]
)
def test_state_gives_its_reasons_in_the_units_of_the_settings(
    ask: Ask, monkeypatch: pytest.MonkeyPatch, units: str, mine: str, other: str
) -> None:
    """What is left of a groove is said in inches where inches are read, and in nothing else."""
    monkeypatch.setenv("PANELTIDE_UNITS", units)
    _, state = ask("state")
    fits = [fit for piece in state["pieces"] for fit in piece["fits"]]
    told = " ".join(one["reason"] for one in [*fits, *state["warnings"]])
    assert re.search(mine, told)
    assert not re.search(other, told.replace("8/4", ""))
    assert all(one["reason_key"] for one in [*fits, *state["stacks"], *state["places"], *state["warnings"]])


def test_state_says_how_sure_every_width_and_margin_is(ask: Ask) -> None:
    _, state = ask("state")
    parts = [part for piece in state["pieces"] for part in piece["parts"] if part["width_mm"] is not None]
    limits = [limit for piece in state["pieces"] for fit in piece["fits"] for limit in fit["limits"]]
    assert parts
    assert limits
    assert all(part["width_doubt_mm"] >= 0.39 and part["mc_doubt_pct"] > 0.0 for part in parts)
    assert all(part["doubt"]["largest"] in ("movement", "start", "moisture", "size") for part in parts)
    assert any(part["doubt"]["reason"] for part in parts)
    assert all(limit["margin_doubt_mm"] >= 0.39 for limit in limits)
