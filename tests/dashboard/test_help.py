"""The guide for makers as pages: each part is there, its links lead somewhere, its buttons exist."""

import re
from pathlib import Path

import pytest

from dashboard.pages.shop.help import PARTS
from dashboard.shell.app import build_app
from deploy.wiring import GUIDE
from model.records.acts.hangings import hang_sensor
from model.records.acts.places import add_place
from model.records.schema.tables import HeardMessage, Sensor
from model.records.store import Store

PAGES = Path(GUIDE).parents[1] / "dashboard"


@pytest.fixture
def client(book, now):
    return build_app(book.store, lambda: now, guide=GUIDE).server.test_client()


def test_every_file_of_the_guide_is_a_page_and_every_page_a_file() -> None:
    assert {file.stem for file in GUIDE.glob("*.md")} == set(PARTS)


@pytest.mark.parametrize("name", PARTS)
def test_a_part_is_read_before_scripts_and_its_links_lead_somewhere(client, name: str) -> None:
    answer = client.get("/help" if name == "start" else f"/help/{name}")
    text = answer.get_data(as_text=True)
    assert answer.status_code == 200
    title = (GUIDE / f"{name}.md").read_text("utf-8").splitlines()[0].removeprefix("# ")
    assert f"<h1>{title.replace(chr(39), '&#x27;')}</h1>" in text
    assert "**" not in text
    body = text.split("<h1>")[1].split("</main>")[0]
    for href in re.findall(r'href="([^"]+)"', body):
        if href.startswith("/"):
            assert client.get(href).status_code == 200, href


@pytest.mark.parametrize("file", sorted(GUIDE.glob("*.md")), ids=lambda file: file.stem)
def test_a_button_or_heading_that_the_guide_names_is_on_a_page(file: Path) -> None:
    """What stands in single stars is a word of our own pages or of the trade; capitals mean our own pages."""
    shown = "\n".join(page.read_text("utf-8") for page in PAGES.rglob("*.py"))
    text = re.sub(r"\*\*.*?\*\*", "", file.read_text("utf-8"))
    named = set(re.findall(r"(?<!\*)\*([A-Z][^*\n]+)\*(?!\*)", text))
    theirs = {"MQTT server"}  # what a sensor's own set-up calls it
    assert {name for name in named - theirs if name not in shown} == set()


def test_every_page_links_to_its_part_of_the_guide(client) -> None:
    for path in ("/", "/pieces", "/piece/1", "/stock", "/places", "/sensors", "/settings", "/plan"):
        link = re.search(r'Guide: <a href="(/help[^"]*)"', client.get(path).get_data(as_text=True))
        assert link is not None, path
        assert client.get(link[1]).status_code == 200
    assert "Guide: <a" not in client.get("/help").get_data(as_text=True)


def test_an_empty_book_shows_three_steps_and_what_is_done(tmp_path, now) -> None:
    store = Store(f"sqlite:///{tmp_path / 'empty.sqlite'}")
    store.bring_up_to_date()
    reader = build_app(store, lambda: now, guide=GUIDE).server.test_client()

    def page() -> str:
        return reader.get("/").get_data(as_text=True)

    first = page()
    assert "Hear a sensor.</strong>" in first
    assert "Done." not in first
    with store.session() as session:
        session.add(HeardMessage(topic="air", payload=b"{}", retained=False, received_at=now))
    heard = page()
    assert "Hear a sensor. Done." in heard
    assert "A sensor is already talking: messages came in on one topic." in heard
    with store.session() as session:
        sensor = Sensor(name="bench", accepted_at=now)
        session.add(sensor)
        session.flush()
        hang_sensor(session, sensor, add_place(session, "Shop", "shop"), now)
    hung = page()
    assert hung.count("Done.") == 2
    assert "No wood is recorded yet." in hung
    assert "Record the wood.</strong>" in hung
    store.close()
