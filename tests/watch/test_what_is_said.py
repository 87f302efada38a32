"""What a maker and a client read of a piece: nothing is called well that the year is likely to pass, nor what
isn't known, is being worked out, or was strained last spring. That every surface says the same is held in
contract/test_situations.py."""

import html
import re
import shutil
from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import update

from dashboard.pages.pieces.client import client_page
from dashboard.shell.app import build_app
from dashboard.shell.still_page import paper
from dashboard.shell.view import Context, View
from model.records.acts import measured
from model.records.queries import overview as queries
from model.records.schema.tables import MemberRow, Outlook, StaleHour
from model.records.store import Store
from model.watch.state.outlook_store import Outlooks
from model.words.display import Display
from tests.said import said

# The drawer bottom was cut with a slot too short for a year in the valley.
CHEST = """
[piece]
name = "Ash chest"
[part.bottom]
species = "white ash"
cut = "flat-sawn"
width = "16in"
mc_pct = 8.3
thickness = "3/8in"
[fit.drawer_bottom]
kind = "drawer-bottom"
part = "bottom"
slot_length = "8mm"
"""


def text_of(page: str) -> str:
    """What can be read in a page's own part."""
    own = page[page.index("<main") : page.index("</main>")] if "<main" in page else page
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", own))).replace("\u00a0", " ")


def read(shop, now, path="/"):
    client = build_app(shop.store, lambda: now).server.test_client()
    return text_of(client.get(path).get_data(as_text=True))


def on_client_page(shop, now):
    with shop.store.session() as session:
        view = View(Context(shop.store, lambda: now), Display("inch"), now)
        return text_of(paper("chest", client_page(queries.piece(session, 1, now), view)))


def chest_at(shop, days, rh_pct=45.0):
    """A chest that has stood in a home for some days of even air."""
    shop.place("Mill house", "home", zone="America/New_York")
    shop.sensor()
    shop.piece(CHEST)
    shop.send(shop.hourly(days * 24, 20.0, rh_pct))
    shop.evaluate(shop.hour(days * 24))
    return shop


@pytest.fixture(scope="module")
def chest_books(new_book, shop_of, tmp_path_factory):
    """Files of a chest that nothing is wrong with in a room at 45 %: without and with the day's outlook."""
    folder = tmp_path_factory.mktemp("chest")
    paths = folder / "without.sqlite", folder / "with.sqlite"
    store = new_book(paths[0])
    chest_at(shop_of(store), 10)
    store.close()
    shutil.copy(*paths)
    store = Store(f"sqlite:///{paths[1]}")
    Outlooks(store, years=50).refresh(shop_of(store).hour(240.5))
    store.close()
    return paths


@pytest.fixture
def chest(chest_books, store, shop_of):
    """The chest with the outlook of the day."""
    return copied(chest_books[1], store, shop_of)


@pytest.fixture
def shop_at_home(chest_books, store, shop_of):
    return copied(chest_books[0], store, shop_of)


def copied(path, store, shop_of):
    shutil.copy(path, str(store.url.database))
    shop = shop_of(store)
    return shop, shop.hour(240.5)


def outlook_of(shop, **of_it):
    """Write into the stored outlook what it says of the chest's one likely limit."""
    with shop.store.session() as session:
        row = session.get_one(Outlook, ("piece", 1, "rh_pct"))
        session.execute(
            update(Outlook)
            .where(Outlook.subject_kind == "piece", Outlook.quantity == "rh_pct")
            .values(detail={**row.detail, "next": [{**row.detail["next"][0], **of_it}] if of_it else []})
        )


@pytest.mark.slow
def test_one_limit_in_ten_years_is_no_alarm_and_one_in_two_is(chest):
    shop, now = chest
    outlook_of(shop, chance_pct=10.0)
    assert "nothing is likely to be within the year" in read(shop, now)
    assert "It is all right where it stands." in on_client_page(shop, now)
    outlook_of(shop, chance_pct=50.0)
    assert "reaches a limit" in read(shop, now)
    assert "all right" not in on_client_page(shop, now)


def test_without_an_outlook_the_year_is_said_to_be_unknown(shop_at_home):
    shop, now = shop_at_home
    assert "Nothing is wrong today; what the coming year brings isn't known yet." in read(shop, now)
    assert "The coming year is being worked out." in read(shop, now, "/piece/1")
    client = on_client_page(shop, now)
    assert "all right" not in client
    assert "How it will take the coming year isn't known yet." in client


def test_an_outlook_of_last_week_is_none(chest):
    shop, _ = chest
    shop.send(shop.hourly(100, 20.0, 45.0, first=240))
    shop.evaluate(shop.hour(340))
    assert "what the coming year brings isn't known yet" in read(shop, shop.hour(340.5))


def test_next_comes_first_by_likelihood_then_by_harm_then_by_day(chest):
    shop, now = chest
    with shop.store.session() as session:
        coming = queries.piece(session, 1, now).next
    assert coming
    for one in coming:
        assert one.chance_pct >= 10.0
        assert now < one.from_at <= one.until_at
        assert one.said_at == shop.hour(240)
    order = [(one.chance_pct < 50.0, one.severity != "harms", one.from_at) for one in coming]
    assert order == sorted(order)


