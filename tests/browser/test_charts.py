"""A maker looks into a chart: with a mouse, with a finger, by keys, and by saying a day and a time."""

import base64
from urllib.parse import parse_qs, urlsplit

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

ROOM = "#page .plot-room"
# The chart is drawn, and in the room there is.
DRAWN = (
    "const room = document.querySelector('#page .plot-room');"
    "return !!(room && room.querySelector('.trace') && room.layout.width === room.clientWidth)"
)
LABEL = "#page .hoverlayer .hovertext"


def open_place(shop, hands, query=""):
    hands.open(f"{shop.address}/place/{shop.place}{query}")
    hands.until(lambda: hands.browser.execute_script(DRAWN), "no chart is drawn")


def middle(driver):
    """Where the middle of the chart's ground is, in the window."""
    driver.execute_script("document.querySelector('#page .plot-room').scrollIntoView({block: 'center'})")
    box = driver.execute_script(
        "const box = document.querySelector('#page .nsewdrag').getBoundingClientRect();"
        "return [box.left, box.top, box.width, box.height]"
    )
    return box[0] + box[2] / 2, box[1] + box[3] / 2


def days_shown(driver) -> float:
    return driver.execute_script(
        "const [from, to] = document.querySelector('#page .plot-room').layout.xaxis.range;"
        "return (new Date(to) - new Date(from)) / 864e5"
    )


def touch(driver, kind, *fingers):
    points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(fingers)]
    driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


@pytest.fixture
def by_touch(phone):
    """A phone that is touched."""
    phone.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 5})
    yield phone
    phone.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


def test_a_day_and_a_time_are_typed_and_answered_in_a_sentence(shop, walking):
    hands = walking
    open_place(shop, hands)
    hands.write("At a day and a time", "12 January, 3 pm")
    hands.press("Say it")
    hands.until(lambda: hands.all("#page .answered"))
    told = hands.read("#page .answered")
    assert told.startswith("Dry flat, Jan 12, 3:00 pm: ")
    assert " % at " in told
    assert "wood settles at" in told
    # The address says the same to somebody else, and the field takes what it shows.
    hands.reload()
    assert hands.read("#page .answered") == told
    assert hands.value("At a day and a time").replace("\u00a0", " ") == "Jan 12, 3:00 pm"
    hands.field("At a day and a time").send_keys(Keys.CONTROL, "a")
    hands.field("At a day and a time").send_keys("soon", Keys.ENTER)
    hands.until(lambda: "must be a day and a time, such as 12 January, 3 pm" in hands.text)


def test_a_pointer_reads_a_value_and_a_drag_narrows_to_finer_data(shop, browser, hands):
    open_place(shop, hands)
    x, y = middle(browser)
    pointer = ActionChains(browser, duration=20)
    pointer.w3c_actions.pointer_action.move_to_location(int(x), int(y))
    pointer.perform()
    hands.until(lambda: hands.all(LABEL))
    assert "wood settles at" in hands.read(LABEL)
    hands.until(lambda: "wood settles at" in hands.read("#page .plot [aria-live]"))
    whole = days_shown(browser)
    drag = ActionChains(browser, duration=60)
    mouse = drag.w3c_actions.pointer_action
    mouse.move_to_location(int(x) - 60, int(y)).pointer_down().move_to_location(int(x), int(y))
    mouse.move_to_location(int(x) + 60, int(y)).pointer_up()
    drag.perform()
    hands.until(lambda: "since=" in browser.current_url)
    hands.until(lambda: hands.all('.tabs a[aria-current="true"]')[0] == "this stretch")
    hands.until(lambda: days_shown(browser) < whole / 4)
    asked = parse_qs(urlsplit(browser.current_url).query)
    assert asked["since"][0] < asked["until"][0]
    browser.back()
    hands.until(lambda: days_shown(browser) == whole)


def test_keys_read_a_chart_value_by_value(shop, browser, hands):
    open_place(shop, hands)
    browser.execute_script("document.querySelector('#page .plot-room').focus()")
    room = browser.find_element("css selector", ROOM)
    room.send_keys(Keys.END)
    hands.until(lambda: "wood settles at" in hands.read("#page .plot [aria-live]"))
    last = hands.read("#page .plot [aria-live]")
    room.send_keys(Keys.ARROW_LEFT)
    hands.until(lambda: hands.read("#page .plot [aria-live]") != last)
    assert "wood settles at" in hands.read("#page .plot [aria-live]")


