"""From an empty book to a verdict: two sensors talk over MQTT, each is accepted for a place of its own.

Broker, ingest, watch and pages are the real ones. The houses and the wood are invented.
"""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from model.records.acts.hangings import hang_sensor
from model.records.acts.places import add_place
from model.records.clock import machine_now
from model.records.schema.tables import HeardMessage, Reading, Sensor
from model.watch.run.evaluation import bring_up_to_date

HISTORY = timedelta(hours=6)
STEP = timedelta(minutes=10)
SENSORS = {"bench/air": (19.0, 47.0), "cabin/air": (21.0, 31.0)}


def talk(first_day, topic: str) -> None:
    """Some hours of a sensor with a clock of its own, as one hands in what it kept."""
    temperature_c, rh_pct = SENSORS[topic]
    now = datetime.now(UTC)
    for number in range(int(HISTORY / STEP) + 1):
        at = now - HISTORY + number * STEP
        first_day.send(
            topic,
            {
                "temperature": temperature_c + number % 3 / 10,
                "humidity": rh_pct + number % 5 / 10,
                "time": at.isoformat(timespec="seconds"),
            },
        )


@pytest.mark.parametrize("width", ["desktop", "phone"])
def test_from_an_empty_book_to_a_verdict_with_two_sensors_in_two_places(first_day, width, request, hands_on):
    driver = request.getfixturevalue("browser" if width == "desktop" else "phone")
    hands = hands_on(driver)
    hands.open(f"{first_day.address}/sensors")
    assert hands.heading == "No sensor is heard."

    # The first one is heard. Its place is the first of the book.
    talk(first_day, "bench/air")
    again(first_day, hands, lambda: "bench/air" in hands.text)
    assert hands.value("Location") == "Shop"
    hands.press("Accept it")
    hands.until(lambda: "hangs at Shop, a new place, since" in hands.said)

    # The second is in another house: what is typed is where it hangs.
    talk(first_day, "cabin/air")
    again(first_day, hands, lambda: "cabin/air" in hands.text and hands.value("Location") == "")
    hands.write("Location", "Lake house")
    hands.press("Accept it")
    hands.until(lambda: "hangs at Lake house, a new place, since" in hands.said)
    hands.until(lambda: "to be accepted" not in hands.heading)
    assert "Two rooms?" not in hands.text

    # Each place has the air of its own sensor.
    hands.open(f"{first_day.address}/places")
    again(first_day, hands, lambda: "47" in hands.heading and "31" in hands.text)

    # A stack at the bench gets its answer.
    hands.open(f"{first_day.address}/stock")
    hands.write("Name", "Ash, 4/4")
    hands.write("Wood", "white ash")
    hands.write("Thickness", "1-1/4")
    hands.write("Moisture content", "9.5")
    hands.press("Record the stack")
    hands.until(lambda: "Ash, 4/4 is recorded" in hands.said)
    again(first_day, hands, lambda: "Ash, 4/4" in hands.text and not hands.all("#page .rows .mark-unknown"))
    wide = driver.execute_script("return document.documentElement.scrollWidth")
    assert wide <= driver.execute_script("return window.innerWidth")


def again(first_day, hands, so) -> None:
    """Looks again and again, as one does who waits, until something is so; the watch goes on meanwhile."""

    def look() -> bool:
        bring_up_to_date(first_day.store, machine_now())
        hands.reload()
        return bool(so())

    hands.until(look)


def test_a_year_from_a_file_is_shown_before_it_is_kept_and_belongs_to_its_place(
    empty_shop, browser, hands, tmp_path
):
    shop = empty_shop
    with shop.store.session() as session:
        place = add_place(session, "Lake house", "home", zone="America/New_York")
        shop_place = f"{shop.address}/place/{place.id}"
    start = shop.now - timedelta(days=365)
    lines = ["time,temperature [F],humidity [%]"]
    lines += [
        f"{start + timedelta(hours=hour):%Y-%m-%d %H:%M}Z,{68 + hour % 3},{40 + hour % 7}"
        for hour in range(8_000)
    ]
    lines.insert(5, "2025-05-01 10:00Z,much,40")
    file = tmp_path / "lake.csv"
    file.write_text("\n".join(lines))

    hands.open(shop_place)
    assert "No air is known here yet." in hands.text
    hands.follow("Readings from a file")
    hands.until(lambda: hands.heading == "Readings from a file, for Lake house")
    hands.field("The file").send_keys(str(file))
    hands.until(lambda: "8,000 new readings" in hands.text)
    assert "'temperature [F]' is the temperature, by its name" in hands.text.replace("‘", "'")
    assert "emperatures are in °F" in hands.text
    assert "line 6: temperature must be a number, got 'much'" in hands.text
    assert [cell.replace("\u00a0", " ") for cell in hands.line("lake house logger")[1:]] == [
        "Feb 3, 2025, 7:00 am",
        "68 °F",
        "40 %",
    ]
    with shop.store.session() as session:
        assert session.scalar(select(func.count()).select_from(Reading)) == 0

    hands.press("Keep these readings")
    hands.until(lambda: "8,000 readings are kept; one line left out." in hands.said)
    assert "Lake house logger hangs at Lake house since Feb 3, 2025." in hands.said
    bring_up_to_date(shop.store, shop.now)
    hands.open(shop_place)
    assert "No air is known here yet." not in hands.text


