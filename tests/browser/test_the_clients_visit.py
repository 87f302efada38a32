"""The client's visit: a link in a message, opened on a desk or by thumb on a phone, and nothing else."""

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.actions import interaction
from selenium.webdriver.common.actions.action_builder import ActionBuilder
from selenium.webdriver.common.actions.pointer_input import PointerInput

from dashboard.shell import signing
from dashboard.shell.links import Links


@pytest.fixture
def link(shop) -> str:
    with shop.store.session() as session:
        token = Links(signing.signing_key(shop.store)).make(session, shop.piece)
    return f"{shop.address}/for/{token}"


def severe(browser) -> list[str]:
    return [entry["message"] for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]


def visit(browser, hands, link: str) -> None:
    """What any client does first: opens the link and reads."""
    browser.get("about:blank")
    severe(browser)
    browser.get(link)
    assert hands.read("h1") == "Chest of drawers"
    headings = hands.all("h2")
    assert headings[:2] == ["What to do", "Its room"]
    assert "What is normal in February" in headings
    words = hands.read("main")
    assert "EMC" not in words
    assert "Call your maker" in words
    drawing = browser.execute_script(
        "return document.querySelector('svg.elevation').getBoundingClientRect().width"
    )
    assert drawing > 200
    assert browser.execute_script("return document.documentElement.scrollWidth") <= browser.execute_script(
        "return window.innerWidth"
    )
    assert severe(browser) == []


def test_the_clients_visit_at_a_desk(browser, hands, link):
    visit(browser, hands, link)
    sheet = hands.browser.find_element("css selector", "main a.button")
    assert sheet.text == "Print the sheet"
    assert sheet.get_attribute("href") == f"{link}/sheet.pdf"
    ActionChains(browser).move_to_element(sheet).perform()
    assert sheet.is_displayed()


def test_the_clients_visit_by_thumb(phone, hands_on, link):
    hands = hands_on(phone)
    phone.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    try:
        visit(phone, hands, link)
        before = phone.execute_script("return window.scrollY")
        swipe_up(phone)
        hands.until(lambda: phone.execute_script("return window.scrollY") > before + 100)
        # A thumb finds the button: 44 px is what phones are built for.
        high = phone.execute_script(
            "return document.querySelector('main a.button').getBoundingClientRect().height"
        )
        assert high >= 40
    finally:
        phone.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


def swipe_up(driver) -> None:
    finger = PointerInput(interaction.POINTER_TOUCH, "finger")
    moves = ActionBuilder(driver, mouse=finger)
    moves.pointer_action.move_to_location(180, 700)
    moves.pointer_action.pointer_down()
    for y in range(680, 180, -50):
        moves.pointer_action.move_to_location(180, y)
    moves.pointer_action.pointer_up()
    moves.perform()
