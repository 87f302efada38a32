"""Record by drawing: a chest with two framed sides, a back, three drawers and a top, by few keys."""

import pytest
from selenium.webdriver.common.by import By
from sqlalchemy import select

from model.records.acts import book
from model.records.schema.tables import PieceRow

SCREENS = {"phone": (390, 844), "tablet": (820, 1180)}
MOST_KEYS = 60


class CountingHands:
    """Counts what is typed; a choice from a list is one press."""

    def __init__(self, hands) -> None:
        self.hands, self.keys = hands, 0

    def write(self, label: str, typed: str) -> None:
        self.keys += len(typed) + 1
        self.hands.write(label, typed)

    def choose(self, label: str, words: str) -> None:
        self.keys += 1
        self.hands.choose(label, words)


@pytest.mark.parametrize("screen", SCREENS)
def test_a_chest_is_recorded_by_drawing_it(shop, phone, hands_on, screen):
    wide, high = SCREENS[screen]
    phone.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": wide, "height": high, "deviceScaleFactor": 1, "mobile": True},
    )
    hands = hands_on(phone)
    hands.open(f"{shop.address}/pieces")
    hands.follow("Record a piece")
    hands.until(lambda: hands.heading == "Which piece?")
    hands.click('a.case-choice[href*="chest+of+drawers"]')
    hands.until(lambda: hands.heading == "Draw the chest of drawers.")
    assert phone.execute_script("return document.documentElement.scrollWidth") <= wide

    typing = CountingHands(hands)
    typing.write("Name", "Flat chest")
    typing.write("Width of the case", "32")
    typing.write("Height", "34 1/2")
    typing.choose("How many drawers", "3")
    typing.write("Wood", "black walnut")
    typing.write("Moisture today", "8.2")
    typing.choose("Its home", "Dry flat")
    hands.until(lambda: "Drawer bottom × 3" in hands.text)
    hands.until(lambda: phone.find_elements(By.CSS_SELECTOR, ".case-view a[href='#part-front-3']"))
    # A part opens by a press on the drawing, and by keys: it is a link with a name.
    link = phone.find_element(By.CSS_SELECTOR, ".case-view a[href='#part-front-3']")
    assert link.get_attribute("aria-label") == "front 3"
    hands.press("Record it")
    hands.until(lambda: "Flat chest is recorded" in hands.said)
    assert typing.keys <= MOST_KEYS

    with shop.store.session() as session:
        row = session.scalars(select(PieceRow).where(PieceRow.name == "Flat chest")).one()
        recorded, piece_id = book.load_piece(session, row), row.id
    assert {name: recorded.members[name].alike for name in ("side panel", "drawer bottom")} == {
        "side panel": 2,
        "drawer bottom": 3,
    }
    assert recorded.members["front 3"].mc_pct == 8.2
    hands.open(f"{shop.address}/piece/{piece_id}")
    hands.until(lambda: phone.find_elements(By.CSS_SELECTOR, ".case-view svg"))
    assert phone.execute_script("return document.documentElement.scrollWidth") <= wide
