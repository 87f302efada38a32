"""Sixty pieces in twelve homes, found by name, client, place, wood and standing; a thousand on pages."""

import re
from datetime import timedelta
from types import SimpleNamespace

import pytest

from dashboard.pages.lumber import stock
from dashboard.pages.sensors import sensors
from dashboard.pages.shop import today, warnings
from dashboard.shell.app import build_app
from dashboard.shell.static_html import text_of
from dashboard.shell.view import Context, View
from model.records.acts import book as records
from model.records.queries import overview as queries
from model.records.schema.tables import PieceRow, Place, Sensor, Stack, Verdict, Warning
from model.wood.piece import read_piece
from model.words.display import Display

pytestmark = pytest.mark.slow

PIECE = """
[piece]
name = "{name}"
client = "{client}"
[part.panel]
species = "{wood}"
cut = "flat-sawn"
width = "12in"
mc_pct = 8
thickness = "1/2in"
"""
WOODS = ("black walnut", "white ash", "hard maple")


@pytest.fixture
def many(book, now) -> SimpleNamespace:
    """Sixty pieces in twelve homes, of three woods, for six clients; every fifth is near a limit."""
    since = now - timedelta(days=20)
    with book.store.session() as session:
        homes = [Place(name=f"House {n:02}", kind="home", zone="America/New_York") for n in range(12)]
        session.add_all(homes)
        session.flush()
        for n in range(60):
            text = PIECE.format(name=f"Case {n:02}", client=f"Client {n % 6}", wood=WOODS[n % 3])
            row = records.add_piece(session, read_piece(text, "t"), homes[n % 12], since)
            verdict = Verdict(
                subject_kind="piece",
                subject_id=row.id,
                verdict="near" if n % 5 == 0 else "clear",
                since_at=now,
                evaluated_at=now,
                state_at=since,
                detail={"key": "told", "text": "little left"},
            )
            session.add(verdict)
    return book


def read(book, now, path: str) -> str:
    document = build_app(book.store, lambda: now).server.test_client().get(path).get_data(as_text=True)
    return document[document.index("<main") : document.index("</main>")]


def found(document: str) -> list[str]:
    return re.findall(r"<b>(Case \d\d)</b>", document)


def test_a_piece_is_found_by_its_name_its_client_its_place_and_its_wood(many, now):
    assert found(read(many, now, "/pieces?find=case+07")) == ["Case 07"]
    theirs = found(read(many, now, "/pieces?client=Client+1&place=House+01"))
    assert sorted(theirs) == [f"Case {n:02}" for n in (1, 13, 25, 37, 49)]
    assert theirs[0] == "Case 25"  # near a limit, so first
    assert len(found(read(many, now, "/pieces?wood=hard+maple"))) == 20
    assert len(found(read(many, now, "/pieces?wood=sugar+maple"))) == 20
    assert len(found(read(many, now, "/pieces?find=hard+maple"))) == 20
    assert len(found(read(many, now, "/pieces?find=walnut"))) == 20
    assert found(read(many, now, "/pieces?find=teak")) == []


def test_the_first_line_says_how_many_were_found(many, now):
    assert "<h1>Five of 62 pieces.</h1>" in read(many, now, "/pieces?client=Client+1&place=House+01")
    assert "<h1>62 pieces are followed.</h1>" in read(many, now, "/pieces")


def test_the_form_needs_no_script_and_keeps_what_was_asked(many, now):
    document = read(many, now, "/pieces?find=case&wood=white+ash&show=near")
    (form,) = re.findall(r"<form [^>]*>", document)
    assert 'action="/pieces"' in form
    assert 'method="GET"' in form
    assert '<input id="pieces-find" name="find" value="case">' in document
    assert '<option value="white ash" selected>white ash</option>' in document
    assert re.search(r'<label for="pieces-wood">Wood</label>', document)


def test_what_is_archived_is_found_apart_and_offered_back(many, now):
    with many.store.session() as session:
        case = session.query(PieceRow).filter_by(name="Case 07").one()
        records.retire(session, case, now)
    assert "Case 07" not in read(many, now, "/pieces?find=case")
    archived = read(many, now, "/pieces?show=archived")
    assert found(archived) == ["Case 07"]
    assert "<h1>One archived piece.</h1>" in archived
    assert "Follow it again" in archived


def test_of_more_than_sixty_the_rest_stands_on_the_next_page(many, now):
    first, second = read(many, now, "/pieces"), read(many, now, "/pieces?show=all&page=2")
    names = found(first) + found(second)
    assert len(set(names)) == len(names) == 60
    assert 'href="/pieces?show=all&amp;page=2">60 after</a>' in first
    assert "Page 2 of 2" in second


def test_fourteen_places_are_a_line_each(many, now):
    document = read(many, now, "/places")
    assert "place-rule" not in document
    assert document.count('class="row"') == 14
    assert re.search(r"House 00.*?Five pieces, the worst near a limit", document)


def test_sixty_pieces_are_told_of_in_few_lines_on_the_first_page(many, now):
    document = read(many, now, "/")
    assert document[document.index('class="note"') : document.index("Coming</h2>")].count("<li>") <= 16


def test_many_silent_homes_take_four_lines_of_the_first_page(book, now):
    def silent(n: int) -> queries.PieceNow:
        nothing = queries.Judgement("unknown", {"key": "told", "text": f"nothing came from House {n % 12}"})
        house = queries.PlaceNow(n % 12 + 1, f"House {n % 12}", "home", "UTC", judgement=nothing)
        return queries.PieceNow(n, f"Case {n}", {}, house, None, judgement=nothing)

    view = View(Context(book.store, lambda: now), Display(), now)
    lines = today._not_known([silent(n) for n in range(60)], view)
    assert len(lines) == today.SILENT + 1
    told = text_of(lines[-1])
    assert "45 more" in told
    assert "at nine places that say nothing." in told
    assert len(today._not_known([silent(n) for n in range(4)], view)) == 4


def test_the_worst_stands_first_on_sensors_stock_and_warnings(book, now):
    view = View(Context(book.store, lambda: now), Display("inch"), now)
    with view.store.session() as session:
        silent = session.query(Sensor).filter_by(name="flat shelf").one()
        heard = session.query(Sensor).filter_by(name="bench").one()
        damp = Stack(name="Zebra pile", document={"species": "ash", "thickness_mm": 25.4}, start_at=view.now)
        damp.start_mc_pct = 14.0
        session.add(damp)
        session.flush()
        judged = (("sensor", silent, "unknown"), ("sensor", heard, "clear"), ("stack", damp, "past"))
        for kind, one, verdict in judged:
            detail = {"key": "told", "text": "so it is"}
            more = {"since_at": view.now, "evaluated_at": view.now, "detail": detail}
            session.add(Verdict(subject_kind=kind, subject_id=one.id, verdict=verdict, **more))
        for days, tier, piece in ((9, "morning", book.chest), (1, "week", book.bench)):
            session.add(
                Warning(
                    subject_kind="piece",
                    subject_id=piece,
                    tier=tier,
                    from_verdict="clear",
                    to_verdict="past",
                    detail={},
                    opened_at=view.now - timedelta(days=days),
                )
            )
    for layout, first, then in (
        (sensors.layout, "flat shelf", "bench"),
        (stock.layout, "Zebra pile", "Maple, spring batch"),
        # What harms has waited for longer, and still comes before what only shows.
        (warnings.layout, "chest", "Hall bench"),
    ):
        told = text_of(layout(view)).split("Record a stack")[0]
        assert told.rindex(first) < told.index(then)
