"""Record by drawing: a chest with two framed sides, a back, three drawers and a top, by few keys."""

import pytest
from selenium.webdriver.common.by import By
from sqlalchemy import select

from model.records.acts import book
from model.records.schema.tables import PieceRow

# Seconds for a key, for pointing, for moving a hand between glass and keys, for making up one's mind: S. K.
# Card, T. P. Moran and A. Newell, "The keystroke-level model for user performance time with interactive
# systems", Communications of the ACM 23(7), 1980, figure 1; from memory. A key is counted as by the slowest
# of its typists, who don't know the keys. The model leaves out what a page takes to answer, and mistakes.
KEY_S, POINT_S, HOME_S, MIND_S = 1.2, 1.1, 0.4, 1.35
FIVE_MINUTES_S = 300.0
SCREENS = {"phone": (390, 844), "tablet": (820, 1180)}
MOST_KEYS = 60


class CountingHands:
    """Counts what is typed and pressed; a choice from a list is two presses, and one of the keys."""

    def __init__(self, hands) -> None:
        self.hands, self.keys, self.presses, self.thoughts = hands, 0, 0, 0

    def write(self, label: str, typed: str) -> None:
        self.keys += len(typed) + 1
        self.presses += 1
        self.thoughts += 1
        self.hands.write(label, typed)

    def choose(self, label: str, words: str) -> None:
        self.keys += 1
        self.presses += 2
        self.thoughts += 2
        self.hands.choose(label, words)

    def pressed(self, times: int = 1) -> None:
        self.presses += times
        self.thoughts += times

    @property
    def takes_s(self) -> float:
        """How long these acts take by the model: a press is pointing and a key, between keys and screen."""
        press_s = POINT_S + KEY_S + HOME_S
        return self.keys * KEY_S + self.presses * press_s + self.thoughts * MIND_S


@pytest.mark.parametrize("screen", SCREENS)
def test_a_chest_is_recorded_by_drawing_it(shop, phone, hands_on, screen):
    wide, high = SCREENS[screen]
    phone.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": wide, "height": high, "deviceScaleFactor": 1, "mobile": True},
    )
    hands = hands_on(phone)
    typing = CountingHands(hands)
    hands.open(f"{shop.address}/pieces")
    typing.pressed(4)  # record a piece, the case, the look at its drawing, record it
    hands.follow("Record a piece")
    hands.until(lambda: hands.heading == "Which piece?")
    hands.click('a.case-choice[href*="chest+of+drawers"]')
    hands.until(lambda: hands.heading == "Draw the chest of drawers.")
    assert phone.execute_script("return document.documentElement.scrollWidth") <= wide

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
    assert link.get_attribute("aria-label").startswith("front of drawer 3")
    # It is seen before it is recorded, and covers no field: below all of them, above the button.
    tops = phone.execute_script(
        "return [...document.querySelectorAll('.case-form input[id*=client], .case-view, button.first')]"
        ".map((e) => Math.round(e.getBoundingClientRect().top))"
    )
    assert tops == sorted(tops)
    assert len(tops) == 3
    hands.press("Record it")
    hands.until(lambda: "Flat chest is recorded" in hands.said)
    assert typing.keys <= MOST_KEYS
    # A computed time of these acts, not one by the clock.
    print(f"{screen}: {typing.keys} keys, {typing.presses} presses, {typing.takes_s:.0f} s")
    assert typing.takes_s < FIVE_MINUTES_S

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


def test_on_a_phone_what_would_harm_is_said_at_the_button(shop, phone, hands_on):
    """A runner glued across a slab side: the drawing is hatched above the button, and the button says so."""
    hands = hands_on(phone)
    hands.open(
        f"{shop.address}/case?pattern=chest+of+drawers&species=black+cherry&sides=slab&inside=runners&mc_pct=8"
    )
    assert "comes to harm" not in hands.text
    hands.choose("Held", "glued across")
    hands.until(lambda: "Built so, it comes to harm. Runner × 8" in hands.text)
    tops = phone.execute_script(
        "return ['.case-view .would-harm', '#case-harm p', '.case-form button.first']"
        ".map((s) => document.querySelector(s).getBoundingClientRect().top)"
    )
    assert tops == sorted(tops)
    assert tops[2] - tops[1] < phone.execute_script("return window.innerHeight") / 2
