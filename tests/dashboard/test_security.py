"""Who may look, and what another site can't do."""

import base64
import http.client
import json
import re
import socket
import threading
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlencode

import pytest

from dashboard.shell.app import build_app, serve
from dashboard.shell.security import FREE_TRIES, Tries
from dashboard.shell.sessions import Sessions
from model.records.clock import machine_now
from model.records.schema.tables import Preference


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
    assert over_tls.startswith("__Host-paneltide=")
    assert "Path=/" in over_tls
    assert "Domain" not in over_tls
    within = guarded.test_client()
    enter(within, "linseed", base_url="https://localhost")
    assert within.get("/", base_url="https://localhost").status_code == 200


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


# ---------------------------------------------------------------- at the door, as it is served

PASSWORD = "linseed and tung"


@pytest.fixture
def served(book, now):
    """Serve the dashboard as in real use; a function from options to what asks it over a socket."""
    stops = []

    def start(**options):
        stop = threading.Event()
        app = build_app(book.store, lambda: now, **({"password": PASSWORD} | options))
        with socket.socket() as probe:  # last, so that nobody else is given the port meanwhile
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        thread = threading.Thread(target=serve, args=(app, "127.0.0.1", port, stop))
        thread.start()
        stops.append((stop, thread))
        for _ in range(6_000):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            threading.Event().wait(0.02)
        return Visitor(port)

    yield start
    for stop, thread in stops:
        stop.set()
        thread.join(120)


class Visitor:
    """Somebody who asks over a socket, with a cookie once one was given."""

    def __init__(self, port, cookie="", **headers):
        self.port, self.cookie, self.headers = port, cookie, headers

    def from_(self, **headers):
        return Visitor(self.port, self.cookie, **{name.replace("_", "-"): v for name, v in headers.items()})

    def ask(self, method, path, body="", **more):
        asking = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        headers = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": self.cookie}
        asking.request(method, path, body, headers | self.headers | more)
        answer = asking.getresponse()
        self.text = answer.read().decode()
        asking.close()
        return answer

    def enter(self, password=PASSWORD, next_=""):
        answer = self.ask("POST", f"/enter{next_}", urlencode({"password": password}))
        if answer.status == 302:
            self.cookie = answer.headers["Set-Cookie"].partition(";")[0]
        return answer


def test_a_page_elsewhere_can_not_lock_the_owner_out(served):
    shop = served()
    elsewhere = {"Origin": "http://elsewhere.example", "Sec-Fetch-Site": "cross-site"}
    for _ in range(3 * FREE_TRIES):
        assert shop.ask("HEAD", "/enter").status == 200
        assert shop.ask("HEAD", "/enter", **elsewhere).status == 200
        assert shop.ask("POST", "/enter", "password=wrong", **elsewhere).status == 403
        assert shop.ask("POST", "/enter", "password=wrong", Origin="null").status == 403
        assert shop.ask("POST", "/enter", "password=wrong", Referer="http://elsewhere.example/").status == 403
        assert shop.ask("POST", "/enter", "password=wrong", **{"Sec-Fetch-Site": "cross-site"}).status == 403
        assert shop.ask("GET", "/metrics", Authorization="Basic eDp3cm9uZw==").status in (401, 429)
    assert shop.enter().status == 302


def test_the_door_tells_a_stranger_nothing_of_what_runs_behind_it(served, book, now):
    stranger = served()
    assert "Server" not in stranger.ask("GET", "/enter").headers
    assert 'type="password" autocomplete="current-password"' in stranger.text
    assert build_app(book.store, lambda: now).server.debug is False
    proxy = (Path(__file__).parents[2] / "deploy" / "proxy" / "nginx.conf").read_text("utf-8")
    assert "Strict-Transport-Security" in proxy


@pytest.mark.slow
def test_wrong_tries_never_end_or_hinder_a_session_that_exists(served):
    owner = served()
    owner.enter()
    stranger = owner.from_()
    stranger.cookie = ""
    for _ in range(FREE_TRIES):
        stranger.enter("wrong words here")
    assert stranger.enter().status == 429
    assert owner.ask("GET", "/").status == 200
    assert owner.ask("GET", "/enter?next=/pieces").headers["Location"] == "/pieces"


def test_behind_the_named_proxy_each_client_is_counted_alone(served):
    shop = served(trusted_proxy="127.0.0.1")
    stranger = shop.from_(X_Forwarded_For="203.0.113.7")
    for _ in range(FREE_TRIES):
        stranger.enter("wrong words here")
    assert stranger.enter().status == 429
    # What a client claims of itself stands before what the proxy adds.
    assert shop.from_(X_Forwarded_For="198.51.100.1, 203.0.113.7").enter().status == 429
    assert shop.from_(X_Forwarded_For="198.51.100.1").enter().status == 302


def test_one_household_of_ipv6_is_one_client(served):
    shop = served(trusted_proxy="127.0.0.0/8, ::1")
    for number in range(FREE_TRIES):
        shop.from_(X_Forwarded_For=f"2001:db8::{number}").enter("wrong words here")
    assert shop.from_(X_Forwarded_For="2001:db8::ffff").enter().status == 429
    assert shop.from_(X_Forwarded_For="2001:db8:0:1::1").enter().status == 302