# ---------------------------------------------------------------- while it is being worked out


def current(shop, now):
    with shop.store.session() as session:
        piece = queries.piece(session, 1, now)
    return piece.judgement.is_current, piece.judgement.verdict, piece.fits[0].judgement.verdict


def test_while_a_measurement_is_worked_in_there_is_no_answer_yet(chest):
    shop, now = chest
    assert current(shop, now) == (True, "clear", "clear")
    with shop.store.session() as session:
        body = session.get_one(MemberRow, 1)
        measured.record_measurement(session, body, "mc_pct", 11.5, shop.hour(200))
    assert current(shop, now) == (False, "unknown", "unknown")
    assert "One piece is being worked out." in read(shop, now)
    assert "no answer yet" in read(shop, now, "/piece/1")
    assert "How it stands is being worked out." in on_client_page(shop, now)
    shop.evaluate(shop.hour(240))
    assert current(shop, now)[0] is True


def test_readings_that_come_days_late_leave_no_old_answer_standing(chest):
    shop, now = chest
    shop.sensor("shelf")
    shop.send(shop.hourly(24 * 3, 20.0, 70.0, first=100), 2)
    assert current(shop, now)[0] is False
    assert "being worked out" in read(shop, now)
    shop.evaluate(shop.hour(240))
    assert shop.rows(StaleHour) == []
    assert current(shop, now)[0] is True


def test_the_readings_of_this_hour_are_no_reason_to_wait(chest):
    shop, now = chest
    shop.send(shop.hourly(1, 20.0, 45.0, first=240))
    assert shop.rows(StaleHour)
    assert current(shop, now)[0] is True


def test_an_answer_of_the_day_before_yesterday_is_none(chest):
    shop, now = chest
    later = now + timedelta(days=2)
    assert current(shop, later)[:2] == (False, "unknown")
    assert "calculations have stalled" in read(shop, later, "/piece/1").lower()
    assert "all right" not in on_client_page(shop, later)


# ---------------------------------------------------------------- what it went through


def test_a_limit_passed_last_winter_is_told_with_what_to_look_for(make_shop):
    shop = make_shop()
    shop.place("Mill house", "home", zone="America/New_York")
    shop.sensor()
    shop.piece(CHEST)
    rh_pct = np.where(np.arange(120 * 24) < 60 * 24, 15.0, 45.0)
    shop.send(shop.hourly(120 * 24, 20.0, rh_pct))
    shop.evaluate(shop.hour(120 * 24))
    now = shop.hour(120 * 24 + 0.5)
    with shop.store.session() as session:
        (span,) = queries.piece(session, 1, now).since
    assert (span.fit, span.limit, span.severity) == ("drawer_bottom", "slot-end-dry", "harms")
    assert span.worst_mm > 0.5
    assert shop.hour(0) < span.from_at < span.worst_at < span.until_at < now
    told = r"Drawer bottom went past a limit in dry air for \d+ days in (winter|spring): look for a split"
    assert re.search(told, read(shop, now, "/piece/1"))
    client = on_client_page(shop, now)
    assert re.search(r"In (winter|spring) it went further than it has room for at the bottom", client)
    assert "Look there for a split or an opened joint" in client


# ---------------------------------------------------------------- no play, and the first hour


def test_a_fit_built_with_no_play_is_never_easy(make_shop):
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.piece(CHEST.replace('slot_length = "8mm"', 'slot_length = "10mm"\nscrew_at = "1.76mm"\n'))
    shop.send(shop.hourly(20 * 24, 20.0, 36.0))
    shop.evaluate(shop.hour(20 * 24))
    verdict = shop.fit_verdicts()["drawer_bottom"]
    assert verdict.verdict == "near"
    assert said(verdict).endswith("it was built with none.")


def test_in_the_first_hour_a_place_that_was_heard_is_not_said_to_be_silent(make_shop):
    shop = make_shop()
    shop.place("Shop")
    shop.sensor()
    shop.piece(CHEST)
    shop.send([(shop.hour(k / 12 + 0.05), 20.9, 44.0) for k in range(3)])
    shop.evaluate(shop.hour(0.3))
    now = shop.hour(0.35)
    for path in ("/", "/place/1", "/piece/1"):
        page = read(shop, now, path)
        assert "has reported" not in page
        assert "first hour of readings from Shop isn't over yet" in page or path == "/"
    with shop.store.session() as session:
        assert queries.places(session, now)[0].judgement.since_at is None
        assert queries.piece(session, 1, now).judgement.since_at is None


def test_in_the_first_hours_one_page_gives_one_moisture_for_the_air(make_shop):
    shop = make_shop()
    shop.place("Shop")
    shop.sensor()
    shop.send([(shop.hour(k / 12 + 0.05), 20.9, 44.0 - 0.3 * k) for k in range(20)])
    shop.evaluate(shop.hour(1.7))
    page = read(shop, shop.hour(1.75), "/place/1")
    head = page[: page.index("The air through time")]
    told = set(re.findall(r"[Ww]ood (?:will )?settles? at (\d+\.\d)\s%", head))
    assert len(told) == 1
