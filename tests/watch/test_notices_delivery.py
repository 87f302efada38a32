"""Notices reach their addresses: one that fails, is killed over or breaks keeps nobody else from hearing."""

import json
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from model.records.schema.tables import Notice, Warning
from model.records.store import Store
from model.watch.tell.notice_text import message
from model.watch.tell.notices import (
    LEASE,
    MOST_TRIES,
    WAITS,
    failing,
    plan,
    run,
    send_by_apprise,
    send_due,
    send_test,
)
from model.wood.errors import BadInput
from tests.watch.notice_post import (
    HOOK,
    MAIL,
    MONDAY,
    ROOT,
    Post,
    gone_past,
    tell,
    told_at_any_hour,
    warn,
)


@pytest.fixture
def shop(make_shop: Callable[[], Any]) -> Any:
    return told_at_any_hour(make_shop)


def test_a_failing_address_is_retried_ever_later_then_shown(shop: Any):
    warn(shop)
    plan(shop.store, MONDAY, [MAIL])
    post = Post("connection refused")
    now, tries = MONDAY, 0
    for wait in (*WAITS, timedelta(days=1), timedelta(days=9)):
        send_due(shop.store, now, [MAIL], post)
        (row,) = shop.rows(Notice)
        if tries < MOST_TRIES:
            assert row.tries == tries + 1
            send_due(shop.store, now + timedelta(seconds=30), [MAIL], post)
            assert shop.rows(Notice)[0].tries == tries + 1
        tries, now = row.tries, now + wait
    assert tries == MOST_TRIES
    (shown,) = shop.change(failing)
    assert shown.given_up
    assert shown.problem == "connection refused"
    assert "secret" not in shown.address


def test_an_address_that_recovers_gets_what_waited(shop: Any):
    warn(shop)
    plan(shop.store, MONDAY, [MAIL])
    send_due(shop.store, MONDAY, [MAIL], Post("no route"))
    post = Post()
    assert send_due(shop.store, MONDAY + WAITS[0], [MAIL], post) == 1
    assert shop.change(failing) == []


def test_one_address_that_breaks_does_not_keep_the_others_from_hearing(shop: Any):
    warn(shop)
    plan(shop.store, MONDAY, [MAIL, HOOK])
    heard = []

    def send(address: str, _title: str, _body: str) -> str | None:
        if address == MAIL:
            raise OSError("the wire is cut")
        heard.append(address)
        return None

    send_due(shop.store, MONDAY, [MAIL, HOOK], send)
    assert heard == [HOOK]
    assert [one.problem for one in shop.change(failing)] == ["the wire is cut"]


def test_an_address_that_is_none_is_said_without_its_secret():
    with pytest.raises(BadInput) as said:
        send_test("nonsense://me:secret@x")
    assert "secret" not in str(said.value)
    post = Post()
    assert send_test(MAIL, post) is None
    assert post.sent[0][1] == "paneltide: a test"


def test_a_message_says_the_humidity_to_hold():
    lever = {"hold": "at or above", "advised_rh_pct": 31.0, "enough": True}
    warning = Warning(
        subject_kind="fit", limit_name="x",
        detail={"key": "told", "text": "the tongue leaves", "piece": "Door", "fit": "panel", "lever": lever},
    )  # fmt: skip
    _, body = message([("opened", warning)])
    assert "Hold the room at or above 31 %." in body


class _Takes(BaseHTTPRequestHandler):
    """A web hook that keeps what it is sent, or refuses it."""

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        server: Any = self.server
        server.heard.append(json.loads(body))
        self.send_response(server.status)
        self.end_headers()

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


@pytest.mark.parametrize(("status", "goes_out"), [(200, True), (500, False)])
def test_a_real_web_hook_hears_or_its_refusal_is_known(status: int, goes_out: bool):
    server: Any = HTTPServer(("127.0.0.1", 0), _Takes)
    server.status, server.heard = status, []
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        problem = send_by_apprise(f"json://127.0.0.1:{server.server_port}/shop", "A title", "A body")
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert (problem is None) is goes_out
    assert server.heard[0]["title"] == "A title"
    assert server.heard[0]["message"] == "A body"


