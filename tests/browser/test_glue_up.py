"""Monday, before glue-up: ten panels to glue, clamps on, a cold shop, clamps off."""

from datetime import datetime, timedelta

import pytest
from selenium.webdriver.common.by import By

from model.records.acts.book import add_stack
from model.records.acts.invalidation import mark_hours
from model.records.schema.tables import Hanging, Place, Reading, Sensor
from model.watch.questions.clamps import watch_clamps
from model.watch.questions.glue_board import GlueBoard
from model.watch.run.evaluation import bring_up_to_date

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


def test_monday_before_glue_up(warm_shop, walking):
    hands = walking
    hands.open(warm_shop.address)
    # Today says go or wait, why, and until when it holds.
    hands.until(lambda: "Good to glue today." in hands.read("#page .note"))
    assert "Likely to stay that way" in hands.read("#page .note")
    assert "Ten panels: go" in hands.read("#page .note")
    # The clamps are declared on.
    hands.press("Clamping up now")
    hands.until(lambda: "clamps on since" in hands.read("#page .note"))
    assert "Good to glue today." not in hands.read("#page .note")
    assert "10 °C to 32 °C" in hands.read("#page .note")
    # The shop leaves the adhesive's range: the page says so, without being asked.
    send(warm_shop, 7.0, 30)
    hands.until(lambda: "out of the glue's range" in hands.read("#page .note"))
    assert "7 °C" in hands.read("#page .note")
    assert "colder than yellow glue allows" in hands.read("#page .note")
    # It forgets when the clamps come off.
    hands.press("Clamps come off")
    hands.until(lambda: "clamps on since" not in hands.read("#page .note"))
    send(warm_shop, 7.0, 30)
    hands.reload()
    assert "out of the glue's range" not in hands.read("#page .note")


def test_clamps_put_on_by_mistake_are_taken_back_and_another_glue_is_chosen(warm_shop, hands):
    hands.open(warm_shop.address)
    hands.until(lambda: "Good to glue today." in hands.read("#page .note"))
    hands.press("Clamping up now")
    hands.until(lambda: "clamps on since" in hands.read("#page .note"))
    hands.press("Undo")
    hands.until(lambda: "Good to glue today." in hands.read("#page .note"))
    hands.open(f"{warm_shop.address}/place/{warm_shop.place}/clamps")
    hands.until(lambda: hands.all("#page select"))
    hands.browser.find_element(By.CSS_SELECTOR, "#page select").send_keys("hide glue")
    hands.press("Clamping up now")
    hands.until(lambda: "hide glue" in hands.read("#page .note"))
    assert "75 % at most" in hands.read("#page .note")
