"""Sixty pieces in twelve homes: found by name and wood, on a desk and by thumb, and calm on every list."""

from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest

from model.records.acts import book as records
from model.records.schema.tables import Place
from model.wood.piece import read_piece

CASE = """
[piece]
name = "Case {n:02}"
client = "Client {client}"
[part.panel]
species = "{wood}"
cut = "flat-sawn"
width = "12in"
mc_pct = 8
thickness = "1/2in"
role = "panel of the door"
[fit.door_panel]
kind = "panel-in-groove"
part = "panel"
held = "centre"
sight_width = "11-1/2in"
groove_depth = "3/8in"
finished = "before assembly"
"""
WOODS = ("black walnut", "white ash", "hard maple")


@pytest.fixture
def sixty(shop):
    """The sample shop with sixty pieces more, in twelve homes more."""
    with shop.store.session() as session:
        homes = [Place(name=f"House {n:02}", kind="home", zone="America/New_York") for n in range(12)]
        session.add_all(homes)
        session.flush()
        for n in range(60):
            text = CASE.format(n=n, client=n % 6, wood=WOODS[n % 3])
            records.add_piece(session, read_piece(text, "t"), homes[n % 12], shop.now - timedelta(days=5))
    return shop


def test_sixty_pieces(sixty, walking):
    shop, hands, driver = sixty, walking, walking.browser
    hands.open(f"{shop.address}/pieces")
    assert hands.heading == "68 pieces are followed."
    hands.write("Find", "case")
    hands.choose("Wood", "sugar maple")
    hands.press("Show")
    hands.until(lambda: hands.live and hands.heading == "20 of 68 pieces.")
    asked = parse_qs(urlsplit(driver.current_url).query)
    assert (asked["find"], asked["wood"]) == (["case"], ["sugar maple"])
    assert hands.value("Find") == "case"

    hands.open(f"{shop.address}/pieces")
    hands.choose("Client", "Client 3")
    hands.press("Show")
    hands.until(lambda: hands.live and hands.heading == "Ten of 68 pieces.")
    hands.follow("Clients")
    hands.until(lambda: hands.heading == "Nine clients.")
    hands.follow("Client 3")
    hands.until(lambda: hands.heading == "Client 3")
    assert len(hands.all("#page .rows .row")) == 10
    hands.press("Archive")
    hands.until(lambda: "Client 3 is archived." in hands.said and hands.heading == "Eight clients.")
    hands.press("Undo")
    hands.until(lambda: "Client 3 is listed again." in hands.said and hands.heading == "Nine clients.")

    hands.open(f"{shop.address}/pieces?find=case")
    hands.follow("Case 02")
    hands.until(lambda: hands.heading == "Case 02")
    hands.click("#page .acts summary")
    hands.press("Archive")
    hands.until(lambda: "Case 02 is archived." in hands.said)
    hands.open(f"{shop.address}/pieces?show=archived")
    assert hands.heading == "One archived piece."
    hands.press("Follow it again")
    hands.until(lambda: "Case 02 is followed again." in hands.said)
    hands.until(lambda: hands.heading == "Case 02")

    for path in ("/", "/places", "/coming", "/clients"):
        hands.open(shop.address + path)
        wide, high = driver.execute_script(
            "return [document.documentElement.scrollWidth, document.documentElement.scrollHeight]"
        )
        assert wide <= driver.execute_script("return window.innerWidth"), path
        assert high < 7_000, path
    driver.get(shop.address)
    hands.until(lambda: hands.live)
    assert [entry["message"] for entry in driver.get_log("browser") if entry["level"] == "SEVERE"] == []
