"""Pages kept for a moment: made once for many who ask at once, and anew when the book changes."""

import threading

from dashboard.shell import page_cache as module
from dashboard.shell.app import build_app
from dashboard.shell.page_cache import Fresh
from model.records.schema.tables import PieceRow, Preference


def test_what_is_kept_is_made_anew_once_anybody_writes(book):
    made: list[int] = []

    def make() -> int:
        made.append(len(made))
        return made[-1]

    fresh = Fresh(book.store)
    assert [fresh.of("today", make), fresh.of("today", make)] == [0, 0]
    assert fresh.of("stock", make) == 1
    with book.store.session() as session:
        session.add(Preference(name="quiet", value={}))
    assert fresh.of("today", make) == 2


def test_nothing_is_kept_for_longer_than_its_moment(book, monkeypatch):
    made: list[int] = []
    monkeypatch.setattr(module, "KEPT_S", -1.0)
    fresh = Fresh(book.store)
    for _ in range(3):
        fresh.of("today", lambda: made.append(1))
    assert len(made) == 3


def test_many_who_ask_at_once_share_one_making(book):
    began, let_go, made = threading.Event(), threading.Event(), []

    def make() -> str:
        made.append(1)
        began.set()
        let_go.wait(120)
        return "page"

    fresh = Fresh(book.store)
    threads = [threading.Thread(target=fresh.of, args=("today", make)) for _ in range(8)]
    for thread in threads:
        thread.start()
    assert began.wait(120)
    let_go.set()
    for thread in threads:
        thread.join(120)
    assert len(made) == 1


def test_a_change_of_the_book_is_on_the_next_page(book, now):
    client = build_app(book.store, lambda: now).server.test_client()
    assert "Hall bench" in client.get("/").get_data(as_text=True)
    with book.store.session() as session:
        session.get_one(PieceRow, book.bench).name = "Boot bench"
    assert "Boot bench" in client.get("/").get_data(as_text=True)
    assert "66\u00a0°F" in client.get("/").get_data(as_text=True)
    assert "19\u00a0°C" in client.get("/?units=metric").get_data(as_text=True)