def test_who_is_no_named_proxy_is_not_believed(served):
    shop = served(trusted_proxy="192.0.2.1")
    for number in range(FREE_TRIES):
        shop.from_(X_Forwarded_For=f"203.0.113.{number}").enter("wrong words here")
    claimed = shop.from_(X_Forwarded_For="203.0.113.200", X_Forwarded_Proto="https")
    assert claimed.enter().status == 429


def test_behind_the_named_proxy_the_cookie_is_for_encrypted_lines(served):
    proxied, unnamed = served(trusted_proxy="127.0.0.1"), served()
    assert "Secure" in proxied.from_(X_Forwarded_Proto="https").enter().headers["Set-Cookie"]
    assert "Secure" not in proxied.enter().headers["Set-Cookie"]
    assert "Secure" not in unnamed.from_(X_Forwarded_Proto="https").enter().headers["Set-Cookie"]


CRAFTED = [
    "//evil.example",
    "/\\evil.example",
    "\\\\evil.example",
    "/\t/evil.example",
    "/\n/evil.example",
    "/\r\nSet-Cookie: x=y",
    "\t//evil.example",
    " //evil.example",
    "https:evil.example",
    "https://evil.example",
    "javascript:alert(1)",
    "data:text/html,x",
    "evil.example",
    "/\x00/evil.example",
    "/／evil.example",
    "",
]


@pytest.mark.slow
def test_a_crafted_next_never_leads_away_after_login(served):
    shop = served()
    for wanted in CRAFTED:
        stranger = shop.from_()
        answer = stranger.enter(next_="?" + urlencode({"next": wanted}))
        assert (answer.status, answer.headers["Location"]) == (302, "/"), wanted
        answer = stranger.ask("GET", "/enter?" + urlencode({"next": wanted}))
        assert (answer.status, answer.headers["Location"]) == (302, "/"), wanted


def test_after_login_the_page_asked_for_comes(served):
    answer = served().enter(next_="?" + urlencode({"next": "/piece/3?member=7&units=metric"}))
    assert answer.headers["Location"] == "/piece/3?member=7&units=metric"


def test_a_cookie_that_was_logged_out_is_dead(served):
    owner = served()
    owner.enter()
    stolen = owner.from_()
    assert stolen.ask("GET", "/").status == 200
    assert owner.ask("POST", "/leave").status == 302
    assert stolen.ask("GET", "/").status == 302
    assert stolen.ask("GET", "/_dash-layout").status == 401


def test_all_sessions_can_be_ended_from_settings(served, book):
    bench, phone = served(), None
    phone = bench.from_()
    bench.enter()
    phone.enter()
    bench.ask("GET", "/settings")
    assert "2 sessions are open" in bench.text
    assert "End all sessions" in bench.text
    assert bench.ask("POST", "/leave/everywhere", Origin="http://elsewhere.example").status == 403
    assert phone.ask("GET", "/").status == 200
    assert bench.ask("POST", "/leave/everywhere").headers["Location"] == "/enter"
    for visitor in (bench, phone):
        assert visitor.ask("GET", "/").status == 302
    stranger = bench.from_()
    stranger.cookie = ""
    assert stranger.ask("POST", "/leave/everywhere").status == 401


def test_a_copy_of_the_book_opens_no_door(served, book):
    owner = served()
    owner.enter()
    payload = owner.cookie.partition("=")[2].split(".")[0]
    session_id = json.loads(base64.urlsafe_b64decode(payload + "=="))["id"]
    with book.store.session() as session:
        kept = [row.name for row in session.query(Preference) if row.name.startswith("session ")]
    assert len(kept) == 1
    assert session_id not in kept[0]


def test_a_session_ends_after_two_weeks(book, monkeypatch):
    sessions = Sessions(book.store)
    old = sessions.open()
    assert sessions.knows(old)
    later = machine_now() + timedelta(days=14, seconds=1)
    monkeypatch.setattr("dashboard.shell.sessions.machine_now", lambda: later)
    assert not sessions.knows(old)
    sessions.open()
    assert sessions.count() == 1


def test_a_stranger_hears_only_whether_it_is_well(served):
    shop = served()
    assert shop.ask("GET", "/healthz").status == 200
    assert json.loads(shop.text) == {"ok": True}
    given = b64(f"monitor:{PASSWORD}")
    shop.ask("GET", "/healthz", Authorization=f"Basic {given}")
    assert json.loads(shop.text)["broker_connected"]
    assert shop.ask("GET", "/healthz", Authorization="Basic eDp3cm9uZw==").status == 401
    shop.enter()
    shop.ask("GET", "/healthz")
    assert json.loads(shop.text)["parts"]
    alone = served(password="")
    alone.ask("GET", "/healthz")
    assert json.loads(alone.text)["parts"]
    assert alone.ask("GET", "/healthz", Host="shop.elsewhere.example").status == 403


def b64(text):
    return base64.b64encode(text.encode()).decode()


def test_a_stranger_can_not_send_a_book_to_the_door(served):
    shop = served()
    assert shop.ask("POST", "/enter", "password=" + "x" * 100_000).status == 413
    assert shop.enter().status == 302
