"""What the documents for developers and operators name is there: files, commands, settings, measurements."""

import re
from pathlib import Path

import pytest
from typer.main import get_command

from deploy.cli.commands import app
from deploy.settings import Settings
from tests.bench import test_smoke

ROOT = Path(__file__).parents[2]
DOCS = sorted((ROOT / "deploy" / "docs").glob("*.md"))
GUIDE = sorted((ROOT / "deploy" / "guide").glob("*.md"))
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *DOCS, *GUIDE]
FOLDERS = ("model", "ingest", "dashboard", "deploy", "sample_readings", "tests", ".ci")
KINDS = "py|md|sh|csv|gz|toml|json|css|js|sql|example"
# Files that the reader makes, or that are made on the reader's machine.
THE_READERS = {"peg_in_slot.py", "paneltide.toml"}
each = pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)


def marked(document: Path) -> list[str]:
    """Everything set as code: between backquotes, and line by line in blocks."""
    text = document.read_text("utf-8")
    blocks = re.findall(r"```\w*\n(.*?)```", text, re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines()]
    return lines + re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL))


@pytest.fixture(scope="module")
def files() -> list[str]:
    inside = [path for folder in FOLDERS for path in (ROOT / folder).rglob("*") if path.is_file()]
    return [f"/{path.relative_to(ROOT)}" for path in [*inside, *ROOT.glob("*.*")]]


@each
def test_every_file_named_is_there(document: Path, files: list[str]) -> None:
    named = {
        word.strip("`,.")
        for piece in marked(document)
        for word in piece.split()
        if re.fullmatch(rf"[\w./-]*\w\.({KINDS})", word) and not word.startswith("/")
    }
    wanted = {name for name in named - THE_READERS if "/" in name or name.endswith(".py")}
    assert {name for name in wanted if not any(file.endswith(f"/{name}") for file in files)} == set()


@each
def test_every_link_leads_somewhere(document: Path) -> None:
    targets = re.findall(r"\]\(([^)#:]+)\)", document.read_text("utf-8"))
    assert [target for target in targets if not (document.parent / target).exists()] == []


@each
def test_every_command_named_is_one(document: Path) -> None:
    known = set(get_command(app).commands) | {"--version", "--help", "--install-completion"}  # type: ignore[attr-defined]
    said = {
        found
        for piece in marked(document)
        for found in re.findall(r"(?:^|bin/|sudo |-- )paneltide ([a-z-]+)", piece)
    }
    assert said - known == set()


def test_every_setting_that_operations_names_is_one() -> None:
    rows = (ROOT / "deploy" / "docs" / "operations.md").read_text("utf-8").split("## Settings")[1]
    named = re.findall(r"`([a-z]+_[a-z_]+)`", rows.split("## Back up")[0])
    assert named
    assert set(named) <= set(Settings.model_fields)


def test_scaling_lists_every_measurement() -> None:
    text = (ROOT / "deploy" / "docs" / "scaling.md").read_text("utf-8")
    table = text.split("| NAME | measures |")[1].split("###")[0]
    named = {cell.split()[0] for cell in re.findall(r"`([^`]+)`", table) if cell[0].isalpha()}
    assert set(test_smoke.COMMANDS) <= named


def test_developers_follow_one_message_through_six_files() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    steps = re.findall(r"^\| (\d) \| `([^`]+)` \|", text, re.MULTILINE)
    assert [number for number, _ in steps] == ["1", "2", "3", "4", "5", "6"]
    assert all((ROOT / file).is_file() for _, file in steps)


def test_developers_is_read_in_one_sitting_and_names_every_document() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    assert len(text.split()) < 1_500
    assert all(f"deploy/docs/{document.name}" in text for document in DOCS)


def test_the_page_to_copy_is_a_page() -> None:
    copied = re.search(r"Copy `(dashboard/pages/[\w/]+\.py)`", (ROOT / "DEVELOPERS.md").read_text("utf-8"))
    assert copied is not None
    assert "\nROUTES = [Route(" in (ROOT / copied[1]).read_text("utf-8")
