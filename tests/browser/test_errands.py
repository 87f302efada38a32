"""A maker's errands, each from the first click to what the page then says."""

from datetime import timedelta

from selenium.common.exceptions import NoSuchElementException
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from model.records.tables import HeardMessage
from model.watch.loop import bring_up_to_date


def test_first_afternoon(empty_shop, browser, wait_for, follow):
    """Nothing recorded; a sensor talks, is accepted at the shop, its air shows; a stack is recorded."""
    shop = empty_shop
    browser.get(shop.address)
    wait_for(browser, lambda b: heading(b) == "Nothing is recorded yet.")
    assert "First, hear a sensor." in text(browser)
    heard(shop, "valley/bench/air")
    browser.refresh()
    wait_for(browser, lambda b: "A sensor is already talking." in text(b))
    follow(browser, "See what was heard")
    wait_for(browser, lambda b: heading(b) == "One topic waits to be accepted.")
    assert '"humidity": 44' in text(browser)
    write(browser, "Its name", "Bench")
    press(browser, "Accept it")
    wait_for(browser, lambda b: "Bench is accepted at shop; three kept messages became readings." in said(b))
    bring_up_to_date(shop.store, shop.now)

    follow(browser, "Places")
    wait_for(browser, lambda b: heading(b).startswith("shop 44"))
    assert "wood tends to" in text(browser)

    follow(browser, "Stock")
    wait_for(browser, lambda b: heading(b) == "No stack is recorded yet.")
    write(browser, "Name", "Ash, 4/4")
    write(browser, "Wood", "white ash")
    write(browser, "Thickness", "1")
    write(browser, "Moisture content", "9.5")
    press(browser, "Record the stack")
    wait_for(browser, lambda b: heading(b) == "Ash, 4/4")
    bring_up_to_date(shop.store, shop.now + timedelta(hours=1))
    browser.refresh()
    # Metered at 9.5 % in air that leads to 8.4 %: it says how long to settle.
    wait_for(browser, lambda b: "nearly ready" in text(b))
    assert "wetter than" in text(browser)
    assert "about 1 to 3 more days here" in text(browser)


def test_a_piece_is_recorded_by_hand_from_empty_to_verdict(shop, browser, wait_for):
    browser.get(f"{shop.address}/record")
    wait_for(browser, lambda b: "Still to put right" in text(b))
    write(browser, "Name", "Coat rack")
    for label, typed in (
        ("Member", "back"),
        ("Wood", "white ash"),
        ("Width across the grain", "14-1/2"),
        ("at a moisture content of", "8"),
        ("Thickness", "5/8"),
    ):
        write(browser, label, typed)
    wait_for(browser, lambda b: "Nothing is missing." in text(b))
    press(browser, "Add the fit")
    wait_for(browser, lambda b: "sight width must be given" in text(b))
    write(browser, "Sight width", "14")
    write(browser, "Groove depth", "3/8")
    # Common practice, no source: 1/8 clear each side, 1/4 in all before the tongues bottom.
    wait_for(browser, lambda b: "Comfortable in a room at" in text(b))
    assert "1/8 in clearance" in text(browser)

    write(browser, "Groove depth", "1/8")
    wait_for(browser, lambda b: "groove depth must be more" in text(b))
    write(browser, "Groove depth", "3/8")
    wait_for(browser, lambda b: "Nothing is missing." in text(b))
    browser.refresh()
    wait_for(browser, lambda b: value(b, "Sight width") == "14")

    press(browser, "Record the piece")
    wait_for(browser, lambda b: heading(b) == "Coat rack")
    assert "Coat rack is recorded" in said(browser)
    bring_up_to_date(shop.store, shop.now + timedelta(hours=2))
    browser.refresh()
    wait_for(browser, lambda b: "easy" in text(b) and "is left until" in text(b))

    browser.get(f"{shop.address}/record")
    wait_for(browser, lambda b: value(b, "Name") == "")


def test_a_wrong_cut_is_corrected_and_the_correction_taken_back(shop, browser, wait_for):
    """The wrong move: entered as quarter-sawn, it is flat-sawn."""
    browser.get(f"{shop.address}/piece/{shop.piece}/edit")
    wait_for(browser, lambda b: value(b, "Member", 2) == "top_front")
    field(browser, "Cut", 2).send_keys("flat-sawn")
    press(browser, "Correct the record")
    wait_for(browser, lambda b: "is corrected; everything since it was built is worked out again" in said(b))
    wait_for(browser, lambda b: "flat-sawn" in row(b, "top front black walnut"))
    press(browser, "Undo")
    wait_for(browser, lambda b: "is as it was recorded before" in said(b))
    wait_for(browser, lambda b: "quarter-sawn" in row(b, "top front black walnut"))


def test_a_warning_is_answered_in_a_trade_act_and_the_answer_taken_back(shop, browser, wait_for):
    browser.get(f"{shop.address}/warnings")
    wait_for(browser, lambda b: heading(b).endswith("warnings to answer."))
    before = heading(browser)
    Select(browser.find_element(By.CSS_SELECTOR, "#page .answer select")).select_by_visible_text(
        "client told"
    )
    press(browser, "Answered")
    wait_for(browser, lambda b: "Answered: client told." in said(b))
    wait_for(browser, lambda b: heading(b) != before)
    assert "client told" in text(browser)
    press(browser, "Undo")
    wait_for(browser, lambda b: heading(b) == before)


def test_an_unknown_sensor_is_accepted_with_one_click(shop, browser, wait_for):
    heard(shop, "valley/finishing/air")
    browser.get(f"{shop.address}/sensors")
    wait_for(browser, lambda b: "valley/finishing/air" in text(b))
    press(browser, "Accept it")
    wait_for(browser, lambda b: "is accepted at Shop" in said(b))
    wait_for(browser, lambda b: "to be accepted" not in heading(b))


