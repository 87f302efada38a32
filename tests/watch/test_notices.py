"""Notices: due by tier and hour, sent once, retried, shown; and what a crash in between does."""

import re
import socket
import subprocess
import sys
import threading
import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import apprise
import pytest

from model.records.schema.tables import Notice
from model.watch.tell.notice_times import Hours, keep_hours
from model.watch.tell.notices import (
    masked,
    plan,
    send_due,
    send_test,
)
from tests.watch.notice_post import (
    ALL_DAY,
    HOOK,
    MAIL,
    MONDAY,
    ROOT,
    Post,
    change,
    gone_past,
    tell,
    told_at_any_hour,
    warn,
)


@pytest.fixture
def shop(make_shop: Callable[[], Any]) -> Any:
    return told_at_any_hour(make_shop)


def test_a_warning_is_told_once_however_often_it_is_looked_at(shop: Any):
    warn(shop)
    post = Post()
    for minute in range(5):
        now = MONDAY + timedelta(minutes=minute)
        plan(shop.store, now, [MAIL])
        send_due(shop.store, now, [MAIL], post)
    ((address, title, body),) = post.sent
    assert address == MAIL
    assert title == "paneltide: Chest, top drawer"
    assert "The drawer binds." in body


def test_each_address_hears_and_its_password_is_not_kept(shop: Any):
    warn(shop)
    post = Post()
    plan(shop.store, MONDAY, [MAIL, HOOK])
    assert send_due(shop.store, MONDAY, [MAIL, HOOK], post) == 2
    assert {address for address, *_ in post.sent} == {MAIL, HOOK}
    assert not any("secret" in row.address for row in shop.rows(Notice))
    assert masked(MAIL) != masked(MAIL.replace("secret", "other"))


def test_getting_worse_is_told_once_more(shop: Any):
    warning = warn(shop)
    post = Post()
    plan(shop.store, MONDAY, [MAIL])
    send_due(shop.store, MONDAY, [MAIL], post)
    later = MONDAY + timedelta(days=3)
    change(shop, warning, escalated_at=later, to_verdict="past")
    for _ in range(3):
        plan(shop.store, later, [MAIL])
        send_due(shop.store, later, [MAIL], post)
    assert len(post.sent) == 2
    assert "It has got worse" in post.sent[1][2]


def test_worse_before_it_was_told_is_told_as_worse_only(shop: Any):
    warning = warn(shop, tier="morning")
    plan(shop.store, MONDAY + timedelta(hours=9), [MAIL])
    change(shop, warning, escalated_at=MONDAY + timedelta(hours=12))
    plan(shop.store, MONDAY + timedelta(hours=12), [MAIL])
    post = Post()
    send_due(shop.store, MONDAY + timedelta(days=1, hours=8), [MAIL], post)
    assert len(post.sent) == 1
    assert len(shop.rows(Notice)) == 1


def test_what_was_told_as_worse_is_told_once_more_when_it_is_past(shop: Any):
    warning, post = warn(shop), Post()
    tell(shop, post, MONDAY)
    worse, past = MONDAY + timedelta(days=3), MONDAY + timedelta(days=9)
    change(shop, warning, escalated_at=worse)
    tell(shop, post, worse)
    gone_past(shop, warning, worse)
    for minute in range(3):
        tell(shop, post, past + timedelta(minutes=minute))
    assert [row.stage for row in shop.rows(Notice)] == ["opened", "escalated", "past"]
    assert len(post.sent) == 3
    assert "It is past its limit now. The drawer binds: 0.2 mm past." in post.sent[2][2]


