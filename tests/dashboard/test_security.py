"""Who may look, and what another site can't do."""

import re

import pytest

from dashboard.app import build_app
from dashboard.links import Links
from dashboard.security import FREE_TRIES, Tries
from dashboard.signing import signing_key


@pytest.fixture
def guarded(book, now):
    return build_app(book.store, lambda: now, password="linseed").server


def enter(client, password: str, **more):
    return client.post("/enter?next=/pieces", data={"password": password}, **more)


def test_without_the_password_nothing_is_shown(guarded):
    client = guarded.test_client()
    answer = client.get("/pieces")
    assert answer.status_code == 302
    assert answer.headers["Location"] == "/enter?next=%2Fpieces"
    for path in ("/_dash-layout", "/_dash-dependencies"):
        assert client.get(path).status_code == 401
    assert client.post("/_dash-update-component", json={}).status_code == 401
    assert client.get("/piece/1/piece.toml").status_code == 302


def test_the_right_password_opens_and_leaving_closes(guarded):
    client = guarded.test_client()
    answer = enter(client, "linseed")
    assert answer.headers["Location"] == "/pieces"
    assert "Hall bench" in client.get("/").get_data(as_text=True)
    client.post("/leave")
    assert client.get("/").status_code == 302


def test_a_wrong_password_is_said_and_slowed_down(guarded):
    client = guarded.test_client()
    for _ in range(FREE_TRIES):
        answer = enter(client, "shellac")
        assert answer.status_code == 403
        assert "That is not the password." in answer.get_data(as_text=True)
    answer = enter(client, "linseed")
    assert answer.status_code == 429
    assert "Too many tries" in answer.get_data(as_text=True)


def test_tries_wait_longer_and_longer_and_are_forgiven():
    seconds = [0.0]
    tries = Tries(lambda: seconds[0])
    for _ in range(FREE_TRIES):
        assert tries.wait_s("a") == 0.0
        tries.failed("a")
    first = tries.wait_s("a")
    assert first > 0.0
    assert tries.wait_s("b") == 0.0
    seconds[0] += first
    assert tries.wait_s("a") == 0.0
    tries.failed("a")
    assert tries.wait_s("a") > first
    tries.forget("a")
    assert tries.wait_s("a") == 0.0


def test_tries_remember_no_more_than_they_must():
    tries = Tries(lambda: 0.0)
    for number in range(3 * Tries.REMEMBERED):
        tries.failed(str(number))
    assert len(tries._failed) == Tries.REMEMBERED


@pytest.mark.parametrize(
    "next_", ["//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example"]
)
def test_entering_leads_to_no_other_site(guarded, next_):
    client = guarded.test_client()
    answer = client.post("/enter", query_string={"next": next_}, data={"password": "linseed"})
    assert answer.headers["Location"] == "/"


def test_the_session_cookie_is_out_of_reach_of_scripts_and_other_sites(guarded):
    plain = enter(guarded.test_client(), "linseed").headers["Set-Cookie"]
    assert "HttpOnly" in plain
    assert "SameSite=Lax" in plain
    assert "Secure" not in plain
    over_tls = enter(guarded.test_client(), "linseed", base_url="https://localhost").headers["Set-Cookie"]
    assert "Secure" in over_tls


def test_a_session_of_another_password_is_none(book, now, guarded):
    client = guarded.test_client()
    enter(client, "linseed")
    cookie = client.get_cookie("paneltide")
    other = build_app(book.store, lambda: now, password="tung").server.test_client()
    other.set_cookie("paneltide", cookie.value)
    assert other.get("/").status_code == 302


def test_a_hashed_password_is_good_too(book, now):
    from werkzeug.security import generate_password_hash

    server = build_app(book.store, lambda: now, password=generate_password_hash("linseed")).server
    assert enter(server.test_client(), "linseed").status_code == 302
    assert enter(server.test_client(), "wrong").status_code == 403


def test_health_can_be_asked_without_a_password(guarded):
    assert guarded.test_client().get("/healthz").status_code == 200


def test_without_a_password_only_names_of_this_machine_are_answered(book, now):
    client = build_app(book.store, lambda: now).server.test_client()
    assert client.get("/", base_url="http://127.0.0.1:8050").status_code == 200
    assert client.get("/", base_url="http://[::1]:8050").status_code == 200
    refused = client.get("/", base_url="http://shop.elsewhere.example:8050")
    assert refused.status_code == 403
    assert "without a password" in refused.get_data(as_text=True)


def test_every_answer_is_headed(guarded):
    headers = guarded.test_client().get("/enter").headers
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert "unsafe-inline" not in re.search(r"script-src[^;]*", headers["Content-Security-Policy"])[0]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


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
    answer = client.get(f"/for/{given(links, book, book.bench)}")
    document = answer.get_data(as_text=True)
    assert answer.status_code == 200
    assert "Hall bench" in document
    assert "chest" not in document
    assert 'href="/' not in document.split("</head>")[1]
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


def test_a_link_can_not_be_turned_to_another_piece(guarded, links, book):
    token = given(links, book, book.bench)
    forged = Links("another key").make
    with book.store.session() as session:
        other = forged(session, book.chest)
    client = guarded.test_client()
    assert client.get(f"/for/{other}").status_code == 404
    assert client.get(f"/for/{token[:-1]}x").status_code == 404
    assert client.get(f"/for/{'a' * 5000}").status_code == 404
