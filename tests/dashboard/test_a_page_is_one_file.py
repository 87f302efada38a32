"""A new page is one new file in the folder of pages: its address answers, and nothing else names it."""

import sys
from pathlib import Path

import pytest

from dashboard import pages
from dashboard.shell import page_registry
from dashboard.shell.app import build_app

PAGE = """
from dash import html

from dashboard.pages.frame import sheet
from dashboard.shell.view import Route, View


def layout(view: View) -> html.Main:
    return sheet("How high is the river?", html.P("Below the second step."))


ROUTES = [Route("/river", layout)]
"""


@pytest.fixture
def river(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "river.py").write_text(PAGE, "utf-8")
    monkeypatch.setattr(pages, "__path__", [*pages.__path__, str(tmp_path)])
    monkeypatch.delitem(sys.modules, "dashboard.pages.river", raising=False)


def test_a_page_is_one_file(book, now, river) -> None:
    client = build_app(book.store, now=lambda: now).server.test_client()
    told = client.get("/river").get_data(as_text=True)
    assert "How high is the river?" in told
    assert "Below the second step." in told


def test_every_address_belongs_to_one_page() -> None:
    templates = [route.template for route in page_registry.routes()]
    assert len(templates) == len(set(templates)) > 20
    assert "/" in templates