def test_nothing_more_of_a_warning_is_told_within_a_day(shop: Any):
    warning, post = warn(shop, tier="morning"), Post()
    monday, tuesday = MONDAY + timedelta(hours=7, seconds=3), MONDAY + timedelta(days=1, hours=7)
    plan(shop.store, MONDAY, [MAIL])
    tell(shop, post, monday)
    change(shop, warning, escalated_at=monday)
    plan(shop.store, monday, [MAIL])
    assert tell(shop, post, tuesday) == 0
    assert tell(shop, post, monday + timedelta(days=1)) == 1
    gone_past(shop, warning, monday)
    assert tell(shop, post, monday + timedelta(days=1)) == 0
    assert tell(shop, post, tuesday + timedelta(days=1)) == 0
    assert tell(shop, post, monday + timedelta(days=2)) == 1
    assert "It is past" in post.sent[-1][2]


def test_past_before_the_worse_was_told_is_told_as_past_only(shop: Any):
    warning, post = warn(shop, tier="morning"), Post()
    plan(shop.store, MONDAY, [MAIL])
    change(shop, warning, escalated_at=MONDAY + timedelta(hours=1))
    plan(shop.store, MONDAY + timedelta(hours=1), [MAIL])
    gone_past(shop, warning, MONDAY + timedelta(hours=1))
    for hour in range(48):
        tell(shop, post, MONDAY + timedelta(hours=hour))
    assert [row.stage for row in shop.rows(Notice)] == ["past"]
    assert len(post.sent) == 1


def test_past_that_late_readings_take_back_is_not_told_as_anything_less(shop: Any):
    warning, post = warn(shop, escalated_at=MONDAY), Post()
    gone_past(shop, warning, MONDAY)
    tell(shop, post, MONDAY)
    change(shop, warning, to_verdict="near", detail={"piece": "Chest"})
    assert tell(shop, post, MONDAY + timedelta(days=2)) == 0
    change(shop, warning, escalated_at=None)
    assert tell(shop, post, MONDAY + timedelta(days=4)) == 0


def test_an_address_that_fails_meanwhile_hears_of_past_once(shop: Any):
    warning, post = warn(shop, escalated_at=MONDAY), Post()
    tell(shop, Post("no route"), MONDAY)
    gone_past(shop, warning, MONDAY)
    for hour in range(1, 72):
        tell(shop, post, MONDAY + timedelta(hours=hour))
    ((_, _, body),) = post.sent
    assert "It is past its limit now." in body


@pytest.mark.parametrize(
    "answer", [{"closed_at": MONDAY}, {"acknowledged_at": MONDAY, "trade_act": "eased it"}]
)
def test_what_was_answered_before_it_was_due_is_not_sent(shop: Any, answer: dict[str, Any]):
    warning = warn(shop, tier="morning")
    plan(shop.store, MONDAY + timedelta(hours=9), [MAIL])
    change(shop, warning, **answer)
    post = Post()
    plan(shop.store, MONDAY + timedelta(days=1, hours=8), [MAIL])
    send_due(shop.store, MONDAY + timedelta(days=1, hours=8), [MAIL], post)
    assert post.sent == []


def test_the_mornings_notices_come_as_one_message(shop: Any):
    for limit in ("binds", "gapes", "rattles"):
        warn(shop, limit, "morning")
    warn(shop, "glue-up", "now")
    plan(shop.store, MONDAY + timedelta(hours=1), [MAIL])
    post = Post()
    send_due(shop.store, MONDAY + timedelta(hours=1), [MAIL], post)
    assert len(post.sent) == 1
    send_due(shop.store, MONDAY + timedelta(hours=8), [MAIL], post)
    assert post.sent[1][1] == "paneltide: 3 things to look at"
    assert all(word in post.sent[1][2] for word in ("binds", "gapes", "rattles"))


def test_an_address_gets_the_tiers_it_wants(shop: Any):
    hours = Hours(quiet_from="00:00", quiet_until="00:00", tiers={HOOK: ("now",)})
    shop.change(lambda session: keep_hours(session, hours))
    warn(shop, "binds", "morning")
    warn(shop, "glue-up", "now")
    assert plan(shop.store, MONDAY, [MAIL, HOOK]) == 3


# ---------------------------------------------------------------- crashes


