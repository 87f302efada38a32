"""A fit that was opened stays open while the page is drawn anew under the reader."""

from model.records.schema.tables import Verdict


def test_a_fit_that_was_opened_stays_open_when_the_page_is_drawn_anew(shop, hands):
    hands.open(f"{shop.address}/piece/{shop.piece}")
    hands.until(lambda: hands.all("#page details.fit[open] summary"))
    names = hands.all("#page details.fit summary b")
    hands.click("#page details.fit:not([open]) summary")
    opened = hands.until(lambda: [n for n in hands.all("#page details.fit[open] summary b") if n != names[0]])
    with shop.store.session() as session:
        row = session.get_one(Verdict, ("piece", shop.piece))
        row.detail = {"key": "told", "text": "the moisture was read anew"}
    hands.until(lambda: "The moisture was read anew" in hands.text)
    assert set(opened) <= set(hands.all("#page details.fit[open] summary b"))
