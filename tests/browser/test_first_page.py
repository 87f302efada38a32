"""A maker opens the page with coffee in hand."""

from selenium.webdriver.common.by import By

CHOSEN = '#page .tabs a[aria-current="true"]'
"""What is chosen on the page: the member and the span."""


def test_the_page_says_how_the_pieces_are_and_in_which_units(shop, browser, hands):
    """Opens the page, waits for a verdict, changes a unit and sees inches become millimetres."""
    hands.open(shop.address)
    assert "past a limit" in hands.heading
    verdict = browser.find_element(By.CSS_SELECTOR, "#page .note .mark-past")
    assert verdict.get_attribute("aria-label") == "past a limit"

    assert " in" in hands.text
    assert " mm" not in hands.text
    hands.click("#units")
    hands.until(lambda: " mm" in hands.text)
    assert "°C" in hands.text
    assert "°F" not in hands.text

    hands.reload()
    assert " mm" in hands.text


def test_a_sentence_opens_what_it_speaks_of_and_back_works(shop, browser, hands):
    hands.open(shop.address)
    hands.follow("Wall cupboard")
    hands.until(lambda: hands.heading == "Wall cupboard")
    assert "/piece/" in browser.current_url
    assert browser.title.startswith("Wall cupboard")
    hands.until(lambda: hands.all("#page .plot-room .trace"))
    browser.back()
    hands.until(lambda: "past a limit" in hands.heading)
    assert browser.current_url.rstrip("/") == shop.address


def test_the_address_of_a_state_can_be_sent_to_someone(shop, browser, hands, hands_on, another_browser):
    hands.open(f"{shop.address}/piece/{shop.piece}")
    hands.follow("top front")
    hands.until(lambda: hands.all(CHOSEN) == ["top front", "year"])
    hands.follow("month")
    hands.until(lambda: hands.all(CHOSEN) == ["top front", "month"])
    theirs = hands_on(another_browser)
    theirs.open(browser.current_url)
    assert theirs.all(CHOSEN) == ["top front", "month"]


def test_night_colours_are_remembered(shop, browser, hands):
    hands.open(shop.address)
    assert paper(browser) == "rgb(247, 243, 234)"
    hands.click(".theme-switch")
    hands.until(lambda: paper(browser) == "rgb(27, 26, 23)")
    hands.reload()
    assert paper(browser) == "rgb(27, 26, 23)"


def test_a_phone_needs_no_sideways_scrolling_and_has_its_words_at_the_bottom(shop, phone, hands_on):
    hands = hands_on(phone)
    for path in (
        "/",
        f"/piece/{shop.piece}",
        f"/place/{shop.place}",
        "/places",
        "/stock",
        "/pieces",
        "/sensors",
    ):
        hands.open(shop.address + path)
        wide = phone.execute_script("return document.documentElement.scrollWidth")
        assert wide <= 390, path
    bottom = phone.execute_script("return document.querySelector('.nav').getBoundingClientRect().bottom")
    assert abs(bottom - 844) < 2


def test_nothing_goes_wrong_in_the_browser(shop, browser, hands):
    for path in (
        "/",
        f"/piece/{shop.piece}",
        f"/place/{shop.place}",
        "/stock",
        "/pieces",
        "/sensors",
        "/record",
    ):
        hands.open(shop.address + path)
        assert [entry["message"] for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def paper(browser) -> str:
    return browser.execute_script("return getComputedStyle(document.body).backgroundColor")
