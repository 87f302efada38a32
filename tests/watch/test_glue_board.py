"""The glue-up board as it is kept in the book: worked out when the hour, the book or a label changes."""

from datetime import timedelta

from model.answers.adhesives import Adhesive, keep_adhesive, make_usual_adhesive
from model.records.acts.invalidation import note_change
from model.watch.questions.glue_board import GlueBoard, glue_board


def test_it_is_worked_out_again_when_the_hour_the_book_or_the_labels_change(make_shop):
    shop = make_shop()
    place = shop.place("Shop", kind="shop")
    now = shop.hour(30)
    board = GlueBoard(shop.store)
    assert board.refresh(now) == 1
    assert board.refresh(now + timedelta(minutes=1)) == 0
    assert board.refresh(now + timedelta(hours=1)) == 1
    with shop.store.session() as session:
        note_change(session)
    assert board.refresh(now + timedelta(hours=1)) == 1
    with shop.store.session() as session:
        keep_adhesive(session, Adhesive("fish glue", 15.0))
        make_usual_adhesive(session, "fish glue")
    assert board.refresh(now + timedelta(hours=1)) == 1
    with shop.store.session() as session:
        (line,) = glue_board(session).values()
    assert line.as_of == now + timedelta(hours=1)
    assert line.answer["adhesive"]["name"] == "fish glue"
    # No reading has ever come: there is no all-clear.
    assert line.answer["verdict"] == "wait"
    assert place is not None
