"""Mistakes are taken back where they were made, and a drawing is looked at closer without a mouse."""

from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

from selenium.webdriver.common.keys import Keys
from sqlalchemy import func, select

from model.records.schema.tables import HeardMessage, Place, Reading, Sensor
from model.watch.run.evaluation import bring_up_to_date


def test_acts_are_taken_back_at_the_head_of_the_page(empty_shop, hands):
    shop = empty_shop
    with shop.store.session() as session:
        for minutes in (20, 10, 0):
            at = shop.now - timedelta(minutes=minutes)
            air = b'{"temperature": 18.5, "humidity": 44}'
            session.add(HeardMessage(topic="valley/shop/bench_2/state", payload=air, received_at=at))

    # A sensor is accepted by mistake, and waits again.
    hands.open(f"{shop.address}/sensors")
    hands.until(lambda: hands.value("Its name") == "shop bench 2")
    hands.press("Accept it")
    hands.until(lambda: "shop bench 2 is accepted and hangs at Shop, a new place, since" in hands.said)
    hands.press("Undo")
    hands.until(
        lambda: "waits to be accepted again, with all that came. Shop is out of the book" in hands.said
    )
    hands.until(lambda: hands.heading == "One topic waits to be accepted.")
    assert "three messages kept" in hands.text
    with shop.store.session() as session:
        assert session.scalar(select(func.count()).select_from(Reading)) == 0
        assert session.scalars(select(Place)).all() == []

    # Accepted for good; its device is said to be another, and is not.
    hands.write("Its name", "Bench")
    hands.press("Accept it")
    hands.until(lambda: "Bench is accepted and hangs at Shop" in hands.said)
    assert "Three kept messages became readings." in hands.said
    hands.follow("Bench")
    hands.until(lambda: hands.heading == "Bench")
    hands.click("#page details:has(label[for*='swap']) summary")
    hands.until(lambda: hands.field("Name of the new one").is_displayed())
    hands.write("Name of the new one", "Bench, new")
    hands.press("Put it in its place")
    hands.until(lambda: hands.heading == "Bench, new")
    hands.press("Undo")
    hands.until(lambda: "Bench hangs there again" in hands.said)
    hands.until(lambda: hands.heading == "Bench")
    with shop.store.session() as session:
        assert session.scalars(select(Sensor.name)).all() == ["Bench"]

    # A place goes while nothing needs it, and stays with its reason when something does.
    hands.open(f"{shop.address}/places/new")
    hands.write("Name", "Attic")
    hands.press("Record the place")
    hands.until(lambda: "Attic is recorded." in hands.said)
    with shop.store.session() as session:
        attic = session.scalars(select(Place).where(Place.name == "Attic")).one()
        session.scalars(select(Sensor)).one().hangings[0].place_id = attic.id
    hands.press("Undo")
    hands.until(lambda: "Attic can't be taken out of the book: Bench hangs there." in hands.said)

    # Who the client calls.
    hands.open(f"{shop.address}/settings")
    hands.write("Name", "The bench by the river")
    hands.press("Keep this")
    hands.until(lambda: "At the foot of every client sheet stands: The bench by the river." in hands.text)
    hands.press("Undo")
    hands.until(lambda: "Nobody is named on the client sheets yet" in hands.text)


def test_a_drawing_is_looked_at_closer_by_keys_alone(shop, hands):
    bring_up_to_date(shop.store, shop.now)
    hands.open(f"{shop.address}/place/{shop.place}")
    hands.until(lambda: hands.all(".moves a") == ["closer", "wider", "earlier"])

    def press_enter_on(words: str) -> bool:
        links = hands.browser.find_elements("css selector", ".moves a")
        target = next(link for link in links if link.text == words)
        hands.browser.execute_script("arguments[0].focus()", target)
        target.send_keys(Keys.ENTER)
        return True

    def days() -> float:
        asked = parse_qs(urlsplit(hands.browser.current_url).query)
        since, until = (asked[key][0] for key in ("since", "until"))
        return hands.browser.execute_script(
            "return (new Date(arguments[1]) - new Date(arguments[0])) / 864e5", since, until
        )

    hands.until(lambda: press_enter_on("closer"))
    hands.until(lambda: "since=" in hands.browser.current_url)
    assert days() == 15.5
    hands.until(lambda: hands.read('.tabs a[aria-current="true"]') == "this stretch")
    hands.until(lambda: press_enter_on("earlier"))
    hands.until(lambda: hands.all(".moves a") == ["closer", "wider", "earlier", "later"])
    assert days() == 15.5
    # The address alone shows the same to somebody else.
    hands.reload()
    assert hands.all(".moves a") == ["closer", "wider", "earlier", "later"]
