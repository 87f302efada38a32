"""One public class name means one thing in the whole tree: whoever reads `Stack` need not ask which."""

import ast
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGES = "model", "ingest", "dashboard", "deploy", "sample_readings"


def named_twice(sources: Iterable[str]) -> list[str]:
    """Names of public classes that are defined more than once."""
    names = Counter(
        node.name
        for source in sources
        for node in ast.parse(source).body
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    )
    return sorted(name for name, count in names.items() if count > 1)


def test_a_class_name_means_one_thing() -> None:
    assert named_twice(path.read_text() for name in PACKAGES for path in (ROOT / name).rglob("*.py")) == []


def test_a_name_with_two_meanings_would_be_found() -> None:
    one, other = "class Stack:\n    class Row: ...\n", "class Stack: ...\nclass _Own: ...\nclass Row: ...\n"
    assert named_twice([one, other, "class _Own: ...\n"]) == ["Stack"]
