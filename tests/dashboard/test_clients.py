"""Clients as a maker keeps them: recorded with a piece or by hand, corrected, archived, saved and erased."""

import json
import re
from html import unescape

import pytest

from dashboard.forms import acts
from dashboard.forms.correcting import NEW
from dashboard.pages.pieces import clients, record
from dashboard.pages.places import place_edit
from dashboard.shell.app import build_app
from dashboard.shell.view import Context, View
from model.records.acts.book import load_piece
from model.records.acts.clients import LINK, known_client
from model.records.schema.tables import Client, PieceRow, Place, Preference
from model.wood.errors import BadInput
from model.wood.piece import write_piece
from model.words.display import Display

OTTILIE = {"name": "Ottilie", "reach": "555-0142", "note": ""}


@pytest.fixture
def view(book, now) -> View:
    return View(Context(book.store, lambda: now), Display("metric"), now)


@pytest.fixture
def ottilie(view) -> int:
    return number(clients.EDIT.save(NEW, OTTILIE, view))


def number(act: acts.Act) -> int:
    return int(act.href.rsplit("/", 1)[1])


def read(view: View, path: str) -> str:
    app = build_app(view.store, view.context.now)
    document = app.server.test_client().get(path).get_data(as_text=True)
    main = document[document.index("<main") : document.index("</main>")]
    return unescape(re.sub(r"\s+", " ", re.sub("<[^>]*>", "", main)))


def draft(name: str, client: str, place: int) -> dict:
    part = {"name": "panel", "species": "white ash", "cut": "flat-sawn", "width": "300", "thickness": "16"}
    return {
        "units": "metric",
        "piece": {"name": name, "client": client, "place": str(place), "since": "2026-02-01"},
        "members": [{**part, "mc_pct": "8", "face": "none"}],
        "fits": [],
    }


def give(view: View, client_id: int, noun: str, which: int) -> acts.Act:
    return clients.give(client_id, {"what": f"{noun}:{which}"}, view)


def test_a_client_has_several_pieces_and_homes_and_each_page_leads_to_the_other(view, book, ottilie):
    give(view, ottilie, "piece", book.bench)
    give(view, ottilie, "home", book.flat)
    page = read(view, f"/client/{ottilie}")
    assert "555-0142" in page
    assert "Hall bench" in page
    assert "Link to this piece, client sheet" in page
    assert "Dry flat" in page[page.index("Homes") :]
    assert "For Ottilie, at " in read(view, f"/piece/{book.bench}")
    assert "For Ottilie" in read(view, f"/place/{book.flat}")
    listed = read(view, "/clients")
    assert "One client" in listed
    assert "Ottilie, one piece and one home555-0142" in listed


def test_a_piece_recorded_for_somebody_new_records_them_and_undo_takes_both_out(view, book):
    act = record.save(draft("Stool", "  Bram ", book.flat), None, view)
    again = record.save(draft("Bench", "bram", book.flat), None, view)
    with view.store.session() as session:
        bram = session.get_one(PieceRow, number(act)).client
        assert (bram.name, {piece.name for piece in bram.pieces}) == ("Bram", {"Stool", "Bench"})
    # The bench names him since: he stays when the stool goes, and goes with the bench.
    acts.take_back(view, act.undo)
    with view.store.session() as session:
        assert known_client(session, "Bram") is not None
    with view.store.session() as session:
        session.delete(session.get_one(PieceRow, number(again)))
    third = record.save(draft("Table", "Dov", book.flat), None, view)
    acts.take_back(view, third.undo)
    with view.store.session() as session:
        assert known_client(session, "Dov") is None


def test_a_piece_file_names_the_client_who_is_renamed_everywhere_at_once(view, book, ottilie):
    give(view, ottilie, "piece", book.bench)
    clients.EDIT.save(ottilie, {"name": "Ottilie and Bram", "reach": "555-0142", "note": ""}, view)
    with view.store.session() as session:
        text = write_piece(load_piece(session, session.get_one(PieceRow, book.bench)))
    assert 'client = "Ottilie and Bram"' in text


def test_a_home_names_its_client_where_it_is_corrected(view, book):
    with view.store.session() as session:
        place = session.get_one(Place, book.flat)
        typed = {"name": place.name, "kind": "home", "zone": place.zone, "client": "Dov", "iron": "no"}
    act = place_edit.EDIT.save(book.flat, typed, view)
    with view.store.session() as session:
        assert session.get_one(Place, book.flat).client.name == "Dov"
    acts.take_back(view, act.undo)
    with view.store.session() as session:
        assert session.get_one(Place, book.flat).client is None
        assert known_client(session, "Dov") is None


def test_an_archived_client_comes_back_and_their_pieces_are_followed_meanwhile(view, book, ottilie):
    give(view, ottilie, "piece", book.bench)
    clients.archive(ottilie, {}, view)
    assert "See one archived client" in read(view, "/clients")
    assert "Ottilie" in read(view, "/clients?show=archived")
    with view.store.session() as session:
        assert session.get_one(PieceRow, book.bench).retired_at is None
    act = clients.restore(ottilie, {}, view)
    assert "One client" in read(view, "/clients")
    acts.take_back(view, act.undo)
    assert "Ottilie" in read(view, "/clients?show=archived")


def test_erasing_leaves_nothing_of_them_and_can_be_undone(view, book, ottilie):
    give(view, ottilie, "piece", book.bench)
    give(view, ottilie, "home", book.flat)
    link = LINK.format(book.bench)
    with view.store.session() as session:
        session.add(Preference(name=link, value={"serial": "1"}))
    act = clients.erase(ottilie, {}, view)
    with view.store.session() as session:
        assert session.get(Client, ottilie) is None
        assert session.get(Preference, link) is None
        assert session.get_one(PieceRow, book.bench).client is None
    assert "Ottilie" not in read(view, f"/piece/{book.bench}")
    assert acts.take_back(view, act.undo).says == "Ottilie is in the book again."
    with view.store.session() as session:
        back = session.get_one(Client, ottilie)
        assert (back.reach, [one.id for one in back.pieces], [one.id for one in back.homes]) == (
            "555-0142", [book.bench], [book.flat],
        )  # fmt: skip
        assert session.get(Preference, link) is not None


def test_all_that_is_kept_of_a_client_is_saved_in_one_file(view, book, ottilie):
    give(view, ottilie, "piece", book.bench)
    give(view, ottilie, "home", book.flat)
    app = build_app(view.store, view.context.now)
    kept = json.loads(app.server.test_client().get(f"/client/{ottilie}/client.json").get_data())
    assert kept["client"] == OTTILIE
    assert [home["name"] for home in kept["homes"]] == ["Dry flat"]
    assert kept["pieces"][0]["piece"] == {"name": "Hall bench", "client": "Ottilie"}
    assert kept["pieces"][0]["stood"][0]["place"] == "Shop"
    assert app.server.test_client().get("/client/999/client.json").status_code == 404


def test_two_clients_of_one_name_are_refused_and_a_client_with_a_piece_is_not_undone(view, book, ottilie):
    with pytest.raises(BadInput, match="must not be taken yet"):
        clients.EDIT.save(NEW, OTTILIE, view)
    act = clients.EDIT.save(NEW, {**OTTILIE, "name": "Bram"}, view)
    give(view, number(act), "piece", book.bench)
    with pytest.raises(BadInput, match="has pieces since"):
        acts.take_back(view, act.undo)
