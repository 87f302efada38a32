"""Links for clients: each shows one piece, can be taken back, and leads where a client can follow."""

import re

import pytest

from dashboard.paper.sheet import contact_of, keep_contact
from dashboard.shell.app import build_app
from dashboard.shell.links import Links, of_client
from dashboard.shell.signing import signing_key
from model.records.acts.clients import erase_client
from model.records.schema.tables import Client, PieceRow, Preference
from model.wood.errors import BadInput

PASSWORD = "linseed and tung"


@pytest.fixture
def guarded(book, now):
    return build_app(book.store, lambda: now, password="linseed").server


# ---------------------------------------------------------------- clients' links


@pytest.fixture
def links(book):
    return Links(signing_key(book.store))


def given(links, book, piece_id):
    with book.store.session() as session:
        return links.make(session, piece_id)


def test_the_signing_key_is_made_once(book):
    assert signing_key(book.store) == signing_key(book.store)
    assert len(signing_key(book.store)) > 40


def test_a_client_sees_one_piece_and_nothing_else(guarded, links, book):
    client = guarded.test_client()
    link = f"/for/{given(links, book, book.bench)}"
    answer = client.get(link)
    document = answer.get_data(as_text=True)
    assert answer.status_code == 200
    assert "Hall bench" in document
    assert "chest" not in document
    # Its own sheet to print is all that it leads to.
    assert re.findall(r'href="([^"]*)"', document.split("</head>")[1]) == [f"{link}/sheet.pdf"]
    for path in ("/", f"/piece/{book.bench}", f"/place/{book.shop}"):
        assert client.get(path).status_code == 302


def test_a_link_taken_back_or_replaced_shows_nothing(guarded, links, book):
    client = guarded.test_client()
    first = given(links, book, book.bench)
    second = given(links, book, book.bench)
    assert client.get(f"/for/{first}").status_code == 404
    assert client.get(f"/for/{second}").status_code == 200
    with book.store.session() as session:
        links.take_back(session, book.bench)
    assert client.get(f"/for/{second}").status_code == 404


def test_a_client_with_several_pieces_has_one_link_to_all_of_them(guarded, links, book):
    with book.store.session() as session:
        ottilie = Client(name="Ottilie")
        session.add(ottilie)
        session.get_one(PieceRow, book.bench).client = ottilie
        session.flush()
        token = links.make(session, of_client(ottilie.id))
        ottilie_id = ottilie.id
    client = guarded.test_client()

    def read(path):
        return client.get(f"/for/{token}{path}")

    document = read("").get_data(as_text=True)
    assert "Your pieces" in document
    assert "Hall bench" in document
    assert "chest" not in document
    assert read(f"/{book.bench}/sheet.pdf").status_code == 200
    assert read(f"/{book.chest}").status_code == 404
    # A piece that comes later is seen too, and each leads back to the others.
    with book.store.session() as session:
        session.get_one(PieceRow, book.chest).client_id = ottilie_id
    assert "chest" in read("").get_data(as_text=True)
    assert f'href="/for/{token}">Your pieces' in read(f"/{book.chest}").get_data(as_text=True)
    with book.store.session() as session:
        erase_client(session, session.get_one(Client, ottilie_id))
    assert [read(path).status_code for path in ("", f"/{book.bench}", f"/{book.bench}/sheet.pdf")] == [
        404
    ] * 3


def test_a_link_can_not_be_turned_to_another_piece(guarded, links, book):
    token = given(links, book, book.bench)
    forged = Links("another key").make
    with book.store.session() as session:
        other = forged(session, book.chest)
    client = guarded.test_client()
    assert client.get(f"/for/{other}").status_code == 404
    # Of the last letter of a signature some bits mean nothing; the tenth before it means all of its own.
    forged_token = f"{token[:-10]}{'a' if token[-10] != 'a' else 'b'}{token[-9:]}"
    assert client.get(f"/for/{forged_token}").status_code == 404
    assert client.get(f"/for/{'a' * 5000}").status_code == 404


# ---------------------------------------------------------------- links that clients can follow


@pytest.fixture
def link_page(book, now):
    """The page of the bench's link, as asked by an address of the dashboard."""

    def ask(base_url="http://127.0.0.1:8050", **options):
        client = build_app(book.store, lambda: now, password=PASSWORD, **options).server.test_client()

        def page(base_url=base_url):
            client.post("/enter", data={"password": PASSWORD}, base_url=base_url)
            return client.get(f"/piece/{book.bench}/client", base_url=base_url).get_data(as_text=True)

        return page

    return ask


def test_a_link_that_would_lead_to_the_clients_own_device_is_refused_with_the_reason(book, links, link_page):
    page = link_page()
    for is_given in (False, True):
        if is_given:
            given(links, book, book.bench)
        for host in ("127.0.0.1:8050", "localhost", "[::1]:8050", "127.9.9.9", "0.0.0.0"):
            shown = page(f"http://{host}")
            assert "would lead clients to their own device" in shown, host
            assert "PANELTIDE_PUBLIC_URL" in shown
            assert "/for/" not in shown
            assert "Give a link" not in shown
            assert "QR code" not in shown
            assert ("Take the link back" in shown) == is_given


def test_a_link_leads_where_clients_reach_the_pages_and_can_be_copied(book, links, link_page):
    given(links, book, book.bench)
    page = link_page(public_url="https://shop.example/wood/")()
    (url,) = set(re.findall(r'href="(https://shop\.example/wood/for/[^"]+)"', page))
    assert "Copy the link" in page
    assert f"QR code of {url}" in page
    assert "127.0.0.1" not in page


def test_a_link_that_works_at_home_only_says_so(book, links, link_page):
    given(links, book, book.bench)
    page = link_page("http://192.168.1.20:8050")()
    assert "http://192.168.1.20:8050/for/" in page
    assert "works inside your own network only" in page


def test_no_square_code_leads_to_this_machine(book):
    with book.store.session() as session:
        with pytest.raises(BadInput, match="no client could follow it"):
            keep_contact(session, "The bench by the river", "", "http://localhost:8050/")
        kept = {"name": "The bench by the river", "line": "", "link": "http://127.0.0.1:8050/"}
        session.merge(Preference(name="contact", value=kept))
    with book.store.session() as session:
        assert contact_of(session).link == ""
