"""How sure a followed part's width is, and that the measurement which is asked for makes it surer."""

import pytest

from model.answers.doubts import PieceDoubts, piece_doubts
from model.records.acts import measured
from model.records.queries import overview as queries
from model.records.schema.tables import MemberRow
from model.watch.questions.piece_wood import doubts_of, governing_doubt_mm
from model.wood.doubt import SIZE_DOUBT_MM
from model.wood.piece import read_piece

BOARD = """
[piece]
name = "Board"
[part.board]
species = "black cherry"
cut = "flat-sawn"
width = "400mm"
mc_pct = 9.0
mc_basis = "assumed"
thickness = "12mm"
[fit.board]
kind = "panel-in-groove"
part = "board"
held = "centre"
sight_width = "385mm"
groove_depth = "12mm"
"""
DAYS = 40


def doubts(shop, hours: int) -> PieceDoubts:
    with shop.store.session() as session:
        piece = queries.piece(session, 1, shop.hour(hours))
        assert piece is not None
        return piece_doubts(read_piece(BOARD, "t"), piece)


@pytest.fixture
def board(make_shop):
    """A board whose moisture nobody metered, forty days in a dry room."""
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.piece(BOARD)
    shop.send(shop.hourly(24 * DAYS, 20.0, 32.0))
    shop.evaluate(shop.hour(24 * DAYS))
    return shop


def test_a_board_nobody_metered_is_surer_once_it_is_measured_as_the_page_asks(board):
    """2 points of an unmetered start are 400 mm x 0.00248 x 2 = 2.0 mm; a rule read today is a 64th."""
    before = doubts(board, 24 * DAYS)
    assert before.widths["board"].largest == "start"
    assert 2.0 < before.widths["board"].total < 2.6
    asked = before.advice["board"]
    assert asked.values["how"] == "start now"
    assert asked.values["then_mm"] == pytest.approx(SIZE_DOUBT_MM)

    def measure(session):
        body = session.get_one(MemberRow, 1)
        return measured.record_measurement(session, body, "width_mm", 396.0, board.hour(24 * DAYS), 0.4).id

    board.act(measure)
    board.evaluate(board.hour(24 * DAYS))
    after = doubts(board, 24 * DAYS)
    assert after.widths["board"].total == pytest.approx(asked.values["then_mm"], abs=0.05)
    assert after.of_fit("board") < before.of_fit("board") / 3.0


def test_what_is_left_in_a_groove_is_no_surer_than_the_board_in_it(board):
    now = doubts(board, 24 * DAYS)
    for limit in ("groove-bottom", "leaves-groove"):
        assert now.margins["board", limit].total == pytest.approx(now.widths["board"].total, rel=0.02)


def test_a_list_of_pieces_is_as_sure_of_what_is_left_as_the_pieces_own_page(board):
    now = board.hour(24 * DAYS)
    with board.store.session() as session:
        (listed,) = queries.with_sizes(session, queries.pieces(session, now, parts=False), now)
        alone = queries.piece(session, 1, now)
    limit = str(listed.judgement.detail["limit"])
    assert governing_doubt_mm(listed) == doubts_of(alone).margins["board", limit].total > 1.0