def test_names_sent_by_anyone_are_text(shop, browser, wait_for):
    heard(shop, "valley/<img src=x onerror=alert(1)>")
    browser.get(f"{shop.address}/sensors")
    wait_for(browser, lambda b: "valley/<img src=x onerror=alert(1)>" in text(b))
    assert browser.find_elements(By.CSS_SELECTOR, "#page img") == []


def test_a_piece_is_moved_and_brought_back(shop, browser, wait_for, follow):
    browser.get(f"{shop.address}/piece/{shop.piece}")
    follow(browser, "It was moved")
    wait_for(browser, lambda b: heading(b) == "Where did Chest of drawers go?")
    field(browser, "To").send_keys("Orchard house")
    press(browser, "Move it")
    wait_for(browser, lambda b: "stands at Orchard house." in said(b))
    wait_for(browser, lambda b: "Orchard house, since" in text(b))
    press(browser, "Undo")
    wait_for(browser, lambda b: "stands at Dry flat again." in said(b))


def test_a_client_sees_one_piece_and_is_refused_elsewhere(
    shop, serve_book, browser, another_browser, wait_for
):
    address = serve_book(shop.store, lambda: shop.now, password="linseed")
    browser.get(address)
    browser.find_element(By.ID, "password").send_keys("linseed", Keys.ENTER)
    wait_for(browser, lambda b: "past a limit" in heading(b))
    browser.get(f"{address}/piece/{shop.piece}/client")
    wait_for(browser, lambda b: "No client sees" in heading(b))
    press(browser, "Give a link")
    link = wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page a.topic")).get_attribute("href")

    another_browser.get(link)
    assert another_browser.find_element(By.TAG_NAME, "h1").text == "Chest of drawers"
    assert another_browser.find_elements(By.TAG_NAME, "a") == []
    for path in ("/", f"/piece/{shop.piece}", "/sensors"):
        another_browser.get(address + path)
        assert another_browser.find_element(By.TAG_NAME, "h1").text == "Whose shop is it?"

    press(browser, "Take the link back")
    wait_for(browser, lambda b: "No client sees" in heading(b))
    another_browser.get(link)
    assert "shows nothing any more" in another_browser.find_element(By.TAG_NAME, "h1").text


def test_everything_can_be_reached_without_a_mouse(shop, browser, wait_for):
    browser.get(shop.address)
    wait_for(browser, lambda b: "past a limit" in heading(b))
    keys(browser, Keys.TAB)
    assert focused(browser).text == "Skip to the page"
    reached = []
    for _ in range(12):
        keys(browser, Keys.TAB)
        reached.append(focused(browser).text)
    for word in ("Today", "Stock", "Pieces", "Places", "Sensors", "Wall cupboard"):
        assert word in reached
    ring = browser.execute_script("return getComputedStyle(document.activeElement).outlineStyle")
    assert ring == "solid"
    while focused(browser).text != "Wall cupboard":
        keys(browser, Keys.SHIFT + Keys.TAB)
    keys(browser, Keys.ENTER)
    wait_for(browser, lambda b: heading(b) == "Wall cupboard")
    wait_for(browser, lambda b: focused(b).tag_name == "h1")


# ---------------------------------------------------------------- what hands and eyes do


def heard(shop, topic: str) -> None:
    """Three messages on a topic that nobody is bound to."""
    with shop.store.session() as session:
        for number in range(3):
            session.add(
                HeardMessage(
                    topic=topic,
                    payload=b'{"temperature": 19.%d, "humidity": 44.%d}' % (number, number),
                    received_at=shop.now - timedelta(minutes=75 * (3 - number)),
                )
            )


def heading(browser) -> str:
    return browser.find_element(By.CSS_SELECTOR, "#page h1").text.replace("\u00a0", " ")


def text(browser) -> str:
    return browser.find_element(By.ID, "page").text.replace("\u00a0", " ")


def said(browser) -> str:
    return browser.find_element(By.ID, "said").text.replace("\u00a0", " ")


def field(browser, label: str, number: int = 0):
    """The field under a label, as the label says."""
    labels = [found for found in browser.find_elements(By.CSS_SELECTOR, "#page label") if found.text == label]
    if len(labels) <= number:
        raise NoSuchElementException(f"there is no field {label!r}")
    return browser.find_element(By.CSS_SELECTOR, f"[id='{labels[number].get_attribute('for')}']")


def value(browser, label: str, number: int = 0) -> str:
    return field(browser, label, number).get_attribute("value")


def write(browser, label: str, typed: str) -> None:
    target = field(browser, label)
    target.send_keys(Keys.CONTROL, "a")
    target.send_keys(typed, Keys.TAB)


def press(browser, words: str) -> None:
    # What is written out before the scripts run looks the same and does nothing.
    for button in browser.find_elements(By.CSS_SELECTOR, "button:not(.first-sight button)"):
        if button.text == words:
            browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
            button.click()
            return
    raise AssertionError(f"there is no button {words!r}")


def row(browser, name: str) -> str:
    for found in browser.find_elements(By.CSS_SELECTOR, "#page tr"):
        if found.text.startswith(name):
            return found.text
    return ""


def keys(browser, *pressed: str) -> None:
    from selenium.webdriver import ActionChains

    chain = ActionChains(browser)
    if len(pressed[0]) == 2 and pressed[0][0] == Keys.SHIFT:
        chain.key_down(Keys.SHIFT).send_keys(pressed[0][1]).key_up(Keys.SHIFT)
    else:
        chain.send_keys(*pressed)
    chain.perform()


def focused(browser):
    return browser.switch_to.active_element