def test_readings_from_before_a_sensor_was_hung_are_counted_and_dated_back(empty_shop, hands):
    shop = empty_shop
    with shop.store.session() as session:
        place = add_place(session, "Shop", "shop")
        sensor = Sensor(name="Bench", accepted_at=shop.now)
        session.add(sensor)
        session.flush()
        number = sensor.id
        hang_sensor(session, sensor, place, shop.now - timedelta(days=1))
        for hour in range(100):
            at = shop.now - timedelta(days=30) + timedelta(hours=hour)
            session.add(
                Reading(sensor_id=sensor.id, observed_at=at, received_at=at, temperature_c=20, rh_pct=45)
            )
        page = f"{shop.address}/place/{place.id}"
    hands.open(page)
    assert "100 readings belong to no place: Bench hangs at Shop only since Feb 2." in hands.text
    hands.press("It hung there since Jan 4")
    hands.until(lambda: "Bench hangs at Shop since Jan 4" in hands.said)
    hands.until(lambda: "belong to no place" not in hands.text)
    hands.press("Undo")
    hands.until(lambda: "100 readings belong to no place" in hands.text)
    # The day can be corrected on the sensor's page too.
    hands.open(f"{shop.address}/sensor/{number}")
    hands.click("#page details:has(button[id*='hung since']) summary")
    hands.until(lambda: hands.field("Since").is_displayed())
    hands.browser.execute_script("arguments[0].value = ''", hands.field("Since"))
    assert "100 readings belong to no place" in hands.text


def test_a_field_nobody_recognised_is_said_by_hand_and_a_topic_is_dismissed(empty_shop, hands):
    shop = empty_shop
    with shop.store.session() as session:
        for topic, body in (
            ("loft/box", b'{"data": {"a": 70.7, "b": 0.41}}'),
            ("garage/pump", b'{"watts": 310}'),
        ):
            session.add(HeardMessage(topic=topic, payload=body, received_at=shop.now))
    hands.open(f"{shop.address}/sensors")
    hands.until(lambda: "loft/box" in hands.text)
    row = 0 if hands.all("#page .heard h3")[0] == "loft/box" else 1
    hands.choose("Temperature", "/data/a", row)
    hands.choose("Temperature is in", "°F", row)
    hands.choose("Humidity", "/data/b", row)
    hands.choose("Humidity is in", "a ratio", row)
    hands.until(lambda: "Its last message reads: 71 °F, 41 %" in hands.text)
    hands.click("#page button[id*='\"act\":\"accept\"'][id*='loft/box']")
    hands.until(lambda: "is accepted and hangs at Shop, a new place, since" in hands.said)
    with shop.store.session() as session:
        [reading] = session.scalars(select(Reading))
        assert (round(reading.temperature_c, 1), reading.rh_pct) == (21.5, 41.0)

    hands.until(lambda: hands.all("#page .heard h3") == ["garage/pump"])
    hands.press("Dismiss it")
    hands.until(lambda: "garage/pump is dismissed" in hands.said)
    hands.until(lambda: hands.all("#page .heard h3") == [])
    hands.press("Undo")
    hands.until(lambda: hands.all("#page .heard h3") == ["garage/pump"])
    hands.press("Dismiss it")
    hands.until(lambda: hands.all("#page .heard h3") == [])
    hands.reload()
    hands.click("#page details:has(button[id*='bring back']) summary")
    hands.press("List it again")
    hands.until(lambda: hands.all("#page .heard h3") == ["garage/pump"])