def test_the_loop_plans_sends_and_stops(shop: Any):
    warn(shop)
    stop, post = threading.Event(), Post()

    def send(address: str, title: str, body: str) -> str | None:
        stop.set()
        return post(address, title, body)

    loop = threading.Thread(target=run, args=(shop.store, lambda: MONDAY, stop, [MAIL], 0.01, send))
    loop.start()
    loop.join(30)
    assert not loop.is_alive()
    assert len(post.sent) == 1


DYING = """
import os, signal, sys
from datetime import datetime
from model.records.store import Store
from model.watch.tell.notices import send_due

url, letters, when, now, address = sys.argv[1:]

def send(_address, _title, body):
    if when == "after":
        with open(letters, "a") as out:
            out.write(body)
    os.kill(os.getpid(), signal.SIGKILL)

send_due(Store(url), datetime.fromisoformat(now), [address], send)
"""


@pytest.mark.slow
@pytest.mark.parametrize("when", ["before", "after"])
def test_a_kill_while_sending_loses_nothing_and_says_that_it_may_repeat(shop: Any, tmp_path: Path, when: str):
    warn(shop)
    plan(shop.store, MONDAY, [MAIL])
    letters = tmp_path / "letters"
    asked = [str(shop.store.url), str(letters), when, MONDAY.isoformat(), MAIL]
    died = subprocess.run([sys.executable, "-c", DYING, *asked], cwd=ROOT, timeout=240, check=False)
    assert died.returncode == -signal.SIGKILL
    post = Post()
    assert send_due(shop.store, MONDAY + timedelta(seconds=1), [MAIL], post) == 0
    assert send_due(shop.store, MONDAY + LEASE, [MAIL], post) == 1
    assert post.sent[0][2].startswith("Sent again: ")
    assert send_due(shop.store, MONDAY + timedelta(days=1), [MAIL], post) == 0
    assert letters.exists() is (when == "after")


@pytest.mark.slow
@pytest.mark.parametrize("when", ["before", "after"])
def test_a_kill_while_past_is_told_neither_loses_it_nor_tells_it_as_new(shop: Any, tmp_path: Path, when: str):
    warning, post = warn(shop, escalated_at=MONDAY), Post()
    tell(shop, post, MONDAY)
    gone_past(shop, warning, MONDAY)
    past = MONDAY + timedelta(days=2)
    plan(shop.store, past, [MAIL])
    asked = [str(shop.store.url), str(tmp_path / "letters"), when, past.isoformat(), MAIL]
    died = subprocess.run([sys.executable, "-c", DYING, *asked], cwd=ROOT, timeout=240, check=False)
    assert died.returncode == -signal.SIGKILL
    for minute in range(5):
        tell(shop, post, past + LEASE + timedelta(minutes=minute))
    assert len(post.sent) == 2
    assert post.sent[1][2].startswith("Sent again: ")
    assert "It is past its limit now." in post.sent[1][2]
    assert [row.stage for row in shop.rows(Notice)] == ["escalated", "past"]


def test_a_crash_between_warning_and_planning_loses_nothing(shop: Any):
    warn(shop)
    again = Store(str(shop.store.url))
    assert plan(again, MONDAY, [MAIL]) == 1
    assert plan(shop.store, MONDAY, [MAIL]) == 0
    again.close()


def test_two_processes_send_one_message(shop: Any):
    warn(shop)
    other = Store(str(shop.store.url))
    plan(shop.store, MONDAY, [MAIL])
    post = Post()

    def send(address: str, title: str, body: str) -> str | None:
        # While this one sends, the other looks too.
        send_due(other, MONDAY, [MAIL], post)
        return post(address, title, body)

    send_due(shop.store, MONDAY, [MAIL], send)
    assert len(post.sent) == 1
    with other.session() as session:
        assert session.scalar(select(Notice.sent_at)) is not None
    other.close()
