"""No file of the product imports, by way of others, itself."""

from pathlib import Path

import grimp
import pytest

PACKAGES = "model", "ingest", "dashboard", "deploy", "sample_readings"


def circles(graph: grimp.ImportGraph) -> list[set[str]]:
    """Groups of modules that each import all the others, directly or by way of others.

    `from package import module` counts as an import of the package as well: Python runs it first.
    """
    imports = {module: graph.find_modules_directly_imported_by(module) for module in graph.modules}
    for importer, imported in imports.items():
        for module in list(imported):
            package = module.rpartition(".")[0]
            lines = (
                one["line_contents"] for one in graph.get_import_details(importer=importer, imported=module)
            )
            if package and any(line.startswith(f"from {package} import") for line in lines):
                imported.add(package)
    reached: dict[str, set[str]] = {}
    for module in imports:
        seen: set[str] = set()
        ahead = [module]
        while ahead:
            fresh = imports.get(ahead.pop(), set()) - seen
            seen |= fresh
            ahead += fresh
        reached[module] = seen
    found = {
        frozenset(other for other in seen if module in reached[other]) for module, seen in reached.items()
    }
    return sorted((set(group) for group in found if group), key=sorted)


def test_no_file_imports_itself_by_way_of_others() -> None:
    assert circles(grimp.build_graph(*PACKAGES, cache_dir=None)) == []


def test_a_circle_of_two_files_would_be_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "round_trip"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "there.py").write_text("from round_trip import back\n")
    (package / "back.py").write_text("def home():\n    from round_trip.there import back\n    return back\n")
    monkeypatch.syspath_prepend(tmp_path)
    found = circles(grimp.build_graph("round_trip", cache_dir=None))
    assert found == [{"round_trip.there", "round_trip.back"}]
