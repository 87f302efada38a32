"""The scale under the board: heard, accepted onto a stack, and read on the stack's page.

Broker, ingest, watch and pages are the real ones; the wood is invented.
"""

from datetime import UTC, datetime, timedelta

from model.records.acts import book
from model.records.acts.places import add_place
from model.records.clock import machine_now
from model.watch.run.evaluation import bring_up_to_date


def test_the_scale_under_the_board(first_day, browser, hands):
    now = datetime.now(UTC)
    with first_day.store.session() as session:
        shop = add_place(session, "Shop", "shop")
        lumber = {"species": "black walnut", "thickness_mm": 25.4, "mc_pct": 9.0}
        book.add_stack(session, "Walnut, 4/4", lumber, shop, now - timedelta(days=3))
    # A board that weighs 1000 g without water holds 8 % at 1080 g.
    for minutes in range(360, -1, -20):
        at = now - timedelta(minutes=minutes)
        first_day.send("stock/board", {"weight_g": 1080.0, "time": at.isoformat(timespec="seconds")})

    hands.open(f"{first_day.address}/sensors")
    hands.until(lambda: hands.reload() or "stock/board" in hands.text)
    assert "/weight_g is a weight: the name says g" in hands.text
    hands.choose("It is on", "Walnut, 4/4")
    hands.press("Accept it")
    hands.until(lambda: "must be known once" in hands.said)  # nothing says yet what it weighs dry
    hands.write("The board weighs oven-dry", "1000")
    hands.press("Accept it")
    hands.until(lambda: "is accepted, on Walnut, 4/4." in hands.said)

    bring_up_to_date(first_day.store, machine_now())
    hands.open(f"{first_day.address}/stock")
    hands.follow("Walnut, 4/4")
    hands.until(lambda: "Sensors on it" in hands.text)
    assert "Sent 1,080.0 g" in hands.text.replace("\u00a0", " ")
    assert "8.0 ± 0.2 %" in hands.text.replace("\u00a0", " ")
    assert "the board's scale" in hands.text  # it was metered by it

    hands.follow("stock board")
    hands.until(lambda: "Measured by it" in hands.text)
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    assert wide <= browser.execute_script("return window.innerWidth")
