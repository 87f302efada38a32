"""What a client reads of a piece by the link alone: plain words, one thing to do, the sheet, who to call."""

import re
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from dashboard.figures.drawing import find, words_of
from dashboard.figures.elevation import doors_of, drawers_of, elevation
from dashboard.figures.strip import strip_drawing
from dashboard.paper.sheet import keep_contact
from dashboard.shell import signing
from dashboard.shell.app import build_app
from dashboard.shell.links import Links
from model.wood.piece import read_piece

PIECES = Path(__file__).parents[2] / "sample_readings" / "pieces"
JARGON = (
    "EMC",
    "MC ",
    "margin",
    "Panel in grooves",
    "panel-in-groove",
    "back panel",
    "back_panel",
    "limit",
    "fit ",
)


@pytest.fixture
def client(book, now):
    """A browser that knows no password, and the link to a piece at a home."""
    served = build_app(book.store, lambda: now, password="linseed").server.test_client()
    with book.store.session() as session:
        token = Links(signing.signing_key(book.store)).make(session, book.chest)
    return served, f"/for/{token}"


def read(client) -> str:
    served, link = client
    document = served.get(link).get_data(as_text=True)
    own = document[document.index("<main") : document.index("</main>")]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", own)).replace("\u00a0", " ")


def test_the_page_is_in_the_clients_words(client):
    page = read(client)
    for heading in ("What to do", "Its room", "What is normal in February", "What is not normal"):
        assert heading in page
    assert not [word for word in JARGON if word in page]
    assert "wood tends" not in page


def test_one_thing_to_do_when_a_limit_that_harms_is_passed(client):
    page = read(client)
    told = page[page.index("What to do") : page.index("Its room")]
    assert "Look it over, and send us a photo of anything that is open or cracked." in told


def test_the_sheet_is_printed_by_the_link_alone_and_goes_with_it(client, book):
    served, link = client
    document = served.get(link).get_data(as_text=True)
    assert f'href="{link}/sheet.pdf"' in document
    paper = served.get(f"{link}/sheet.pdf")
    assert paper.data.startswith(b"%PDF")
    with book.store.session() as session:
        Links("").take_back(session, book.chest)
    assert served.get(f"{link}/sheet.pdf").status_code == 404
    assert served.get(link).status_code == 404


def test_who_to_call_stands_on_the_page(client, book):
    assert "Call your maker before you do anything to it." in read(client)
    with book.store.session() as session:
        keep_contact(session, "The two benches", "call 555 0100", "tel:5550100")
    served, link = client
    document = served.get(link).get_data(as_text=True)
    assert '<a href="tel:5550100">The two benches, call 555 0100</a>' in document


def test_nothing_on_it_leads_elsewhere(client):
    served, link = client
    document = served.get(link).get_data(as_text=True)
    assert {urlsplit(found).path for found in re.findall(r'<a href="([^"]+)"', document)} <= {
        f"{link}/sheet.pdf"
    }


def test_a_chest_is_drawn_with_its_drawers_and_a_cabinet_with_its_doors():
    chest, cabinet = (
        read_piece((PIECES / f"{name}.toml").read_text(), name)
        for name in ("chest_of_drawers", "china_cabinet")
    )
    assert drawers_of(chest) == ["top_drawer", "bottom_drawer"]
    assert doors_of(chest) == []
    assert dict(doors_of(cabinet)) == {"door_panels": 2, "doors": 2}
    assert len(find(elevation(chest), "cut-steel")) == 2
    assert len(find(elevation(cabinet, "doors"), "marked")) == 2
    assert find(elevation(cabinet), "marked") == []


def test_the_strip_on_the_page_marks_the_letters_of_now():
    drawn = strip_drawing("inch", ["C"])
    assert "".join(words_of(drawn)) == "ABCDEFGHJKLM"
    assert len(find(drawn, "index-fill")) == 1
