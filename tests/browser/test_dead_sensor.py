"""The dead sensor: a home goes silent, and its readings come in one late batch."""

from datetime import timedelta

from selenium.webdriver.common.by import By
from sqlalchemy import func, select

from model.records.rewind import mark_hours
from model.records.tables import Hanging, Piece, Place, Reading
from model.watch.loop import bring_up_to_date


def test_the_dead_sensor(shop, browser, wait_for):
    with shop.store.session() as session:
        piece = session.scalars(select(Piece.id).where(Piece.name == "Hall bench")).one()
        house = session.scalars(select(Place.id).where(Place.name == "Lake house")).one()
        sensor = session.scalars(select(Hanging.sensor_id).where(Hanging.place_id == house)).one()
        last = session.scalar(select(func.max(Reading.observed_at)).where(Reading.sensor_id == sensor))
    # Nothing says that all is well.
    browser.get(shop.address)
    wait_for(browser, lambda b: "no reading from Lake house" in text(b))
    lines = browser.find_elements(By.CSS_SELECTOR, ".note > li")
    line = next(li for li in lines if "Hall bench" in li.text)
    assert "not known" in line.text
    browser.get(f"{shop.address}/piece/{piece}")
    wait_for(browser, lambda b: "no reading from Lake house for 5 days" in text(b))
    assert "not known" in text(browser)
    # The late batch arrives.
    with shop.store.session() as session:
        hours = int((shop.now - last) / timedelta(hours=1))
        for k in range(1, hours + 1):
            at = last + timedelta(hours=k)
            session.add(
                Reading(
                    sensor_id=sensor,
                    observed_at=at,
                    received_at=shop.now,
                    temperature_c=4.0 + 0.1 * (k % 4),
                    rh_pct=70.0 + 0.2 * (k % 5),
                )
            )
        session.flush()
        mark_hours(session, [sensor], last)
    bring_up_to_date(shop.store, shop.now)
    browser.refresh()
    wait_for(browser, lambda b: "no reading from Lake house" not in text(b) and "Hall bench" in text(b))
    assert "not known" not in browser.find_element(By.CSS_SELECTOR, "#page .lead").text
    browser.get(shop.address)
    wait_for(browser, lambda b: b.find_elements(By.CSS_SELECTOR, "#page .note > li"))
    assert "no reading from Lake house" not in text(browser)


def text(browser) -> str:
    return browser.find_element(By.ID, "page").text.replace("\u00a0", " ")