def test_a_finger_reads_a_value_and_two_fingers_narrow(shop, by_touch, hands_on):
    hands = hands_on(by_touch)
    open_place(shop, hands)
    hands.write("At a day and a time", "12 January, 3 pm")
    hands.press("Say it")
    hands.until(lambda: hands.all("#page .answered"))
    assert hands.read("#page .answered").startswith("Dry flat, Jan 12, 3:00 pm: ")
    hands.until(lambda: by_touch.execute_script(DRAWN))

    def tapped() -> list[str]:
        # A chart that was drawn anew meanwhile has lost its label: a maker taps again.
        if not hands.all(LABEL):
            touch(by_touch, "touchStart", middle(by_touch))
            touch(by_touch, "touchEnd")
        return hands.all(LABEL)

    assert "wood settles at" in hands.until(tapped, "a tap reads nothing")[0]
    x, y = middle(by_touch)
    whole = days_shown(by_touch)
    touch(by_touch, "touchStart", (x - 20, y), (x + 20, y))
    for apart in (30, 50, 80):
        touch(by_touch, "touchMove", (x - apart, y), (x + apart, y))
    touch(by_touch, "touchEnd")
    hands.until(lambda: "since=" in by_touch.current_url, "a pinch narrows nothing")
    hands.until(lambda: days_shown(by_touch) < whole / 2)
    assert by_touch.execute_script("return document.documentElement.scrollWidth") <= 390


def test_plotly_comes_with_the_first_chart_and_not_before(shop, browser, hands):
    hands.open(shop.address)
    asked = "return performance.getEntriesByType('resource').some((one) => one.name.includes('plotly'))"
    assert not browser.execute_script(asked)
    hands.follow("Wall cupboard")
    hands.until(lambda: browser.execute_script(DRAWN))
    assert browser.execute_script(asked)
    assert browser.execute_script("return document.querySelectorAll('.modebar a, .plotlyjsicon').length") == 0


def test_a_year_is_drawn_before_the_page_is_live_and_stays_as_it_was_drawn(shop, browser, hands):
    early = (
        "new MutationObserver(() => {"
        "  window.early ??= document.querySelector('.first-sight .trace')?.closest('.plot-room')"
        "}).observe(document, {childList: true, subtree: true})"
    )
    asked = "Page.addScriptToEvaluateOnNewDocument"
    script = browser.execute_cdp_cmd(asked, {"source": early})
    try:
        open_place(shop, hands, "?span=year")
    finally:
        browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", script)
    assert browser.execute_script("return document.querySelector('#page .plot-room') === window.early")
    # It answers as any other.
    browser.find_element("css selector", ROOM).send_keys(Keys.END)
    hands.until(lambda: "wood settles at" in hands.read("#page .plot [aria-live]"))


def test_a_chart_takes_the_night_and_the_printers_ink(shop, browser, hands):
    open_place(shop, hands)
    line = (
        "const lines = document.querySelectorAll('#page .plot-room .scatterlayer .js-line');"
        "return [...new Set([...lines].map((one) => one.style.stroke))]"
    )
    assert "rgb(47, 108, 143)" in browser.execute_script(line)
    hands.click(".theme-switch")
    hands.until(lambda: "rgb(125, 183, 214)" in browser.execute_script(line))
    browser.execute_script("window.dispatchEvent(new Event('beforeprint'))")
    hands.until(lambda: "rgb(0, 0, 0)" in browser.execute_script(line))
    browser.execute_script("window.dispatchEvent(new Event('afterprint'))")
    hands.until(lambda: "rgb(125, 183, 214)" in browser.execute_script(line))


def test_a_picture_and_the_values_are_saved(shop, browser, hands):
    open_place(shop, hands)
    browser.execute_script(
        "HTMLAnchorElement.prototype.click = function () { window.saved = [this.download, this.href]; }"
    )
    hands.press("Save picture")
    name, data = hands.until(lambda: browser.execute_script("return window.saved"))
    assert name == "Air at Dry flat.png"
    picture = base64.b64decode(data.split(",", 1)[1])
    assert picture.startswith(b"\x89PNG")
    assert len(picture) > 20_000
    link = browser.execute_script("return document.querySelector('.plot-tools a').href")
    assert "/values/place/" in link
    assert [entry["message"] for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
