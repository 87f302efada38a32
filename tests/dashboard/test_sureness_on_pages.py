"""What a client and a maker read of how sure a size is: its doubt, and that a figure is remembered."""

from dashboard.pages.pieces import client, gap
from dashboard.shell.static_html import text_of
from dashboard.shell.view import Context, View
from model.records.queries import overview as queries
from model.records.schema.tables import MemberRow
from model.words.display import Display

MEMORY = "How far Sitka spruce moves is from memory, unverified."


def view_of(book, now) -> View:
    return View(Context(book.store, lambda: now), Display("inch"), now, {})


def plain(page) -> str:
    return " ".join(text_of(page).replace("\u00a0", " ").split())


def read(book, piece_id, now):
    with book.store.session() as session:
        return queries.piece(session, piece_id, now)


def test_a_client_reads_a_gap_give_or_take(book, now):
    words = plain(client.client_page(read(book, book.chest, now), view_of(book, now)))
    assert ", give or take " in words
    assert "± " not in words


def test_a_remembered_figure_is_marked_where_a_client_or_maker_reads_its_gaps(book, now):
    pages = (
        lambda: client.client_page(read(book, book.chest, now), view_of(book, now)),
        lambda: gap.layout(view_of(book, now), book.chest),
    )
    assert not any(MEMORY in plain(page()) for page in pages)
    with book.store.session() as session:
        panel = session.get_one(MemberRow, book.chest_panel)
        panel.document = {**panel.document, "species": "Sitka spruce"}
    assert all(MEMORY in plain(page()) for page in pages)