# ---------------------------------------------------------------- the end of it, and digests


def told(shop: Any, now: datetime, post: Post) -> list[tuple[str, str]]:
    """What goes out at an instant, as title and body."""
    before = len(post.sent)
    plan(shop.store, now, [MAIL])
    send_due(shop.store, now, [MAIL], post)
    return [(title, body) for _, title, body in post.sent[before:]]


@pytest.mark.parametrize("wanted", [True, False])
def test_a_maker_who_asks_for_it_hears_once_that_it_is_clear_again(shop: Any, wanted: bool):
    shop.change(lambda session: keep_hours(session, replace(ALL_DAY, clear_again=wanted)))
    post, later = Post(), MONDAY + timedelta(days=3)
    warning = warn(shop)
    assert len(told(shop, MONDAY, post)) == 1
    unheard = warn(shop, "rattles", at=MONDAY + timedelta(hours=1))
    for one in (warning, unheard):
        change(shop, one, closed_at=later)
    heard = [told(shop, later + timedelta(minutes=minute), post) for minute in range(3)]
    # Of the warning that came and went before it was told, there is no end to tell either.
    if wanted:
        assert [title for title, _ in heard[0]] == ["paneltide: Chest, top drawer, clear again"]
        assert "Clear again. It was: the drawer binds." in heard[0][0][1]
        assert not any(heard[1:])
    else:
        assert not any(heard)


def test_a_digest_is_one_message_a_day_with_what_stands_open_still(shop: Any):
    shop.change(lambda session: keep_hours(session, replace(ALL_DAY, digest="day")))
    post, noon = Post(), MONDAY + timedelta(hours=12)
    for limit, tier in (("binds", "week"), ("rattles", "morning")):
        warn(shop, limit, tier, noon)
    assert not told(shop, noon, post)
    ((title, body),) = told(shop, MONDAY + timedelta(days=1, hours=7), post)
    assert title == "paneltide: 2 things to look at"
    assert "The drawer binds." in body
    assert "The drawer rattles." in body
    warn(shop, "gapes", "season", MONDAY + timedelta(days=1, hours=12))
    urgent = MONDAY + timedelta(days=1, hours=13)
    warn(shop, "bursts", "now", urgent)
    ((_, body),) = told(shop, urgent, post)
    assert "bursts" in body
    assert "binds" not in body
    ((_, body),) = told(shop, MONDAY + timedelta(days=2, hours=7), post)
    assert "The drawer gapes." in body
    assert "Open still. Chest, top drawer: The drawer binds." in body
    assert not told(shop, MONDAY + timedelta(days=3, hours=7), post)


# ---------------------------------------------------------------- the guide's examples


def examples() -> list[str]:
    return re.findall(r"```\w*\n(.*?)```", (ROOT / "deploy/guide/notices.md").read_text(), re.DOTALL)


def test_the_guides_webhook_takes_a_notice_as_it_is_printed_there():
    mail, hook, program = examples()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    address = tomllib.loads(hook)["notify"].replace("1880", port)
    taking = subprocess.Popen(
        [sys.executable, "-c", program.replace("1880", port)], stdout=subprocess.PIPE, text=True
    )
    try:
        assert taking.stdout is not None
        heard, pause = send_test(address), threading.Event()
        for _ in range(600):
            if heard is None:
                break
            pause.wait(0.1)  # until the program listens
            heard = send_test(address)
        assert taking.stdout.readline() == "paneltide: a test\n"
        assert "notices reach you here" in taking.stdout.readline()
    finally:
        taking.terminate()
        taking.communicate()
    sent_by = apprise.Apprise.instantiate(tomllib.loads(mail)["notify"])
    assert (sent_by.smtp_host, sent_by.port, sent_by.secure_mode) == ("mail.example.org", 587, "starttls")
    assert (sent_by.user, sent_by.from_addr[1]) == ("maker", "shop@example.org")
    assert sent_by.targets == [(False, "me@example.org")]
