"""Monday, before glue-up: ten panels to glue, clamps on, a cold shop, clamps off."""

from datetime import datetime, timedelta

import pytest
from selenium.webdriver.common.by import By

from model.records.book import add_stack
from model.records.rewind import mark_hours
from model.records.tables import Hanging, Place, Reading, Sensor
from model.watch.clamps import watch_clamps
from model.watch.glue_board import GlueBoard
from model.watch.loop import bring_up_to_date

QUARTER = timedelta(minutes=15)


@pytest.fixture
def warm_shop(store, serve_book):
    """A shop at 20 °C and 45 % for a month, white oak panels in it, and a clock that can be moved on."""
    from types import SimpleNamespace

    start = datetime.fromisoformat("2026-03-02T08:00:00+00:00")
    now = start + timedelta(days=30)
    with store.session() as session:
        place = Place(name="Shop", kind="shop", zone="Europe/Vienna")
        session.add(place)
        session.flush()
        sensor = Sensor(name="Bench", accepted_at=start)
        sensor.hangings.append(Hanging(place_id=place.id, since_at=start))
        session.add(sensor)
        session.flush()
        session.add_all(
            Reading(
                sensor_id=sensor.id,
                observed_at=start + k * QUARTER,
                received_at=start + k * QUARTER,
                temperature_c=20.0 + (k % 3) * 0.1,
                rh_pct=45.0 + (k % 5) * 0.2,
            )
            for k in range(30 * 96)
        )
        mark_hours(session, [sensor.id], start)
        document = {"species": "white oak", "thickness_mm": 22.0, "mc_pct": 8.4, "stickered": True}
        add_stack(session, "Ten panels", document, place, start)
        shop = SimpleNamespace(store=store, now=now, sensor=sensor.id, place=place.id)
    shop.address = serve_book(store, lambda: shop.now, units="metric")
    bring_up_to_date(store, shop.now)
    GlueBoard(store).refresh(shop.now)
    return shop


def send(shop, temperature_c: float, minutes: int) -> None:
    """The sensor sends every five minutes for a while, and the watch looks."""
    with shop.store.session() as session:
        for _ in range(minutes // 5):
            shop.now += timedelta(minutes=5)
            session.add(
                Reading(
                    sensor_id=shop.sensor,
                    observed_at=shop.now,
                    received_at=shop.now,
                    temperature_c=temperature_c,
                    rh_pct=46.0,
                )
            )
    watch_clamps(shop.store, shop.now)


def note(browser) -> str:
    return browser.find_element(By.CSS_SELECTOR, "#page .note").text.replace("\u00a0", " ")


def press(browser, words: str) -> None:
    (button,) = [b for b in browser.find_elements(By.TAG_NAME, "button") if b.text == words]
    button.click()


def test_monday_before_glue_up(warm_shop, browser, wait_for):
    browser.get(warm_shop.address)
    # Today says go or wait, why, and until when it holds.
    wait_for(browser, lambda b: "Good to glue today." in note(b))
    assert "It holds for" in note(browser)
    assert "within 2 points" in note(browser)
    # The clamps are declared on.
    press(browser, "Clamps go on")
    wait_for(browser, lambda b: "clamps on since" in note(b))
    assert "Good to glue today." not in note(browser)
    assert "10 °C to 32 °C" in note(browser)
    # The shop leaves the adhesive's range: the page says so, without being asked.
    send(warm_shop, 7.0, 30)
    wait_for(browser, lambda b: "out of the glue's range" in note(b))
    assert "7 °C" in note(browser)
    assert "colder than yellow glue allows" in note(browser)
    # It forgets when the clamps come off.
    press(browser, "Clamps come off")
    wait_for(browser, lambda b: "clamps on since" not in note(b))
    send(warm_shop, 7.0, 30)
    browser.refresh()
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page .note"))
    assert "out of the glue's range" not in note(browser)


def test_clamps_put_on_by_mistake_are_taken_back_and_another_glue_is_chosen(warm_shop, browser, wait_for):
    browser.get(warm_shop.address)
    wait_for(browser, lambda b: "Good to glue today." in note(b))
    wait_for(browser, lambda b: not b.find_elements(By.CSS_SELECTOR, ".first-sight"))
    press(browser, "Clamps go on")
    wait_for(browser, lambda b: "clamps on since" in note(b))
    press(browser, "Undo")
    wait_for(browser, lambda b: "Good to glue today." in note(b))
    browser.get(f"{warm_shop.address}/place/{warm_shop.place}/clamps")
    wait_for(browser, lambda b: b.find_element(By.CSS_SELECTOR, "#page select"))
    browser.find_element(By.CSS_SELECTOR, "#page select").send_keys("hide glue")
    press(browser, "Clamps go on")
    wait_for(browser, lambda b: "hide glue" in note(b) and "75 % at most" in note(b))
