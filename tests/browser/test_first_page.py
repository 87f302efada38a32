"""A maker opens the page with coffee in hand."""

from selenium.webdriver.common.by import By


def test_the_page_says_how_the_pieces_are_and_in_which_units(shop, browser, wait_for):
    """Opens the page, waits for a verdict, changes a unit and sees inches become millimetres."""
    browser.get(shop.address)
    heading = wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page h1"))
    assert "past a limit" in heading.text
    verdict = browser.find_element(By.CSS_SELECTOR, "#page .note .mark-past")
    assert verdict.get_attribute("aria-label") == "past a limit"

    assert " in" in page_text(browser).replace("\u00a0", " ")
    assert " mm" not in page_text(browser).replace("\u00a0", " ")
    browser.find_element(By.ID, "units").click()
    wait_for(browser, lambda b: " mm" in page_text(b).replace("\u00a0", " "))
    assert "°C" in page_text(browser)
    assert "°F" not in page_text(browser)

    browser.refresh()
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page h1"))
    assert " mm" in page_text(browser).replace("\u00a0", " ")


def test_a_sentence_opens_what_it_speaks_of_and_back_works(shop, browser, wait_for, follow):
    browser.get(shop.address)
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page .note a"))
    follow(browser, "Wall cupboard")
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page h1").text == "Wall cupboard")
    assert "/piece/" in browser.current_url
    assert browser.title.startswith("Wall cupboard")
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page svg.tide .tide-line"))
    browser.back()
    wait_for(browser, lambda b: "past a limit" in b.find_element(By.CSS_SELECTOR, "#page h1").text)


def test_the_address_of_a_state_can_be_sent_to_someone(shop, browser, another_browser, wait_for, follow):
    browser.get(f"{shop.address}/piece/{shop.piece}")
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page svg.tide"))
    follow(browser, "top front")
    wait_for(browser, lambda b: chosen(b) == ["top front", "year"])
    follow(browser, "month")
    wait_for(browser, lambda b: chosen(b) == ["top front", "month"])
    another_browser.get(browser.current_url)
    wait_for(another_browser, lambda b: chosen(b) == ["top front", "month"])


def test_night_colours_are_remembered(shop, browser, wait_for):
    browser.get(shop.address)
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page h1"))
    assert paper(browser) == "rgb(247, 243, 234)"
    browser.find_element(By.CSS_SELECTOR, ".theme-switch").click()
    wait_for(browser, lambda b: paper(b) == "rgb(27, 26, 23)")
    browser.refresh()
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page h1"))
    assert paper(browser) == "rgb(27, 26, 23)"


def test_a_phone_needs_no_sideways_scrolling_and_has_its_words_at_the_bottom(shop, phone, wait_for):
    for path in (
        "/",
        f"/piece/{shop.piece}",
        f"/place/{shop.place}",
        "/places",
        "/stock",
        "/pieces",
        "/sensors",
    ):
        phone.get(shop.address + path)
        wait_for(phone, lambda b: b.find_element(By.CSS_SELECTOR, "#page h1"))
        wide = phone.execute_script("return document.documentElement.scrollWidth")
        assert wide <= 390, path
    bottom = phone.execute_script("return document.querySelector('.nav').getBoundingClientRect().bottom")
    assert abs(bottom - 844) < 2


def test_nothing_goes_wrong_in_the_browser(shop, browser, wait_for):
    for path in (
        "/",
        f"/piece/{shop.piece}",
        f"/place/{shop.place}",
        "/stock",
        "/pieces",
        "/sensors",
        "/record",
    ):
        browser.get(shop.address + path)
        wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page h1"))
        assert [entry["message"] for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def chosen(browser) -> list[str]:
    """What is chosen on the page: the member and the span."""
    return [
        link.text for link in browser.find_elements(By.CSS_SELECTOR, '#page .tabs a[aria-current="true"]')
    ]


def page_text(browser) -> str:
    return browser.find_element(By.ID, "page").text


def paper(browser) -> str:
    return browser.execute_script("return getComputedStyle(document.body).backgroundColor")
