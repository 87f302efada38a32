"""The dashboard as a browser first meets it, over its own test client."""

import base64
import hashlib
import json
import re

import pytest

from dashboard.shell.app import build_app
from model.records.schema.tables import PieceRow, Place, Stay, Verdict
from model.records.store import Store


@pytest.fixture
def client(book, now):
    return build_app(book.store, lambda: now).server.test_client()


def test_the_first_answer_can_be_read_without_scripts(client):
    document = client.get("/").get_data(as_text=True)
    assert "One piece is past a limit; for one piece the coming year isn" in document
    assert "Hall bench" in document


def test_a_name_is_shown_as_text_wherever_it_came_from(client):
    document = client.get("/").get_data(as_text=True)
    assert "Walnut &lt;b&gt;chest&lt;/b&gt;" in document
    assert "<b>chest" not in document


def test_the_layout_brings_the_page_the_browser_stands_on(client, book):
    layout = client.get("/_dash-layout", headers={"Referer": f"http://localhost/place/{book.flat}"})
    assert "Dry flat" in json.dumps(layout.get_json())


def test_units_follow_the_address_then_the_cookie_then_the_setting(client):
    assert "66\u00a0°F" in client.get("/").get_data(as_text=True)
    assert "19\u00a0°C" in client.get("/?units=metric").get_data(as_text=True)
    client.set_cookie("paneltide_units", "metric")
    assert "19\u00a0°C" in client.get("/").get_data(as_text=True)
    assert "66\u00a0°F" in client.get("/?units=inch").get_data(as_text=True)


def test_an_address_that_leads_nowhere_says_so(client):
    assert "There is no page at this address" in client.get("/chisels").get_data(as_text=True)
    assert "That is not in the book" in client.get("/piece/99").get_data(as_text=True)


def test_two_dashboards_live_in_one_process(book, now, tmp_path):
    other = Store(f"sqlite:///{tmp_path / 'other.sqlite'}")
    other.bring_up_to_date()
    full, bare = build_app(book.store, lambda: now), build_app(other, lambda: now)
    assert "Nothing is recorded yet." in bare.server.test_client().get("/").get_data(as_text=True)
    assert "Hall bench" in full.server.test_client().get("/").get_data(as_text=True)
    other.close()


def test_health_is_plain_json(client):
    answer = client.get("/healthz")
    assert answer.status_code == 200
    told = answer.get_json()
    assert told["ok"]
    assert told["broker_connected"]
    assert told["database_writable"]
    assert told["last_reading_at"] == "2026-02-10T14:00:00+00:00"
    assert told["last_evaluation_at"] == "2026-02-10T15:00:00+00:00"


def test_nothing_comes_from_another_address(client):
    document = client.get("/").get_data(as_text=True)
    assert "http://" not in document.replace("http://www.w3.org", "")
    assert "https://" not in document


def test_every_answer_carries_a_strict_policy(client):
    policy = client.get("/").headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self' 'sha256-" in policy
    assert "unsafe-eval" not in policy


def test_another_site_gives_no_orders(client):
    refused = client.post("/_dash-update-component", json={}, headers={"Origin": "http://elsewhere.example"})
    assert refused.status_code == 403


def test_a_large_shop_is_told_of_in_few_lines(book, now):
    with book.store.session() as session:
        bench = session.get_one(PieceRow, book.bench)
        for number in range(40):
            piece = PieceRow(
                name=f"Stool {number:02}", document={"name": f"Stool {number:02}"}, recorded_at=now
            )
            piece.stays.append(Stay(place_id=bench.stays[0].place_id, since_at=bench.stays[0].since_at))
            session.add(piece)
            session.flush()
            session.add(
                Verdict(
                    subject_kind="piece",
                    subject_id=piece.id,
                    verdict="near" if number < 20 else "clear",
                    since_at=now,
                    evaluated_at=now,
                    detail={"margin_mm": 1.0 - number / 100, "play_mm": 6.0},
                )
            )
    document = build_app(book.store, lambda: now).server.test_client().get("/").get_data(as_text=True)
    assert "20 are near a limit" in document
    assert "12 more" in document
    assert "All 42 pieces" in document
    # Those with least left come first.
    assert document.index("Stool 19") < document.index("Stool 18")


def test_of_many_places_the_first_page_draws_those_to_look_at_first(book, now):
    with book.store.session() as session:
        session.add_all(Place(name=f"Other home {n:02d}", kind="home", zone="UTC") for n in range(20))
    page = build_app(book.store, lambda: now).server.test_client().get("/").get_data(as_text=True)
    assert page.count('class="place-block"') == 8
    assert "All 22 places" in page
    assert "Other home 19" not in page
    assert "Dry flat" in page[page.index("The air") :]


def test_scripts_wait_until_the_page_is_drawn_and_are_allowed_to_run_then(client):
    answer = client.get("/")
    document = answer.get_data(as_text=True)
    assert re.findall(r'<script src="([^"]+)"', document) == ["/assets/page.js"]
    held = re.findall(r'<script type="text/plain" data-src="([^"]+)"', document)
    assert any("dash_renderer" in address for address in held)
    assert all(client.get(address).status_code == 200 for address in held)
    (start,) = re.findall(r'<script id="_dash-renderer" type="text/plain">(.*?)</script>', document)
    digest = base64.b64encode(hashlib.sha256(start.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in answer.headers["Content-Security-Policy"]
